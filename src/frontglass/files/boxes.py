"""Boxes of a HEIF or AVIF file: its items, what is said of them, and where their bytes are.

Layout after [ISO23008-12] and the item boxes of [ISO14496-12], clause 8.11.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from frontglass.errors import PictureFileError

_MOST_ITEMS = 20_000
_MOST_EXTENTS = 100_000
_MOST_PROPERTIES = 32_767


class Box(NamedTuple):
    """A box: its name and where its content lies in the file."""

    name: bytes
    start: int
    end: int


class Property(NamedTuple):
    """A property of an item, and its content."""

    name: bytes
    content: bytes


@dataclass(slots=True)
class Items:
    """Items of a file by their numbers.

    Parameters
    ----------
    primary : int
        The picture.
    primary_at : tuple of int
        Where the number of the picture stands in the file, and in how many bytes.
    brands : tuple of bytes
        What the file says it can be read as.
    kinds : dict
        Four letters that say what each item is.
    names : dict
        Content type of items of kind "mime".
    properties : dict
        What is said of each item, in order.
    references : list of (kind, from, to)
        Which items belong to which.
    extents : dict
        Where the bytes of each item lie: pairs of start and length.
    """

    primary: int = 0
    primary_at: tuple[int, int] = (0, 2)
    brands: tuple[bytes, ...] = ()
    kinds: dict[int, bytes] = field(default_factory=dict)
    names: dict[int, bytes] = field(default_factory=dict)
    properties: dict[int, tuple[Property, ...]] = field(default_factory=dict)
    references: list[tuple[bytes, int, tuple[int, ...]]] = field(default_factory=list)
    extents: dict[int, tuple[tuple[int, int], ...]] = field(default_factory=dict)

    def said(self, item: int, name: bytes) -> bytes | None:
        """Content of an item's first property of this name."""
        found = (content for have, content in self.properties.get(item, ()) if have == name)
        return next(found, None)

    def size(self, item: int) -> tuple[int, int]:
        """Width and height that an item claims, before it is turned; 0, 0 where it says none."""
        content = self.said(item, b"ispe")
        if content is None or len(content) < 12:
            return 0, 0
        width, height = struct.unpack_from(">II", content, 4)
        return int(width), int(height)

    def bytes_of(self, item: int, data: bytes) -> bytes:
        """Content of an item.

        Raises
        ------
        PictureFileError
            If it lies outside the file.
        """
        parts = []
        for start, length in self.extents.get(item, ()):
            if start + length > len(data):
                raise PictureFileError("The file is cut short: an item lies beyond its end.")
            parts.append(data[start : start + length])
        return b"".join(parts)

    def pointing_at(self, kind: bytes, item: int) -> list[int]:
        """Items that refer to `item` in this way."""
        return [source for have, source, to in self.references if have == kind and item in to]


def is_heif(data: bytes) -> bool:
    """Whether a file begins as HEIF and AVIF do, with a brand of still pictures."""
    return data[4:8] == b"ftyp" and bool(_BRANDS & {*_brands(data)})


_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"mif1", b"mif2", b"msf1", b"hevc", b"avif", b"avis"}


def _brands(data: bytes) -> tuple[bytes, ...]:
    (length,) = struct.unpack_from(">I", data)
    names = data[8 : min(length, 1024)]
    return (names[:4], *(names[at : at + 4] for at in range(8, len(names) - 3, 4)))


def items_of(data: bytes) -> Items:
    """Read the boxes of a HEIF or AVIF file.

    Raises
    ------
    PictureFileError
        If they are damaged or cut short.
    """
    try:
        for box in _boxes(data, 0, len(data)):
            if box.name == b"meta":
                return _meta(data, box)
    except (struct.error, IndexError, ValueError) as error:
        raise PictureFileError("The file is damaged: its boxes make no sense.") from error
    raise PictureFileError("The file is damaged or cut short: it names no picture.")


def _boxes(data: bytes, start: int, end: int) -> Iterator[Box]:
    while start + 8 <= end:
        length, name = struct.unpack_from(">I4s", data, start)
        head = 8
        if length == 1:
            (length,) = struct.unpack_from(">Q", data, start + 8)
            head = 16
        elif length == 0:
            length = end - start
        if length < head:
            raise ValueError(name)
        yield Box(name, start + head, min(start + length, end))
        start += length


def _meta(data: bytes, meta: Box) -> Items:
    items = Items(brands=_brands(data))
    inside = {box.name: box for box in _boxes(data, meta.start + 4, meta.end)}
    if b"pitm" not in inside or b"iloc" not in inside or b"iinf" not in inside:
        raise PictureFileError("The file is damaged or cut short: it names no picture.")
    at = inside[b"pitm"].start
    wide = data[at] > 0
    items.primary_at = at + 4, 4 if wide else 2
    (items.primary,) = struct.unpack_from(">I" if wide else ">H", data, at + 4)
    _infos(data, inside[b"iinf"], items)
    _locations(data, inside[b"iloc"], inside.get(b"idat"), items)
    if b"iref" in inside:
        _references(data, inside[b"iref"], items)
    if b"iprp" in inside:
        _properties(data, inside[b"iprp"], items)
    return items


def _infos(data: bytes, box: Box, items: Items) -> None:
    head = 6 if data[box.start] == 0 else 8
    for info in _boxes(data, box.start + head, box.end):
        version = data[info.start]
        if info.name != b"infe" or version < 2:
            continue
        at = info.start + 4
        number, at = _number(data, at, 2 if version == 2 else 4)
        kind = data[at + 2 : at + 6]
        items.kinds[number] = kind
        if kind == b"mime":
            _, _, after = data[at + 6 : info.end].partition(b"\0")
            items.names[number] = after.partition(b"\0")[0]
        if len(items.kinds) > _MOST_ITEMS:
            raise ValueError("items")


def _number(data: bytes, at: int, size: int) -> tuple[int, int]:
    """Return a whole number of `size` bytes, and where it ends."""
    if at + size > len(data):
        raise IndexError(at)
    return int.from_bytes(data[at : at + size], "big"), at + size


def _locations(data: bytes, box: Box, stored: Box | None, items: Items) -> None:
    version, at = data[box.start], box.start + 4
    sizes = struct.unpack_from(">H", data, at)[0]
    offset_size, length_size, base_size, index_size = (sizes >> s & 15 for s in (12, 8, 4, 0))
    wide = 2 if version < 2 else 4
    count, at = _number(data, at + 2, wide)
    left = _MOST_EXTENTS
    for _ in range(count):
        number, at = _number(data, at, wide)
        method = 0
        if version > 0:
            method, at = _number(data, at, 2)
        base, at = _number(data, at + 2, base_size)
        parts, at = _number(data, at, 2)
        extents = []
        left -= parts
        if left < 0 or at > box.end:
            raise ValueError("extents")
        for _ in range(parts):
            if version > 0:
                at += index_size
            offset, at = _number(data, at, offset_size)
            length, at = _number(data, at, length_size)
            start = base + offset
            if method & 15 == 1 and stored is not None:
                start += stored.start
            extents.append((start, length or len(data) - start))
        items.extents[number] = tuple(extents)


def _references(data: bytes, box: Box, items: Items) -> None:
    size = 2 if data[box.start] == 0 else 4
    for one in _boxes(data, box.start + 4, box.end):
        source, at = _number(data, one.start, size)
        count, at = _number(data, at, 2)
        if at + count * size > one.end or len(items.references) > _MOST_ITEMS:
            raise ValueError("references")
        to = tuple(int.from_bytes(data[at + k * size : at + (k + 1) * size]) for k in range(count))
        items.references.append((one.name, source, to))


def _properties(data: bytes, box: Box, items: Items) -> None:
    inside = list(_boxes(data, box.start, box.end))
    have: list[Property] = []
    for one in inside:
        if one.name == b"ipco":
            have += [
                Property(p.name, data[p.start : p.end]) for p in _boxes(data, one.start, one.end)
            ]
    for one in inside:
        if one.name != b"ipma":
            continue
        version, flags = data[one.start], data[one.start + 3]
        count, at = _number(data, one.start + 4, 4)
        for _ in range(min(count, _MOST_ITEMS)):
            number, at = _number(data, at, 2 if version == 0 else 4)
            parts, at = _number(data, at, 1)
            mine = []
            for _ in range(parts):
                index, at = _number(data, at, 2 if flags & 1 else 1)
                index &= 0x7FFF if flags & 1 else 0x7F
                if 0 < index <= len(have):
                    mine.append(have[index - 1])
            items.properties[number] = (*items.properties.get(number, ()), *mine)
