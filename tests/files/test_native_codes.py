"""CMYK, table profiles, palettes, 1-bit and grey: kept while unchanged, converted with a word."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable
from pathlib import Path

import colour
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from frontglass.files.icc import icc_profile_bytes
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import NativeKind, Tone
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709, BT2020

SampleFile = Callable[[str], Path]
GRID = 9


def dimmed(picture: Picture, rows: int = 11) -> Picture:
    """The upper half darker, the lower half as it was."""
    light = picture.radiance.copy()
    light[:rows] *= np.float32(0.5)
    return picture.with_radiance(light)


def lab_of(rgb: np.ndarray) -> np.ndarray:
    """CIELAB D50 of linear sRGB, by colour-science."""
    xyz = colour.RGB_to_XYZ(rgb, "sRGB", illuminant=[0.3457, 0.3585])
    return np.asarray(colour.XYZ_to_Lab(xyz, [0.3457, 0.3585]))


def table_tag(inputs: int, nodes: np.ndarray) -> bytes:
    """An ICC lut16 tag with straight curves round a table of codes in [0, 65535]."""
    outputs = nodes.shape[-1]
    straight = struct.pack(">2H", 0, 65535)
    return (
        b"mft2" + struct.pack(">IBBBB", 0, inputs, outputs, GRID, 0)
        + struct.pack(">9i", *[65536 * (k % 4 == 0) for k in range(9)]) + struct.pack(">2H", 2, 2)
        + straight * inputs + np.round(nodes).astype(">u2").tobytes() + straight * outputs
    )  # fmt: skip


def lab_codes(lab: np.ndarray) -> np.ndarray:
    """lut16's legacy 16-bit CIELAB."""
    scale = [65280 / 100, 256.0, 256.0]
    return np.clip(lab * scale + [0, 128 * 256, 128 * 256], 0, 65535)


def profile_with_tables(space: bytes, tags: dict[bytes, bytes]) -> bytes:
    base = icc_profile_bytes(BT709, (SRGB_CURVE,) * 3, "Tables")
    names = (b"desc", b"cprt", b"wtpt")
    at, body, table = 128 + 4 + 12 * (len(names) + len(tags)), b"", b""
    (count,) = struct.unpack_from(">I", base, 128)
    entries = [struct.unpack_from(">4sII", base, 132 + 12 * k) for k in range(count)]
    contents = {name: base[start : start + size] for name, start, size in entries if name in names}
    for name, content in (contents | tags).items():
        table += struct.pack(">4sII", name, at + len(body), len(content))
        body += content + b"\0" * (-len(content) % 4)
    header = struct.pack(">I", at + len(body)) + base[4:8] + b"\x02\x40\0\0" + b"prtr" + space
    return header + b"Lab " + base[24:128] + struct.pack(">I", len(contents | tags)) + table + body


def cmyk_profile(*, with_inverse: bool = True) -> bytes:
    """Inks that take light away in proportion, as a printer profile of tables."""
    ink = np.stack(np.meshgrid(*[np.linspace(0, 1, GRID)] * 4, indexing="ij"), axis=-1)
    light = (1 - ink[..., :3]) * (1 - ink[..., 3:])
    tags = {b"A2B0": table_tag(4, lab_codes(lab_of(light**2.2)))}
    if with_inverse:
        axes = [np.linspace(0, 100, GRID), *[np.linspace(-128, 127, GRID)] * 2]
        lab = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
        xyz = colour.Lab_to_XYZ(lab, [0.3457, 0.3585])
        rgb = colour.XYZ_to_RGB(xyz, "sRGB", illuminant=[0.3457, 0.3585])
        share = np.clip(rgb, 0, 1) ** (1 / 2.2)
        key = 1 - share.max(axis=-1, keepdims=True)
        inks = (1 - share - key) / np.maximum(1 - key, 1e-9)
        tags[b"B2A0"] = table_tag(3, 65535 * np.clip(np.concatenate([inks, key], -1), 0, 1))
    return profile_with_tables(b"CMYK", tags)


def smooth_cmyk() -> np.ndarray:
    x = np.linspace(0, 1, 40)
    codes = np.zeros((22, 40, 4))
    codes[..., 0], codes[..., 1] = 0.6 * x, 0.5 * (1 - x)
    codes[..., 2], codes[..., 3] = 0.3, np.linspace(0, 0.4, 22)[:, np.newaxis]
    return np.round(255 * codes).astype(np.uint8)


def cmyk_still(path: Path, icc: bytes) -> Path:
    options = {"compression": "tiff_lzw"} if path.suffix == ".tif" else {"quality": 100}
    Image.fromarray(smooth_cmyk(), "CMYK").save(path, icc_profile=icc, **options)
    return path


@pytest.mark.source("littleCMS2.18", "CMYK to sRGB through a profile of tables, by ImageCms")
def test_cmyk_decodes_to_the_colours_littlecms_finds(tmp_path: Path):
    icc = cmyk_profile()
    picture = read_picture(cmyk_still(tmp_path / "still.tif", icc))
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)), ImageCms.createProfile("sRGB"), "CMYK", "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )  # fmt: skip
    expected = np.array(ImageCms.applyTransform(Image.fromarray(smooth_cmyk(), "CMYK"), transform))
    light = picture.radiance @ picture.primaries.matrix_to(BT709).T
    got = 255 * SRGB_CURVE.encode(np.clip(light, 0, 1))
    # Ours passes through 8-bit BT.2020 codes, half a code of which is up to 1.2 codes of
    # sRGB (the rows of the matrix between them add up to 2.3), and more beside black.
    assert np.abs(got - expected).max() < 3
    assert np.abs(got - expected).mean() < 0.5
    assert picture.primaries == BT2020


@pytest.mark.parametrize("name", ["still.tif", "still.jpg"])
def test_unchanged_cmyk_keeps_its_codes_and_profile(tmp_path: Path, name: str):
    icc = cmyk_profile()
    picture = read_picture(cmyk_still(tmp_path / name, icc))
    out = tmp_path / f"out_{name}"
    assert write_picture(out, picture) == ()
    with Image.open(out) as still, Image.open(tmp_path / name) as before:
        assert still.mode == "CMYK"
        assert still.info["icc_profile"] == icc
        # Exact in TIFF; JPEG loses a code or two at quality 100.
        error = np.array(still).astype(int) - np.array(before).astype(int)
        assert np.abs(error).max() <= (0 if name.endswith("tif") else 4)


def test_changed_cmyk_goes_back_through_the_profile(tmp_path: Path):
    picture = dimmed(read_picture(cmyk_still(tmp_path / "still.tif", cmyk_profile())))
    assert write_picture(tmp_path / "out.tif", picture) == ()
    with Image.open(tmp_path / "out.tif") as still:
        codes = np.array(still)
        assert still.mode == "CMYK"
    np.testing.assert_array_equal(codes[11:], smooth_cmyk()[11:])
    again = read_picture(tmp_path / "out.tif").radiance
    # Two 9-step tables and two roundings to 8 bits lie between.
    np.testing.assert_allclose(again[:11], picture.radiance[:11], atol=0.05)


def test_changed_cmyk_without_a_way_back_becomes_srgb_with_a_notice(tmp_path: Path):
    still = cmyk_still(tmp_path / "still.tif", cmyk_profile(with_inverse=False))
    picture = dimmed(read_picture(still))
    notices = write_picture(tmp_path / "out.tif", picture)
    assert "CMYK codes cannot be kept; written as sRGB." in notices
    again = read_picture(tmp_path / "out.tif")
    assert again.encoding.native is None
    got = again.radiance
    expected = picture.radiance @ picture.primaries.matrix_to(BT709).T
    np.testing.assert_allclose(got, np.clip(expected, 0, 1), atol=0.02)


def test_cmyk_becomes_srgb_in_formats_without_it(tmp_path: Path, sample_file: SampleFile):
    picture = read_picture(sample_file("tiff-8-cmyk"))
    assert write_picture(tmp_path / "out.png", picture) == (
        "CMYK codes cannot be kept; written as sRGB.",
    )
    np.testing.assert_array_equal(read_picture(tmp_path / "out.png").radiance, picture.radiance)


def test_changed_rgb_with_tables_of_one_way_becomes_srgb_with_a_notice(tmp_path: Path):
    steps = np.linspace(0, 1, GRID)
    nodes = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    icc = profile_with_tables(b"RGB ", {b"A2B0": table_tag(3, lab_codes(lab_of(nodes**2.2)))})
    codes = 255 - smooth_cmyk()[..., :3]
    Image.fromarray(codes).save(tmp_path / "still.png", icc_profile=icc)
    picture = dimmed(read_picture(tmp_path / "still.png"))
    notices = write_picture(tmp_path / "out.png", picture)
    assert notices[0] == "RGB with a table profile codes cannot be kept; written as sRGB."


@pytest.mark.source("littleCMS2.18", "RGB to sRGB through a profile of tables, by ImageCms")
def test_rgb_with_tables_is_kept_and_converted(tmp_path: Path):
    steps = np.linspace(0, 1, GRID)
    nodes = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
    axes = [np.linspace(0, 100, GRID), *[np.linspace(-128, 127, GRID)] * 2]
    xyz = colour.Lab_to_XYZ(np.stack(np.meshgrid(*axes, indexing="ij"), -1), [0.3457, 0.3585])
    back = colour.XYZ_to_RGB(xyz, "sRGB", illuminant=[0.3457, 0.3585])
    icc = profile_with_tables(
        b"RGB ",
        {
            b"A2B0": table_tag(3, lab_codes(lab_of(nodes**2.2))),
            b"B2A0": table_tag(3, 65535 * np.clip(back, 0, 1) ** (1 / 2.2)),
        },
    )
    codes = 255 - smooth_cmyk()[..., :3]
    Image.fromarray(codes).save(tmp_path / "still.png", icc_profile=icc)
    picture = read_picture(tmp_path / "still.png")
    assert picture.encoding.native is not None
    assert picture.encoding.native.kind is NativeKind.TABLE_RGB
    light = picture.radiance @ picture.primaries.matrix_to(BT709).T
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)), ImageCms.createProfile("sRGB"), "RGB", "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )  # fmt: skip
    expected = np.array(ImageCms.applyTransform(Image.fromarray(codes), transform))
    assert np.abs(255 * SRGB_CURVE.encode(np.clip(light, 0, 1)) - expected).max() < 2.5
    assert write_picture(tmp_path / "same.png", picture) == ()
    with Image.open(tmp_path / "same.png") as still:
        np.testing.assert_array_equal(np.array(still), codes)
        assert still.info["icc_profile"] == icc
    changed = dimmed(picture)
    assert write_picture(tmp_path / "changed.png", changed) == ()
    with Image.open(tmp_path / "changed.png") as still:
        np.testing.assert_array_equal(np.array(still)[11:], codes[11:])
    again = read_picture(tmp_path / "changed.png").radiance
    np.testing.assert_allclose(again[:11], changed.radiance[:11], atol=0.06)


def changed_and_read_again(path: Path, folder: Path) -> tuple[Picture, Picture, tuple[str, ...]]:
    """A file's picture, the same dimmed, written and read, and what the writing said."""
    picture = read_picture(path)
    out = folder / f"out{path.suffix}"
    notices = write_picture(out, dimmed(picture))
    return picture, read_picture(out), notices


@pytest.mark.parametrize("name", ["png-palette", "png-palette-4-bit-alpha", "tiff-palette"])
def test_a_changed_palette_picture_becomes_rgb_with_a_notice(
    tmp_path: Path, sample_file: SampleFile, name: str
):
    picture, again, notices = changed_and_read_again(sample_file(name), tmp_path)
    assert notices == ("The palette picture has changed; written as RGB.",)
    assert again.encoding.native is None
    # The part that never changed keeps its colours to the code.
    np.testing.assert_array_equal(again.radiance[11:], picture.radiance[11:])
    if picture.encoding.alpha is not None:
        assert again.encoding.alpha is not None
        np.testing.assert_array_equal(again.encoding.alpha.codes, picture.encoding.alpha.codes)


@pytest.mark.parametrize(("colours", "depth"), [(2, 1), (4, 2), (16, 4), (40, 8)])
def test_indices_of_few_bits_are_read_and_written_as_they_are(
    tmp_path: Path, colours: int, depth: int
):
    codes = np.random.default_rng(colours).integers(0, colours, (7, 11), np.uint8)
    still = Image.new("P", (11, 7))
    still.putdata(codes.ravel().tolist())
    still.putpalette(bytes(range(3 * colours)))
    still.save(tmp_path / "still.png", bits=depth)
    assert (tmp_path / "still.png").read_bytes()[24] == depth
    picture = read_picture(tmp_path / "still.png")
    np.testing.assert_array_equal(picture.encoding.native.codes, codes)
    assert write_picture(tmp_path / "out.png", picture) == ()
    assert (tmp_path / "out.png").read_bytes()[24] == depth
    with Image.open(tmp_path / "out.png") as seen:
        np.testing.assert_array_equal(np.array(seen), codes)
        np.testing.assert_array_equal(np.array(seen.convert("RGB")), picture.encoding.codes)


@pytest.mark.parametrize("name", ["png-1", "tiff-1"])
def test_a_changed_1_bit_picture_becomes_grey_with_a_notice(
    tmp_path: Path, sample_file: SampleFile, name: str
):
    _, again, notices = changed_and_read_again(sample_file(name), tmp_path)
    assert notices == ("The 1-bit picture has changed; written as 8-bit grey.",)
    assert again.encoding.tone is Tone.GREY
    assert again.encoding.native is None


@pytest.mark.parametrize(
    "name", ["png-8-grey", "png-16-grey-alpha", "tiff-16-grey", "tiff-float-grey", "jpeg-grey",
             "exr-float-y"],
)  # fmt: skip
def test_grey_stays_grey_until_a_look_colours_it(
    tmp_path: Path, sample_file: SampleFile, name: str
):
    path = sample_file(name)
    picture = read_picture(path)
    out = tmp_path / f"out{path.suffix}"
    write_picture(out, dimmed(picture))
    assert read_picture(out).encoding.tone is Tone.GREY
    warm = picture.radiance * np.array([1.0, 0.8, 0.6], np.float32)
    notices = write_picture(out, picture.with_radiance(warm))
    assert "The grey picture has become coloured; written as RGB." in notices
    again = read_picture(out)
    assert again.encoding.tone is Tone.RGB
    assert again.encoding.sample is picture.encoding.sample
    error = again.radiance - warm
    # One 8-bit code at white is 0.009; noise through JPEG's tables loses more.
    assert np.sqrt(np.mean(error**2)) < (0.08 if name.startswith("jpeg") else 0.005)


def test_a_coloured_grey_still_gets_an_rgb_profile_of_the_same_curve(tmp_path: Path):
    icc = icc_profile_bytes(BT709, (SRGB_CURVE,), "Grey")
    codes = np.arange(0, 65535, 100, dtype=np.uint16)[:600].reshape(20, 30)
    tifffile.imwrite(
        tmp_path / "still.tif", codes, photometric="minisblack", iccprofile=icc, metadata=None
    )
    picture = read_picture(tmp_path / "still.tif")
    warm = picture.radiance * np.array([1.0, 0.8, 0.6], np.float32)
    write_picture(tmp_path / "out.tif", picture.with_radiance(warm))
    again = read_picture(tmp_path / "out.tif")
    np.testing.assert_allclose(again.radiance, warm, atol=1e-4)
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        assert file.pages.first.tags[34675].value[16:20] == b"RGB "


def test_a_transparent_colour_becomes_an_alpha_channel(tmp_path: Path):
    codes = np.zeros((6, 8, 3), np.uint8)
    codes[2] = (10, 20, 30)
    Image.fromarray(codes).save(tmp_path / "still.png", transparency=(10, 20, 30))
    picture = read_picture(tmp_path / "still.png")
    assert any("alpha channel" in notice for notice in picture.notices)
    write_picture(tmp_path / "out.png", picture)
    with Image.open(tmp_path / "out.png") as still:
        assert still.mode == "RGBA"
        alpha = np.array(still)[..., 3]
    assert np.all(alpha[2] == 0)
    assert np.all(np.delete(alpha, 2, axis=0) == 255)


def interlaced_png(codes: np.ndarray) -> bytes:
    """A PNG in seven passes, unfiltered."""
    import zlib

    from frontglass.files.png import chunk_bytes

    raw = b""
    for left, top, across, down in (
        (0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2),
        (0, 1, 1, 2),
    ):  # fmt: skip
        part = codes[top::down, left::across].astype(codes.dtype.newbyteorder(">"))
        if part.size:
            raw += b"".join(b"\0" + row.tobytes() for row in part)
    height, width = codes.shape[:2]
    header = struct.pack(">IIBBBBB", width, height, 8 * codes.dtype.itemsize, 2, 0, 0, 1)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(raw)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk_bytes(*chunk) for chunk in chunks)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("size", [(1, 1), (3, 2), (9, 13), (24, 17)])
@pytest.mark.source("PNG-2003", "8.2, interlace method 1 (Adam7)")
def test_interlaced_png_files_are_read(tmp_path: Path, dtype: type, size: tuple[int, int]):
    top = np.iinfo(dtype).max
    codes = np.random.default_rng(1).integers(0, top, (*size, 3), dtype, endpoint=True)
    (tmp_path / "still.png").write_bytes(interlaced_png(codes))
    np.testing.assert_array_equal(read_picture(tmp_path / "still.png").encoding.codes, codes)
