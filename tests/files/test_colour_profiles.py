"""Profiles decode to the colours that littleCMS finds, and are written back."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import skimage
import tifffile
from PIL import Image, ImageCms

from frontglass.errors import PictureFileError
from frontglass.files.icc import ProfileKind, icc_profile_bytes, icc_profile_from_bytes
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.curves import (
    LINEAR,
    OPRGB_CURVE,
    SRGB_CURVE,
    Curve,
    ParametricCurve,
    SampledCurve,
)
from frontglass.picture.primaries import (
    BT709,
    BT2020,
    D50,
    OPRGB,
    P3_D65,
    ROMM,
    Primaries,
    bradford_adaptation,
)

# Stills with embedded profiles of other programs' making, shipped by scikit-image.
PHOTOGRAPHS = ["astronaut.png", "rocket.jpg", "hubble_deep_field.jpg"]


def photograph(name: str) -> Path:
    return Path(skimage.__file__).parent / "data" / name


def lcms_profile(primaries: Primaries, gamma: float) -> bytes:
    """A wide-gamut profile written by littleCMS itself."""
    points = [*primaries.red, 1.0, *primaries.green, 1.0, *primaries.blue, 1.0]
    white = [*primaries.white, 1.0]
    return imagecodecs.cms_profile("rgb", whitepoint=white, primaries=points, gamma=gamma)


def connection_xyz(light: np.ndarray, primaries: Primaries) -> np.ndarray:
    return light @ (bradford_adaptation(primaries.white, D50) @ primaries.xyz_from_rgb).T


def lcms_xyz(codes: np.ndarray, icc: bytes) -> np.ndarray:
    return imagecodecs.cms_transform(
        np.ascontiguousarray(codes), icc, imagecodecs.cms_profile("xyz"), colorspace="rgb",
        outcolorspace="xyz", outdtype="f4", intent=1,
    )  # fmt: skip


def random_codes() -> np.ndarray:
    codes = np.random.default_rng(5).integers(0, 65536, (40, 30, 3), np.uint16)
    codes[0], codes[1] = 0, 65535
    return codes


def tiff_with(icc: bytes, path: Path, codes: np.ndarray) -> Path:
    tifffile.imwrite(path, codes, photometric="rgb", iccprofile=icc, metadata=None)
    return path


@pytest.mark.source("littleCMS2.18", "profiles built and applied by it, through imagecodecs")
@pytest.mark.parametrize("primaries", [BT709, P3_D65, BT2020, OPRGB])
@pytest.mark.parametrize("gamma", [1.0, 1.8, 2.2])
def test_profiles_written_by_littlecms_mean_what_it_says(
    tmp_path: Path, primaries: Primaries, gamma: float
):
    icc, codes = lcms_profile(primaries, gamma), random_codes()
    picture = read_picture(tiff_with(icc, tmp_path / "wide.tif", codes))
    got = connection_xyz(picture.radiance, picture.primaries)
    # s15.16 colorants hold 1.5e-5; three of them add up.
    np.testing.assert_allclose(got, lcms_xyz(codes, icc), atol=5e-5)
    assert picture.primaries.is_close_to(primaries)


@pytest.mark.source("littleCMS2.18", "profiles of ours applied by it, through imagecodecs")
@pytest.mark.parametrize("primaries", [BT709, P3_D65, BT2020, OPRGB, ROMM])
@pytest.mark.parametrize(
    "curve",
    [LINEAR, SRGB_CURVE, OPRGB_CURVE, SampledCurve(np.linspace(0, 1, 300) ** 2)],
    ids=["linear", "srgb", "oprgb", "sampled"],
)
def test_profiles_that_we_write_mean_the_same_to_littlecms(primaries: Primaries, curve: Curve):
    icc, codes = icc_profile_bytes(primaries, (curve,) * 3, "Café"), random_codes()
    expected = connection_xyz(curve.decode(codes / 65535), primaries)
    # Sampled curves are stored at 16 bits.
    np.testing.assert_allclose(lcms_xyz(codes, icc), expected, atol=1e-4)
    opened = ImageCms.ImageCmsProfile(io.BytesIO(icc))
    assert "Café" in ImageCms.getProfileDescription(opened)


@pytest.mark.source("littleCMS2.18", "embedded profiles of photographs in scikit-image")
@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_photographs_decode_to_the_colours_littlecms_finds(name: str):
    path = photograph(name)
    picture = read_picture(path)
    with Image.open(path) as still:
        icc = still.info["icc_profile"]
    codes = np.asarray(picture.encoding.codes)[::7, ::7].astype(np.uint16) * np.uint16(257)
    got = connection_xyz(picture.radiance[::7, ::7], picture.primaries)
    # littleCMS keeps sampled curves at 16 bits: 2e-4 of white near black.
    np.testing.assert_allclose(got, lcms_xyz(codes, icc), atol=3e-4)


@pytest.mark.parametrize("name", PHOTOGRAPHS)
def test_photographs_keep_profile_and_codes(tmp_path: Path, name: str):
    picture = read_picture(photograph(name))
    out = tmp_path / "out.png"
    write_picture(out, picture)
    with Image.open(photograph(name)) as before, Image.open(out) as after:
        assert after.info["icc_profile"] == before.info["icc_profile"]
        np.testing.assert_array_equal(np.array(after), np.array(before.convert(after.mode)))


@pytest.mark.parametrize("extension", ["png", "jpg", "tif"])
def test_a_wide_profile_is_written_into_every_format(tmp_path: Path, extension: str):
    icc = icc_profile_bytes(P3_D65, (SRGB_CURVE,) * 3, "Wide")
    codes = (random_codes() >> 8).astype(np.uint8)
    picture = read_picture(tiff_with(icc, tmp_path / "wide.tif", codes))
    out = tmp_path / f"out.{extension}"
    write_picture(out, picture)
    assert read_picture(out).encoding.metadata.icc == icc
    with Image.open(out) as still:
        assert still.info["icc_profile"] == icc


def test_a_profile_of_several_jpeg_segments_comes_back(tmp_path: Path):
    icc = icc_profile_bytes(P3_D65, (SRGB_CURVE,) * 3, "x" * 60000)
    assert len(icc) > 65536
    picture = read_picture(tiff_with(icc, tmp_path / "wide.tif", np.zeros((9, 9, 3), np.uint8)))
    write_picture(tmp_path / "out.jpg", picture)
    assert read_picture(tmp_path / "out.jpg").encoding.metadata.icc == icc


@pytest.mark.source("ICC.1-2022", "10.18 table 68, parametric curve types 0 to 4")
@pytest.mark.parametrize(
    ("number", "values", "expected"),
    [
        (0, [2.0], lambda x: x**2),
        (1, [2.0, 0.8, 0.2], lambda x: np.where(x >= -0.25, (0.8 * x + 0.2) ** 2, 0)),
        (1, [2.0, 1.25, -0.25], lambda x: np.where(x >= 0.2, (1.25 * x - 0.25) ** 2, 0)),
        (2, [2.0, 1.125, -0.25, 0.0625], lambda x: np.where(
            x >= 0.25 / 1.125, (1.125 * x - 0.25) ** 2 + 0.0625, 0.0625)),
        (3, [2.0, 0.75, 0.25, 0.5, 0.25], lambda x: np.where(
            x >= 0.25, (0.75 * x + 0.25) ** 2, 0.5 * x)),
        (4, [2.0, 0.75, 0.25, 0.5, 0.25, 0.0625, 0.03125], lambda x: np.where(
            x >= 0.25, (0.75 * x + 0.25) ** 2 + 0.0625, 0.5 * x + 0.03125)),
    ],
)  # fmt: skip
def test_parametric_curves_follow_the_specification(
    number: int, values: list[float], expected: Callable[[np.ndarray], np.ndarray]
):
    fixed = [round(value * 65536) for value in values]
    tag = b"para" + struct.pack(f">IHH{len(fixed)}i", 0, number, 0, *fixed)
    curve = icc_profile_from_bytes(with_grey_curve(tag)).curves[0]
    signal = np.linspace(0, 1, 101)
    np.testing.assert_allclose(curve.decode(signal), expected(signal), atol=1e-4)


@pytest.mark.source("ICC.1-2022", "10.6, curve type with one and with many entries")
def test_curve_tags_hold_a_gamma_or_samples():
    gamma = b"curv" + struct.pack(">IIH", 0, 1, round(1.8 * 256))
    curve = icc_profile_from_bytes(with_grey_curve(gamma)).curves[0]
    assert float(curve.decode(0.5)) == pytest.approx(0.5**1.8, abs=1e-3)
    samples = b"curv" + struct.pack(">II3H", 0, 3, 0, 16384, 65535)
    curve = icc_profile_from_bytes(with_grey_curve(samples)).curves[0]
    assert float(curve.decode(0.25)) == pytest.approx(0.125, abs=1e-4)


def with_grey_curve(tag: bytes, connection: bytes = b"XYZ ") -> bytes:
    plain = icc_profile_bytes(BT709, (LINEAR,), "Grey")
    at = plain.index(b"kTRC")
    size = struct.pack(">I", len(plain) + len(tag))
    head = size + plain[4:20] + connection + plain[24:at]
    return head + struct.pack(">4sII", b"kTRC", len(plain), len(tag)) + plain[at + 12 :] + tag


@pytest.mark.source("littleCMS2.18", "a grey profile through the Lab connection space")
@pytest.mark.parametrize("connection", [b"XYZ ", b"Lab "])
def test_grey_profiles_mean_what_littlecms_says(tmp_path: Path, connection: bytes):
    icc = with_grey_curve(b"curv" + struct.pack(">IIH", 0, 1, round(1.5 * 256)), connection)
    codes = np.linspace(0, 65535, 640).reshape(20, 32).astype(np.uint16)
    path = tmp_path / "grey.tif"
    tifffile.imwrite(path, codes, photometric="minisblack", iccprofile=icc, metadata=None)
    picture = read_picture(path)
    xyz = imagecodecs.cms_transform(
        codes, icc, imagecodecs.cms_profile("xyz"), colorspace="gray", outcolorspace="xyz",
        outdtype="f4", intent=1,
    )  # fmt: skip
    np.testing.assert_allclose(picture.radiance[..., 0], xyz[..., 1], atol=2e-4)
    write_picture(tmp_path / "out.tif", picture)
    assert read_picture(tmp_path / "out.tif").encoding.metadata.icc == icc


def test_srgb_is_assumed_and_said_where_there_is_no_profile(tmp_path: Path):
    path = tmp_path / "still.png"
    Image.fromarray(np.full((4, 4, 3), 128, np.uint8)).save(path)
    picture = read_picture(path)
    assert picture.notices == ("No colour profile: BT.709 primaries and the sRGB curve assumed.",)
    assert picture.primaries == BT709
    assert float(picture.radiance[0, 0, 0]) == pytest.approx(0.21586050, abs=1e-7)


def png_with_chunks(path: Path, *chunks: tuple[bytes, bytes]) -> Path:
    from frontglass.files.png import chunk_bytes

    buffer = io.BytesIO()
    Image.fromarray(np.full((4, 4, 3), 128, np.uint8)).save(buffer, "PNG")
    data = buffer.getvalue()
    at = 8 + 25
    path.write_bytes(data[:at] + b"".join(chunk_bytes(*chunk) for chunk in chunks) + data[at:])
    return path


GAMMA = (b"gAMA", struct.pack(">I", 55556))
CHROMATICITIES = (
    b"cHRM",
    struct.pack(">8I", 31270, 32900, 68000, 32000, 26500, 69000, 15000, 6000),
)


@pytest.mark.source("PNG-2003", "11.3.3, gAMA, cHRM and sRGB chunks")
def test_png_colour_chunks_are_honoured_and_kept(tmp_path: Path):
    path = png_with_chunks(tmp_path / "still.png", GAMMA, CHROMATICITIES)
    picture = read_picture(path)
    assert picture.notices == ()
    assert picture.primaries == P3_D65
    assert float(picture.radiance[0, 0, 0]) == pytest.approx((128 / 255) ** 1.8, rel=1e-4)
    write_picture(tmp_path / "out.png", picture)
    data = (tmp_path / "out.png").read_bytes()
    assert all(b"".join(chunk) in data for chunk in (GAMMA, CHROMATICITIES))
    # Formats without such chunks get a profile that says the same.
    write_picture(tmp_path / "out.tif", picture)
    again = read_picture(tmp_path / "out.tif")
    np.testing.assert_allclose(again.radiance, picture.radiance, rtol=1e-4)
    assert again.primaries.is_close_to(P3_D65)


def test_the_png_srgb_chunk_beats_gamma_and_a_profile_beats_both(tmp_path: Path):
    srgb = (b"sRGB", b"\0")
    path = png_with_chunks(tmp_path / "still.png", GAMMA, CHROMATICITIES, srgb)
    picture = read_picture(path)
    assert picture.primaries == BT709
    assert picture.encoding.curves[0] == SRGB_CURVE
    import zlib

    profile = icc_profile_bytes(BT2020, (LINEAR,) * 3, "Wide")
    content = b"Wide\0\0" + zlib.compress(profile)
    path = png_with_chunks(tmp_path / "still.png", srgb, (b"iCCP", content))
    assert read_picture(path).primaries.is_close_to(BT2020)


def test_png_code_points_are_honoured_or_named(tmp_path: Path):
    path = png_with_chunks(tmp_path / "still.png", (b"cICP", bytes([12, 13, 0, 1])))
    assert read_picture(path).primaries == P3_D65
    path = png_with_chunks(tmp_path / "still.png", (b"cICP", bytes([9, 16, 0, 1])))
    assert "(9, 16, 0, 1) are not known" in read_picture(path).notices[0]


@pytest.mark.source("Exif2.3", "tag 40961 ColorSpace; interoperability index R03 of DCF 2.0")
def test_exif_colour_space_is_honoured(tmp_path: Path):
    from PIL import ExifTags

    for value, index, primaries in ((1, "R98", BT709), (65535, "R03", OPRGB)):
        exif = Image.Exif()
        sub = exif.get_ifd(ExifTags.IFD.Exif)
        sub[ExifTags.Base.ColorSpace] = value
        sub[ExifTags.IFD.Interop] = {1: index}
        path = tmp_path / "still.jpg"
        Image.fromarray(np.full((8, 8, 3), 99, np.uint8)).save(path, exif=exif)
        picture = read_picture(path)
        assert picture.primaries == primaries
        assert bool(picture.notices) == (index == "R03")


def test_a_damaged_profile_is_left_out_with_a_notice(tmp_path: Path):
    good = icc_profile_bytes(P3_D65, (SRGB_CURVE,) * 3, "Wide")
    codes = np.full((4, 4, 3), 128, np.uint8)
    for bad in (good[:100], good[:400], b"\0" * 500, good.replace(b"rXYZ", b"none")):
        picture = read_picture(tiff_with(bad, tmp_path / "bad.tif", codes))
        assert picture.primaries == BT709
        assert any("It is left out" in notice for notice in picture.notices)
        write_picture(tmp_path / "out.tif", picture)
        assert read_picture(tmp_path / "out.tif").encoding.metadata.icc is None


def test_cutting_a_profile_anywhere_is_one_kind_of_error():
    whole = icc_profile_bytes(P3_D65, (ParametricCurve(2.2),) * 3, "Wide")
    for length in range(0, len(whole) - 4, 9):
        with pytest.raises(PictureFileError):
            icc_profile_from_bytes(whole[:length])


def test_profiles_of_other_kinds_are_refused():
    with pytest.raises(PictureFileError, match="'Lab' codes"):
        icc_profile_from_bytes(ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes())


def test_littlecms_own_srgb_profile_is_bt709():
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    profile = icc_profile_from_bytes(icc)
    assert profile.kind is ProfileKind.RGB
    assert profile.primaries is not None
    assert profile.primaries.is_close_to(BT709)
    signal = np.linspace(0, 1, 256)
    np.testing.assert_allclose(
        profile.curves[0].decode(signal), SRGB_CURVE.decode(signal), atol=5e-5
    )
