"""A JPEG that is decoded ahead is the same still, decoded once."""

from __future__ import annotations

import os
import threading

import numpy as np
import pytest

import frontglass as fg
from frontglass.files import jpeg_ahead
from frontglass.files.jpeg_ahead import decoding_ahead
from frontglass.files.jpeg_decoding import decoded

MAIN = threading.current_thread()


@pytest.fixture
def decoders(monkeypatch):
    """Threads that have decoded a file."""
    threads = []

    def decode(data, shape):
        threads.append(threading.current_thread())
        return decoded(data, shape)

    monkeypatch.setattr(jpeg_ahead, "decoded", decode)
    return threads


def written(path, *, is_grey=False):
    shape = (40, 56) if is_grey else (40, 56, 3)
    codes = np.random.default_rng(5).integers(0, 256, shape, np.uint8)
    fg.write_picture(path, fg.Picture.from_array(codes))
    return path


@pytest.mark.parametrize("is_grey", [False, True])
def test_its_codes_are_handed_out_once(tmp_path, decoders, is_grey):
    still = written(tmp_path / "still.jpg", is_grey=is_grey)
    with decoding_ahead(still):
        ahead = fg.read_picture(still)
    assert len(decoders) == 1
    assert decoders[0] is not MAIN
    again = fg.read_picture(still)
    assert decoders[1:] == [MAIN]
    np.testing.assert_array_equal(ahead.radiance, again.radiance)
    np.testing.assert_array_equal(ahead.encoding.codes, again.encoding.codes)
    assert ahead.notices == again.notices


def test_it_serves_nobody_who_reads_something_else(tmp_path, decoders):
    still, other = written(tmp_path / "still.jpg"), tmp_path / "other.jpg"
    fg.write_picture(other, fg.Picture.from_array(np.full((40, 56, 3), 90, np.uint8)))
    with decoding_ahead(still):
        assert fg.read_picture(other).encoding.codes.std() < 1
    assert len(decoders) == 2


def test_a_file_that_changes_meanwhile_is_read_as_it_is(tmp_path):
    still = written(tmp_path / "still.jpg")
    with decoding_ahead(still):
        jpeg_ahead._BEGUN[0].result()
        fg.write_picture(still, fg.Picture.from_array(np.full((40, 56, 3), 90, np.uint8)))
        assert fg.read_picture(still).encoding.codes.std() < 1


def test_what_is_no_jpeg_or_too_large_is_left_alone(tmp_path, decoders, monkeypatch):
    still = tmp_path / "still.png"
    fg.write_picture(still, fg.Picture.from_array(np.zeros((4, 5, 3), np.uint8)))
    with decoding_ahead(still):
        assert fg.read_picture(still).width_px == 5
    with decoding_ahead(tmp_path / "gone.jpg"), pytest.raises(fg.PictureFileError, match="no such"):
        fg.read_picture(tmp_path / "gone.jpg")
    assert not decoders
    still = written(tmp_path / "still.jpg")
    monkeypatch.setattr(jpeg_ahead, "MOST_MEGAPIXELS", 0.002)
    with decoding_ahead(still):
        assert fg.read_picture(still).width_px == 56
    assert decoders == [MAIN]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")
def test_what_comes_through_a_pipe_is_left_to_who_reads_it(tmp_path):
    data, pipe = written(tmp_path / "still.jpg").read_bytes(), tmp_path / "pipe.jpg"
    os.mkfifo(pipe)
    writer = threading.Thread(target=pipe.write_bytes, args=(data,), daemon=True)
    writer.start()
    with decoding_ahead(pipe):
        assert jpeg_ahead._BEGUN[0].result() is None
        assert fg.read_picture(pipe).width_px == 56
    writer.join()


def test_damage_is_told_as_ever(tmp_path):
    still = written(tmp_path / "still.jpg")
    data = still.read_bytes()
    at = len(data) // 2
    still.write_bytes(data[:at] + bytes(40) + data[at + 40 :])
    plain = fg.read_picture(still)
    with decoding_ahead(still):
        ahead = fg.read_picture(still)
    assert ahead.notices == plain.notices
    assert any("amage" in notice or "orrupt" in notice for notice in plain.notices)
    still.write_bytes(data[:at])
    with decoding_ahead(still), pytest.raises(fg.PictureFileError, match="cut short"):
        fg.read_picture(still)


def test_nothing_is_kept_for_whoever_comes_after(tmp_path):
    with decoding_ahead(written(tmp_path / "still.jpg")):
        pass
    assert not jpeg_ahead._BEGUN
