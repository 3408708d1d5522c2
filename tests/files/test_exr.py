"""OpenEXR: windows, parts, layers, attributes, pixel types."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import OpenEXR
import pytest

from frontglass.errors import PictureFileError
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.optics.camera import ShotData
from frontglass.picture.encoding import AlphaKind, Container, Encoding, Sample
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import AP0, BT709, P3_D65

SampleFile = Callable[[str], Path]
HEADER = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}


def light(height: int = 12, width: int = 18, dtype: str = "f2") -> np.ndarray:
    return np.random.default_rng(1).random((height, width, 3)).astype(dtype)


def channels(pixels: np.ndarray, prefix: str = "") -> dict[str, np.ndarray]:
    return {f"{prefix}{n}": np.ascontiguousarray(pixels[..., k]) for k, n in enumerate("RGB")}


def window(left: int, top: int, right: int, bottom: int) -> tuple[np.ndarray, np.ndarray]:
    return np.array([left, top], np.int32), np.array([right, bottom], np.int32)


def write(path: Path, planes: dict[str, np.ndarray], **header: object) -> Path:
    OpenEXR.File(HEADER | header, planes).write(str(path))
    return path


def test_a_smaller_data_window_lies_on_black(tmp_path: Path):
    pixels = light()
    path = write(
        tmp_path / "still.exr", channels(pixels),
        dataWindow=window(13, 7, 30, 18), displayWindow=window(10, 5, 39, 24),
    )  # fmt: skip
    picture = read_picture(path)
    assert (picture.width_px, picture.height_px) == (30, 20)
    np.testing.assert_array_equal(picture.radiance[2:14, 3:21], pixels.astype("f4"))
    assert float(picture.radiance.sum(dtype="f8")) == pytest.approx(pixels.sum(dtype="f8"))
    assert any("the rest is black" in notice for notice in picture.notices)
    write_picture(tmp_path / "out.exr", picture)
    header = OpenEXR.File(str(tmp_path / "out.exr")).parts[0].header
    assert [list(corner) for corner in header["displayWindow"]] == [[10, 5], [39, 24]]
    assert [list(corner) for corner in header["dataWindow"]] == [[10, 5], [39, 24]]


def test_data_beyond_the_display_window_are_left_out(tmp_path: Path):
    pixels = light()
    path = write(
        tmp_path / "still.exr", channels(pixels),
        dataWindow=window(-2, -3, 15, 8), displayWindow=window(0, 0, 9, 7),
    )  # fmt: skip
    picture = read_picture(path)
    np.testing.assert_array_equal(picture.radiance, pixels[3:11, 2:12].astype("f4"))
    assert picture.notices == ("Pixels outside the OpenEXR display window are left out.",)


def test_windows_that_do_not_meet_are_refused(tmp_path: Path):
    path = write(
        tmp_path / "still.exr", channels(light()),
        dataWindow=window(100, 100, 117, 111), displayWindow=window(0, 0, 9, 7),
    )  # fmt: skip
    with pytest.raises(PictureFileError, match="wholly outside"):
        read_picture(path)


def test_the_first_part_with_colour_is_used(tmp_path: Path):
    depth = OpenEXR.Part(
        {"name": "depth", "type": OpenEXR.scanlineimage}, {"Z": np.ones((12, 18), "f4")}
    )
    beauty = OpenEXR.Part({"name": "beauty", "type": OpenEXR.scanlineimage}, channels(light()))
    other = OpenEXR.Part({"name": "other", "type": OpenEXR.scanlineimage}, channels(light() + 1))
    path = tmp_path / "still.exr"
    OpenEXR.File([depth, beauty, other]).write(str(path))
    picture = read_picture(path)
    np.testing.assert_array_equal(picture.radiance, light().astype("f4"))
    assert picture.notices == (
        "The OpenEXR file has 3 parts; 'beauty' is used, the rest left out.",
    )
    whole = path.read_bytes()
    for length in range(20, len(whole), 97):
        path.write_bytes(whole[:length])
        with pytest.raises(PictureFileError):
            read_picture(path)


def test_tiles_are_read(tmp_path: Path):
    tiles = OpenEXR.TileDescription()
    tiles.xSize = tiles.ySize = 8
    path = write(tmp_path / "still.exr", channels(light()), type=OpenEXR.tiledimage, tiles=tiles)
    picture = read_picture(path)
    np.testing.assert_array_equal(picture.radiance, light().astype("f4"))
    write_picture(tmp_path / "out.exr", picture)
    np.testing.assert_array_equal(read_picture(tmp_path / "out.exr").radiance, picture.radiance)
    whole = path.read_bytes()
    path.write_bytes(whole[:-40])
    with pytest.raises(PictureFileError, match="cut short"):
        read_picture(path)


@pytest.mark.parametrize(
    "name", ["NO", "RLE", "ZIPS", "ZIP", "PIZ", "PXR24", "B44", "B44A", "DWAA", "DWAB"]
)
def test_every_compression_is_read_and_kept(tmp_path: Path, name: str):
    compression = getattr(OpenEXR, f"{name}_COMPRESSION")
    path = write(tmp_path / "still.exr", channels(light(40, 70)), compression=compression)
    stored = OpenEXR.File(str(path), separate_channels=True).parts[0].channels
    picture = read_picture(path)
    for index, channel in enumerate("RGB"):
        np.testing.assert_array_equal(picture.radiance[..., index], stored[channel].pixels)
    write_picture(tmp_path / "out.exr", picture)
    header = OpenEXR.File(str(tmp_path / "out.exr")).parts[0].header
    assert header["compression"] == compression
    whole = path.read_bytes()
    path.write_bytes(whole[:-1])
    with pytest.raises(PictureFileError, match="cut short"):
        read_picture(path)


def test_a_layer_is_picked_where_there_is_no_plain_picture(tmp_path: Path):
    planes = channels(light(), "beauty.") | channels(light() + 1, "key.")
    picture = read_picture(write(tmp_path / "still.exr", planes))
    np.testing.assert_array_equal(picture.radiance, light().astype("f4"))
    assert picture.notices == ("The OpenEXR file has no plain R, G, B; layer 'beauty' is used.",)


def test_plain_channels_come_before_layers(tmp_path: Path):
    planes = channels(light()) | channels(light() + 1, "a.")
    picture = read_picture(write(tmp_path / "still.exr", planes))
    np.testing.assert_array_equal(picture.radiance, light().astype("f4"))
    assert picture.notices == ()


def test_files_without_a_picture_name_what_they_have(tmp_path: Path):
    path = write(tmp_path / "still.exr", {"Z": np.ones((4, 5), "f4"), "N": np.ones((4, 5), "f4")})
    with pytest.raises(PictureFileError, match="no channels R, G, B or Y; it has N, Z"):
        read_picture(path)


def test_luminance_with_chroma_is_refused(tmp_path: Path):
    planes = {name: np.ones((4, 6), "f2") for name in ("Y", "RY", "BY")}
    with pytest.raises(PictureFileError, match="subsampled chroma"):
        read_picture(write(tmp_path / "still.exr", planes))


@pytest.mark.source("OpenEXR-3", "standard optional attribute chromaticities")
def test_chromaticities_are_honoured_and_kept(tmp_path: Path):
    points = (*AP0.red, *AP0.green, *AP0.blue, *AP0.white)
    picture = read_picture(write(tmp_path / "still.exr", channels(light()), chromaticities=points))
    assert picture.primaries == AP0
    write_picture(tmp_path / "out.exr", picture)
    header = OpenEXR.File(str(tmp_path / "out.exr")).parts[0].header
    np.testing.assert_allclose(header["chromaticities"], points, atol=1e-7)
    assert read_picture(tmp_path / "out.exr").primaries == AP0


@pytest.mark.source("OpenEXR-3", "without chromaticities a file has the primaries of BT.709")
def test_without_chromaticities_it_is_bt709_and_none_are_added(tmp_path: Path):
    picture = read_picture(write(tmp_path / "still.exr", channels(light())))
    assert picture.primaries == BT709
    write_picture(tmp_path / "out.exr", picture)
    assert "chromaticities" not in OpenEXR.File(str(tmp_path / "out.exr")).parts[0].header


def test_senseless_chromaticities_are_refused(tmp_path: Path):
    path = write(tmp_path / "still.exr", channels(light()), chromaticities=(0.3,) * 8)
    with pytest.raises(PictureFileError, match="chromaticities make no sense"):
        read_picture(path)


@pytest.mark.source("OpenEXR-3", "standard optional attributes of lens and sensor")
def test_lens_attributes_are_read_and_carried(tmp_path: Path):
    path = write(
        tmp_path / "still.exr", channels(light()), aperture=2.8, nominalFocalLength=50.0,
        effectiveFocalLength=51.5, sensorOverallDimensions=np.array([24.89, 18.66], "f4"),
        owner="Night shift", comments="Chairs on tables",
    )  # fmt: skip
    picture = read_picture(path)
    assert picture.shot == ShotData(focal_length_mm=51.5, f_number=2.8, sensor_width_mm=24.89)
    write_picture(tmp_path / "out.exr", picture)
    again = read_picture(tmp_path / "out.exr")
    assert again.shot == picture.shot
    header = OpenEXR.File(str(tmp_path / "out.exr")).parts[0].header
    assert header["owner"] == "Night shift"
    assert header["comments"] == "Chairs on tables"
    assert header["nominalFocalLength"] == pytest.approx(50.0)


def test_senseless_lens_attributes_count_as_missing(tmp_path: Path):
    path = write(
        tmp_path / "still.exr", channels(light()), aperture=0.0, nominalFocalLength=float("nan"),
        sensorOverallDimensions=np.array([0, -1], "f4"),
    )  # fmt: skip
    assert read_picture(path).shot == ShotData()


def test_half_that_overflows_becomes_float_with_a_notice(tmp_path: Path):
    picture = read_picture(write(tmp_path / "still.exr", channels(light())))
    bright = picture.radiance.copy()
    bright[3, 4] = 1e6
    notices = write_picture(tmp_path / "out.exr", picture.with_radiance(bright))
    assert notices == ("Light of 1e+06 is beyond half float; written as 32-bit float.",)
    again = read_picture(tmp_path / "out.exr")
    assert again.encoding.sample is Sample.FLOAT
    np.testing.assert_array_equal(again.radiance, bright)


def test_changed_integer_channels_become_float_with_a_notice(
    tmp_path: Path, sample_file: SampleFile
):
    picture = read_picture(sample_file("exr-integer"))
    halved = picture.with_radiance(picture.radiance * np.float32(0.3))
    notices = write_picture(tmp_path / "out.exr", halved)
    assert notices == ("32-bit integer channels changed; written as 32-bit float.",)
    np.testing.assert_array_equal(read_picture(tmp_path / "out.exr").radiance, halved.radiance)


def test_a_changed_picture_keeps_alpha_and_other_channels(tmp_path: Path, sample_file: SampleFile):
    for name, kept in (("exr-half-rgba", {"A"}), ("exr-more-channels", {"Z", "N", "id"})):
        path = sample_file(name)
        picture = read_picture(path)
        write_picture(tmp_path / "out.exr", picture.with_radiance(picture.radiance * 2))
        before = OpenEXR.File(str(path), separate_channels=True).parts[0].channels
        after = OpenEXR.File(str(tmp_path / "out.exr"), separate_channels=True).parts[0].channels
        for channel in kept:
            np.testing.assert_array_equal(after[channel].pixels, before[channel].pixels)
            assert after[channel].pixels.dtype == before[channel].pixels.dtype


def test_pictures_made_in_memory_are_float_exr(tmp_path: Path):
    picture = Picture(radiance=light(dtype="f4"), primaries=P3_D65, encoding=Encoding.linear())
    assert write_picture(tmp_path / "out.exr", picture) == ()
    again = read_picture(tmp_path / "out.exr")
    np.testing.assert_array_equal(again.radiance, picture.radiance)
    assert again.primaries == P3_D65
    assert again.encoding.container is Container.EXR
    assert again.encoding.sample is Sample.FLOAT


def test_alpha_is_premultiplied_in_exr_and_straight_in_png(tmp_path: Path, sample_file: SampleFile):
    straight = read_picture(sample_file("png-8-rgba"))
    notices = write_picture(tmp_path / "out.exr", straight)
    assert notices == ("Colours are made premultiplied with alpha for this format.",)
    held = read_picture(tmp_path / "out.exr")
    assert held.encoding.alpha is not None
    assert held.encoding.alpha.kind is AlphaKind.PREMULTIPLIED
    assert straight.encoding.alpha is not None
    coverage = straight.encoding.alpha.codes / np.float32(255)
    np.testing.assert_allclose(
        held.radiance, straight.radiance * coverage[..., np.newaxis], rtol=1e-3, atol=1e-6
    )
    write_picture(tmp_path / "out.png", held)
    again = read_picture(tmp_path / "out.png")
    assert again.encoding.alpha is not None
    # Half float coverage, stored at 16 bits: 5e-4 of it.
    np.testing.assert_allclose(again.encoding.alpha.codes / 65535, coverage, atol=5e-4)
    seen = coverage > 0.1
    np.testing.assert_allclose(again.radiance[seen], straight.radiance[seen], atol=3e-3)


def test_nothing_is_left_beside_the_file(tmp_path: Path):
    write_picture(
        tmp_path / "out.exr", Picture(radiance=light(dtype="f4"), encoding=Encoding.linear())
    )
    assert os.listdir(tmp_path) == ["out.exr"]
