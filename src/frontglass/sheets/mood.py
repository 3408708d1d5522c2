"""A client board: frames with captions, as pages to print and as one file for a browser."""

from __future__ import annotations

import base64
import html
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from string import Template

from PIL import Image

from frontglass.checks import check_positive, check_within
from frontglass.errors import ParameterError
from frontglass.files.whole import write_bytes_whole, write_whole
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.sheets.layout import size_within
from frontglass.sheets.lettering import broken, fitted
from frontglass.sheets.sheet import QUIET_TEXT, SHEET_QUALITY, Page, Sheet, Sizes, write_sheet
from frontglass.sheets.views import view

ASPECTS = {"2.39": 2.39, "1.85": 1.85, "16:9": 16 / 9, "4:3": 4 / 3}
"""Shapes of a frame, width over height, by the name the trade gives them."""
FLATTEST, TALLEST = 4.0, 0.25
FRAME_WIDTH_PX = 1600
"""Width of a frame in the browser at most: sharp on a laptop, light enough for a phone."""
BROWSER_QUALITY = 86
PAGE_PX = (1754, 1240)
"""A4 lying, at 150 dots an inch; letter differs in its margins only."""
DOTS_PER_INCH = 150


@dataclass(frozen=True, slots=True, eq=False)
class MoodFrame:
    """One frame of a board.

    Parameters
    ----------
    caption : str
        What it is called.
    detail : str
        Look, strength and what it costs.
    seen : Picture
        The still through the glass.
    bare : Picture or None
        The still without, to stand behind a wipe; None for no wipe.
    """

    caption: str
    detail: str
    seen: Picture
    bare: Picture | None = None


def aspect_from_text(text: str) -> float:
    """Width over height from text such as "2.39", "16:9" or "3x2".

    Raises
    ------
    ParameterError
        If it is no such text, or flatter than 4 or taller than 1/4.

    Examples
    --------
    >>> aspect_from_text("4:3") == 4 / 3
    True
    """
    match = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(?:[:x/]\s*(\d+(?:\.\d+)?))?\s*", text)
    rule = f"such as {', '.join(ASPECTS)} or 3:2, from {TALLEST:g} to {FLATTEST:g}"
    if match is None:
        raise ParameterError("aspect", rule, text)
    across, down = float(match[1]), float(match[2] or 1)
    if not down or not TALLEST <= across / down <= FLATTEST:
        raise ParameterError("aspect", rule, text)
    return across / down


def cropped(picture: Picture, aspect: float | None, *, height_share: float = 0.5) -> Picture:
    """Return the largest part of a picture in a shape.

    Parameters
    ----------
    picture : Picture
        The whole frame: glass acts on all of it, and it is cropped afterwards.
    aspect : float or None
        Width over height; None keeps the frame whole.
    height_share : float
        Where the part stands: 0 at the top (or left), 1 at the bottom (or right). [1]
    """
    if aspect is None:
        return picture
    check_positive("aspect", aspect)
    check_within("height_share", height_share, 0, 1)
    width, height = picture.width_px, picture.height_px
    across = min(width, max(1, round(height * aspect)))
    down = min(height, max(1, round(width / aspect)))
    x, y = (round(height_share * spare) for spare in (width - across, height - down))
    return Region(x, y, across, down).of(picture)


def mood_html(title: str, about: str, frames: Sequence[MoodFrame], *, foot: str = "") -> str:
    """Return a board as one HTML file that needs nothing else.

    Parameters
    ----------
    title, about, foot : str
        What stands over the frames, and under them.
    frames : sequence of MoodFrame
        The frames, in order.
    """
    template = files("frontglass.sheets").joinpath("mood_board.html").read_text(encoding="utf-8")
    has_wipe = any(frame.bare is not None for frame in frames)
    hint = "Drag across a frame, or use the arrow keys, to take the glass away."
    return Template(template).substitute(
        title=html.escape(title),
        about=html.escape(about),
        help=f'<p class="help">{hint}</p>' if has_wipe else "",
        frames="\n".join(_figure(frame) for frame in frames),
        foot=html.escape(foot),
    )


def mood_pages(title: str, about: str, frames: Sequence[MoodFrame]) -> list[Sheet]:
    """Return a board as pages, a frame each, the title on the first."""
    return [
        _page(title if number == 0 else "", about, frame, (number + 1, len(frames)))
        for number, frame in enumerate(frames)
    ]


def write_mood(folder: Path, board: str, pages: Sequence[Sheet]) -> list[Path]:
    """Write a board's HTML, PDF and PNGs into a folder; return their paths.

    Raises
    ------
    PictureFileError
        If the folder cannot be written to.
    """
    paths = mood_paths(folder, len(pages))
    write_bytes_whole(paths[0], board.encode())
    images = [Image.fromarray(page.codes) for page in pages]
    write_whole(
        paths[1],
        lambda beside: images[0].save(
            beside,
            "PDF",
            save_all=True,
            append_images=images[1:],
            resolution=DOTS_PER_INCH,
            quality=SHEET_QUALITY,
        ),
    )
    for path, page in zip(paths[2:], pages, strict=True):
        write_sheet(path, page)
    return paths


def mood_paths(folder: Path, count: int) -> list[Path]:
    """Return where the HTML, the PDF and the PNGs of a board stand."""
    pages = [folder / f"board_{number:02d}.png" for number in range(1, count + 1)]
    return [folder / "board.html", folder / "board.pdf", *pages]


def _figure(frame: MoodFrame) -> str:
    caption, detail = html.escape(frame.caption), html.escape(frame.detail)
    width, height = size_within((frame.seen.width_px, frame.seen.height_px), FRAME_WIDTH_PX)
    size = f'width="{width}" height="{height}"'
    seen = f'<img {size} alt="{caption}: {detail}" src="{_data(frame.seen, (width, height))}">'
    if frame.bare is not None:
        label = f"Wipe between the bare frame and {detail}: {caption}"
        seen = (
            f'<div class="wipe" role="slider" tabindex="0" aria-label="{label}" aria-valuemin="0" '
            'aria-valuemax="100" aria-valuenow="50" style="--cut: 50%">\n'
            f"{seen}\n"
            f'<img class="bare" {size} alt="{caption}: without the glass" '
            f'src="{_data(frame.bare, (width, height))}">\n'
            '<span class="side left" aria-hidden="true">bare</span>'
            f'<span class="side right" aria-hidden="true">{detail.split(" · ")[0]}</span>'
            '<span class="edge"><span class="grip"></span></span>\n</div>'
        )
    words = f"<figcaption><strong>{caption}</strong><span>{detail}</span></figcaption>"
    return f"<figure>\n{seen}\n{words}\n</figure>"


def _data(picture: Picture, size_px: tuple[int, int]) -> str:
    out = io.BytesIO()
    codes = view(picture, size_px)
    Image.fromarray(codes).save(out, "JPEG", quality=BROWSER_QUALITY, subsampling=0)
    return "data:image/jpeg;base64," + base64.b64encode(out.getvalue()).decode()


def _page(title: str, about: str, frame: MoodFrame, number: tuple[int, int]) -> Sheet:
    width, height = PAGE_PX
    sizes = Sizes(margin=70, gap=28, small=28, large=56)
    page = Page(width, sizes)
    y = sizes.margin
    if title:
        y = page.say(sizes.margin, y, fitted([title], page.room_px, sizes.large)[0])
        y = page.say(sizes.margin, y, broken(about, page.room_px, sizes.small), QUIET_TEXT)
        y += sizes.gap
    caption = broken(frame.caption, page.room_px, round(1.2 * sizes.small))
    count = f"{number[0]} of {number[1]}"
    detail = broken(" · ".join(filter(None, (frame.detail, count))), page.room_px, sizes.small)
    foot = height - sizes.margin - caption.height_px - detail.height_px
    shape = frame.seen.height_px / frame.seen.width_px
    room = foot - sizes.gap - y
    across = min(page.room_px, round(room / shape))
    codes = view(frame.seen, (across, max(1, min(room, round(across * shape)))))
    x = sizes.margin if title else sizes.margin + (page.room_px - codes.shape[1]) // 2
    page.put(x, y + (0 if title else (room - codes.shape[0]) // 2), codes)
    end = page.say(sizes.margin, foot, caption)
    page.say(sizes.margin, end, detail, QUIET_TEXT)
    return page.sheet(height)
