"""A client board: stills through looks to choose from, as one file for a browser."""

from __future__ import annotations

import base64
import hashlib
import html
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from string import Template

from frontglass.arrays import Codes
from frontglass.errors import ParameterError
from frontglass.picture.picture import Picture
from frontglass.sheets.answers import Board, BoardFrame
from frontglass.sheets.layout import size_within
from frontglass.sheets.sheet import jpeg_bytes
from frontglass.sheets.views import view

ASPECTS = {"2.39": 2.39, "1.85": 1.85, "16:9": 16 / 9, "4:3": 4 / 3}
"""Shapes of a frame, width over height, by the name the trade gives them."""
FLATTEST, TALLEST = 4.0, 0.25
FRAME_PX = 1600
"""Longer side of a frame in the browser at most: sharp on a laptop, light enough for a phone."""
BROWSER_QUALITY = 86
WIPE_HELP = "Drag across a frame, or use the arrow keys, to take the glass away."
ANSWER_HELP = (
    "Tap a heart for what you like and write what you think; then send it from the end of the page."
)


@dataclass(frozen=True, slots=True, eq=False)
class MoodFrame:
    """A still through one choice of looks."""

    name: str
    """Look and strength."""
    detail: str
    """What it costs; empty for nothing."""
    codes: Codes
    looks: str
    """As commands read them."""


@dataclass(frozen=True, slots=True, eq=False)
class MoodStill:
    """A still of a board, without glass and through each choice."""

    caption: str
    still: str
    """Its file, below the folder that all stills share."""
    bare: Codes
    frames: tuple[MoodFrame, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoodHead:
    """What stands on a board beside its frames: each a line; empty for none."""

    title: str
    project: str = ""
    date: str = ""
    contact: str = ""
    foot: str = ""

    @property
    def about(self) -> tuple[str, ...]:
        """Project, date and contact, those that there are."""
        return tuple(filter(None, (self.project, self.date, self.contact)))


def frame_codes(picture: Picture) -> Codes:
    """Codes of a frame at the size that a board shows."""
    return view(picture, size_within((picture.width_px, picture.height_px), FRAME_PX, FRAME_PX))


def aspect_from_text(text: str) -> float:
    """Width over height, from 1/4 to 4, of text such as "2.39", "16:9" or "3x2".

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


def frame_id(still: int, look: int) -> str:
    """Return what a frame is called on a board, from numbers that start at 0.

    Examples
    --------
    >>> frame_id(0, 1), frame_id(11, 27)
    ('1B', '12AB')
    """
    letters = ""
    look += 1
    while look:
        look, letter = divmod(look - 1, 26)
        letters = chr(ord("A") + letter) + letters
    return f"{still + 1}{letters}"


def board_of(title: str, stills: Sequence[MoodStill]) -> Board:
    """Return what is needed to read answers to a board."""
    frames = tuple(
        BoardFrame(frame_id(number, place), still.still, still.caption, frame.looks)
        for number, still in enumerate(stills)
        for place, frame in enumerate(still.frames)
    )
    said = json.dumps([title, *([f.id, f.still, f.looks] for f in frames)])
    return Board(hashlib.sha256(said.encode(errors="replace")).hexdigest()[:8], title, frames)


def mood_html(head: MoodHead, stills: Sequence[MoodStill], *, has_wipe: bool = False) -> str:
    """Return a board as one HTML file that needs nothing else; bare frames may be behind a wipe."""
    template = files("frontglass.sheets").joinpath("mood_board.html").read_text(encoding="utf-8")
    board = board_of(head.title, stills)
    # Nothing in it may end the element that holds it.
    mail = re.search(r"[^\s<>\"']+@[^\s<>\"']+\.[^\s<>\"',;]+", head.contact)
    held = json.dumps({**board.record, "mail": mail[0] if mail else ""})
    record = held.replace("<", "\\u003c").replace("&", "\\u0026")
    return Template(template).substitute(
        title=html.escape(head.title),
        about="".join(f"<p>{html.escape(line)}</p>" for line in head.about),
        help=f"{WIPE_HELP} {ANSWER_HELP}" if has_wipe else ANSWER_HELP,
        stills="\n".join(_section(n, still, has_wipe=has_wipe) for n, still in enumerate(stills)),
        foot=html.escape(head.foot),
        record=record,
    )


def _section(number: int, still: MoodStill, *, has_wipe: bool) -> str:
    caption = html.escape(still.caption)
    tall = " tall" if still.bare.shape[0] > still.bare.shape[1] else ""
    bare_id = f"bare-{number + 1}"
    paper = ' class="paper"' if has_wipe else ""
    bare = (
        f"<figure{paper}>\n{_image(still.bare, f'{caption}: bare', bare_id)}\n"
        "<figcaption><strong>bare</strong></figcaption>\n</figure>"
    )
    figures = [
        _figure(frame_id(number, place), caption, frame, bare_id if has_wipe else "")
        for place, frame in enumerate(still.frames)
    ]
    return (
        f'<section>\n<h2><span class="number">{number + 1}</span> {caption}</h2>\n'
        f'<div class="frames{tall}">\n' + "\n".join([bare, *figures]) + "\n</div>\n</section>"
    )


def _figure(key: str, caption: str, frame: MoodFrame, bare_id: str) -> str:
    name, detail = html.escape(frame.name), html.escape(frame.detail)
    seen = _image(frame.codes, f"{caption}: {name}")
    if bare_id:
        seen = (
            f'<div class="wipe" role="slider" tabindex="0" data-bare="{bare_id}" '
            f'aria-label="Wipe between the bare frame and {name}: {caption}" aria-valuemin="0" '
            'aria-valuemax="100" aria-valuenow="50" style="--cut: 50%">\n'
            f"{seen}\n"
            '<img class="bare" alt="">\n'
            '<span class="side left" aria-hidden="true">bare</span>'
            f'<span class="side right" aria-hidden="true">{name}</span>'
            '<span class="edge"><span class="grip"></span></span>\n</div>'
        )
    box = '<span class="tick" aria-hidden="true">\u2610 </span>'
    words = f"<strong>{box}{key}&ensp;{name}</strong>" + (
        f"<span>{detail}</span>" if detail else ""
    )
    return (
        f"<figure>\n{seen}\n<figcaption>{words}</figcaption>\n"
        f'<div class="answer"><button type="button" class="heart" data-key="{key}" '
        f'aria-pressed="false" aria-label="I like {key}, {name}">'
        '<span aria-hidden="true">\u2661</span></button>'
        f'<textarea rows="1" data-key="{key}" aria-label="What you think of {key}, {name}" '
        'placeholder="What do you think?"></textarea></div>\n</figure>'
    )


def _image(codes: Codes, alt: str, name: str = "") -> str:
    height, width = codes.shape[:2]
    data = base64.b64encode(jpeg_bytes(codes, BROWSER_QUALITY)).decode()
    own = f'id="{name}" ' if name else ""
    size = f'width="{width}" height="{height}"'
    return f'<img {own}{size} alt="{alt}" src="data:image/jpeg;base64,{data}">'
