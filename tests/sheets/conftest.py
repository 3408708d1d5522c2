"""What a sheet was laid out with: its texts, pictures and boxes, each with its place."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

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

    monkeypatch.setattr(Page, "say", heard)
    monkeypatch.setattr(Page, "put", placed)
    monkeypatch.setattr(Page, "mark", marked)
    return seen
