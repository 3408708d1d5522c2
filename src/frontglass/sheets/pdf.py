"""Pages as one PDF."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PIL import Image

from frontglass.files.whole import write_whole
from frontglass.sheets.sheet import SHEET_QUALITY, Sheet

DOTS_PER_INCH = 150
A4_LYING_PX = (1754, 1240)
"""A4 lying, at 150 dots an inch; letter differs in its margins only."""
A4_STANDING_PX = A4_LYING_PX[::-1]


def write_pdf(path: Path, title: str, pages: Sequence[Sheet]) -> None:
    """Write pages as a PDF, whole or not at all."""
    write_whole(path, lambda beside: save_pdf(beside, title, pages))


def save_pdf(path: str, title: str, pages: Sequence[Sheet]) -> None:
    """Fill a file that is there with pages as a PDF."""
    images = [Image.fromarray(page.codes) for page in pages]
    images[0].save(
        path,
        "PDF",
        save_all=True,
        append_images=images[1:],
        title=title.encode(errors="replace").decode(),
        resolution=DOTS_PER_INCH,
        quality=SHEET_QUALITY,
    )
