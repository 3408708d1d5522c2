"""Reading TIFF: what its samples mean, and what else its tags say [TIFF6.0]."""

from __future__ import annotations

import struct

import numpy as np

from frontglass.errors import PictureFileError
from frontglass.files import tiff_names as names
from frontglass.files.limits import check_size
from frontglass.files.still import FileStill
from frontglass.files.tags import (
    LONG,
    Directory,
    Header,
    Order,
    Tag,
    Tree,
    directory_at,
    header_of,
    tag_of,
    tree_bytes,
    tree_of,
)
from frontglass.files.tiff_pixels import described, one_number, pillow_codes, samples_of
from frontglass.picture.encoding import (
    Alpha,
    AlphaKind,
    Codes,
    Container,
    Metadata,
    Native,
    NativeKind,
)

_JPEG_COMPRESSIONS = {6, 7}


def read_tiff(data: bytes) -> FileStill:
    """Read the first picture of a TIFF file.

    Raises
    ------
    PictureFileError
        If it is damaged, cut short, too large or of a kind not known here.
    """
    header = header_of(data)
    directory = directory_at(data, header, header.first)
    width, height = one_number(directory, names.WIDTH), one_number(directory, names.HEIGHT)
    check_size(width, height)
    _check_whole(data, directory)
    notices: list[str] = []
    if directory.following:
        notices.append("The TIFF file holds several pictures; the first is used.")
    bits = set(directory.integers(names.BITS) or (1,))
    photometric = one_number(directory, names.PHOTOMETRIC)
    if (
        bits == {1}
        or photometric == names.PALETTE
        or one_number(directory, names.COMPRESSION, 1) in (_JPEG_COMPRESSIONS)
    ):
        codes, native = _through_pillow(data, header, directory)
        alpha = None
    else:
        samples = samples_of(data, header, directory, bits)
        codes, native, alpha = _meaning(samples, directory, photometric, notices)
    return FileStill(
        container=Container.TIFF,
        codes=np.ascontiguousarray(codes),
        alpha=alpha,
        native=native,
        metadata=_metadata(data, header, directory),
        orientation=_orientation(directory),
        notices=tuple(notices),
    )


def _orientation(directory: Directory) -> int:
    value = one_number(directory, names.ORIENTATION, 1)
    return value if value in range(1, 9) else 1


def _check_whole(data: bytes, directory: Directory) -> None:
    """Libraries fill strips beyond the file's end with black, some in silence."""
    for offsets, sizes in (
        (names.STRIP_OFFSETS, names.STRIP_BYTES),
        (names.TILE_OFFSETS, names.TILE_BYTES),
    ):
        starts, counts = directory.integers(offsets), directory.integers(sizes)
        if not starts:
            continue
        if len(counts) != len(starts):
            raise PictureFileError("The TIFF file is damaged: strips without sizes.")
        if any(s + n > len(data) for s, n in zip(starts, counts, strict=True)):
            raise PictureFileError("The TIFF file is cut short.")
        return
    raise PictureFileError("The TIFF file is damaged or cut short: no pixel data.")


def _through_pillow(
    data: bytes, header: Header, directory: Directory
) -> tuple[Codes, Native | None]:
    """Bilevel, palette and JPEG-compressed files."""
    # Without orientation: Pillow would turn the picture, which is done later for all formats.
    tree = {code: tag for code, tag in directory.tags.items() if code in names.PIXELS}
    for code in set(tree) & names.SINGLE:
        # One number each, whatever a damaged directory says: Pillow would warn and go on.
        tree[code] = tag_of(directory.order, LONG, one_number(directory, code))
    for code in set(tree) & names.CHUNKS:
        # BigTIFF may hold them in 64 bits, which a classic directory has no type for.
        tree[code] = tag_of(directory.order, LONG, *directory.integers(code))
    mode, codes, palette = pillow_codes(described(data, header, tree))
    if mode == "1":
        grey = np.where(codes, 255, 0).astype(np.uint8)
        return grey[..., np.newaxis], Native(NativeKind.BILEVEL, grey)
    if mode == "P":
        entries = np.frombuffer(palette.ljust(768, b"\0"), np.uint8).reshape(-1, 3)
        return entries[codes], Native(NativeKind.PALETTE, codes, palette)
    if mode == "CMYK":
        return codes, Native(NativeKind.CMYK, codes)
    if mode == "L":
        return codes[..., np.newaxis], None
    if mode == "RGB":
        return codes, None
    raise PictureFileError(f"TIFF files of kind {mode} cannot be read.")


def _meaning(
    samples: Codes, directory: Directory, photometric: int, notices: list[str]
) -> tuple[Codes, Native | None, Alpha | None]:
    if samples.dtype == np.float64:
        samples = samples.astype(np.float32)
        notices.append("64-bit float samples are handled as 32-bit.")
    colours = {names.WHITE_IS_ZERO: 1, names.BLACK_IS_ZERO: 1, names.RGB: 3, names.CMYK: 4}.get(
        photometric
    )
    if colours is None or samples.shape[2] < colours:
        raise PictureFileError(
            f"TIFF files of photometric interpretation {photometric} with {samples.shape[2]} "
            "channels cannot be read. Save it as grey, RGB or CMYK."
        )
    codes, extra = samples[..., :colours], samples[..., colours:]
    alpha = None
    kinds = directory.integers(names.EXTRA_CHANNELS)
    for index, kind in enumerate(kinds[: extra.shape[2]]):
        if kind in {1, 2} and alpha is None:
            alpha_kind = AlphaKind.PREMULTIPLIED if kind == 1 else AlphaKind.STRAIGHT
            alpha = Alpha(np.ascontiguousarray(extra[..., index]), alpha_kind)
    if extra.shape[2] > (alpha is not None):
        notices.append("Further channels of the TIFF file are left out.")
    if photometric == names.WHITE_IS_ZERO:
        if codes.dtype.kind == "f":
            raise PictureFileError("TIFF float samples with white at zero cannot be read.")
        codes = np.iinfo(codes.dtype).max - codes
        notices.append("White-is-zero grey is written back with black at zero.")
    native = None
    if photometric == names.CMYK:
        native = Native(NativeKind.CMYK, np.ascontiguousarray(codes))
    return codes, native, alpha


def _metadata(data: bytes, header: Header, directory: Directory) -> Metadata:
    tree = tree_of(data, header, directory)
    kept = {code: node for code, node in tree.items() if code not in names.STRUCTURE}
    exif = None
    beyond_orientation = set(kept) - {names.ORIENTATION}
    if beyond_orientation:
        mark = b"II*\0" if header.order == "<" else b"MM\0*"
        exif = mark + struct.pack(f"{header.order}I", 8) + tree_bytes(kept, header.order, 8)
    raw = {
        code: directory.tags[code].raw for code in (names.ICC, names.XMP) if code in directory.tags
    }
    return Metadata(icc=raw.get(names.ICC), exif=exif, xmp=raw.get(names.XMP), dpi=_dpi(directory))


def _dpi(directory: Directory) -> tuple[float, float] | None:
    across, down = directory.numbers(names.X_RESOLUTION), directory.numbers(names.Y_RESOLUTION)
    unit = one_number(directory, names.RESOLUTION_UNIT, 2)
    scale = {2: 1.0, 3: 2.54}.get(unit)
    if scale is None or len(across) != 1 or len(down) != 1:
        return None
    if not (across[0] > 0 and down[0] > 0):
        return None
    return across[0] * scale, down[0] * scale


def merged_exif(exif: bytes | None) -> tuple[Order, dict[int, Tag | Tree]]:
    """Byte order and tags of an EXIF block, ready to go into a TIFF file's directory."""
    if exif is None:
        return "<", {}
    try:
        header = header_of(exif)
        directory = directory_at(exif, header, header.first)
    except PictureFileError:
        return "<", {}
    tree = tree_of(exif, header, directory)
    return header.order, {code: node for code, node in tree.items() if code not in names.STRUCTURE}
