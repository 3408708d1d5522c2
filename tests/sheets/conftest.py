"""What a sheet was laid out with: its texts, pictures and boxes, each with its place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import ImageDraw

from frontglass.sheets.lettering import TextLines
from frontglass.sheets.sheet import TEXT, Page


@dataclass
class Said:
    """One text on a sheet."""

    x: int
    y: int
    lines: TextLines
    colour: tuple[int, int, int]

    @property
    def text(self) -> str:
        return " ".join(self.lines.lines)

    @property
    def end(self) -> int:
        return self.y + self.lines.height_px


@dataclass
class Laid:
    """All that pages were given while a test ran."""

    texts: list[Said] = field(default_factory=list)
    pictures: list[tuple[int, int, NDArray[np.uint8]]] = field(default_factory=list)
    boxes: list[tuple[int, int, int, int, TextLines]] = field(default_factory=list)
    strokes: list[list[Any]] = field(default_factory=list)
    """Lines, rectangles and letters as Pillow drew them: what, where, how."""

    def text(self, part: str) -> Said:
        """Return the only text that holds `part`."""
        (found,) = (said for said in self.texts if part in said.text)
        return found


@pytest.fixture
def laid(monkeypatch: pytest.MonkeyPatch) -> Laid:
    """Everything that is put on a page from now on."""
    return heard_pages(monkeypatch)


def heard_pages(monkeypatch: pytest.MonkeyPatch) -> Laid:
    """Everything that is put on a page while the patch holds."""
    seen = Laid()
    say, put, mark = Page.say, Page.put, Page.mark

    def heard(
        page: Page, x: int, y: int, lines: TextLines, colour: tuple[int, int, int] = TEXT
    ) -> int:
        seen.texts.append(Said(x, y, lines, colour))
        return say(page, x, y, lines, colour)

    def placed(page: Page, x: int, y: int, codes: NDArray[np.uint8]) -> None:
        seen.pictures.append((x, y, codes))
        put(page, x, y, codes)

    def marked(page: Page, x: int, y: int, width: int, height: int, tag: TextLines) -> None:
        seen.boxes.append((x, y, width, height, tag))
        mark(page, x, y, width, height, tag)

    for name in ("line", "rectangle", "text"):
        monkeypatch.setattr(ImageDraw.ImageDraw, name, _drawn(name, seen))
    monkeypatch.setattr(Page, "say", heard)
    monkeypatch.setattr(Page, "put", placed)
    monkeypatch.setattr(Page, "mark", marked)
    return seen


def _drawn(name: str, seen: Laid) -> Callable[..., None]:
    """Return what Pillow does by that name, noting where and how it is asked to."""
    draw = getattr(ImageDraw.ImageDraw, name)

    def noted(image: ImageDraw.ImageDraw, where: Any, *how: Any, **more: Any) -> None:
        words = [one for one in (*how, *more.values()) if isinstance(one, (int, str, tuple))]
        places = [round(float(side), 1) for side in np.ravel(where)]
        seen.strokes.append([name, *places, *words])
        draw(image, where, *how, **more)

    return noted
