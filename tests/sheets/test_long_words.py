"""A word of thousands of letters, as a name or a title may be."""

from __future__ import annotations

from itertools import pairwise

from frontglass.sheets import lettering
from frontglass.sheets.lettering import broken, text_width_px


def test_it_is_set_line_by_line_without_trying_every_letter(monkeypatch):
    tried = []

    def counted(text: str, size_px: int) -> float:
        tried.append(text)
        return text_width_px(text, size_px)

    monkeypatch.setattr(lettering, "text_width_px", counted)
    word = "harbour" * 571
    lines = broken(word, 400, 20).lines
    assert "".join(lines) == word
    # One letter more would not fit.
    following = [line + rest[0] for line, rest in pairwise(lines)]
    assert all(text_width_px(line, 20) <= 400 for line in lines)
    assert all(text_width_px(line, 20) > 400 for line in following)
    assert len(tried) < 20 * len(lines)
