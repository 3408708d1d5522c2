"""A file that is read ahead is the file, read once."""

from __future__ import annotations

import threading

import numpy as np
import pytest

import frontglass as fg
from frontglass.files import ahead
from frontglass.files.ahead import read_once, reading_ahead


@pytest.fixture
def still(tmp_path):
    codes = np.random.default_rng(3).integers(0, 256, (9, 12, 3), np.uint8)
    path = tmp_path / "still.png"
    fg.write_picture(path, fg.Picture.from_array(codes))
    return path


@pytest.fixture
def readers(monkeypatch):
    """Threads that have read a file."""
    threads = []

    def read(path, **how):
        threads.append(threading.current_thread())
        return fg.read_picture(path, **how)

    read.__kwdefaults__ = fg.read_picture.__kwdefaults__
    monkeypatch.setattr(ahead, "read_picture", read)
    return threads


@pytest.mark.parametrize("stops", [0.0, 1.5])
def test_it_is_handed_out_once(still, readers, stops):
    with reading_ahead(still, gain_map="on"):
        pass
    assert len(readers) == 1
    assert readers[0] is not threading.current_thread()
    picture = read_once(still, exposure_stops=stops, non_finite="refuse")
    assert len(readers) == 1
    again = read_once(still, exposure_stops=stops)
    assert readers[1:] == [threading.current_thread()]
    assert np.array_equal(picture.radiance, again.radiance)
    assert picture.notices == again.notices


def test_it_serves_none_but_who_asks_for_the_same(still, tmp_path, readers):
    other = tmp_path / "other.png"
    fg.write_picture(other, fg.Picture.from_array(np.zeros((2, 3, 3), np.uint8)))
    with reading_ahead(still, damage="refuse"):
        pass
    assert read_once(other).width_px == 3
    assert read_once(still, damage="note").width_px == 12
    assert len(readers) == 3
    read_once(still, damage="refuse")  # was given up for the way before
    assert len(readers) == 4


def test_errors_are_those_of_reading(tmp_path):
    gone = tmp_path / "gone.png"
    with reading_ahead(gone):
        pass
    with pytest.raises(fg.PictureFileError, match=r"gone\.png: there is no such file"):
        read_once(gone)
    with reading_ahead(gone):
        pass
    with pytest.raises(fg.ParameterError, match="exposure_stops"):
        read_once(gone, exposure_stops=41)


def test_what_goes_wrong_within_ends_it_once_it_is_read(still, monkeypatch):
    begun, ended = threading.Event(), []

    def slow(path):
        begun.wait(5)
        ended.append(path)

    monkeypatch.setattr(ahead, "read_picture", slow)

    def wrong():
        with reading_ahead(still):
            begun.set()
            raise RuntimeError

    with pytest.raises(RuntimeError):
        wrong()
    assert ended == [still]
    # A file may be another one when somebody asks next.
    assert not ahead._BEGUN
