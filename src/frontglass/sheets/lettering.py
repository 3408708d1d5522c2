"""Text on sheets: measured before it is set, so that nothing is ever cut off."""

from __future__ import annotations

import io
import unicodedata
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from importlib.resources import files

from PIL import ImageFont
from PIL.ImageFont import Layout

Font = ImageFont.FreeTypeFont

LINE_HEIGHT = 1.35
"""Baseline to baseline over type size."""
SEPARATOR = " · "
MISSING = "□"
"""What stands for a character that the type lacks."""
SMALLEST_TYPE_PX = 12
SMALLEST_SHARE = 0.72
"""How far type may shrink to stay on one line, before it is broken into several."""


@dataclass(frozen=True, slots=True)
class TextLines:
    """Text broken to fit a width: lines from top to bottom, and type size."""

    lines: tuple[str, ...]
    size_px: int

    @property
    def height_px(self) -> int:
        """Height of the lines with their leading [px]."""
        return round(len(self.lines) * self.size_px * LINE_HEIGHT)


@lru_cache(maxsize=32)
def font(size_px: int) -> Font:
    """Return the type that comes with frontglass, at a size."""
    # The plain engine everywhere: another one would set the same sheet otherwise.
    return ImageFont.truetype(io.BytesIO(_type_file()), size_px, layout_engine=Layout.BASIC)


@lru_cache(maxsize=1)
def _type_file() -> bytes:
    return files("frontglass.sheets").joinpath("type", "DejaVuSansCondensed.ttf").read_bytes()


@lru_cache(maxsize=1024)
def _is_in_font(character: str) -> bool:
    # A character that the font lacks comes out as the font's box for the missing.
    type_ = font(32)
    shape, missing = type_.getmask(character), type_.getmask("\uffff")
    return character == " " or (shape.size, bytes(shape)) != (missing.size, bytes(missing))


def legible(text: str) -> str:
    """Return `text` with what the type cannot show written as the nearest it can.

    Latin, Greek, Cyrillic, Armenian and Georgian letters are there; of others accents fall away,
    and a character with no near relation becomes a box.

    Examples
    --------
    >>> legible("café"), legible("灯台.jpg")
    ('café', '□□.jpg')
    """
    shown = []
    for character in unicodedata.normalize("NFC", text):
        plain = unicodedata.normalize("NFKD", character)
        plain = "".join(part for part in plain if not unicodedata.combining(part))
        if _is_in_font(character):
            shown.append(character)
        else:
            shown.append("".join(part if _is_in_font(part) else MISSING for part in plain))
    return "".join(shown)


def text_width_px(text: str, size_px: int) -> float:
    """Width of a line of text [px]."""
    return font(size_px).getlength(text)


def fitted(
    texts: Sequence[str], room_px: int, size_px: int, least_px: int = SMALLEST_TYPE_PX
) -> list[TextLines]:
    """Break texts that stand beside one another to a width, all at one size.

    They shrink a little to stay on one line each, never below `least_px`; what still does not fit
    is broken.
    """
    size_px = max(size_px, SMALLEST_TYPE_PX)
    smallest = min(size_px, max(least_px, SMALLEST_TYPE_PX, round(size_px * SMALLEST_SHARE)))
    shown = [legible(text) for text in texts]
    for size in range(size_px, smallest - 1, -1):
        if all(text_width_px(text, size) <= room_px for text in shown):
            return [TextLines((text,), size) for text in shown]
    return [broken(text, room_px, smallest) for text in shown]


def _width_of_start(line: str, size_px: int, letters: int) -> float:
    return text_width_px(line[:letters], size_px)


def broken(text: str, room_px: int, size_px: int) -> TextLines:
    """Break text at its spaces, and inside a word only where the word alone is too wide."""
    size_px = max(size_px, SMALLEST_TYPE_PX)
    lines: list[str] = []
    line = ""
    for word in legible(text).split():
        longer = f"{line} {word}" if line else word
        if text_width_px(longer, size_px) <= room_px:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while text_width_px(line, size_px) > room_px and len(line) > 1:
            # By halving: a name may have thousands of letters.
            widths = partial(_width_of_start, line, size_px)
            cut = max(1, bisect_right(range(1, len(line)), float(room_px), key=widths))
            lines.append(line[:cut])
            line = line[cut:]
    return TextLines((*lines, line), size_px)
