"""What files say of their gain maps: the standard's binary block, and the XMP forms before it."""

from __future__ import annotations

import math
import re
import struct
from typing import NamedTuple

from frontglass.errors import PictureFileError
from frontglass.picture.gain_map import Gain, LinearGain, LogGain

ISO_NAME = b"urn:iso:std:iso:ts:21496:-1\0"
PHONE_NAMES = (
    b"urn:com:apple:photo:2020:aux:hdrgainmap",
    b"urn:com:samsung:photo:2024:aux:hdrgainmap",
)
"""Types of the auxiliary pictures in which phones keep gain maps."""
_MOST_STOPS = 16.0
_SEVERAL, _OWN_COLOUR, _COMMON, _BACKWARD = 0x80, 0x40, 0x08, 0x04
BASE_IS_BRIGHTER = "The file's gain map leads to a darker picture; the brighter one is read."


class GainSaid(NamedTuple):
    """What is said of a gain map.

    Parameters
    ----------
    gain : Gain
        What its numbers do.
    is_own_colour : bool
        Whether it acts on the base's own primaries.
    """

    gain: Gain
    is_own_colour: bool = True


def said_by_iso(content: bytes) -> GainSaid:
    """Read the metadata block of [ISO21496-1] annex C, without any version before it.

    Raises
    ------
    PictureFileError
        If it is damaged, of a later kind, or leads to a darker picture.
    """
    try:
        minimum, _, flags = struct.unpack_from(">HHB", content)
        if minimum > 0:
            raise PictureFileError("The file's gain map is of a kind that came later.")
        channels = 3 if flags & _SEVERAL else 1
        numbers = _common(content, channels) if flags & _COMMON else _single(content, channels)
    except (struct.error, ZeroDivisionError):
        raise PictureFileError(
            "The file's gain map is damaged: its numbers are cut short."
        ) from None
    base, other, *rest = numbers
    if base > other or flags & _BACKWARD:
        raise PictureFileError(BASE_IS_BRIGHTER)
    rows = [rest[5 * k : 5 * k + 5] for k in range(channels)] * (3 // channels)
    return GainSaid(_checked(*zip(*rows, strict=True)), bool(flags & _OWN_COLOUR))


def _single(content: bytes, channels: int) -> list[float]:
    """Numbers that have a denominator each: headrooms, then five for each channel."""
    form = ">IIII" + "iIiIIIiIiI" * channels
    pairs = struct.unpack_from(form, content, 5)
    return [n / d for n, d in zip(pairs[::2], pairs[1::2], strict=True)]


def _common(content: bytes, channels: int) -> list[float]:
    """Numbers over one denominator."""
    under, base, other = struct.unpack_from(">III", content, 5)
    rest = struct.unpack_from(">" + "iiIii" * channels, content, 17)
    return [number / under for number in (base, other, *rest)]


def _checked(
    least: tuple[float, ...],
    most: tuple[float, ...],
    gamma: tuple[float, ...],
    base_offset: tuple[float, ...],
    other_offset: tuple[float, ...],
) -> LogGain:
    values = (*least, *most, *gamma, *base_offset, *other_offset)
    is_sound = (
        all(math.isfinite(value) for value in values)
        and all(abs(value) <= _MOST_STOPS for value in (*least, *most))
        and all(a <= b for a, b in zip(least, most, strict=True))
        and all(0.01 <= value <= 100 for value in gamma)
        and all(abs(value) <= 1 for value in (*base_offset, *other_offset))
    )
    if not is_sound:
        raise PictureFileError("The file's gain map is damaged: its numbers make no sense.")
    return LogGain(
        least=_three(least),
        most=_three(most),
        gamma=_three(gamma),
        base_offset=_three(base_offset),
        other_offset=_three(other_offset),
    )


def _three(values: tuple[float, ...]) -> tuple[float, float, float]:
    return values[0], values[1], values[2]


def said_by_xmp(xmp: bytes) -> GainSaid | None:
    """Read the XMP form that came before the standard; None where it is not there.

    Raises
    ------
    PictureFileError
        If it makes no sense, or leads to a darker picture.
    """
    if not values_of(xmp, "hdrgm:Version") or not values_of(xmp, "hdrgm:GainMapMax"):
        return None
    if "true" in [value.lower() for value in values_of(xmp, "hdrgm:BaseRenditionIsHDR")]:
        raise PictureFileError(BASE_IS_BRIGHTER)
    # Left out, they are those of the specification 1.0 of that form.
    stock = (("GainMapMin", 0.0), ("GainMapMax", 0.0), ("Gamma", 1.0), ("OffsetSDR", 1 / 64))
    rows = [_numbers(xmp, f"hdrgm:{name}", value) for name, value in stock]
    least, most, gamma, base_offset = rows
    other_offset = _numbers(xmp, "hdrgm:OffsetHDR", 1 / 64)
    return GainSaid(_checked(least, most, gamma, base_offset, other_offset))


def _numbers(xmp: bytes, name: str, stock: float) -> tuple[float, ...]:
    """Return three numbers of a name, given once or for each channel."""
    try:
        found = [float(value) for value in values_of(xmp, name)] or [stock]
    except ValueError:
        found = []
    if len(found) not in {1, 3}:
        raise PictureFileError("The file's gain map is damaged: its numbers make no sense.")
    return tuple(found * (3 // len(found)))


def headroom_in_xmp(xmp: bytes) -> float | None:
    """Headroom that newer phones of the older form write beside their map; None where none is."""
    try:
        (value,) = (float(text) for text in values_of(xmp, "HDRGainMap:HDRGainMapHeadroom"))
    except ValueError:
        return None
    return value if 1 <= value <= 2**_MOST_STOPS else None


def values_of(xmp: bytes, name: str) -> list[str]:
    """Return texts of an XMP property: of an attribute, an element, or a list in one."""
    wanted = re.escape(name.encode())
    attribute = re.search(rb"\s" + wanted + rb"\s*=\s*(?:\"([^\"]*)\"|'([^']*)')", xmp)
    if attribute:
        return [(attribute[1] or attribute[2] or b"").decode("utf-8", "replace")]
    element = re.search(
        rb"<" + wanted + rb"(?:\s[^>]*)?>(.{0,4096}?)</" + wanted + rb">", xmp, re.S
    )
    if element is None:
        return []
    inside = re.findall(rb"<rdf:li[^>]*>([^<]*)</rdf:li>", element[1]) or [element[1]]
    return [text.strip().decode("utf-8", "replace") for text in inside]


def phone_gain(headroom: float) -> GainSaid:
    """Return what a map of the older form does at a headroom."""
    return GainSaid(LinearGain(headroom=headroom))


def headroom_of_maker_note(gain: float, boost: float) -> float:
    """Headroom by two numbers of a phone's maker note, as its maker publishes it.

    Parameters
    ----------
    gain, boost : float
        Entries 33 and 48.
    """
    if gain < 1.0:
        stops = -20.0 * boost + 1.8 if boost <= 0.01 else -0.101 * boost + 1.601
    else:
        stops = -70.0 * boost + 3.0 if boost <= 0.01 else -0.303 * boost + 2.303
    return float(2.0 ** min(max(stops, 0.0), 8.0))


_STALE = re.compile(
    rb"<(hdrgm|HDRGainMap|Container):[A-Za-z]+(?:\s[^>]*)?(?:/>|>.*?</\1:[A-Za-z]+>)|"
    rb"\s(?:hdrgm|HDRGainMap):[A-Za-z]+\s*=\s*(?:\"[^\"]*\"|'[^']*')",
    re.S,
)
_DIRECTORY = re.compile(rb"<Container:Directory[^>]*>.*?</Container:Directory>", re.S)


def without_gain_map(xmp: bytes) -> bytes | None:
    """XMP without what it says of a gain map; None where that cannot be told from the rest."""
    from xml.etree import ElementTree

    if not any(name in xmp for name in (b"hdrgm", b"HDRGainMap", b"Container:")):
        return xmp
    left = _STALE.sub(b"", _DIRECTORY.sub(b"", xmp))
    try:
        ElementTree.fromstring(left.strip(b"\0 \t\r\n"))
    except (ElementTree.ParseError, ValueError):
        return None
    return left
