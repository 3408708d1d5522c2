"""What every kind of sheet was laid out like: a guard against moves that nobody meant.

Places that are right by a rule of their own are held in test_places.py. Where a layout is to
change, ``python -m tests.sheets.test_frozen_layouts`` writes down the new one.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

import frontglass as fg
from frontglass.looks import stack_from_text
from frontglass.picture.clipped_lamps import with_recovered_light
from frontglass.sheets.contact import ContactCell, ContactRow, contact_pages, small_copy
from frontglass.sheets.distance_page import distance_sheet
from frontglass.sheets.lamp_map import lamp_map
from frontglass.sheets.learned import ShownKernel, ShownPair, learned_sheet
from frontglass.sheets.mood import MoodFrame, MoodHead, MoodStill
from frontglass.sheets.mood_pages import mood_pages
from frontglass.sheets.plots import Axis, Series, plot, swatch
from frontglass.sheets.rental import RentalRow, rental_pages
from frontglass.sheets.spec import SpecColumn, spec_sheet
from frontglass.sheets.sway import Loop, side_by_side
from tests.sheets.conftest import Laid, heard_pages

FROZEN = Path(__file__).parents[1] / "data" / "layouts.json"
CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
COARSE_PX = 24
APART = 2
"""Codes by which the mean of a block may differ: letters as another Pillow draws them."""
DRAWN = ("learned", "plots", "rental", "spec", "sway")
"""What is drawn by itself, and so held in blocks, too; pages elsewhere have places alone."""
LETTERED = ("plots", "rental", "spec")
MOST_STROKES = 150

Sheets = list[NDArray[np.uint8]]


def still(width: int = 96, height: int = 60) -> fg.Picture:
    light = np.random.default_rng(4).uniform(0.02, 0.3, (height, width, 3)).astype(np.float32)
    light[20:24, 30:34] = 1.0
    codes = np.round(255 * light ** (1 / 2.2)).astype(np.uint8)
    return fg.Picture.from_array(codes)


def stacks(*texts: str) -> list[object]:
    return [stack_from_text(text) for text in texts]


def flat(level: int, width: int = 300, height: int = 200) -> NDArray[np.uint8]:
    return np.full((height, width, 3), level, np.uint8)


def compared(seen_on: str) -> Sheets:
    looks = stacks("slate-roof:1/2", "slate-roof:1+tallow:1/4", "fine-net:1/2")
    parts = [("face", fg.Region(10, 8, 20, 14)), ("lamp", fg.Region(26, 16, 12, 12))]
    sheet = fg.compare(
        still(), looks, camera=CAMERA, watched=parts, numbers=lambda *_: ("halo 1 %", "black 2"),
        facts=("gate.png", "shown"), notices=("the lens is assumed.",), width_px=700,
        seen_on=seen_on,
    )  # fmt: skip
    return [sheet.codes]


def laddered(seen_on: str, size: tuple[int, int] = (96, 60)) -> Sheets:
    sheet = fg.ladder(
        still(*size), fg.read_look("slate-roof"), camera=CAMERA, strengths=("1/4", 1, 2),
        beside=[fg.read_look("fine-net").at("1/2")], close_ups=[fg.Region(8, 8, 20, 12)],
        facts=("gate.png",), notices=("the lens is assumed.",), width_px=800, seen_on=seen_on,
    )  # fmt: skip
    return [sheet.codes]


def many_shapes(seen_on: str) -> Sheets:
    """Comparisons of few and many stills, wide and tall, with parts of several shapes."""
    sheets = []
    for size, many, width in (((160, 40), 1, 900), ((60, 130), 3, 640), ((96, 60), 7, 1240)):
        picture = still(*size)
        looks = [fg.read_look("slate-roof").at(n / 8) for n in range(1, many + 1)]
        parts = [("face", fg.Region(5, 4, 30, 9)), ("hand", fg.Region(2, 2, 6, 30))][: many - 1]
        made = fg.compare(
            picture, looks, camera=CAMERA, watched=parts, width_px=width, seen_on=seen_on,
            ends=[("lamps low", picture)] if many == 3 else (),
        )  # fmt: skip
        sheets.append(made.codes)
    return sheets


def many_steps(seen_on: str) -> Sheets:
    """Ladders of all strengths and of one, in columns as asked, at the width they have unasked."""
    look = fg.read_look("slate-roof")
    parts = [fg.Region(8, 8, 20, 12), fg.Region(2, 2, 70, 9), fg.Region(40, 9, 3, 40)]
    first = fg.ladder(still(), look, camera=CAMERA, seen_on=seen_on)
    other = fg.ladder(
        still(), look, camera=CAMERA, strengths=[1], columns=1, close_ups=parts, width_px=500,
        seen_on=seen_on, compensate=False, ends=[("lamps low", still())],
    )  # fmt: skip
    return [first.codes, other.codes]


def spec() -> Sheets:
    steps = [0.0, 10, 20, 40, 80]
    columns = [
        SpecColumn(
            name=f"quiet-pier {number}",
            transfer=(steps, [1, 0.8, 0.5, 0.3, 0.1 * number]),
            wedge_stops=[-float(n) * 0.9 for n in range(11)],
            numbers=(f"{number} %", "0.2 stops"),
        )
        for number in (1, 2, 3, 4)
    ]
    rows = ["halo", "black lift in the middle of the frame"]
    sheet = spec_sheet(
        "What it does", "at 50 mm", rows, columns, bare=(steps, [1, 0.9, 0.7, 0.5, 0.2]),
        highest_per_mm=85, notices=("assumed.",),
    )  # fmt: skip
    return [sheet.codes]


def learned() -> Sheets:
    rng = np.random.default_rng(2)
    light = rng.uniform(0.1, 1.5, (40, 60, 3)).astype(np.float32)
    stops = np.linspace(-0.3, 0.3, 2400, dtype=np.float32).reshape(40, 60)
    pair = ShownPair(
        title="gate.png with glass.png", bare=light, with_glass=0.9 * light, predicted=light,
        difference_stops=stops, held=np.arange(2400).reshape(40, 60) % 60 > 4,
    )  # fmt: skip
    kernel = ShownKernel(
        angles_deg=np.geomspace(0.02, 8, 9),
        shares=np.array([1, 2, 4, 6, 5, 3, 2, 1, 0.5]) / 100,
        deviations=np.array([9, 1, 1, 0.5, 0.5, 0.5, 1, 2, 0.5]) / 1000,
    )
    return [learned_sheet("quiet-pier, learned", ("5 %", "veil"), [pair, pair], kernel).codes]


def contact() -> Sheets:
    cell = ContactCell(small_copy(still(300, 190)))
    tall = ContactCell(small_copy(still(60, 200)))
    rows = [
        ContactRow("gate.png", cell, (cell, ContactCell(said="is no picture."), tall)),
        ContactRow("a name that is rather long for its column.png", tall, (cell, cell, cell)),
        *(ContactRow(f"{n}.png", cell, (cell, ContactCell(), cell)) for n in range(4)),
    ]
    many = [ContactRow("gate.png", cell, (cell,) * 6)]
    pages = contact_pages("out", "6 stills", ["tallow 1", "fine-net 1/2", "haze"], rows)
    pages += contact_pages("out", "gate.png", [f"look {n}" for n in range(6)], many)
    for count in (0, 1, 4, 5):
        one = [ContactRow("gate.png", cell, (cell,) * count)]
        pages += contact_pages("out", "gate.png", [f"look {n}" for n in range(count)], one)
    return [page.codes for page in pages]


def board() -> Sheets:
    frames = [
        MoodFrame(f"late-tram 1/{n}", "costs 0.1 stop" * (n % 2), flat(90, 900, 600), "")
        for n in range(1, 8)
    ]
    head = MoodHead(
        title="After the last ferry", project="P", date="D", contact="C", foot="Simulated."
    )
    wide = [MoodFrame("tallow 1", "", flat(90, 1500, 320), "")]
    tall = [MoodFrame("tallow 1", "", flat(90, 600, 960), "")]
    stills = [
        MoodStill("Gate", "gate.png", flat(60, 900, 600), tuple(frames)),
        MoodStill("Door", "door.png", flat(60, 600, 960), tuple(tall)),
        MoodStill("Pier", "pier.png", flat(60, 1500, 320), tuple(wide)),
    ]
    return [page.codes for page in mood_pages(head, stills)]


def rented() -> Sheets:
    row = RentalRow(
        piece="late-tram 1/2", about=("glow", "size 4x5.65", ""), loss="0.10 stops",
        stills="gate.png, door.png", instead=("powder-room 1/4, close", "tallow 1/8"),
    )  # fmt: skip
    other = RentalRow(
        piece="haze", about=("", "in the room"), loss="none", stills="all", instead=()
    )
    pages = rental_pages("Filters to rent", ["P", "D", "C"], [row, other] * 8, "Looks.")
    return [page.codes for page in pages]


def distances() -> Sheets:
    far = np.linspace(2, 30, 96, dtype=np.float32) * np.ones((60, 1), np.float32)
    far[:6] = np.inf
    light = np.full((60, 96, 3), 0.1, np.float32)
    light[30:33, 40:43] = 40
    picture = fg.Picture(radiance=light, distance_m=far)
    sheet = distance_sheet(picture, CAMERA, name="gate.png", notices=("a room.",), width_px=800)
    return [sheet.codes]


def long_lamps() -> Sheets:
    """Of a tall still with a tube, two bulbs close together, and hardly any depth."""
    light = np.full((120, 80, 3), 0.05, np.float32)
    light[20:22, 10:70], light[80:82, 30:32], light[80:82, 34:36] = 30, 40, 20
    light[110, 70] = 90
    away = np.full((120, 80), 3.0, np.float32)
    away[100:] = np.inf
    away[100:, 60:] = 3.01
    picture = fg.Picture(radiance=light, distance_m=away)
    none = fg.Picture(
        radiance=0 * light + 0.1, distance_m=np.linspace(0.3, 900, 80) * np.ones((120, 1))
    )
    sheets = [
        distance_sheet(one, CAMERA, name="pier.png", width_px=1000) for one in (picture, none)
    ]
    sheets.append(distance_sheet(none, CAMERA, name="pier.png"))
    narrow = fg.Picture(radiance=none.radiance[:, :6], distance_m=away[:, :6])
    sheets.append(distance_sheet(narrow, CAMERA, name="a mast.png", width_px=601))
    return [sheet.codes for sheet in sheets]


def one_frame() -> Sheets:
    """A board of one still with one look, and of many on several pages."""
    frame = MoodFrame("late-tram 1/2", "costs 0.1 stop", flat(90, 900, 600), "")
    pages = mood_pages(
        MoodHead(title="T"), [MoodStill("Gate", "gate.png", flat(60, 900, 600), (frame,))]
    )
    pages += mood_pages(
        MoodHead(title="T"), [MoodStill("Gate", "gate.png", flat(60, 300, 600), (frame,) * 12)]
    )
    return [page.codes for page in pages]


def plotted() -> Sheets:
    x = [0.0, 1, 2, 3, 4.5]
    series = [Series(x, [1, 2, 3, 2, 1])]
    series += [Series(x, [3, 1 + n / 3, 2, 1, n / 2], n) for n in range(5)]
    codes = plot(
        series, Axis.to("angle", 4.7), Axis("light", -1, 4, 0.5), size_px=(420, 260), type_px=14
    )
    logs = plot(
        [Series([-2.0, -1, 0.5], [1, 4, 2], 1)],
        Axis("angle", -2, 0.5, 0.5, tens=True),
        Axis.to("share", 4.2),
        size_px=(300, 200),
        type_px=12,
    )
    return [codes, logs, *(swatch(one, (60, 16)) for one in series)]


def looped() -> Sheets:
    loops = [Loop((flat(level, 320, 180), flat(level + 9, 320, 180)), "said") for level in (40, 90)]
    names = ["tallow 1", "fine-net 1/2 + slate-roof 1/4, and some more words that fill it"]
    narrow = [Loop((flat(90, 97, 60),), "said")] * 3
    return [
        *side_by_side(loops, ["tallow 1", "fine-net 1/2"]).frames,
        *side_by_side(loops, names).frames,
        *side_by_side(narrow, ["tallow 1/4", "late-tram 1/8", "a"]).frames,
    ]


def lamps() -> Sheets:
    found = with_recovered_light(still(400, 260))
    return [lamp_map(found.picture, found.lamps).codes]


SHEETS: dict[str, Callable[[], Sheets]] = {
    "compare": lambda: compared("desk"),
    "compare on a phone": lambda: compared("phone"),
    "ladder": lambda: laddered("desk"),
    "ladder on a phone": lambda: laddered("phone"),
    "ladder of a tall still": lambda: laddered("desk", (60, 130)),
    "comparisons": lambda: many_shapes("desk"),
    "comparisons on a phone": lambda: many_shapes("phone"),
    "ladders": lambda: many_steps("desk"),
    "ladders on a phone": lambda: many_steps("phone"),
    "spec": spec,
    "learned": learned,
    "contact": contact,
    "mood": board,
    "rental": rented,
    "distance": distances,
    "distance of long lamps": long_lamps,
    "mood of one frame": one_frame,
    "plots": plotted,
    "sway": looped,
    "lamps": lamps,
}


def coarse(codes: NDArray[np.uint8]) -> list[list[int]]:
    """Means over blocks, over red, green and blue."""
    height, width = codes.shape[:2]
    size = (max(1, width // COARSE_PX), max(1, height // COARSE_PX))
    means = cv2.resize(codes.mean(axis=2), size, interpolation=cv2.INTER_AREA)
    return np.rint(means).astype(int).tolist()


def strokes(name: str, laid: Laid) -> list[Any]:
    """Lines and rectangles; letters where no page laid them. What is drawn anew is noted once."""
    kinds = ("line", "rectangle", "text") if name in LETTERED else ("line", "rectangle")
    # As JSON has them, without tuples.
    drawn: list[Any] = json.loads(json.dumps([one for one in laid.strokes if one[0] in kinds]))
    return (
        drawn if len(drawn) <= MOST_STROKES else [*drawn[:: len(drawn) // MOST_STROKES], len(drawn)]
    )


def layout(name: str, laid: Laid) -> dict[str, Any]:
    """Where everything of a kind of sheet stands, and the sheets in blocks."""
    sheets = SHEETS[name]()
    return {
        "pictures": [[x, y, *codes.shape[1::-1]] for x, y, codes in laid.pictures],
        "texts": [
            [one.x, one.y, one.lines.size_px, one.colour[0], *one.lines.lines] for one in laid.texts
        ],
        "boxes": [[*box[:4], box[4].size_px, *box[4].lines] for box in laid.boxes],
        "strokes": strokes(name, laid),
        "light": [round(float(codes.mean()), 1) for _, _, codes in laid.pictures],
        "paper": [codes[-1, -1].tolist() for codes in sheets],
        "sizes": [list(codes.shape[1::-1]) for codes in sheets],
        "blocks": [coarse(codes) for codes in sheets] if name in DRAWN else [],
    }


@pytest.mark.parametrize("name", SHEETS)
def test_frozen_layout(name: str, laid: Laid):
    want = json.loads(FROZEN.read_text(encoding="utf-8"))[name]
    got = layout(name, laid)
    for part in ("pictures", "texts", "boxes", "strokes", "sizes"):
        assert got[part] == want[part]
    assert got["paper"] == want["paper"]
    np.testing.assert_allclose(got["light"], want["light"], atol=0.3)
    for page, frozen in zip(got["blocks"], want["blocks"], strict=True):
        np.testing.assert_allclose(page, frozen, atol=APART)


if __name__ == "__main__":
    found = {}
    for each in SHEETS:
        with pytest.MonkeyPatch.context() as patch:
            found[each] = layout(each, heard_pages(patch))
    lines = [
        f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}"
        for key, value in found.items()
    ]
    FROZEN.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")
