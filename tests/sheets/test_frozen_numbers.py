"""What loops, crops, views and words of sheets once came to: a guard, see `tests.frozen`."""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable
from dataclasses import astuple, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

import frontglass as fg
from frontglass.elements import Plate, Veil
from frontglass.pipeline.rendering import Conditions
from frontglass.sheets.boiling import Boiling, lamps_of
from frontglass.sheets.contact import small_copy
from frontglass.sheets.crop import crop_of, faces_in, saliency
from frontglass.sheets.distance_page import shaded_distances
from frontglass.sheets.ladder import stops_text
from frontglass.sheets.layout import (
    close_up_size,
    columns_for,
    grid,
    scale_text,
    size_in,
    size_within,
)
from frontglass.sheets.learned import ShownKernel, ShownPair, learned_sheet
from frontglass.sheets.lettering import TextLines, broken, fitted, legible
from frontglass.sheets.mood_pages import _tick
from frontglass.sheets.moving_ghosts import MovingGhosts
from frontglass.sheets.pdf import write_pdf
from frontglass.sheets.plots import Series, swatch
from frontglass.sheets.sheet import Sizes
from frontglass.sheets.sway import half_pan_deg, sway
from frontglass.sheets.views import view
from tests.frozen import is_frozen, write

FILE = "frozen_sheets"
CAMERA = fg.Camera(focal_length_mm=25, f_number=11, sensor_width_mm=36)
LOOKS = {
    "glow": "late-tram",
    "veil": fg.Look(elements=(Veil(veil_share=0.05),)),
    "glass": fg.Look(elements=(Plate(tilt_deg=(1.0, 0.5), returns=0.05),)),
}


def look(name: str) -> Any:
    own = LOOKS[name]
    return fg.read_look(own) if isinstance(own, str) else own


def scene(height: int = 48, width: int = 72) -> fg.Picture:
    """Soft walls, two lamps of different size and light, and a bright stroke."""
    rows, columns = np.mgrid[:height, :width]
    light = (0.03 + 0.1 * columns / width + 0.05 * (rows > height / 2))[..., None] * np.ones(3)
    light[height // 3 : height // 3 + 2, width // 4 : width // 4 + 3] = (900, 700, 400)
    light[height // 2, 3 * width // 4] = 3000
    light[3 * height // 4, width // 3 : width // 2] = 0.9
    return fg.Picture(radiance=light.astype(np.float32))


def few(values: NDArray[Any]) -> NDArray[Any]:
    height, width = values.shape[:2]
    return np.asarray(values[height // 10 :: height // 4, width // 10 :: width // 5])


def looped(*names: str, **how: Any) -> dict[str, Any]:
    how = {"pan_deg": 1.0, "exaggerate": 4.0, "width_px": 72} | how
    loop = sway(scene(), [look(name) for name in names], camera=CAMERA, **how)
    # Codes as floats: whole ones of dithered views may differ by one.
    means = [codes.mean(axis=(0, 1)) for codes in loop.frames[::5]]
    return {"said": loop.verdict, "size": loop.frames[0].shape, "means": means}


def boiled(exaggerate: float) -> list[Any]:
    still = scene()
    lamps = lamps_of(still)
    boiling = Boiling.of(
        small=still, full=scene(96, 144), looks=[look("glow")], camera=CAMERA, lamps=lamps,
        exaggerate=exaggerate,
    )  # fmt: skip
    angles = np.array([0.0, 0.002, 0.01, 0.05])
    found = [100 * (few(boiling.at(*by)) - 1) for by in ((0.4, -0.3), (3.0, 0.0))]
    return [*found, [boiling.contrast(lamp, angles, k) for lamp in lamps for k in range(3)]]


def ghosts() -> list[Any]:
    """Ghosts of a pane before a glow, the camera panned one way and another."""
    camera = fg.Camera(focal_length_mm=50, f_number=1.4, sensor_width_mm=36, focus_m=20.0)
    still = scene(60, 90)
    looks = [fg.Look(elements=(Plate(returns=0.02),)), look("glow")]
    moving = MovingGhosts(still, looks, camera, Conditions(camera=camera))
    light = np.zeros((60, 90, 3), np.float32)
    seen = [moving.over(light.copy(), *by) for by in ((0.0, 0.0), (3.0, -2.0), (-5.5, 4.0))]
    return [moving.seen, *([one.sum(axis=(0, 1)), thirds(1000 * one)] for one in seen)]


def crops() -> dict[str, Any]:
    tall, wide = scene(120, 60), scene(60, 160)
    watched = [("lamp", fg.Region(30, 10, 20, 15)), ("hand", fg.Region(5, 90, 20, 25))]
    found: dict[str, Any] = {}
    for name, picture in (("tall", tall), ("wide", wide)):
        for aspect in (None, 0.5, 1.0, 1.85, 2.39):
            crop = crop_of(picture, aspect)
            found[f"{name} {aspect}"] = [*box(crop.region), *crop.notices]
        for share in (0.0, 0.3, 1.0):
            crop = crop_of(picture, 1.2, share=share)
            found[f"{name} at {share}"] = [*box(crop.region), *crop.notices]
    crop = crop_of(tall, 1.85, watched=watched)
    found["watched"] = [*box(crop.region), *crop.notices]
    crop = crop_of(wide, 1.0, within=fg.Region(20, 5, 120, 50))
    found["within"] = [*box(crop.region), *crop.notices]
    return found | {"stands out": few(saliency(scene(100, 150))) * 1e4}


def box(region: fg.Region) -> list[int]:
    return [region.x_px, region.y_px, *region.size_px]


def viewed() -> dict[str, Any]:
    """A picture reduced, enlarged and as it is, with light past white."""
    still = scene()
    clipped = replace(still, past_white="clip")  # type: ignore[arg-type]
    sizes = ((72, 48), (36, 24), (30, 20), (144, 96), (720, 480))
    means = {f"{w} x {h}": thirds(view(still, (w, h))) for w, h in sizes}
    return means | {"clipped": thirds(view(clipped, (36, 24)))}


def thirds(codes: NDArray[Any]) -> list[Any]:
    return [part.mean(axis=(0, 1)) for part in np.array_split(codes.astype(float), 3, axis=1)]


def drawn() -> dict[str, Any]:
    """Small drawings code for code, but for letters."""
    series = [Series([0.0], [0.0]), *(Series([0.0], [0.0], n) for n in range(9))]
    away = np.geomspace(1, 40, 24, dtype=np.float32).reshape(4, 6)
    away[0, 0] = np.inf
    return {
        "tick": _tick()[:, ::3, 0],
        "swatches": [swatch(one, (40, 7))[3, ::2] for one in series],
        "shades": shaded_distances(away, (6, 4))[..., 2],
        "flat shades": shaded_distances(np.full((2, 2), 3, np.float32), (2, 2))[..., 0],
    }


def learned() -> list[Any]:
    """Pictures of a learned look: with glass, as it renders, and the difference."""
    light = np.clip(scene(40, 60).radiance, 0, 2)
    stops = np.linspace(-0.4, 0.4, 2400, dtype=np.float32).reshape(40, 60)
    pair = ShownPair(
        title="gate.png", bare=light, with_glass=0.9 * light, predicted=light,
        difference_stops=stops, held=np.arange(2400).reshape(40, 60) % 60 > 9,
    )  # fmt: skip
    kernel = ShownKernel(
        angles_deg=np.geomspace(0.02, 8, 5),
        shares=np.array([1, 4, 6, 3, 0.5]) / 100,
        deviations=np.array([5, 1, 1, 1, 0.5]) / 1000,
    )
    codes = learned_sheet("learned", ("5 %",), [pair], kernel).codes
    return [codes.shape, [[part.mean() for part in np.array_split(row, 8, 1)] for row in
            np.array_split(codes[..., 0].astype(float), 8, 0)]]  # fmt: skip


def words() -> dict[str, Any]:
    stops = (0.0, 0.01, 0.049, 0.05, 0.5, 0.96, 1.0, 1.04, 1.06, 2.0)
    return {
        "stops": [stops_text(value) for value in stops],
        "pans": [half_pan_deg(replace(CAMERA, f_number=stop)) for stop in (2.0, 5.6, 22.0)],
        "lamps": [[lamp.x_px, lamp.y_px, lamp.radius_px, lamp.flux] for lamp in lamps_of(scene())],
        "faces": faces_in(scene()),
    }


def grids() -> dict[str, Any]:
    """Cells, close-ups and columns for stills of several shapes and numbers."""
    found: dict[str, Any] = {}
    for count, still, width in (
        (1, (90, 60), 900), (2, (90, 60), 900), (3, (300, 200), 800), (5, (60, 90), 1000),
        (6, (1600, 900), 1240), (7, (64, 64), 700), (9, (40, 400), 900), (12, (4000, 500), 2000),
    ):  # fmt: skip
        own = [astuple(grid(count, still, width_px=width, gap_px=12))]
        own.append(grid(count, still, width_px=width, gap_px=12).width_px)
        for columns in (1, count):
            own.append(astuple(grid(count, still, width_px=width, gap_px=7, columns=columns)))
        own.append(close_up_size(still, count, width_px=width, gap_px=12))
        own += [size_in(still, width), size_within(still, width), size_within(still, width, 70)]
        own.append([columns_for(still[0], width_px=width, gap_px=gap) for gap in (0, 9)])
        found[f"{count} of {still} in {width}"] = own
    return found | {"scales": [scale_text(90, shown) for shown in (30, 89, 90, 180, 200)]}


def letters() -> list[Any]:
    """Texts that fit, shrink, are broken between words and within them, and lack letters."""
    long = "slate-roof 1/4 behind a long caption of many words, and-one-that-has-no-end-at-all"
    found: list[Any] = [legible(text) for text in ("café ♥ é", "灯 x", "№ 5")]
    for room, size in ((900, 20), (560, 20), (200, 16), (90, 14), (40, 30)):
        found.append(astuple(broken(long, room, size)))
        found += [astuple(text) for text in fitted([long[:10], long[:24]], room, size)]
        found += [astuple(text) for text in fitted([long[:24]], room, size, 19)]
    found.append([TextLines(("a",) * n, size).height_px for n in (1, 2, 5) for size in (12, 17)])
    found.append([astuple(Sizes.of(width)) for width in (300, 1240, 2400)])
    return [*found, [astuple(Sizes.for_phone(width)) for width in (300, 1170)]]


def printed(folder: Path) -> list[Any]:
    """Small copies, and pages as they are printed."""
    copies = [Image.open(io.BytesIO(small_copy(scene(*size)))) for size in ((900, 700), (30, 40))]
    sheet = fg.Sheet(np.full((124, 175, 3), 90, np.uint8))
    write_pdf(folder / "board.pdf", "A board", [sheet] * 2)
    text = (folder / "board.pdf").read_bytes()
    boxes = re.findall(rb"/MediaBox *\[([^]]*)\]", text)
    return [[copy.size for copy in copies], [[float(n) for n in one.split()] for one in boxes]]


def in_a_folder() -> list[Any]:
    with tempfile.TemporaryDirectory() as folder:
        return printed(Path(folder))


CASES: dict[str, Callable[[], Any]] = {
    "loop of a glow": lambda: looped("glow"),
    "loop of a veil": lambda: looped("veil"),
    "loop of glass": lambda: looped("glass", width_px=64),
    "boiling": lambda: boiled(50.0),
    "boiling, too strong": lambda: boiled(800.0),
    "ghosts that move": ghosts,
    "crops": crops,
    "views": viewed,
    "drawings": drawn,
    "learned": learned,
    "grids": grids,
    "letters": letters,
    "printed": in_a_folder,
    "words": words,
}


@pytest.mark.parametrize("case", CASES)
def test_frozen_numbers(case: str):
    is_frozen(FILE, case, CASES[case]())


if __name__ == "__main__":
    write(FILE, CASES)
