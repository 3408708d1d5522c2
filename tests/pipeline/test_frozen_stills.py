"""What one still once became by every choice there is, and what was said of it: `tests.frozen`.

Each case turns one knob of a recipe away from where it stands by itself; a knob that is dropped on
the way from the recipe to the light, or a notice that says something else, shows here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.files.reading import read_picture
from frontglass.looks import stack_from_text
from frontglass.pipeline.merge_files import merge_files
from frontglass.pipeline.still_files import render_file
from tests.frozen import is_frozen, write

FILE = "frozen_stills"
WIDTH, HEIGHT = 144, 96
FOCAL, EQUIVALENT, STOP, TIME, ISO = 37386, 41989, 33437, 33434, 34855


def shot(folder: Path, name: str, **tags: float) -> Path:
    """A dim room with two lamps, as a camera's file: "still.jpg", "still.png" or "still.exr"."""
    rng = np.random.default_rng(3)
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    light = 0.08 + 0.1 * (columns > 104) + 0.02 * rows / HEIGHT
    light = light[..., None] * np.array([1.1, 1.0, 0.8]) * rng.normal(1, 0.06, (HEIGHT, WIDTH, 3))
    light[20:26, 30:37], light[44:46, 80:83] = (6, 5, 3), 3
    path = folder / name
    if path.suffix == ".exr":
        fg.write_picture(path, fg.Picture(radiance=light))
        return path
    codes = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    exif = Image.Exif()
    own = {"focal": FOCAL, "equivalent": EQUIVALENT, "stop": STOP, "time": TIME, "iso": ISO}
    exif.get_ifd(0x8769).update({own[key]: value for key, value in tags.items()})
    Image.fromarray(codes).save(path, exif=exif, quality=95, subsampling=0)
    return path


def looks(text: str) -> tuple[Any, ...]:
    return (stack_from_text(text),)


def point(text: str) -> fg.DistancePoint:
    return fg.DistancePoint.from_text(text)


def taking(text: str, **how: Any) -> fg.Framing:
    return fg.Framing(taking=fg.TakingLens.from_text(text), **how)


PHONE = {"focal": 5.7, "equivalent": 26.0, "stop": 1.8, "time": 0.02, "iso": 640.0}
CAMERA = {"focal": 50.0, "stop": 2.0}
HAZE, GLOW, STRONG = "wharf-morning", "late-tram", "late-tram:4+keyhole:4"
ROOM = fg.Room(back_m=12, left_m=4)

Case = tuple[str, dict[str, float], str, dict[str, Any]]
RECIPES: dict[str, Case] = {
    "as it comes": ("still.png", {}, GLOW, {}),
    "a phone's still": ("still.jpg", PHONE, GLOW, {}),
    "a camera's still": ("still.jpg", CAMERA, GLOW, {}),
    "two looks": ("still.png", {}, "late-tram:1/2+slate-roof:1/4", {}),
    "brighter": ("still.png", {}, GLOW, {"exposure_stops": 1.5}),
    "exposed by itself": ("still.exr", {}, GLOW, {"exposure_stops": "auto"}),
    "far too bright": ("still.exr", {}, GLOW, {"exposure_stops": 6.0}),
    "dark round it": ("still.png", {}, GLOW, {"surround": "dark"}),
    "mirrored round it": ("still.png", {}, GLOW, {"surround": "mirror"}),
    "not made up": ("still.png", {}, GLOW, {"compensate": False}),
    "grain kept": ("still.png", {}, STRONG, {}),
    "grain spread too": ("still.png", {}, STRONG, {"grain": False}),
    "lamps off": ("still.png", {}, GLOW, {"recovery": fg.Recovery(clipped="off")}),
    "lamps six stops": ("still.png", {}, GLOW, {"recovery": fg.Recovery(clipped=6.0)}),
    "a bulb": (
        "still.png",
        {},
        GLOW,
        {
            "recovery": fg.Recovery(
                marks=(fg.LampMark(33, 22, kind="bulb"),), white_cd_per_m2=30.0, lamp_range="high"
            )
        },
    ),
    "lamps in a float file": ("still.exr", {}, GLOW, {"recovery": fg.Recovery(clipped=3.0)}),
    "channels cut": ("still.exr", {}, GLOW, {"past_white": "clip", "exposure_stops": 2.0}),
    "another lens": ("still.png", {}, GLOW, {"framing": fg.Framing(lens_mm=85, f_number=4)}),
    "another sensor": (
        "still.png",
        {},
        GLOW,
        {"framing": fg.Framing(lens_mm=35, sensor="super35", filter_distance_mm=120)},
    ),
    "the file not believed": (
        "still.jpg",
        PHONE,
        GLOW,
        {"framing": fg.Framing(lens_from="typed", lens_mm=40)},
    ),
    "focused near": ("still.png", {}, "fine-net", {"framing": fg.Framing(lens_mm=50, focus_m=2)}),
    "the equivalent typed": ("still.jpg", PHONE, GLOW, {"framing": fg.Framing(lens_mm=26)}),
    "framed": ("still.jpg", PHONE, GLOW, {"framing": taking("50mm,super35,2.39,T2.8")}),
    "framed aside": (
        "still.jpg",
        PHONE,
        GLOW,
        {"framing": taking("85mm,super35,1.85", aim=(100.0, 60.0), focus_m=3.0)},
    ),
    "framed of a typed lens": (
        "still.png",
        {},
        GLOW,
        {"framing": taking("75mm,full-frame", lens_mm=24, filter_distance_mm=50.0, f_number=5.6)},
    ),
    "haze in a room": ("still.png", {}, HAZE, {"space": fg.Space(room=ROOM)}),
    "haze by distances": (
        "still.png",
        {},
        HAZE,
        {"space": fg.Space(points=(point("20,30,4"), point("130,20,15")))},
    ),
    "haze with lamps": (
        "still.png",
        {},
        HAZE,
        {"space": fg.Space(room=ROOM, lamps=(fg.LampPlace(x_px=33, y_px=22, distance_m=3),))},
    ),
    "as float": ("still.exr", {}, "slate-roof", {}),
}
OUTS = {"as float": "out.exr", "channels cut": "out.png", "grain spread too": "out.png"}


def rendered(case: str) -> dict[str, Any]:
    """What was written, for which camera, and what was said."""
    name, tags, look, how = RECIPES[case]
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        still = shot(folder, name, **tags)
        out = folder / OUTS.get(case, "out.png")
        done = render_file(still, out, fg.Recipe(looks=looks(look), **how))
        seen = read_picture(out).radiance
    camera, frame = done.camera, done.frame
    return {
        "camera": [
            camera.focal_length_mm,
            camera.sensor_width_mm,
            camera.f_number,
            camera.filter_distance_mm,
            camera.focus_m,
        ],
        "frame": None if frame is None else [frame.x_px, frame.y_px, *frame.size_px],
        "said": done.notices,
        "mean": seen.mean(axis=(0, 1)),
        "fine": np.diff(seen, axis=1).std(),
        "lamp": seen[: len(seen) // 2].max(axis=(0, 1)),
        # Means of blocks: single 8-bit codes are dithered.
        "blocks": [[block.mean() for block in np.array_split(row, 4, 1)] for row in thirds(seen)],
    }


def thirds(seen: Any) -> list[Any]:
    return list(np.array_split(seen, 3, 0))


def widths() -> dict[str, Any]:
    """Cameras and heights for a width alone, as targets have it."""
    framings = {
        "nothing": fg.Framing(),
        "sensor": fg.Framing(sensor="super35", lens_mm=32),
        "upright": fg.Framing(sensor="24x36"),
        "taking": taking("50mm,super35,2.39", filter_distance_mm=60.0, focus_m=4.0),
        "taking at a stop": taking("50mm,super35,2.39,T4"),
    }
    found = {}
    for name, framing in framings.items():
        camera, told = framing.camera_for_width(640)
        lens = [camera.focal_length_mm, camera.f_number, camera.filter_distance_mm, camera.focus_m]
        height = framing.height_for_width(640)
        found[name] = [*lens, camera.sensor_width_mm, list(told), height]
    return found


def ends_of_lamps() -> list[Any]:
    """A still at both ends of what its lamps may be, seen through a look."""
    with tempfile.TemporaryDirectory() as place:
        still = shot(Path(place), "still.jpg", **PHONE)
        recipe = fg.Recipe(looks=looks(GLOW), recovery=fg.Recovery(white_cd_per_m2=20.0))
        found = []
        for name, picture in recipe.lamp_range_from(still):
            seen = fg.render(picture, recipe.looks)
            found.append([name, seen.radiance.mean(axis=(0, 1)), list(seen.notices)])
        return found


def by_a_still_in_hand() -> dict[str, Any]:
    """What a frame carries on of its still: lamps, light beyond and lost, distances."""
    light = np.full((40, 60, 3), 0.2, np.float32)
    light[10:12, 20:24] = 1
    whole = fg.Picture(
        radiance=light,
        distance_m=np.linspace(2, 9, 60, dtype=np.float32) * np.ones((40, 1), np.float32),
        beyond=0.5 * light,
        recovered=np.where(light >= 1, 7, 0).astype(np.float32),
        lamps=(fg.LampPlace(x_px=22, y_px=11), fg.LampPlace(x_px=2, y_px=2)),
        notices=("as it came.",),
    )
    framing = taking("75mm,super35,1.85", lens_mm=50, sensor="super35", aim=(30.0, 16.0))
    frame = framing.framed(whole)
    seen = fg.render(
        frame, stack_from_text("wharf-morning:1+late-tram:1"), camera=framing.camera_for(frame)[0]
    )
    lost = seen.recovered
    return {
        "lamps": [[lamp.x_px, lamp.y_px, lamp.distance_m] for lamp in frame.lamps or ()],
        "shot": [frame.shot.focal_length_mm, frame.shot.focal_length_35mm],
        "said": [*seen.notices, *framing.camera_for(frame).notices],
        "light": seen.radiance.mean(axis=(0, 1)),
        "beyond": None if seen.beyond is None else seen.beyond.mean(axis=(0, 1)),
        "lost": None if lost is None else lost.light.sum(axis=0),
        "dimmer": replace(frame, notices=()).brighter(0.5).radiance.mean(),
    }


def merged() -> dict[str, Any]:
    """A bracket by what its files say and by what is typed, in each format."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        tags = PHONE | {"iso": 100.0}
        stills = [
            shot(folder, f"{number}.jpg", **(tags | {"time": 0.5 / 8**number}))
            for number in range(2)
        ]
        found: dict[str, Any] = {}
        for suffix, how in (
            (".exr", {}),
            (".hdr", {}),
            (".tif", {}),
            (".exr", {"stops": "-2,0", "alignment": "off"}),
        ):
            out = folder / f"merged{suffix}"
            made = merge_files(stills, out, **how)  # type: ignore[arg-type]
            read = read_picture(out)
            found[f"{suffix} {how}"] = [
                made.exposure_stops,
                made.picture.notices,
                [read.shot.focal_length_mm, read.shot.f_number, read.shot.exposure_stops],
                read.radiance.mean(axis=(0, 1)),
            ]
        return found


CASES: dict[str, Callable[[], Any]] = {
    **{case: partial(rendered, case) for case in RECIPES},
    "widths alone": widths,
    "ends of lamps": ends_of_lamps,
    "a frame in hand": by_a_still_in_hand,
    "brackets": merged,
}


@pytest.mark.parametrize("case", CASES)
def test_frozen_stills(case: str):
    is_frozen(FILE, case, CASES[case]())


if __name__ == "__main__":
    write(FILE, CASES)
