"""TIFF in its many variants, as another program writes them: read right or refused in one line."""

from __future__ import annotations

import struct
from io import BytesIO
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import tifffile
from PIL import Image

from frontglass.errors import PictureFileError
from frontglass.files.reading import read_picture
from frontglass.files.tiff import read_tiff
from frontglass.files.writing import write_picture
from frontglass.picture.encoding import AlphaKind, NativeKind

ROWS, COLUMNS = 37, 50
LOSSLESS = ("lzw", "zlib", "packbits", "lzma", "zstd")


def whole(bits: int, channels: int = 3) -> np.ndarray:
    """Whole numbers of so many bits, both ends among them, with noise and runs."""
    rng = np.random.default_rng(bits + channels)
    dtype = "u1" if bits <= 8 else "u2" if bits <= 16 else "u4"
    codes = rng.integers(0, 1 << bits, (ROWS, COLUMNS, channels), dtype)
    codes[:4], codes[4:7] = 0, (1 << bits) - 1
    return codes[..., 0] if channels == 1 else codes


def light(dtype: str, channels: int = 3) -> np.ndarray:
    rng = np.random.default_rng(channels)
    values = (rng.standard_normal((ROWS, COLUMNS, channels)) * 2 + 0.5).astype(dtype)
    return values[..., 0] if channels == 1 else values


class Variant(NamedTuple):
    """Pixels, and how they are laid into a TIFF file."""

    pixels: np.ndarray
    options: dict[str, Any]
    stored: np.ndarray | None = None
    """What is handed to the writer, where it wants the axes in another order."""


def grey(bits: int, **options: Any) -> Variant:
    pixels = whole(bits, 1)
    if bits == 1:
        return Variant(pixels * 255, {"photometric": "minisblack"} | options, pixels.astype(bool))
    depth = {} if bits in {8, 16} else {"bitspersample": bits}
    return Variant(pixels, {"photometric": "minisblack"} | depth | options)


def rgb(bits: int, **options: Any) -> Variant:
    depth = {} if bits in {8, 16} else {"bitspersample": bits}
    return Variant(whole(bits), {"photometric": "rgb"} | depth | options)


def floats(dtype: str, **options: Any) -> Variant:
    return Variant(light(dtype), {"photometric": "rgb"} | options)


def planes(variant: Variant, **options: Any) -> Variant:
    stored = np.moveaxis(variant.pixels, 2, 0)
    return Variant(variant.pixels, variant.options | {"planarconfig": "separate"} | options, stored)


TILED = {"tile": (16, 32)}
READ: dict[str, Variant] = {
    **{f"grey-{bits}": grey(bits) for bits in (1, 2, 4, 8, 10, 12, 14, 16)},
    **{f"rgb-{bits}": rgb(bits) for bits in (2, 4, 8, 10, 12, 14, 16)},
    **{f"float-{dtype}": floats(dtype) for dtype in ("f2", "f4", "f8")},
    **{f"rgb-8-{name}": rgb(8, compression=name) for name in LOSSLESS},
    **{f"rgb-16-{name}-tiled": rgb(16, compression=name, **TILED) for name in LOSSLESS},
    **{f"float-{name}": floats("f4", compression=name) for name in LOSSLESS},
    "rgb-8-webp": rgb(8, compression="webp", compressionargs={"lossless": True}),
    "rgb-8-lerc": rgb(8, compression="lerc"),
    **{
        f"rgb-{bits}-differences-{layout}-{order}": rgb(
            bits, compression="lzw", predictor=2, byteorder=order, **tiles
        )
        for bits in (8, 16)
        for layout, tiles in (("strips", {"rowsperstrip": 5}), ("tiles", TILED))
        for order in "<>"
    },
    **{
        f"{dtype}-differences-{layout}-{order}": floats(
            dtype, compression="zlib", predictor=3, byteorder=order, **tiles
        )
        for dtype in ("f2", "f4")
        for layout, tiles in (("strips", {"rowsperstrip": 5}), ("tiles", TILED))
        for order in "<>"
    },
    "rgb-16-big-endian": rgb(16, byteorder=">"),
    "float-big-endian": floats("f4", byteorder=">"),
    "rgb-8-bigtiff": rgb(8, bigtiff=True),
    "rgb-16-bigtiff-big-endian-lzw": rgb(16, bigtiff=True, byteorder=">", compression="lzw"),
    "rgb-8-planes": planes(rgb(8)),
    "rgb-16-planes-zlib": planes(rgb(16), compression="zlib", rowsperstrip=5, predictor=2),
    "rgb-8-planes-tiled": planes(rgb(8), compression="lzw", **TILED),
    "rgb-12-planes": planes(rgb(12)),
    "float-planes-bigtiff": planes(floats("f4"), bigtiff=True),
}
REFUSED: dict[str, tuple[Variant, str]] = {
    "grey-32": (Variant(whole(31, 1), {"photometric": "minisblack"}), "32-bit samples of format 1"),
    "signed-8": (Variant(whole(7).astype("i1"), {"photometric": "rgb"}), "samples of format 2"),
    "signed-16": (Variant(whole(15).astype("i2"), {"photometric": "rgb"}), "samples of format 2"),
    "complex": (Variant(light("c8"), {"photometric": "rgb"}), "samples of format 6"),
    "lab": (Variant(whole(8), {"photometric": "cielab"}), "photometric interpretation 8"),
    "ycbcr": (Variant(whole(8), {"photometric": "ycbcr"}), "photometric interpretation 6"),
    "jpeg-xl": (rgb(8, compression="jpegxl"), "compression 50002"),
    "jpeg-2000": (rgb(8, compression="jpeg2000"), "compression 34712"),
    "palette-16": (
        Variant(whole(16, 1), {"photometric": "palette", "colormap": np.zeros((3, 65536), "u2")}),
        "16-bit palette",
    ),
    "channels": (rgb(8)._replace(
        stored=whole(8, 70), options={"photometric": "rgb", "planarconfig": "contig"}),
        "70 channels"),
}  # fmt: skip


def stored(variant: Variant, path: Path) -> Path:
    pixels = variant.pixels if variant.stored is None else variant.stored
    tifffile.imwrite(path, pixels, metadata=None, **variant.options)
    return path


def test_there_are_more_than_twenty_variants():
    assert len(READ) > 20


@pytest.mark.parametrize("name", list(READ))
def test_every_variant_is_read_to_its_last_code(tmp_path: Path, name: str):
    variant = READ[name]
    picture = read_picture(stored(variant, tmp_path / "still.tif"))
    pixels = np.atleast_3d(variant.pixels)
    bits = variant.options.get("bitspersample", 8 * pixels.dtype.itemsize)
    codes = picture.encoding.codes
    if pixels.dtype.kind == "f":
        np.testing.assert_array_equal(picture.radiance, pixels.astype("f4"))
        return
    assert codes.dtype == (np.uint8 if bits <= 8 else np.uint16)
    # White is white whatever the depth; between, the nearest code.
    expected = pixels.astype(float) * np.iinfo(codes.dtype).max / ((1 << bits) - 1)
    assert np.abs(codes - expected).max() <= 0.5
    if bits in {8, 16}:
        np.testing.assert_array_equal(codes, pixels)
    else:
        whole_bits = 8 * codes.itemsize
        assert f"{bits}-bit samples are handled as {whole_bits}-bit." in picture.notices


@pytest.mark.parametrize("name", list(READ))
def test_every_variant_is_written_back_code_for_code(tmp_path: Path, name: str):
    picture = read_picture(stored(READ[name], tmp_path / "still.tif"))
    write_picture(tmp_path / "out.tif", picture)
    again = read_picture(tmp_path / "out.tif")
    np.testing.assert_array_equal(again.radiance, picture.radiance)
    assert again.encoding.sample is picture.encoding.sample
    if picture.encoding.codes is not None:
        seen = np.atleast_3d(tifffile.imread(tmp_path / "out.tif"))
        scale = 255 if seen.dtype == bool else 1
        np.testing.assert_array_equal(seen * np.uint8(scale), picture.encoding.codes)


@pytest.mark.source("TIFF6.0", "BitsPerSample: codes packed across bytes, highest bit first")
@pytest.mark.parametrize("order", ["<", ">"])
def test_packed_codes_are_the_same_in_either_byte_order(tmp_path: Path, order: str):
    codes = whole(12, 1)[:, :10]
    bits = np.unpackbits(codes.astype(">u2")[..., np.newaxis].view("u1"), axis=-1)[..., 4:]
    data = np.packbits(bits.reshape(ROWS, -1), axis=1).tobytes()
    tags = {256: 10, 257: ROWS, 258: 12, 259: 1, 262: 1, 273: 8, 277: 1, 278: ROWS, 279: len(data)}
    mark = b"II*\0" if order == "<" else b"MM\0*"
    directory = struct.pack(f"{order}H", len(tags)) + b"".join(
        struct.pack(f"{order}HHII", code, 4, 1, value) for code, value in tags.items()
    )
    start = struct.pack(f"{order}I", 8 + len(data) + len(data) % 2)
    (tmp_path / "still.tif").write_bytes(
        mark + start + data + b"\0" * (len(data) % 2) + directory + b"\0" * 4
    )
    stretched = read_picture(tmp_path / "still.tif").encoding.codes[..., 0]
    np.testing.assert_array_equal((stretched * 4095.0 / 65535).round(), codes)


@pytest.mark.parametrize("name", list(REFUSED))
def test_what_is_not_read_is_refused_with_the_reason(tmp_path: Path, name: str):
    variant, reason = REFUSED[name]
    with pytest.raises(PictureFileError, match=reason) as error:
        read_picture(stored(variant, tmp_path / "still.tif"))
    assert "\n" not in str(error.value)


@pytest.mark.parametrize("bits", [1, 8, 12, 16])
def test_white_at_zero_is_turned_round(tmp_path: Path, bits: int):
    variant = grey(bits, photometric="miniswhite")
    picture = read_picture(stored(variant, tmp_path / "still.tif"))
    codes = picture.encoding.codes[..., 0].astype(float)
    top = 255 if bits <= 8 else 65535
    darkness = whole(bits, 1) / ((1 << bits) - 1)
    assert np.abs(codes - top * (1 - darkness)).max() <= 0.5
    assert (picture.encoding.native is None) == (bits > 1)
    # A 1-bit file goes back as one, another only with its numbers turned round.
    assert any("White-is-zero" in notice for notice in picture.notices) == (bits > 1)


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("planar", [False, True])
def test_inks_stay_as_they_are(tmp_path: Path, bits: int, planar: bool):  # noqa: FBT001
    inks = Variant(whole(bits, 4), {"photometric": "separated", "compression": "lzw"})
    inks = planes(inks) if planar else inks
    picture = read_picture(stored(inks, tmp_path / "still.tif"))
    assert picture.encoding.native.kind is NativeKind.CMYK
    np.testing.assert_array_equal(picture.encoding.native.codes, inks.pixels)


@pytest.mark.parametrize("kind", ["unassalpha", "assocalpha"])
@pytest.mark.parametrize("dtype", ["u1", "u2", "f4"])
def test_coverage_and_colour_are_untouched(tmp_path: Path, kind: str, dtype: str):
    pixels = light(dtype, 4) if dtype == "f4" else whole(8 * np.dtype(dtype).itemsize, 4)
    variant = Variant(pixels, {"photometric": "rgb", "extrasamples": [kind], **TILED})
    picture = read_picture(stored(variant, tmp_path / "still.tif"))
    alpha = picture.encoding.alpha
    assert (alpha.kind is AlphaKind.STRAIGHT) == (kind == "unassalpha")
    np.testing.assert_array_equal(alpha.codes, pixels[..., 3])
    codes = picture.radiance if dtype == "f4" else picture.encoding.codes
    np.testing.assert_array_equal(codes, pixels[..., :3])


def test_a_palette_keeps_its_indices_and_colours(tmp_path: Path):
    colour_map = np.random.default_rng(1).integers(0, 256, (3, 256), np.uint16) * 257
    variant = Variant(whole(8, 1), {"photometric": "palette", "colormap": colour_map})
    picture = read_picture(stored(variant, tmp_path / "still.tif"))
    np.testing.assert_array_equal(picture.encoding.native.codes, whole(8, 1))
    np.testing.assert_array_equal(picture.encoding.codes, (colour_map.T // 257)[whole(8, 1)])


@pytest.mark.parametrize("compression", ["group3", "group4", "tiff_ccitt"])
def test_fax_strips_are_unpacked(tmp_path: Path, compression: str):
    bits = whole(1, 1).astype(bool)
    Image.fromarray(bits).save(tmp_path / "still.tif", compression=compression)
    picture = read_picture(tmp_path / "still.tif")
    np.testing.assert_array_equal(picture.encoding.native.codes, 255 * bits)


@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite", "rgb", "ycbcr", "separated"])
@pytest.mark.parametrize("planarconfig", ["contig", "separate"])
def test_jpeg_strips_are_unpacked_as_by_tifffile(
    tmp_path: Path, photometric: str, planarconfig: str
):
    channels = {"minisblack": 1, "miniswhite": 1, "separated": 4}.get(photometric, 3)
    if channels == 1 or photometric == "ycbcr":
        planarconfig = "contig"
    pixels = np.atleast_3d(whole(8, channels))
    pixels = pixels[..., 0] if channels == 1 else pixels
    tifffile.imwrite(
        tmp_path / "still.tif",
        np.moveaxis(pixels, 2, 0) if planarconfig == "separate" else pixels,
        photometric=photometric, planarconfig=planarconfig if channels > 1 else None,
        compression="jpeg", metadata=None, rowsperstrip=16,
    )  # fmt: skip
    expected = tifffile.imread(tmp_path / "still.tif")
    if planarconfig == "separate":
        expected = np.moveaxis(expected, 0, 2)
    if photometric == "miniswhite":
        expected = 255 - expected
    encoding = read_picture(tmp_path / "still.tif").encoding
    codes = encoding.codes if encoding.native is None else encoding.native.codes
    # Two builds of one decoder: the last code may be rounded otherwise.
    assert np.abs(codes.astype(int) - np.atleast_3d(expected)).max() <= 1


DAMAGED = {
    **{name: rgb(16, compression=name, predictor=2, rowsperstrip=6) for name in ("lzw", "zlib")},
    "lzw-tiles": rgb(8, compression="lzw", **TILED),
    "packbits": rgb(8, compression="packbits", rowsperstrip=6),
    "zstd": floats("f4", compression="zstd", predictor=3, rowsperstrip=6),
    "lzma": rgb(8, compression="lzma"),
    "jpeg": rgb(8, compression="jpeg"),
    "webp": rgb(8, compression="webp"),
    "lerc": rgb(8, compression="lerc"),
    "grey-12": grey(12),
    "bigtiff": planes(rgb(8), bigtiff=True, byteorder=">"),
}


def spoilt(data: bytes, seed: int) -> bytes:
    """Some bytes changed, a hole, or an end cut off."""
    rng = np.random.default_rng(seed)
    changed = bytearray(data)
    start = int(rng.integers(len(data)))
    if seed % 3 == 0:
        for place in rng.integers(0, len(data), 4):
            changed[place] = rng.integers(256)
    elif seed % 3 == 1:
        changed[start : start + 16] = b"\xff\x00" * 8
    else:
        del changed[start:]
    return bytes(changed)


def outcome(data: bytes) -> str | bytes:
    try:
        still = read_tiff(data)
    except (PictureFileError, ValueError, OverflowError) as error:
        return str(error)
    assert still.codes.size < 10_000_000
    return still.codes.tobytes()


@pytest.mark.parametrize("name", list(DAMAGED))
def test_a_damaged_file_gives_a_line_or_a_picture_and_the_same_one_again(name: str):
    """A decoder that reads memory which is not its own ends here, or says something else."""
    file = BytesIO()
    variant = DAMAGED[name]
    pixels = variant.pixels if variant.stored is None else variant.stored
    tifffile.imwrite(file, pixels, metadata=None, **variant.options)
    refused = 0
    for seed in range(90):
        data = spoilt(file.getvalue(), seed)
        first = outcome(data)
        litter = np.full(1 << 20, seed, np.uint8)
        assert outcome(data) == first, seed
        assert litter[seed] == seed
        if isinstance(first, str):
            refused += 1
            assert "\n" not in first
    # Every third file is cut short, which is always found out.
    assert refused >= 30


@pytest.mark.parametrize(("tag", "value", "reason"), [
    ("StripByteCounts", 0, "strips without data"),
    ("StripOffsets", 0, "strips without data"),
    ("StripOffsets", 1 << 30, "cut short"),
    ("ImageLength", 1 << 20, "damaged"),
    ("ImageWidth", 0, "0 x 37 pixels"),
    ("ImageWidth", 1 << 30, "more than the 200 megapixels"),
    ("SamplesPerPixel", 65, "65 channels"),
])  # fmt: skip
def test_a_directory_that_claims_too_much_or_nothing_is_refused(
    tmp_path: Path, tag: str, value: int, reason: str
):
    path = stored(rgb(8, compression="zlib"), tmp_path / "still.tif")
    with tifffile.TiffFile(path) as file:
        entry = file.pages.first.tags[tag]
    assert entry.count == 1
    data = bytearray(path.read_bytes())
    struct.pack_into("<HIi", data, entry.offset + 2, 4, 1, value)
    path.write_bytes(data)
    with pytest.raises(PictureFileError, match=reason) as error:
        read_picture(path)
    assert "\n" not in str(error.value)


def test_a_depth_of_unknown_type_is_damage_not_one_bit(tmp_path: Path):
    path = stored(rgb(8), tmp_path / "still.tif")
    with tifffile.TiffFile(path) as file:
        offset = file.pages.first.tags["BitsPerSample"].offset
    data = bytearray(path.read_bytes())
    struct.pack_into("<H", data, offset + 2, 99)
    path.write_bytes(data)
    with pytest.raises(PictureFileError, match="tag 258 is lost"):
        read_picture(path)


@pytest.mark.parametrize(
    ("tiles", "reason"),
    [({}, "its strips do not fill the picture"), ({"tile": (2, 16, 16)}, "damaged")],
)
def test_a_volume_is_refused(tmp_path: Path, tiles: dict[str, Any], reason: str):
    slices = np.stack([whole(8)] * 2)
    tifffile.imwrite(
        tmp_path / "still.tif", slices, photometric="rgb", volumetric=True,
        metadata=None, **tiles,
    )  # fmt: skip
    with pytest.raises(PictureFileError, match=reason):
        read_picture(tmp_path / "still.tif")


def test_jpeg_data_of_odd_channels_are_refused(tmp_path: Path):
    pixels = np.moveaxis(whole(8, 5), 2, 0)
    options = {"photometric": "rgb", "planarconfig": "separate", "extrasamples": [0, 0]}
    tifffile.imwrite(tmp_path / "still.tif", pixels, compression="jpeg", metadata=None, **options)
    with pytest.raises(PictureFileError, match="JPEG data with 5 channels"):
        read_picture(tmp_path / "still.tif")
