"""Tagged directories, the structure that TIFF files and EXIF blocks share [TIFF6.0] sec. 2."""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from frontglass.errors import PictureFileError

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED = 1, 2, 3, 4, 5, 7
# Of one number, by field type; a rational is two, and text and bytes are no numbers ("c").
_LETTERS = dict(zip(range(1, 14), "BcHIIbchiifdI", strict=True)) | {16: "Q", 17: "q", 18: "Q"}
_RATIONALS = frozenset({RATIONAL, 10})
_MOST_ENTRIES = 4096

Order = Literal["<", ">"]
"""Byte order, as struct and numpy write it."""

EXIF_DIRECTORY, GPS_DIRECTORY, INTEROP_DIRECTORY = 34665, 34853, 40965


@dataclass(frozen=True, slots=True)
class Tag:
    """One entry of a directory.

    Parameters
    ----------
    field_type, count : int
        Type and number of values.
    raw : bytes
        The values in the file's byte order.
    position : int
        Where the entry's value or offset field lies in the data it was read from.
    """

    field_type: int
    count: int
    raw: bytes
    position: int = 0


@dataclass(frozen=True, slots=True)
class Directory:
    """One directory of tags.

    Parameters
    ----------
    order : Order
        Byte order.
    tags : mapping from int to Tag
        The entries that could be read.
    following : int
        Offset of the next directory, or 0.
    following_position : int
        Where that offset itself lies.
    lost : frozenset of int
        Entries that could not be read: of unknown type, or outside the data.
    """

    order: Order
    tags: Mapping[int, Tag]
    following: int
    following_position: int
    lost: frozenset[int] = frozenset()

    def numbers(self, code: int) -> tuple[float, ...]:
        """Values of a numeric tag; () if it is missing or no number.

        A rational with denominator 0 is nan.
        """
        tag = self.tags.get(code)
        if tag is None:
            return ()
        letter = _LETTERS[tag.field_type]
        if letter == "c":
            return ()
        if tag.field_type not in _RATIONALS:
            return struct.unpack(f"{self.order}{tag.count}{letter}", tag.raw)
        pairs = struct.unpack(f"{self.order}{2 * tag.count}{letter}", tag.raw)
        return tuple(
            n / d if d else float("nan") for n, d in zip(pairs[::2], pairs[1::2], strict=True)
        )

    def integers(self, code: int) -> tuple[int, ...]:
        """Values of an integer tag; () if it is missing."""
        return tuple(int(value) for value in self.numbers(code) if value == value // 1)


class Header(NamedTuple):
    """Start of a tagged structure."""

    order: Order
    is_big: bool
    first: int


def header_of(data: bytes) -> Header:
    """Read byte order and the first directory's offset.

    Raises
    ------
    PictureFileError
        If `data` does not begin as TIFF 6 or BigTIFF says.
    """
    orders: dict[bytes, Order] = {b"II": "<", b"MM": ">"}
    order = orders.get(bytes(data[:2]))
    if order is not None and len(data) >= 8:
        (magic,) = struct.unpack_from(f"{order}H", data, 2)
        if magic == 42:
            (first,) = struct.unpack_from(f"{order}I", data, 4)
            return Header(order, is_big=False, first=first)
        if magic == 43 and len(data) >= 16:
            (first,) = struct.unpack_from(f"{order}Q", data, 8)
            return Header(order, is_big=True, first=first)
    raise PictureFileError("The tagged structure is damaged: no TIFF header.")


def directory_at(data: bytes, header: Header, offset: int) -> Directory:
    """Read the directory at `offset`; entries that point outside the data are left out.

    Raises
    ------
    PictureFileError
        If the directory itself does not lie within the data.
    """
    order, is_big = header.order, header.is_big
    count_form, entry_size, offset_form = ("Q", 20, "Q") if is_big else ("H", 12, "I")
    inline = 8 if is_big else 4
    try:
        (count,) = struct.unpack_from(f"{order}{count_form}", data, offset)
        start = offset + struct.calcsize(f"{order}{count_form}")
        if count > _MOST_ENTRIES or offset == 0:
            raise struct.error
        end = start + count * entry_size
        (following,) = struct.unpack_from(f"{order}{offset_form}", data, end)
    except (struct.error, OverflowError):  # an offset may be of 64 bits
        raise PictureFileError("The tagged structure is damaged or cut short.") from None
    tags: dict[int, Tag] = {}
    lost = set()
    for index in range(count):
        at = start + index * entry_size
        code, field_type, number = struct.unpack_from(f"{order}HH{offset_form}", data, at)
        position = at + entry_size - inline
        lost.add(code)
        size = _width(field_type) * number
        if size == 0:
            continue
        where = position
        if size > inline:
            (where,) = struct.unpack_from(f"{order}{offset_form}", data, position)
        if where + size <= len(data):
            tags[code] = Tag(field_type, number, bytes(data[where : where + size]), position)
            lost.discard(code)
    return Directory(order, tags, following, end, frozenset(lost))


def _width(field_type: int) -> int:
    """Bytes of one value; 0 for an unknown type."""
    if field_type not in _LETTERS:
        return 0
    return struct.calcsize(f"<{_LETTERS[field_type]}") * (2 if field_type in _RATIONALS else 1)


Tree = Mapping[int, "Tag | Tree"]
"""Tags by number; a tree in place of a tag is a directory that its tag points to."""


def tree_of(data: bytes, header: Header, directory: Directory) -> dict[int, Tag | Tree]:
    """Tags of `directory` with the EXIF, GPS and interoperability directories in place.

    Each place is followed once: directories that point at one another would branch without end.
    """
    return _tree(data, header, directory, {header.first})


def _tree(
    data: bytes, header: Header, directory: Directory, seen: set[int]
) -> dict[int, Tag | Tree]:
    tree: dict[int, Tag | Tree] = dict(directory.tags)
    for code in (EXIF_DIRECTORY, GPS_DIRECTORY, INTEROP_DIRECTORY):
        pointer = directory.integers(code)
        if not pointer:
            continue
        del tree[code]
        if pointer[0] in seen:
            continue
        seen.add(pointer[0])
        try:
            tree[code] = _tree(data, header, directory_at(data, header, pointer[0]), seen)
        except (PictureFileError, RecursionError):
            continue
    return tree


def tree_bytes(tree: Tree, order: Order, at: int) -> bytes:
    """Lay a tree out as a directory that begins at offset `at`, its values behind it."""
    entries = b""
    values_at = at + 2 + 12 * len(tree) + 4
    body = b""
    for code in sorted(tree):
        node = tree[code]
        if isinstance(node, Tag):
            field_type, count, raw = node.field_type, node.count, node.raw
        else:
            body += b"\0" * (-len(body) % 2)
            field_type, count = LONG, 1
            raw = struct.pack(f"{order}I", values_at + len(body))
            body += tree_bytes(node, order, values_at + len(body))
        if len(raw) > 4:
            body += b"\0" * (-len(body) % 2)
            field = struct.pack(f"{order}I", values_at + len(body))
            body += raw
        else:
            field = raw.ljust(4, b"\0")
        entries += struct.pack(f"{order}HHI", code, field_type, count) + field
    return struct.pack(f"{order}H", len(tree)) + entries + b"\0" * 4 + body


def tag_of(order: Order, field_type: int, *values: int) -> Tag:
    """Return a tag of integer values; rationals as numerator, denominator pairs."""
    count = len(values) // 2 if field_type in _RATIONALS else len(values)
    raw = struct.pack(f"{order}{len(values)}{_LETTERS[field_type]}", *values)
    return Tag(field_type, count, raw)


def bytes_tag(data: bytes, field_type: int = UNDEFINED) -> Tag:
    """Return a tag that holds bytes."""
    return Tag(field_type, len(data), data)
