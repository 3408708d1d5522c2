"""Curves drawn for sheets: axes, lines that differ in colour and dash, names beside their ends."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from PIL import Image, ImageDraw

from frontglass.arrays import Codes
from frontglass.sheets.lettering import font, legible, text_width_px
from frontglass.sheets.sheet import QUIET_TEXT, SURROUND, TEXT

Colour = tuple[int, int, int]

# Light enough for the grey, far apart for red-green blind eyes too, told apart by their dashes
# where colour fails; the bare still is white.
LINES: Final[tuple[Colour, ...]] = (
    (255, 190, 92),
    (110, 190, 255),
    (236, 120, 170),
    (150, 224, 150),
    (204, 170, 255),
    (250, 236, 130),
    (140, 220, 226),
    (255, 150, 120),
)
DASHES: Final[tuple[tuple[int, ...], ...]] = ((), (10, 5), (3, 4), (14, 4, 3, 4))
GRID: Final = (84, 84, 84)
PAPER: Final = (40, 40, 40)
SHARPER = 3
"""Lines are drawn this many times as large and reduced: no steps on slopes."""


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: what it shows, with its unit, its ends, and how far it is from mark to mark."""

    title: str
    low: float
    high: float
    step: float
    tens: bool = False
    """Whether what stands on it are powers of ten of what it shows."""

    @classmethod
    def to(cls, title: str, high: float) -> Axis:
        """Return an axis from 0 to a round number near `high`, in about five steps."""
        rough = high / 5
        tens = 10 ** math.floor(math.log10(rough))
        step = min((1, 2, 2.5, 5, 10), key=lambda n: abs(n * tens - rough)) * tens
        return cls(title, 0.0, high, step)

    @property
    def marks(self) -> list[float]:
        """Where numbers stand."""
        count = int((self.high - self.low) / self.step + 1e-6)
        return [self.low + n * self.step for n in range(count + 1)]

    def told(self, value: float) -> str:
        """Text of a mark: 0.03, 0.1, 0.3, 1 where it stands for powers of ten."""
        if not self.tens:
            return f"{value + 0.0:.4g}"
        return f"{float(f'{10**value:.1g}'):g}"

    def share(self, value: float) -> float:
        """Where on the axis a value stands, 0 to 1."""
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One curve; points that are not finite are left out."""

    x: Sequence[float]
    y: Sequence[float]
    number: int | None = None
    """Which colour and dash; None is the bare still's."""

    @property
    def colour(self) -> Colour:
        """Its colour."""
        return TEXT if self.number is None else LINES[self.number % len(LINES)]

    @property
    def dash(self) -> tuple[int, ...]:
        """Lengths drawn and left out in turn [px]; empty is a whole line."""
        return () if self.number is None else DASHES[self.number % len(DASHES)]


def plot(
    series: Sequence[Series], across: Axis, up: Axis, *, size_px: tuple[int, int], type_px: int
) -> Codes:
    """Codes of curves with their axes, of a size given as width and height [px]."""
    width, height = size_px
    left = math.ceil(max(text_width_px(up.told(v), type_px) for v in up.marks)) + type_px
    box = (left, round(1.8 * type_px), width - type_px, height - round(3.2 * type_px))
    image = Image.new("RGB", size_px, SURROUND)
    image.paste(_lines(series, across, up, box), box[:2])
    draw = ImageDraw.Draw(image)
    letters = font(type_px)
    for value in up.marks:
        y = box[3] - up.share(value) * (box[3] - box[1])
        draw.text((left - type_px // 2, y), up.told(value), QUIET_TEXT, letters, anchor="rm")
    for value in across.marks:
        x = box[0] + across.share(value) * (box[2] - box[0])
        half = text_width_px(across.told(value), type_px) / 2
        x = min(x, width - half)
        draw.text((x, box[3] + type_px // 2), across.told(value), QUIET_TEXT, letters, anchor="mt")
    middle = (box[0] + box[2]) / 2
    draw.text((middle, height - 1), legible(across.title), TEXT, letters, anchor="mb")
    draw.text((0, 0), legible(up.title), TEXT, letters, anchor="lt")
    return np.asarray(image)


def swatch(line: Series, size_px: tuple[int, int]) -> Codes:
    """Codes of a short piece of a curve, to stand beside its name."""
    width, height = (SHARPER * side for side in size_px)
    image = Image.new("RGB", (width, height), SURROUND)
    draw = ImageDraw.Draw(image)
    _stroke(draw, [(0, height / 2), (width, height / 2)], line)
    return np.asarray(image.resize(size_px, Image.Resampling.BOX))


def _lines(
    series: Sequence[Series], across: Axis, up: Axis, box: tuple[int, int, int, int]
) -> Image.Image:
    small = (box[2] - box[0], box[3] - box[1])
    width, height = (SHARPER * side for side in small)
    image = Image.new("RGB", (width, height), PAPER)
    draw = ImageDraw.Draw(image)
    for value in up.marks:
        y = round((1 - up.share(value)) * (height - 1))
        draw.line((0, y, width, y), GRID, SHARPER)
    for value in across.marks:
        x = round(across.share(value) * (width - 1))
        draw.line((x, 0, x, height), GRID, SHARPER)
    for line in series:
        points = [
            (across.share(x) * (width - 1), (1 - up.share(y)) * (height - 1))
            for x, y in zip(line.x, line.y, strict=True)
            if math.isfinite(x) and math.isfinite(y) and across.low <= x <= across.high
        ]
        _stroke(draw, points, line)
    return image.resize(small, Image.Resampling.BOX)


def _stroke(draw: ImageDraw.ImageDraw, points: list[tuple[float, float]], line: Series) -> None:
    """Draw a line through points, in dashes if the series has any."""
    thick = 2 * SHARPER
    if not line.dash:
        draw.line(points, line.colour, thick, joint="curve")
        return
    lengths = [SHARPER * n for n in line.dash]
    turn, left = 0, float(lengths[0])
    for (x0, y0), (x1, y1) in pairwise(points):
        whole = math.hypot(x1 - x0, y1 - y0)
        done = 0.0
        while done < whole:
            step = min(left, whole - done)
            if turn % 2 == 0:
                a, b = done / whole, (done + step) / whole
                ends = (x0 + a * (x1 - x0), y0 + a * (y1 - y0))
                draw.line((*ends, x0 + b * (x1 - x0), y0 + b * (y1 - y0)), line.colour, thick)
            done, left = done + step, left - step
            if left <= 0:
                turn += 1
                left = float(lengths[turn % len(lengths)])
