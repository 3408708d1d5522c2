"""NaN, infinities and negative light: refused or mended with a word, never zeroed in silence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
import tifffile

from frontglass.errors import PictureFileError
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.non_finite import NonFinite, mended


def as_exr(path: Path, light: np.ndarray) -> None:
    planes = {name: np.ascontiguousarray(light[..., k]) for k, name in enumerate("RGB")}
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, planes).write(str(path))


def as_half_exr(path: Path, light: np.ndarray) -> None:
    as_exr(path, light.astype("f2"))


def as_tiff(path: Path, light: np.ndarray) -> None:
    tifffile.imwrite(path, light, photometric="rgb", metadata=None)


WRITERS = {"float.exr": as_exr, "half.exr": as_half_exr, "float.tif": as_tiff}


@pytest.fixture(params=list(WRITERS))
def spoilt(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[np.ndarray], Path]:
    def write(light: np.ndarray) -> Path:
        path = tmp_path / str(request.param)
        WRITERS[request.param](path, light)
        return path

    return write


def room() -> np.ndarray:
    light = np.full((10, 14, 3), 0.25, np.float32)
    light[2, 3] = (8.0, 4.0, 2.0)
    light[6, 1] = -0.125
    return light


def test_they_are_refused_with_count_and_place(spoilt: Callable[[np.ndarray], Path]):
    light = room()
    light[4, 5, 1] = np.nan
    light[7, 8] = np.inf
    path = spoilt(light)
    with pytest.raises(PictureFileError) as error:
        read_picture(path)
    text = str(error.value)
    assert "1 NaN and 3 infinite samples, the first at x 5, y 4" in text
    assert "--non-finite mend" in text
    assert "\n" not in text


def test_mending_takes_from_the_light_around(spoilt: Callable[[np.ndarray], Path]):
    light = room()
    light[4, 5, 1] = np.nan
    light[4, 6, 2] = -np.inf
    light[7, 8] = np.inf
    picture = read_picture(spoilt(light), non_finite=NonFinite.MEND)
    expected = room()
    # An overflowing lamp is the brightest thing in the frame, channel by channel.
    expected[7, 8] = (8.0, 4.0, 2.0)
    np.testing.assert_array_equal(picture.radiance, expected)
    assert (
        "1 NaN and 4 infinite samples are mended from the light around them, "
        "the first at x 5, y 4." in picture.notices
    )


def test_a_hole_is_mended_from_its_rim(spoilt: Callable[[np.ndarray], Path]):
    light = np.full((20, 20, 3), 0.5, np.float32)
    light[3:15, 4:17] = np.nan
    picture = read_picture(spoilt(light), non_finite=NonFinite.MEND)
    np.testing.assert_array_equal(picture.radiance, np.full_like(light, 0.5))


def test_a_channel_without_any_number_cannot_be_mended(spoilt: Callable[[np.ndarray], Path]):
    light = room()
    light[..., 2] = np.nan
    with pytest.raises(PictureFileError, match="no finite sample at all"):
        read_picture(spoilt(light), non_finite=NonFinite.MEND)


@pytest.mark.parametrize("rule", list(NonFinite))
def test_negative_light_passes_as_it_is(spoilt: Callable[[np.ndarray], Path], rule: NonFinite):
    path = spoilt(room())
    picture = read_picture(path, non_finite=rule)
    np.testing.assert_array_equal(picture.radiance, room())
    out = path.with_stem("out")
    write_picture(out, picture)
    np.testing.assert_array_equal(read_picture(out).radiance, room())


def test_the_mended_picture_is_written_finite(spoilt: Callable[[np.ndarray], Path]):
    light = room()
    light[4, 5, 1] = np.nan
    path = spoilt(light)
    out = path.with_stem("out")
    write_picture(out, read_picture(path, non_finite=NonFinite.MEND))
    np.testing.assert_array_equal(read_picture(out).radiance, room())


def test_light_near_the_largest_float_is_no_infinity(tmp_path: Path):
    light = np.full((40, 40, 3), 3e38, np.float32)
    as_exr(tmp_path / "bright.exr", light)
    np.testing.assert_array_equal(read_picture(tmp_path / "bright.exr").radiance, light)


@pytest.mark.parametrize("turns", range(4))
def test_all_eight_neighbours_are_asked(turns: int):
    plane = np.array([[9, 9, 1], [9, np.nan, 1], [9, 1, 1]], np.float32)
    light = np.ascontiguousarray(np.rot90(plane, turns))[..., np.newaxis]
    # Four of 9 and four of 1.
    assert mended(light)[1, 1, 0] == 5
