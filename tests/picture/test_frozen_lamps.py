"""What clipped lamps of a few scenes were once found to be: a guard, see `tests.frozen`.

How near the truth that is, test_clipped.py, test_lamp_light.py and test_lamp_kinds.py say. Here
each of the tuned numbers acts somewhere, so that none of them moves unseen.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from functools import partial
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

import frontglass as fg
from frontglass.optics.camera import ShotData
from frontglass.picture.clipped import clipping_levels, outline
from frontglass.picture.clipped_features import region_features
from frontglass.picture.clipped_lamps import RecoveredStill
from frontglass.picture.lamp_kinds import KINDS
from tests.frozen import is_frozen, write
from tests.picture.lit_boxes import lit_box

FILE = "frozen_lamps"
Light = NDArray[np.floating[Any]]


def codes(light: Light, quality: int | None = None) -> NDArray[np.uint8]:
    """8-bit codes of linear light, through a JPEG of a quality if one is given."""
    own = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    if quality is None:
        return own
    _, held = cv2.imencode(".jpg", own[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.ascontiguousarray(cv2.imdecode(held, cv2.IMREAD_COLOR)[..., ::-1])


def falling(away: Light, radius: float, edge: float, reach: float) -> Light:
    """A clipped disc, and light round it that falls off."""
    return np.where(away <= radius, 4.0, edge * np.exp(-np.maximum(away - radius, 0) / reach))


def aureole() -> Light:
    """A sun in a bright haze."""
    rows, columns = np.mgrid[:160, :256]
    away = np.hypot(rows - 70, columns - 150)
    light = falling(away, 6, 0.75, 4) + 0.28
    return np.asarray(light[..., None] * np.array([1.05, 1.0, 0.9]))


def leaves() -> Light:
    """Crumbs of a white sky between dark leaves."""
    rng = np.random.default_rng(5)
    light = np.full((160, 256, 3), 0.06) * np.array([0.7, 1.0, 0.4])
    for row, column in rng.integers(6, 150, (150, 2)) * np.array([1, 1.6]):
        light[int(row) : int(row) + 3, int(column) : int(column) + 2] = 3
    return light


def paper() -> Light:
    """A sheet in lamp light that comes up to white softly, and a large pale wall."""
    rows, columns = np.mgrid[:160, :256]
    sheet = np.exp(-(((columns - 60) / 30) ** 4) - ((rows - 80) / 30) ** 4)
    wall = np.clip((columns - 150) / 60, 0, 1) ** 2
    light = 0.15 + 1.05 * sheet + 1.1 * wall
    return np.asarray(light[..., None] * np.array([1.0, 0.98, 0.93]))


def signs() -> Light:
    """A night with a red neon tube, a blue screen, a warm bulb and the strokes of letters."""
    light = np.full((160, 256, 3), 0.012) * np.array([1.3, 1.0, 0.7])
    rows, columns = np.mgrid[:160, :256]
    for (row, column), radius, colour in (
        ((40, 40), 5, (1.0, 0.8, 0.5)),
        ((110, 200), 9, (0.5, 0.8, 1.2)),
        ((60, 120), 2, (1.0, 0.9, 0.8)),
    ):
        light += falling(np.hypot(rows - row, columns - column), radius, 0.3, 3)[..., None] * colour
    tube = np.hypot(np.clip(np.abs(columns - 60) - 30, 0, None), rows - 120)
    light += falling(tube, 2, 0.4, 4)[..., None] * np.array([1.2, 0.15, 0.1])
    light[20:40, 190:192] = light[20:22, 180:202] = 2
    return light


SCENES: dict[str, Callable[[], Light]] = {
    "room": lambda: lit_box(3, "room").light,
    "street": lambda: lit_box(2, "street").light,
    "window": lambda: lit_box(4, "window").light,
    "aureole": aureole,
    "leaves": leaves,
    "paper": paper,
    "signs": signs,
}
WHITES: dict[str, float | None] = {"unknown": None, "night": 12.0, "day": 2500.0}


def told(found: RecoveredStill) -> dict[str, Any]:
    """What a still says of its lamps: all that is listed, said and given back."""
    lit = found.picture.recovered
    return {
        "lamps": [list(dataclasses.astuple(lamp)) for lamp in found.lamps[:6]],
        "white": None if found.white is None else list(found.white),
        "areas": found.areas,
        "doubt": found.doubt_stops,
        "said": list(found.picture.notices),
        "given": None if lit is None else lit.light.sum(axis=0, dtype=np.float64),
        "brightest": None if lit is None else float(lit.light.max()),
    }


def estimated(scene: str, white: float | None, **recovery: Any) -> dict[str, Any]:
    still = fg.Picture.from_array(codes(SCENES[scene]()))
    return told(fg.with_recovered_light(still, fg.Recovery(white_cd_per_m2=white, **recovery)))


def shown(light: NDArray[np.float32]) -> dict[str, Any]:
    """What is seen of clipped areas, the largest first."""
    features = region_features(light, outline(light))
    largest = np.argsort(-features.area_px, kind="stable")[:6]
    seen = {}
    for field in dataclasses.fields(features):
        value = np.asarray(getattr(features, field.name), np.float64)
        is_each = value.ndim and len(value) == len(features.area_px) and field.name != "frame_light"
        seen[field.name] = value[largest] if is_each else value
    return seen | {"levels": clipping_levels(light)}


def features(scene: str, quality: int | None = None, times: int = 1) -> dict[str, Any]:
    large = np.repeat(np.repeat(codes(SCENES[scene](), quality), times, 0), times, 1)
    return shown(fg.Picture.from_array(large).radiance)


def half_a_step(scene: str) -> dict[str, Any]:
    """A still of one and a half times the pixels that rings are counted on."""
    wide = np.pad(codes(SCENES[scene]()), ((0, 80), (0, 128), (0, 0)), mode="reflect")
    return shown(fg.Picture.from_array(wide).radiance)


def darker(scene: str, top: int) -> dict[str, Any]:
    """A camera that ends below the highest code."""
    return shown(fg.Picture.from_array(np.minimum(codes(SCENES[scene](), 92), top)).radiance)


def named(white: float | None, radius: float = 7, top: int = 255) -> dict[str, Any]:
    """One lamp, taken for each kind: its level, doubt, light given back and its brightest pixel."""
    rows, columns = np.mgrid[:160, :256]
    light = falling(np.hypot(rows - 80, columns - 90), radius, 0.5, 3) + 0.03
    own = np.minimum(codes(light[..., None] * np.array([1.0, 0.8, 0.6])), top)
    still = fg.Picture.from_array(own)
    found = {}
    for kind in KINDS:
        marks = (fg.LampMark(90, 80, kind=kind),)
        recovery = fg.Recovery(clipped="off", marks=marks, white_cd_per_m2=white)
        one = fg.with_recovered_light(still, recovery)
        lit = one.picture.recovered
        light_of = (0.0, 0.0) if lit is None else (float(lit.light.sum()), float(lit.light.max()))
        found[kind] = [one.lamps[0].stops, one.lamps[0].uncertain_stops, *light_of]
    return found


def lamps_on_a_wall(number: int, ground: float, halo: float, warm: float) -> dict[str, Any]:
    """Signs of lamp light where none of them is sure: half-lit walls, lamps of middling number."""
    rows, columns = np.mgrid[:160, :256]
    light = np.full((160, 256), ground) * (1 + columns / 300)
    for place in np.random.default_rng(number).uniform(10, 150, (number, 2)):
        away = np.hypot(rows - place[0], columns - 1.5 * place[1])
        light = light + falling(away, 2.5, halo, 6)
    return seen_of(light[..., None] * np.array([warm, 1.0, 1 / warm]))


def hazy_sun(edge: float, air: float) -> dict[str, Any]:
    """An aureole that is none for sure."""
    rows, columns = np.mgrid[:160, :256]
    light = falling(np.hypot(rows - 70, columns - 150), 6, edge, 12) + air
    return seen_of(light[..., None] * np.array([1.0, 1.0, 0.95]))


def bright_wall(share: float, soft: float) -> dict[str, Any]:
    """An area of much of the frame, with an edge that is softer or harder."""
    rows, columns = np.mgrid[:160, :256]
    inside = 256 * share - columns + 3 * np.sin(rows / 9)
    return seen_of((0.2 + 1.2 / (1 + np.exp(-inside / soft)))[..., None] * np.ones(3))


def seen_of(light: Light) -> dict[str, Any]:
    seen = shown(fg.Picture.from_array(codes(light)).radiance)
    own = ("aureole", "lamp_share", "core_share", "lamp_lit", "closure_stops", "crumbs", "shallow")
    return {name: seen[name] for name in own}


HALF_SURE: dict[str, Callable[[], Any]] = {
    **{
        f"{number} lamps on a wall of {ground}, halo {halo}, {warm}": (
            partial(lamps_on_a_wall, number, ground, halo, warm)
        )
        for number, ground, halo, warm in (
            (1, 0.05, 0.1, 1.1),
            (2, 0.1, 0.25, 1.2),
            (6, 0.05, 0.2, 1.0),
            (9, 0.15, 0.3, 1.15),
            (20, 0.08, 0.3, 1.3),
            (45, 0.02, 0.2, 1.2),
            (70, 0.2, 0.4, 0.9),
            (3, 0.02, 0.04, 1.05),
        )
    },
    **{
        f"hazy sun of {edge} in air of {air}": partial(hazy_sun, edge, air)
        for edge, air in ((0.35, 0.2), (0.5, 0.12), (0.62, 0.02), (0.3, 0.35))
    },
    **{
        f"bright wall of {share}, {soft} px": partial(bright_wall, share, soft)
        for share, soft in ((0.3, 1.0), (0.4, 3.0), (0.25, 6.0), (0.1, 2.0))
    },
}


def kinds() -> dict[str, Any]:
    """What README's table does not say of kinds."""
    return {
        kind.name: [kind.white_cd_per_m2, kind.angle_deg, kind.source] for kind in KINDS.values()
    }


def by_exposure(**shot: float) -> dict[str, Any]:
    still = fg.Picture.from_array(codes(signs()))
    return told(fg.with_recovered_light(dataclasses.replace(still, shot=ShotData(**shot))))


def beyond_white() -> dict[str, Any]:
    """A still whose file ends three stops above white."""
    still = fg.Picture.from_array(codes(signs()))
    higher = dataclasses.replace(still.encoding, top=(8.0, 8.0, 8.0), codes=None)
    still = dataclasses.replace(still, radiance=still.radiance * 8, encoding=higher)
    marks = (fg.LampMark(40, 40, stops=5), fg.LampMark(200, 110, kind="screen"))
    return told(fg.with_recovered_light(still, fg.Recovery(marks=marks, white_cd_per_m2=40)))


def exposed_anew() -> dict[str, Any]:
    still = fg.Picture.from_array(codes(signs())).brighter(2.0)
    return told(fg.with_recovered_light(still, white=2.0))


CASES: dict[str, Callable[[], Any]] = {
    **{
        f"{scene}, white {known}": partial(estimated, scene, white)
        for scene in SCENES
        for known, white in WHITES.items()
    },
    **{f"features of {scene}": partial(features, scene) for scene in SCENES},
    "features of signs in a JPEG": lambda: features("signs", 75),
    "features of a large room": lambda: features("room", 90, 5),
    "features at a step and a half": lambda: half_a_step("signs"),
    "features where a camera ends early": lambda: darker("signs", 240),
    "every kind, white unknown": lambda: named(None),
    "every kind, white of a night": lambda: named(40.0),
    **HALF_SURE,
    "kinds": kinds,
    "every kind, a large lamp": lambda: named(40.0, 40),
    "every kind, where a camera ends early": lambda: named(40.0, 12, 240),
    "low": lambda: estimated("signs", 40.0, lamp_range="low"),
    "high": lambda: estimated("signs", None, lamp_range="high"),
    "all bulbs": lambda: estimated("signs", 40.0, clipped="bulb"),
    "all six stops": lambda: estimated("signs", 40.0, clipped=6.0),
    "all twenty stops": lambda: estimated("signs", 40.0, clipped=20.0),
    "by exposure": lambda: by_exposure(exposure_stops=-3.6),
    "beyond white": beyond_white,
    "exposed anew": exposed_anew,
}


@pytest.mark.parametrize("case", CASES)
def test_frozen_lamps(case: str):
    is_frozen(FILE, case, CASES[case]())


if __name__ == "__main__":
    write(FILE, CASES)
