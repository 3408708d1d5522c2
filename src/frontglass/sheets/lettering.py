"""Text on sheets: measured before it is set, so that nothing is ever cut off."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from PIL import ImageFont

Font = ImageFont.FreeTypeFont

LINE_HEIGHT = 1.35
"""Baseline to baseline over type size."""
SEPARATOR = " · "
SMALLEST_TYPE_PX = 12
SMALLEST_SHARE = 0.72
"""How far type may shrink to stay on one line, before it is broken into several."""


@dataclass(frozen=True, slots=True)
class TextLines:
    """Text broken to fit a width.

    Parameters
    ----------
    lines : tuple of str
        Lines from top to bottom.
    size_px : int
        Type size [px].
    """

    lines: tuple[str, ...]
    size_px: int

    @property
    def height_px(self) -> int:
        """Height of the lines with their leading [px]."""
        return round(len(self.lines) * self.size_px * LINE_HEIGHT)


@lru_cache(maxsize=32)
def font(size_px: int) -> Font:
    """Return the type that comes with Pillow, at a size."""
    found = ImageFont.load_default(size_px)
    if not isinstance(found, Font):
        msg = "Pillow was built without FreeType, which sheets need for their text."
        raise RuntimeError(msg)
    return found


@lru_cache(maxsize=1024)
def _is_in_font(character: str) -> bool:
    # A character that the font lacks comes out as the font's box for the missing.
    type_ = font(32)
    shape, missing = type_.getmask(character), type_.getmask("\uffff")
    return character == " " or (shape.size, bytes(shape)) != (missing.size, bytes(missing))


def legible(text: str) -> str:
    """Return `text` with what the type cannot show written as the nearest it can.

    Accents fall away from letters; a character with no near relation becomes "?".

    Examples
    --------
    >>> legible("café")
    'cafe'
    """
    shown = []
    for character in text:
        plain = unicodedata.normalize("NFKD", character)
        plain = "".join(part for part in plain if not unicodedata.combining(part))
        if _is_in_font(character):
            shown.append(character)
        else:
            shown.append("".join(part if _is_in_font(part) else "?" for part in plain))
    return "".join(shown)


def text_width_px(text: str, size_px: int) -> float:
    """Width of a line of text [px]."""
    return font(size_px).getlength(text)


def fitted(texts: Sequence[str], room_px: int, size_px: int) -> list[TextLines]:
    """Break texts that stand beside one another to a width, all at one size.

    They shrink a little to stay on one line each; what still does not fit is broken.
    """
    size_px = max(size_px, SMALLEST_TYPE_PX)
    smallest = max(SMALLEST_TYPE_PX, round(size_px * SMALLEST_SHARE))
    shown = [legible(text) for text in texts]
    for size in range(size_px, smallest - 1, -1):
        if all(text_width_px(text, size) <= room_px for text in shown):
            return [TextLines((text,), size) for text in shown]
    return [broken(text, room_px, smallest) for text in shown]


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
            cut = len(line) - 1
            while cut > 1 and text_width_px(line[:cut], size_px) > room_px:
                cut -= 1
            lines.append(line[:cut])
            line = line[cut:]
    return TextLines((*lines, line), size_px)
