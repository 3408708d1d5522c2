"""The markup of a client board: whole, named for those who cannot see it, known to its style."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from importlib.resources import files

import numpy as np
import pytest

from frontglass.sheets.mood import MoodFrame, MoodHead, MoodStill, mood_html

EMPTY = {"img", "meta", "link", "br", "input"}
TEMPLATE = files("frontglass.sheets").joinpath("mood_board.html").read_text(encoding="utf-8")


def codes(level: int, width: int, height: int) -> np.ndarray:
    return np.full((height, width, 3), level, np.uint8)


STILLS = [
    MoodStill(name, f"{name}.jpg", codes(60, *size), tuple(
        MoodFrame(look, detail, codes(90, *size), look)
        for look, detail in (("late-tram 1/2", "costs 0.2 stop"), ("slate-roof 1", ""))
    ))
    for name, size in (("gate & door", (30, 20)), ("pier", (20, 20)), ("mast", (20, 21)))
]  # fmt: skip


class Tree(HTMLParser):
    """Elements in their order, each with those that it stands in and the text right in it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[int] = []
        self.found: list[tuple[str, dict[str, str], tuple[int, ...]]] = []
        self.text: list[tuple[tuple[int, ...], str]] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, {name: value or "" for name, value in attrs}, tuple(self.open)))
        if tag not in EMPTY:
            self.open.append(len(self.found) - 1)

    def handle_endtag(self, tag: str) -> None:
        assert self.found[self.open.pop()][0] == tag

    def handle_data(self, data: str) -> None:
        self.text.append((tuple(self.open), data))

    def all(self, tag: str, name: str = "") -> list[int]:
        """Numbers of elements of a tag, and of a class if one is given."""
        return [
            number
            for number, (own, has, _) in enumerate(self.found)
            if own == tag and (not name or name in has.get("class", "").split())
        ]

    def within(self, number: int) -> str:
        """All text in an element."""
        return "".join(text for inside, text in self.text if number in inside)


@pytest.fixture(scope="module", params=[True, False])
def tree(request) -> Tree:
    head = MoodHead(title="After", project="Ferry", date="2 June", foot="Simulated.")
    tree = Tree(mood_html(head, STILLS, has_wipe=request.param))
    assert bool(tree.all("div", "wipe")) is request.param
    return tree


def test_each_still_has_a_heading_its_bare_frame_and_one_for_each_look(tree: Tree):
    sections = tree.all("section")
    heads = [tree.within(h) for h in tree.all("h2") if tree.found[h][2][-1] in sections]
    assert heads[:3] == ["1 gate & door", "2 pier", "3 mast"]
    for number, still in enumerate(STILLS):
        figures = [f for f in tree.all("figure") if sections[number] in tree.found[f][2]]
        said = [" ".join(tree.within(f).split()) for f in figures]
        assert said[0] == "bare"
        letters = "AB"
        for place, frame in enumerate(still.frames):
            assert f"☐ {number + 1}{letters[place]} {frame.name}{frame.detail}" in said[1 + place]
        frames = [d for d in tree.all("div", "frames") if sections[number] in tree.found[d][2]]
        is_tall = still.bare.shape[0] > still.bare.shape[1]
        assert tree.found[frames[0]][1]["class"].split() == ["frames"] + ["tall"] * is_tall


def test_all_that_can_be_used_has_a_name_of_its_own(tree: Tree):
    parts = [
        has for tag, has, _ in tree.found if tag in {"button", "textarea"} and "data-key" in has
    ]
    keys = [f"{n}{letter}" for n in (1, 2, 3) for letter in "AB"]
    assert [has["data-key"] for has in parts] == [key for key in keys for _ in range(2)]
    names = [has["aria-label"] for has in parts]
    assert names[:2] == ["I like 1A, late-tram 1/2", "What you think of 1A, late-tram 1/2"]
    assert len(set(names)) == len(names)
    hearts = tree.all("button", "heart")
    assert {tree.found[h][1]["aria-pressed"] for h in hearts} == {"false"}
    assert {tree.found[h][1]["type"] for h in hearts} == {"button"}  # and sends no form
    wipes = [tree.found[w][1] for w in tree.all("div", "wipe")]
    assert len(wipes) in {0, 6}
    bare = {tree.found[i][1]["id"] for i in tree.all("img") if "id" in tree.found[i][1]}
    assert bare == {"bare-1", "bare-2", "bare-3"}
    for number, has in enumerate(wipes):
        assert has["data-bare"] == f"bare-{number // 2 + 1}"
        # As the pattern of a slider asks: its role, its range, and that it takes the keyboard.
        assert (has["role"], has["tabindex"]) == ("slider", "0")
        assert [has[f"aria-value{end}"] for end in ("min", "now", "max")] == ["0", "50", "100"]
        assert has["style"].replace(" ", "") == "--cut:50%"
    labels = [has["aria-label"] for has in wipes]
    assert len(set(labels)) == len(labels)
    assert labels[:1] in ([], ["Wipe between the bare frame and late-tram 1/2: gate & door"])


def test_what_only_looks_like_words_is_not_read_out(tree: Tree):
    for inside, text in tree.text:
        around = [tree.found[one][1] for one in inside]
        is_side = any("side" in has.get("class", "").split() for has in around)
        if is_side or text.strip() in {"♡", "☐"}:
            assert any(has.get("aria-hidden") == "true" for has in around), text


def test_every_class_is_known_to_the_boards_own_style_or_script(tree: Tree):
    used = {name for _, has, _ in tree.found for name in has.get("class", "").split()}
    known = set(re.findall(r"\.([a-z][a-z-]*)", TEMPLATE))
    assert used <= known
