"""From one format into another: depth, primaries, clipping, and what is said about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import OpenEXR
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image, JpegImagePlugin

from frontglass.files.icc import icc_profile_bytes
from frontglass.files.orientation import upright_codes
from frontglass.files.plan import EXTENSIONS
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.curves import LINEAR, OPRGB_CURVE, SRGB_CURVE
from frontglass.picture.encoding import Encoding, Sample
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import AP0, BT709, BT2020, OPRGB, P3_D65, Primaries

SampleFile = Callable[[str], Path]


def scene(primaries: Primaries = BT709) -> Picture:
    """Scene-linear light with a lamp above white in a tenth of the frame."""
    light = np.random.default_rng(1).random((20, 30, 3)).astype(np.float32)
    light[:2] += 3
    return Picture(radiance=light, primaries=primaries, encoding=Encoding.linear())


def opencv_view(path: Path) -> np.ndarray:
    """R, G, B as OpenCV reads them."""
    return np.asarray(cv2.imread(str(path), cv2.IMREAD_UNCHANGED))[..., ::-1]


DEPTHS = {
    ("png-8-rgb", ".tif"): Sample.UINT8,
    ("png-8-rgb", ".exr"): Sample.HALF,
    ("png-8-rgb", ".hdr"): Sample.FLOAT,
    ("png-16-rgb", ".tif"): Sample.UINT16,
    ("png-16-rgb", ".jpg"): Sample.UINT8,
    ("png-16-grey", ".tif"): Sample.UINT16,
    ("tiff-16-rgb", ".png"): Sample.UINT16,
    ("tiff-float-rgb", ".png"): Sample.UINT16,
    ("tiff-float-rgb", ".exr"): Sample.HALF,
    ("exr-half-rgb", ".tif"): Sample.FLOAT,
    ("exr-half-rgb", ".png"): Sample.UINT16,
    ("jpeg-420", ".png"): Sample.UINT8,
    ("hdr", ".exr"): Sample.HALF,
}


def clipping(picture: Picture) -> Picture:
    """As other programs show light past white."""
    return replace(picture, past_white="clip")


@pytest.mark.parametrize(("name", "extension"), list(DEPTHS))
def test_each_format_gets_the_depth_that_keeps_most(
    tmp_path: Path, sample_file: SampleFile, name: str, extension: str
):
    picture = clipping(read_picture(sample_file(name)))
    write_picture(tmp_path / f"out{extension}", picture)
    again = read_picture(tmp_path / f"out{extension}")
    assert again.encoding.sample is DEPTHS[name, extension]
    expected = picture.radiance
    if again.encoding.sample.is_integer:
        expected = np.clip(expected, 0, 1)
    if extension in {".exr", ".tif", ".png"}:
        # Half float: 5e-4 of the value.
        np.testing.assert_allclose(again.radiance, expected, rtol=6e-4, atol=2e-5)


def test_every_sample_goes_into_every_format(tmp_path: Path, sample: Path):
    picture = read_picture(sample)
    for extension in EXTENSIONS:
        out = tmp_path / f"out{extension}"
        write_picture(out, picture)
        again = read_picture(out)
        assert again.radiance.shape == picture.radiance.shape
        if extension in {".exr", ".tif"}:
            alpha = picture.encoding.alpha
            if alpha is None:
                # CMYK and half float lose the most.
                np.testing.assert_allclose(again.radiance, picture.radiance, rtol=2e-3, atol=2e-3)


def test_display_output_clips_and_says_how_much(tmp_path: Path):
    for extension in ("png", "jpg"):
        notices = write_picture(tmp_path / f"out.{extension}", clipping(scene()))
        assert notices == ("10 % of pixels clipped at white.",)
    again = read_picture(tmp_path / "out.png")
    np.testing.assert_allclose(again.radiance, np.minimum(scene().radiance, 1), atol=2e-5)


def test_exposure_brings_lamps_below_white(tmp_path: Path):
    write_picture(tmp_path / "scene.exr", scene())
    darker = read_picture(tmp_path / "scene.exr", exposure_stops=-2.0)
    assert write_picture(tmp_path / "out.png", darker) == ()
    again = read_picture(tmp_path / "out.png")
    np.testing.assert_allclose(again.radiance, scene().radiance / 4, atol=2e-5)


def test_exposure_of_a_coded_still_is_baked_in(tmp_path: Path, sample_file: SampleFile):
    path = sample_file("png-16-rgb")
    darker = read_picture(path, exposure_stops=-1.0)
    write_picture(tmp_path / "out.png", darker)
    again = read_picture(tmp_path / "out.png")
    np.testing.assert_allclose(again.radiance, darker.radiance, atol=2e-5)


@pytest.mark.parametrize("primaries", [P3_D65, BT2020, AP0])
def test_scene_light_is_shown_in_bt709_on_displays(tmp_path: Path, primaries: Primaries):
    wide = clipping(scene(primaries))
    write_picture(tmp_path / "out.png", wide)
    again = read_picture(tmp_path / "out.png")
    assert again.primaries == BT709
    expected = np.clip(wide.radiance @ primaries.matrix_to(BT709).T, 0, 1)
    np.testing.assert_allclose(again.radiance, expected, atol=3e-5)


def test_colours_outside_the_displays_primaries_are_counted(tmp_path: Path):
    light = np.full((10, 10, 3), 0.5, np.float32)
    light[0] = (0.0, 0.5, 0.0)
    picture = Picture(radiance=light, primaries=BT2020, encoding=Encoding.linear())
    (notice,) = write_picture(tmp_path / "out.png", picture)
    assert notice.startswith("10 % of pixels held colours outside the file's primaries")


@pytest.mark.parametrize("primaries", [BT709, AP0])
def test_float_tiff_of_scene_light_carries_a_linear_profile(tmp_path: Path, primaries: Primaries):
    picture = scene(primaries)
    write_picture(tmp_path / "out.tif", picture)
    again = read_picture(tmp_path / "out.tif")
    np.testing.assert_array_equal(again.radiance, picture.radiance)
    assert again.primaries.is_close_to(primaries)
    assert again.encoding.curves[0] == LINEAR
    assert again.notices == ()


def test_hdr_cannot_hold_negative_light_and_says_so(tmp_path: Path):
    picture = scene()
    light = picture.radiance.copy()
    light[5, 6, 1] = -0.25
    notices = write_picture(tmp_path / "out.hdr", picture.with_radiance(light))
    assert notices == ("0.17 % of pixels held negative values, clipped to 0 for this format.",)


@pytest.mark.source("RadianceHDR", "RGBE: eight bits of mantissa under one exponent")
def test_hdr_holds_light_to_the_mantissa_of_its_brightest_channel(tmp_path: Path):
    picture = scene(P3_D65)
    write_picture(tmp_path / "out.hdr", picture)
    seen = opencv_view(tmp_path / "out.hdr")
    expected = np.maximum(picture.radiance @ P3_D65.matrix_to(BT709).T, 0)
    step = expected.max(axis=-1, keepdims=True) / 128
    assert np.all(np.abs(seen - expected) <= step)
    assert read_picture(tmp_path / "out.hdr").primaries == BT709


def test_hdr_header_lines_and_primaries_are_kept(tmp_path: Path, sample_file: SampleFile):
    path = sample_file("hdr")
    data = path.read_bytes()
    lines = (
        b"#?RADIANCE\n# last ferry\nEXPOSURE=2.0\nPRIMARIES=.68 .32 .265 .69 .15 .06 .3127 .329\n"
    )
    path.write_bytes(data.replace(b"#?RADIANCE\n", lines, 1))
    picture = read_picture(path)
    assert picture.primaries == P3_D65
    write_picture(tmp_path / "out.hdr", picture)
    assert (tmp_path / "out.hdr").read_bytes().startswith(lines)
    np.testing.assert_array_equal(read_picture(tmp_path / "out.hdr").radiance, picture.radiance)


def test_hdr_primaries_of_all_zeros_are_none(tmp_path: Path, sample_file: SampleFile):
    path = sample_file("hdr")
    data = path.read_bytes()
    plain = read_picture(path)
    line = b"PRIMARIES=0 0 0 0 0 0 0 0"
    head, pixels = data.split(b"\n\n", 1)
    lines = [row for row in head.split(b"\n") if not row.startswith(b"PRIMARIES=")]
    path.write_bytes(b"\n".join((*lines, line)) + b"\n\n" + pixels)
    picture = read_picture(path)
    assert picture.primaries == BT709
    np.testing.assert_array_equal(picture.radiance, plain.radiance)
    write_picture(tmp_path / "out.hdr", picture)
    assert line in (tmp_path / "out.hdr").read_bytes().split(b"\n")


@pytest.mark.source("RadianceHDR", "resolution string: axes in order of scanning, + or -")
@pytest.mark.parametrize(
    ("axes", "turned"),
    [
        ("-Y 2 +X 3", lambda a: a),
        ("+Y 2 +X 3", lambda a: a[::-1]),
        ("-Y 2 -X 3", lambda a: a[:, ::-1]),
        ("+X 2 -Y 3", lambda a: a.transpose(1, 0, 2)),
        ("+X 2 +Y 3", lambda a: a.transpose(1, 0, 2)[::-1]),
        ("-X 2 -Y 3", lambda a: a.transpose(1, 0, 2)[:, ::-1]),
    ],
)
def test_hdr_scanlines_of_any_order(
    tmp_path: Path, axes: str, turned: Callable[[np.ndarray], np.ndarray]
):
    # Six flat pixels: exponent 129 is 2 x mantissa / 256.
    rgbe = np.zeros((2, 3, 4), np.uint8)
    rgbe[..., :3] = np.arange(128, 146).reshape(2, 3, 3)
    rgbe[..., 3] = 129
    path = tmp_path / "still.hdr"
    path.write_bytes(f"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n{axes}\n".encode() + rgbe.tobytes())
    expected = turned(rgbe[..., :3].astype(np.float32) / 128)
    np.testing.assert_allclose(read_picture(path).radiance, expected, rtol=1e-6)


def test_hdr_of_xyz_becomes_rgb_with_a_notice(tmp_path: Path):
    white = (BT709.xyz_from_rgb @ np.ones(3) * 128).round()
    rgbe = np.full((4, 5, 4), 129, np.uint8)
    rgbe[..., :3] = white
    path = tmp_path / "still.hdr"
    header = b"#?RADIANCE\nFORMAT=32-bit_rle_xyze\n\n-Y 4 +X 5\n"
    path.write_bytes(header + rgbe.tobytes())
    picture = read_picture(path)
    assert "XYZ codes are converted" in picture.notices[0]
    np.testing.assert_allclose(picture.radiance, 1, atol=0.02)


@pytest.mark.parametrize("extension", [".jpg", ".hdr"])
def test_formats_without_alpha_say_that_it_is_left_out(
    tmp_path: Path, sample_file: SampleFile, extension: str
):
    notices = write_picture(tmp_path / f"out{extension}", read_picture(sample_file("png-16-rgba")))
    assert any(notice.startswith("Alpha is left out") for notice in notices)


def test_jpeg_tables_and_subsampling_serve_again(tmp_path: Path, sample_file: SampleFile):
    for name in ("jpeg-420", "jpeg-444", "jpeg-progressive", "jpeg-grey"):
        path = sample_file(name)
        write_picture(tmp_path / "out.jpg", read_picture(path))
        with Image.open(path) as before, Image.open(tmp_path / "out.jpg") as after:
            assert isinstance(before, JpegImagePlugin.JpegImageFile)
            assert isinstance(after, JpegImagePlugin.JpegImageFile)
            assert after.quantization == before.quantization
            assert after.mode == before.mode
            assert JpegImagePlugin.get_sampling(after) == JpegImagePlugin.get_sampling(before)
            assert bool(after.info.get("progressive")) == bool(before.info.get("progressive"))


def test_jpeg_quality_can_be_asked_for_and_is_95_without_subsampling_else(tmp_path: Path):
    picture = scene()
    tables = {}
    for quality in (None, 95, 40):
        write_picture(tmp_path / "out.jpg", picture, quality=quality)
        with Image.open(tmp_path / "out.jpg") as still:
            assert isinstance(still, JpegImagePlugin.JpegImageFile)
            tables[quality] = still.quantization
            assert JpegImagePlugin.get_sampling(still) == 0
    assert tables[None] == tables[95] != tables[40]
    notices = write_picture(tmp_path / "out.png", picture, quality=80)
    assert "Quality is for JPEG only; ignored." in notices


def test_pictures_cropped_in_memory_are_written(tmp_path: Path, sample: Path):
    """A caller may hand over a part of the picture with the whole picture's encoding."""
    picture = read_picture(sample)
    part = picture.with_radiance(np.ascontiguousarray(picture.radiance[3:9, 5:16]))
    for extension in (sample.suffix, ".png"):
        write_picture(tmp_path / f"out{extension}", part)
        assert read_picture(tmp_path / f"out{extension}").radiance.shape == (6, 11, 3)


def test_our_files_are_read_alike_by_other_programs(tmp_path: Path):
    picture = scene()
    write_picture(tmp_path / "out.exr", picture)
    stored = OpenEXR.File(str(tmp_path / "out.exr"), separate_channels=True).parts[0].channels
    write_picture(tmp_path / "out.tif", picture)
    tiff = tifffile.imread(tmp_path / "out.tif")
    np.testing.assert_array_equal(opencv_view(tmp_path / "out.tif"), tiff)
    for index, name in enumerate("RGB"):
        np.testing.assert_array_equal(stored[name].pixels, picture.radiance[..., index])
        np.testing.assert_array_equal(tiff[..., index], picture.radiance[..., index])
    write_picture(tmp_path / "out.png", clipping(picture))
    seen = opencv_view(tmp_path / "out.png")
    light = SRGB_CURVE.decode(seen / 65535)
    np.testing.assert_allclose(light, np.minimum(picture.radiance, 1), atol=2e-5)


PROFILES = {
    "none": None,
    "p3": icc_profile_bytes(P3_D65, (SRGB_CURVE,) * 3, "P3"),
    "oprgb": icc_profile_bytes(OPRGB, (OPRGB_CURVE,) * 3, "opRGB"),
}


@given(
    codes=st.sampled_from([np.uint8, np.uint16]).flatmap(
        lambda dtype: arrays.arrays(
            dtype,
            st.tuples(st.integers(1, 12), st.integers(1, 12), st.sampled_from([3, 4])),
        )
    ),
    profile=st.sampled_from(list(PROFILES)),
    orientation=st.integers(1, 8),
    compression=st.sampled_from([None, "zlib", "lzw"]),
    order=st.sampled_from(["<", ">"]),
)
@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_tiff_comes_back_upright_with_its_codes_profile_and_depth(
    tmp_path: Path, codes: np.ndarray, profile: str, orientation: int, compression: str | None,
    order: Literal["<", ">"],
):  # fmt: skip
    extra = ["unassalpha"] if codes.shape[2] == 4 else None
    tifffile.imwrite(
        tmp_path / "still.tif", codes, photometric="rgb", extrasamples=extra, metadata=None,
        iccprofile=PROFILES[profile], compression=compression, byteorder=order,
        predictor=None if compression is None else 2,
        extratags=[(274, "H", 1, orientation, True)],
    )  # fmt: skip
    for extension in ("tif", "png"):
        out = tmp_path / f"out.{extension}"
        assert write_picture(out, read_picture(tmp_path / "still.tif")) == ()
        if extension == "tif":
            with tifffile.TiffFile(out) as file:
                seen = file.asarray().reshape(-1, *codes.shape[2:])
        else:
            seen = np.asarray(cv2.imread(str(out), cv2.IMREAD_UNCHANGED))
            seen = seen[..., [2, 1, 0, 3][: codes.shape[2]]].reshape(-1, codes.shape[2])
        expected = upright_codes(codes, orientation)
        assert seen.dtype == codes.dtype
        np.testing.assert_array_equal(seen, expected.reshape(-1, codes.shape[2]))
        assert read_picture(out).encoding.metadata.icc == PROFILES[profile]


@given(
    codes=arrays.arrays(
        np.float16,
        st.tuples(st.integers(1, 9), st.integers(1, 9), st.just(3)),
        elements=st.floats(-60000, 60000, width=16),
    )
)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_half_float_comes_back(tmp_path: Path, codes: np.ndarray):
    planes = {name: np.ascontiguousarray(codes[..., k]) for k, name in enumerate("RGB")}
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, dict(planes)).write(str(tmp_path / "still.exr"))
    picture = read_picture(tmp_path / "still.exr")
    np.testing.assert_array_equal(picture.radiance, codes.astype(np.float32))
    assert write_picture(tmp_path / "out.exr", picture) == ()
    stored = OpenEXR.File(str(tmp_path / "out.exr"), separate_channels=True).parts[0].channels
    for name, plane in planes.items():
        np.testing.assert_array_equal(stored[name].pixels.view("u2"), plane.view("u2"))


def test_png_made_of_scene_light_says_that_it_is_srgb(tmp_path):
    light = np.random.default_rng(4).random((5, 7, 3), dtype=np.float32)
    picture = Picture(radiance=light, encoding=Encoding.linear())
    write_picture(tmp_path / "scene.png", picture)
    assert b"sRGB\0" in (tmp_path / "scene.png").read_bytes()
    assert read_picture(tmp_path / "scene.png").notices == ()
