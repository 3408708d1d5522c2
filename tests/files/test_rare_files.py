"""Kinds of files that are met now and then: read with a word, or refused with one."""

from __future__ import annotations

import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from frontglass.errors import PictureFileError
from frontglass.files.png import XMP_KEYWORD, chunk_bytes
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.encoding import AlphaKind, Sample


def codes(channels: int = 3, dtype: str = "u1") -> np.ndarray:
    rng = np.random.default_rng(channels)
    top = np.iinfo(dtype).max
    pixels = rng.integers(0, top, (18, 26, channels), dtype, endpoint=True)
    return pixels[..., 0] if channels == 1 else pixels


def tiff(path: Path, pixels: np.ndarray, **options: Any) -> Path:
    tifffile.imwrite(path, pixels, metadata=None, **options)
    return path


@pytest.mark.parametrize("mode", ["RGB", "L", "CMYK"])
def test_tiff_with_jpeg_inside(tmp_path: Path, mode: str):
    path = tmp_path / "still.tif"
    Image.fromarray(np.full((40, 60, 3), 90, np.uint8)).convert(mode).save(path, compression="jpeg")
    with Image.open(path) as still:
        expected = np.array(still)
    picture = read_picture(path)
    native = picture.encoding.native
    stored = picture.encoding.codes if native is None else native.codes
    np.testing.assert_array_equal(np.squeeze(stored), expected)
    assert write_picture(tmp_path / "out.tif", picture) == ()
    np.testing.assert_array_equal(tifffile.imread(tmp_path / "out.tif"), expected)


def test_double_float_is_handled_as_float_with_a_notice(tmp_path: Path):
    light = np.random.default_rng(1).random((9, 8, 3))
    picture = read_picture(tiff(tmp_path / "still.tif", light, photometric="rgb"))
    assert "64-bit float samples are handled as 32-bit." in picture.notices
    np.testing.assert_array_equal(picture.radiance, light.astype("f4"))
    assert picture.encoding.sample is Sample.FLOAT


@pytest.mark.source("TIFF6.0", "PhotometricInterpretation 0, WhiteIsZero")
def test_white_is_zero_grey_is_turned_round_with_a_notice(tmp_path: Path):
    path = tiff(tmp_path / "still.tif", codes(1), photometric="miniswhite")
    picture = read_picture(path)
    assert picture.encoding.codes is not None
    np.testing.assert_array_equal(picture.encoding.codes[..., 0], 255 - codes(1))
    assert any("White-is-zero" in notice for notice in picture.notices)


def test_further_channels_are_left_out_with_a_notice(tmp_path: Path):
    path = tiff(
        tmp_path / "still.tif", codes(5), photometric="rgb",
        extrasamples=["unspecified", "assocalpha"],
    )  # fmt: skip
    picture = read_picture(path)
    assert "Further channels of the TIFF file are left out." in picture.notices
    assert picture.encoding.alpha is not None
    assert picture.encoding.alpha.kind is AlphaKind.PREMULTIPLIED
    np.testing.assert_array_equal(picture.encoding.alpha.codes, codes(5)[..., 4])


@pytest.mark.parametrize(
    ("pixels", "options", "reason"),
    [
        (codes(3, "u4"), {"photometric": "rgb"}, "32-bit samples"),
        (codes(3).astype("i2"), {"photometric": "rgb"}, "cannot be read"),
        (codes(3), {"photometric": 8}, "photometric interpretation 8"),
    ],
)
def test_unusual_samples_are_refused_with_the_reason(
    tmp_path: Path, pixels: np.ndarray, options: dict[str, Any], reason: str
):
    path = tiff(tmp_path / "still.tif", pixels, **options)
    with pytest.raises(PictureFileError, match=reason):
        read_picture(path)


@pytest.mark.source("TIFF6.0", "FillOrder 2: the first pixel in the lowest bit of a byte")
def test_reversed_bits_are_read(tmp_path: Path):
    reversed_codes = np.packbits(np.unpackbits(codes(1), bitorder="little")).reshape(18, 26)
    path = tiff(tmp_path / "still.tif", reversed_codes, photometric="minisblack")
    with tifffile.TiffFile(path) as file:
        offset = file.pages.first.tags["ResolutionUnit"].offset
    data = bytearray(path.read_bytes())
    struct.pack_into("<HHIH", data, offset, 266, 3, 1, 2)
    path.write_bytes(data)
    np.testing.assert_array_equal(read_picture(path).encoding.codes[..., 0], codes(1))


def png(path: Path, header: bytes, rows: bytes, *chunks: tuple[bytes, bytes]) -> Path:
    parts = [(b"IHDR", header), *chunks, (b"IDAT", zlib.compress(rows)), (b"IEND", b"")]
    data = b"".join(chunk_bytes(kind, content) for kind, content in parts)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + data)
    return path


@pytest.mark.parametrize(("depth", "levels"), [(2, [0, 85, 170, 255]), (4, [0, 17, 34, 51])])
def test_few_bit_grey_is_handled_as_8_bit_with_a_notice(
    tmp_path: Path, depth: int, levels: list[int]
):
    packed = 0
    for value in range(4):
        packed = packed << depth | value
    rows = b"\0" + packed.to_bytes(4 * depth // 8, "big")
    header = struct.pack(">IIBBBBB", 4, 1, depth, 0, 0, 0, 0)
    picture = read_picture(png(tmp_path / "still.png", header, rows))
    assert picture.encoding.codes is not None
    assert picture.encoding.codes[0, :, 0].tolist() == levels
    assert f"{depth}-bit grey is handled as 8-bit." in picture.notices


def test_packed_xmp_in_png_is_read(tmp_path: Path):
    packet = b"<x:xmpmeta/>" * 50
    content = XMP_KEYWORD + b"\0\1\0\0\0" + zlib.compress(packet)
    header = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    picture = read_picture(png(tmp_path / "still.png", header, b"\0\x40", (b"iTXt", content)))
    assert picture.encoding.metadata.xmp == packet


def test_damaged_side_information_of_png_does_not_stop_reading(tmp_path: Path):
    header = struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)
    bad = [
        (b"iCCP", b"no end of name"),
        (b"iTXt", XMP_KEYWORD + b"\0\1\0\0\0broken"),
        (b"cHRM", struct.pack(">8I", *[1] * 8)),
        (b"gAMA", b"\0\0\0\0"),
        (b"pHYs", struct.pack(">IIB", 0, 0, 1)),
        (b"acTL", struct.pack(">II", 2, 0)),
        (b"eXIf", b"II"),
    ]
    picture = read_picture(png(tmp_path / "still.png", header, b"\0\x40", *bad))
    text = " ".join(picture.notices)
    assert "colour profile is damaged" in text
    assert "chromaticities make no sense" in text
    assert "only its first frame" in text
    assert picture.encoding.metadata.dpi is None


def test_a_header_that_is_none_is_damage(tmp_path: Path):
    (tmp_path / "still.png").write_bytes(b"\x89PNG\r\n\x1a\n" + chunk_bytes(b"IEND", b""))
    with pytest.raises(PictureFileError, match="begin with its header"):
        read_picture(tmp_path / "still.png")
    for name, content in (
        ("still.hdr", b"#?RADIANCE\nFORMAT=16-bit\n\n-Y 1 +X 1\n\1\1\1\1"),
        ("still.hdr", b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 1 +Y 1\n\1\1\1\1"),
        ("still.hdr", b"#?RADIANCE\nPRIMARIES=1 2\n\n-Y 1 +X 1\n\1\1\1\1"),
        ("still.hdr", b"#?RADIANCE\n"),
        ("still.jpg", b"\xff\xd8\xff"),
        ("still.jpg", b"\xff\xd8\xff\xe0\0\4ab\0\0\0\0\0"),
        ("still.jpg", b"\xff\xd8\xff\xda\0\4ab\xff\xd9"),
    ):
        (tmp_path / name).write_bytes(content)
        with pytest.raises(PictureFileError):
            read_picture(tmp_path / name)


def test_jpeg_density_in_centimetres(tmp_path: Path):
    Image.fromarray(codes()).save(tmp_path / "still.jpg", dpi=(100, 100))
    data = bytearray((tmp_path / "still.jpg").read_bytes())
    at = data.index(b"JFIF\0") + 7
    data[at] = 2
    (tmp_path / "still.jpg").write_bytes(data)
    dpi = read_picture(tmp_path / "still.jpg").encoding.metadata.dpi
    assert dpi == pytest.approx((254.0, 254.0))
