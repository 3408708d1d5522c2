"""Camera raw: known light in a DNG of our own, and what LibRaw itself makes of it."""

from __future__ import annotations

import struct
import sys
from pathlib import Path

import numpy as np
import pytest
import rawpy
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import PictureFileError
from frontglass.picture.primaries import BT709
from tests.files.cameras import BALANCE, dng

CLIPS = 2**0.5
"""Sensors clip half a stop above white."""


def scene() -> np.ndarray:
    """A counter of three colours, a lamp that clips all channels, a lit card that clips green."""
    light = np.empty((96, 128, 3))
    light[:] = 0.18
    light[:, 64:] = 0.2, 0.5, 0.9
    light[:, 96:] = 0.004, 0.003, 0.002
    light[:24, :32] = 5.0
    light[64:, :32] = 1.6, 1.1, 1.2
    return light


def in_bt709(picture: fg.Picture) -> np.ndarray:
    return picture.radiance @ picture.primaries.matrix_to(BT709).T


@pytest.fixture(scope="module")
def still(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("camera") / "counter.dng"
    dng(path, scene())
    return path


@pytest.mark.source("ISO12232", "saturation based speed: 141 % of diffuse white saturates")
def test_light_is_linear_and_white_half_a_stop_below_where_green_clips(still: Path):
    light = in_bt709(fg.read_picture(still))
    flat = [(44, 20), (44, 80), (44, 112)]
    for y, x in flat:
        np.testing.assert_allclose(light[y, x], CLIPS * scene()[y, x], rtol=2e-3, atol=3e-4)


@pytest.mark.source("LibRaw0.22", "linear output in sRGB primaries, nothing brightened")
def test_it_agrees_with_libraws_own_linear_output(still: Path):
    with rawpy.imread(str(still)) as raw:
        theirs = raw.postprocess(
            gamma=(1, 1),
            no_auto_bright=True,
            output_bps=16,
            use_camera_wb=True,
            output_color=rawpy.ColorSpace.sRGB,
        )
    own = in_bt709(fg.read_picture(still)) / CLIPS
    inside = (theirs.max(axis=-1) < 60000) & (theirs.min(axis=-1) > 0)
    assert inside.mean() > 0.6
    # At the rim of what clips, the two kinds of highlights differ.
    off = np.abs(own[inside] - theirs[inside] / 65535).max(axis=-1)
    assert np.quantile(off, 0.98) < 5e-4
    assert np.median(off) < 2e-4


def test_highlights_are_kept_where_a_channel_still_tells(still: Path):
    picture = fg.read_picture(still)
    light = in_bt709(picture)
    # Green has clipped at 1; red and blue tell 1.6 and 1.2: their mean is what is left.
    np.testing.assert_allclose(light[85, 15], CLIPS * np.mean([1.6, 1.0, 1.2]), rtol=5e-3)
    top = CLIPS * np.mean(1 / np.array(BALANCE))
    np.testing.assert_allclose(light[10, 15], top, rtol=5e-3)
    assert picture.encoding.top == pytest.approx((top,) * 3, rel=1e-3)
    lamps = fg.with_recovered_light(picture, fg.Recovery(clipped=4)).lamps
    assert len(lamps) == 1
    assert lamps[0].stops == pytest.approx(4, abs=1e-3)


@pytest.mark.parametrize("stops", [-1.0, 0.75])
def test_what_the_maker_says_of_exposure_moves_white(tmp_path: Path, stops: float):
    dng(tmp_path / "a.dng", scene(), exposure=stops)
    light = in_bt709(fg.read_picture(tmp_path / "a.dng"))
    np.testing.assert_allclose(light[44, 20], CLIPS * 0.18 * 2**stops, rtol=2e-3)


def test_noise_in_the_dark_neither_lifts_black_nor_goes_below(tmp_path: Path):
    rng = np.random.default_rng(4)
    light = 0.002 + 0.0004 * rng.standard_normal((96, 128, 3))
    dng(tmp_path / "a.dng", light)
    seen = in_bt709(fg.read_picture(tmp_path / "a.dng"))
    assert seen.mean() == pytest.approx(CLIPS * 0.002, rel=0.02)
    assert seen.min() > -CLIPS * 5 * 0.0004


def test_lens_and_exposure_come_from_the_file(tmp_path: Path):
    path = tmp_path / "a.dng"
    texts = ((271, "s", 0, "Quay", True), (306, "s", 0, "2026:11:30 23:10:00", True))
    dng(path, scene(), extra=(*texts, (34664, "I", 1, 0xABCDEF, True)))  # tifffile writes no 34665
    data = path.read_bytes()
    at = len(data) + len(data) % 2
    # A directory behind the file: time, stop, speed, lens, and its equivalent.
    rationals = {33434: (1, 50), 33437: (28, 10), 37386: (35, 1)}
    shorts, directory, values = {34855: 800, 41989: 53}, struct.pack("<H", 5), b""
    for code in sorted((*rationals, *shorts)):
        if code in shorts:
            directory += struct.pack("<HHII", code, 3, 1, shorts[code])
        else:
            directory += struct.pack("<HHII", code, 5, 1, at + 66 + len(values))
            values += struct.pack("<II", *rationals[code])
    directory += struct.pack("<I", 0) + values
    entry = struct.pack("<HHI", 34664, 4, 1), struct.pack("<HHI", 34665, 4, 1)
    data = data.replace(entry[0] + struct.pack("<I", 0xABCDEF), entry[1] + struct.pack("<I", at))
    path.write_bytes(data + b"\0" * (at - len(data)) + directory)
    picture = fg.read_picture(path)
    shot = picture.shot
    assert (shot.focal_length_mm, shot.focal_length_35mm, shot.iso) == (35, 53, 800)
    assert shot.f_number == pytest.approx(2.8)
    assert shot.exposure_time_s == pytest.approx(1 / 50)
    # What is written of it says the same, and when.
    fg.write_picture(tmp_path / "a.jpg", picture)
    assert fg.read_picture(tmp_path / "a.jpg").shot == shot
    with Image.open(tmp_path / "a.jpg") as written:
        exif = written.getexif()
        assert (exif[271], exif[306], exif.get(274, 1)) == ("Quay", "2026:11:30 23:10:00", 1)


def test_a_raw_whose_light_is_cut_off_is_refused(still: Path, tmp_path: Path):
    """LibRaw would make it black."""
    data = still.read_bytes()
    (tmp_path / "a.dng").write_bytes(data[: len(data) - 400])
    with pytest.raises(PictureFileError, match=r"camera raw file is cut short\.$"):
        fg.read_picture(tmp_path / "a.dng")


def test_a_raw_goes_out_as_jpeg_or_as_light(still: Path, tmp_path: Path):
    result = CliRunner().invoke(app, ["apply", str(still), "--look", "slate-roof:1/4"])
    assert result.exit_code == 0, result.output
    assert still.with_name("counter_slate-roof_1-4.jpg").is_file()
    picture = fg.read_picture(still)
    fg.write_picture(tmp_path / "a.exr", picture)
    np.testing.assert_allclose(
        fg.read_picture(tmp_path / "a.exr").radiance, picture.radiance, rtol=1e-3, atol=1e-6
    )
    fg.write_picture(tmp_path / "a.jpg", picture)
    shown = fg.read_picture(tmp_path / "a.jpg")
    np.testing.assert_allclose(shown.radiance[44, 20], CLIPS * 0.18, atol=0.01)


def test_without_libraw_one_line_says_what_to_install(still: Path, monkeypatch):
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(PictureFileError, match=r"need an extra: pip install 'frontglass\[files\]'"):
        fg.read_picture(still)


def test_damaged_raws_end_in_a_picture_or_a_line(still: Path, tmp_path: Path):
    whole, path = still.read_bytes(), tmp_path / "a.dng"
    rng = np.random.default_rng(7)
    lines: list[str] = []
    for _ in range(60):
        data = bytearray(whole)
        for place in rng.integers(0, 1200, rng.integers(1, 5)):
            data[place] = rng.integers(256)
        path.write_bytes(data[: rng.integers(200, len(data))] if rng.integers(2) else data)
        try:
            fg.read_picture(path)
        except PictureFileError as error:
            lines.append(str(error))
    assert 10 < len(lines) < 60
    assert "\n" not in "".join(lines)
