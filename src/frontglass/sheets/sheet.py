"""A sheet: pictures and text on grey, in display codes, ready to be written."""

from __future__ import annotations

import io
import math
import zlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from frontglass.arrays import Codes
from frontglass.checks import check_within
from frontglass.choices import Choice
from frontglass.errors import PictureFileError
from frontglass.files.whole import write_whole
from frontglass.picture.region import Region
from frontglass.sheets.lettering import (
    LINE_HEIGHT,
    MISSING,
    SMALLEST_TYPE_PX,
    TextLines,
    broken,
    fitted,
    font,
    text_width_px,
)

# Greys without a tint: the eye takes its white from what surrounds a picture. Darker than
# middle grey, so that halos and lifted blacks both stand out from it; not black, for against
# black every shadow looks lifted.
SURROUND: Final = (52, 52, 52)
TEXT: Final = (232, 232, 232)
QUIET_TEXT: Final = (176, 176, 176)

LACKING: Final = (
    "The type of sheets has Latin, Greek, Cyrillic, Armenian and Georgian letters;"
    f" {MISSING} stands for others."
)
SHEET_QUALITY = 94
# Runs and Huffman codes: a hundredth larger than by a full search, in a quarter of the time.
_PNG: Final = {"compress_type": zlib.Z_RLE}
PHONE_PX, PHONE_TYPE_PX = 390, 11
"""Width of a phone's screen, and the smallest type that is read there. Common practice."""
SHEET_SUFFIXES = (".png", ".jpg", ".jpeg")


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """A finished sheet.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 3), uint8
        sRGB codes.
    notices : tuple of str
        What was assumed on the way, one sentence each.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> fg.Sheet(np.zeros((40, 60, 3), np.uint8)).codes.shape
    (40, 60, 3)
    """

    codes: Codes
    notices: tuple[str, ...] = ()


class SeenOn(Choice):
    """What a sheet is laid out for."""

    DESK = "desk"
    PHONE = "phone"


@dataclass(frozen=True, slots=True)
class Sizes:
    """Sizes that a whole sheet shares [px]."""

    margin: int
    gap: int
    small: int
    large: int
    least: int = SMALLEST_TYPE_PX

    @classmethod
    def of(cls, width_px: int) -> Sizes:
        """Return the sizes that sit well on a sheet `width_px` wide."""
        return cls(*(max(4, round(share * width_px)) for share in (0.028, 0.012, 0.0115, 0.02)))

    @classmethod
    def for_phone(cls, width_px: int) -> Sizes:
        """Return sizes that can be read where the sheet is 390 px wide: type of 11 px there."""
        margin, gap, small, large = (
            round(share * width_px) for share in (0.03, 0.016, 0.0295, 0.042)
        )
        return cls(margin, gap, small, large, least=math.ceil(PHONE_TYPE_PX / PHONE_PX * width_px))


class Page:
    """A sheet being laid out: what goes where, before its height is known."""

    def __init__(self, width_px: int, sizes: Sizes) -> None:
        self.width_px = width_px
        self.sizes = sizes
        self._pictures: list[tuple[int, int, Codes]] = []
        self._texts: list[tuple[int, int, TextLines, tuple[int, int, int]]] = []
        self._boxes: list[tuple[int, int, int, int, TextLines]] = []

    @property
    def room_px(self) -> int:
        """Width between the margins [px]."""
        return self.width_px - 2 * self.sizes.margin

    def put(self, x_px: int, y_px: int, codes: Codes) -> None:
        """Place a picture by its upper left corner."""
        self._pictures.append((x_px, y_px, codes))

    def say(
        self, x_px: int, y_px: int, lines: TextLines, colour: tuple[int, int, int] = TEXT
    ) -> int:
        """Place text by its upper left corner; return where the next thing may stand."""
        self._texts.append((x_px, y_px, lines, colour))
        return y_px + lines.height_px

    def say_head(self, title: str, texts: Iterable[str]) -> int:
        """Set a title at the top, and quiet texts under it; return where they end."""
        sizes = self.sizes
        y = self.say(sizes.margin, sizes.margin, fitted([title], self.room_px, sizes.large)[0])
        for text in texts:
            y = self.say(sizes.margin, y, broken(text, self.room_px, sizes.small), QUIET_TEXT)
        return y

    def mark(self, x_px: int, y_px: int, width_px: int, height_px: int, tag: TextLines) -> None:
        """Draw a thin box round a part of a picture, just outside of it, with a tag above."""
        self._boxes.append((x_px, y_px, width_px, height_px, tag))

    def mark_parts(self, regions: Iterable[Region], scale: float, top_px: int) -> None:
        """Box numbered parts on the first still, shown at that scale at the left margin."""
        for number, region in enumerate(regions):
            self.mark(
                self.sizes.margin + round(region.x_px * scale),
                top_px + round(region.y_px * scale),
                math.ceil(region.width_px * scale),
                math.ceil(region.height_px * scale),
                TextLines((str(number + 1),), max(self.sizes.least, round(0.8 * self.sizes.small))),
            )

    def sheet(self, height_px: int, notices: Iterable[str] = ()) -> Sheet:
        """Return the finished sheet; a note says if its type lacks letters."""
        lines = (line for _, _, text, _ in self._texts for line in text.lines)
        lacks = (LACKING,) if any(MISSING in line for line in lines) else ()
        return Sheet(self.painted(height_px), (*notices, *lacks))

    def painted(self, height_px: int) -> Codes:
        """Return the page's codes."""
        codes = np.empty((height_px, self.width_px, 3), np.uint8)
        codes[:] = SURROUND
        for x, y, picture in self._pictures:
            rows, columns = picture.shape[:2]
            codes[y : y + rows, x : x + columns] = picture
        image = Image.fromarray(codes)
        draw = ImageDraw.Draw(image)
        for x, y, width, height, tag in self._boxes:
            # Dark, light, dark: a box is seen over any picture.
            draw.rectangle((x - 3, y - 3, x + width + 2, y + height + 2), outline=SURROUND, width=3)
            draw.rectangle((x - 2, y - 2, x + width + 1, y + height + 1), outline=TEXT)
            across = math.ceil(text_width_px(tag.lines[0], tag.size_px)) + tag.size_px
            above = y - 3 - tag.height_px
            draw.rectangle((x - 3, above, x - 3 + across, y - 4), fill=SURROUND)
            draw_lines(draw, x - 3 + tag.size_px // 2, above, tag, TEXT)
        for x, y, lines, colour in self._texts:
            draw_lines(draw, x, y, lines, colour)
        return np.asarray(image)


def draw_lines(
    draw: ImageDraw.ImageDraw, x_px: int, y_px: int, lines: TextLines, colour: tuple[int, int, int]
) -> None:
    """Draw text by its upper left corner."""
    for number, line in enumerate(lines.lines):
        baseline = y_px + round((number + 0.75) * lines.size_px * LINE_HEIGHT)
        draw.text((x_px, baseline), line, fill=colour, font=font(lines.size_px), anchor="ls")


def write_sheet(path: str | Path, sheet: Sheet, *, quality: int | None = None) -> None:
    """Write a sheet as PNG or JPEG, by its extension; whole or not at all.

    Parameters
    ----------
    path : str or Path
        Where to write.
    sheet : Sheet
        What to write.
    quality : int or None
        Quality of a JPEG, 1 to 100.

    Raises
    ------
    PictureFileError
        If the extension is neither, or the file cannot be written.
    ParameterError
        If `quality` is out of range.

    Examples
    --------
    >>> import tempfile, numpy as np, frontglass as fg
    >>> from pathlib import Path
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder, "sheet.png")
    ...     fg.write_sheet(path, fg.Sheet(np.zeros((40, 60, 3), np.uint8)))
    ...     path.is_file()
    True
    """
    target = Path(path)
    check_suffix(target)
    kind = "PNG" if target.suffix.lower() == ".png" else "JPEG"
    image = Image.fromarray(sheet.codes)
    chosen = SHEET_QUALITY if quality is None else check_within("quality", quality, 1, 100)
    # Colour at full resolution: small warm lamps would smear at half.
    options = _PNG if kind == "PNG" else {"quality": int(chosen), "subsampling": 0}
    write_whole(target, lambda beside: image.save(beside, kind, **options))


def png_bytes(codes: Codes) -> bytes:
    """PNG of display codes, in memory."""
    return _held(codes, "PNG", **_PNG)


def jpeg_bytes(codes: Codes, quality: int) -> bytes:
    """JPEG of display codes, in memory."""
    return _held(codes, "JPEG", quality=quality, subsampling=0)


def _held(codes: Codes, kind: str, **options: int) -> bytes:
    out = io.BytesIO()
    Image.fromarray(codes).save(out, kind, **options)
    return out.getvalue()


def check_suffix(path: Path) -> None:
    """Refuse a name that is neither a PNG's nor a JPEG's."""
    if path.suffix.lower() not in SHEET_SUFFIXES:
        msg = f"{path}: a sheet is a PNG or a JPEG; end its name with .png or .jpg."
        raise PictureFileError(msg)
