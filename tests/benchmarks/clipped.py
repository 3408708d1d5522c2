"""Clipped lamps: the glow of an 8-bit still, as it is and recovered, against the true scene's.

Truth are open high-dynamic-range crops (tests/data/hdr), exposed by one rule, clipped to 8 bits
of sRGB and stored as JPEG, and drawn rooms, streets and windows with lamps of known luminance; and
path-traced nights and days (traced_nights.py, traced_days.py), if their FOLDER is named. None is a
drawing, or of a panorama, that the estimate was fitted to (fit_lamps.py). Errors are of the
scattered light alone, in stops, outside the clipped areas; what is said of exposures in EXIF is
guessed for the panoramas.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

import frontglass as fg
from frontglass.picture.clipped import outline
from tests.picture.hdr_scenes import (
    KEY,
    LAMP_SCENES,
    PLAIN_SCENES,
    as_still,
    glow_error,
    picture_error,
    scene,
    source,
    true_marks,
    white_cd_per_m2,
)
from tests.picture.lamp_rooms import lamp_room
from tests.picture.lit_boxes import LitBox, lit_box, through_lens

QUALITIES = (None, 98, 90, 75)
BRACKET_STOPS = (0.0, -4.0, -8.0, -12.0)
CONSTANTS = (1.5, 2.0, 2.5, 3.0, 4.0, 5.0)
ROOMS = 24
KINDS = {
    "interior": ("warehouse", "interior"), "sun": ("dawn", "park-sun", "sunset"),
    "open sky": ("forest",), "boxes": ("box",), "streets at night": ("street",),
    "windows by day": ("window",), "traced rooms": ("traced room",),
    "traced nights": ("traced park", "traced pier", "traced square", "traced street"),
    "traced windows": ("traced window",),
    "traced days": ("traced daystreet", "traced opensky"),
}  # fmt: skip
"""Kinds of scenes, by how their names begin."""
BOXES, LEAST_PART = range(101, 141, 2), 2e-4
"""Numbers of drawn boxes that nothing was fitted to, nor chosen on; of which that part clips."""
MOST_CLIPPED, TRACED_PX_PER_RAD = 0.1, 277.0
"""A traced night is exposed by the rule, or so that no more than that part of it clips."""
EXIF_STOPS = 0.5
"""What exposure leaves open of white, as a standard deviation."""
Rows = dict[str, list[tuple[float, float]]]


def errors_of(
    truth: np.ndarray, still: fg.Picture, how: dict[str, fg.Recovery | None]
) -> dict[str, tuple[float, float]]:
    """Glow's error, and light given back over light lost [stop], as is and in several ways."""
    away, outside = truth - still.radiance, outline(still.radiance).labels == 0
    found = {"8-bit": (glow_error(still.radiance, truth, outside).rms, float("nan"))}
    for name, recovery in how.items():
        light = source(fg.with_recovered_light(still, recovery).picture)
        given = float((light - still.radiance).sum()) / float(away[~outside].sum())
        rms = glow_error(light, truth, outside).rms
        found[name] = (rms, float(np.log2(max(given, 1e-6))))
    return found


def said(name: str, found: dict[str, tuple[float, float]]) -> None:
    parts = (f"{rms:.2f} {light:+.1f}" for rms, light in list(found.values())[1:])
    print(f"{name:15}{found['8-bit'][0]:.2f}   " + "    ".join(parts))


def summed_up(rows: Rows) -> None:
    """Print medians, and what is left of the 8-bit still's error."""
    plain = [rms for rms, _ in rows["8-bit"]]
    for name, column in rows.items():
        errors = [rms for rms, _ in column]
        light = statistics.median(light for _, light in column)
        back = "" if name == "8-bit" else f", light {light:+.1f} stops"
        worse = sum(error > least for error, least in zip(errors, plain, strict=True))
        print(
            f"{name:9} median {statistics.median(errors):.3f}, mean {np.mean(errors):.3f},"
            f" most {max(errors):.2f}, left of the still's own {left(rows, name):.2f},"
            f" {worse} worse{back}"
        )


def left(rows: Rows, name: str) -> float:
    """Median of what is left of the 8-bit still's error in one way."""
    pairs = zip(rows[name], rows["8-bit"], strict=True)
    return statistics.median(error / least for (error, _), (least, _) in pairs)


def by_kind(names: list[str], rows: Rows) -> None:
    """Print what is left, and how much light is given back, kind by kind, beside two constants.

    One is the best for that kind, chosen with hindsight; the other the best over all scenes here,
    the only one that somebody could use who does not know the kind. The first is the stricter.
    """
    flats = [way for way in rows if way.startswith("flat")]
    one = min(flats, key=lambda way: left(rows, way))
    for kind, begins in KINDS.items():
        own = [i for i, name in enumerate(names) if name.startswith(begins)]
        if not own:
            continue
        some = {way: [column[i] for i in own] for way, column in rows.items()}
        least, best = min((left(some, way), way) for way in flats)
        said = (
            f"{way} {left(some, way):.2f} {statistics.median(x for _, x in some[way]):+.1f}"
            for way in ("no EXIF", "EXIF")
        )
        print(
            f"{kind:17}{len(own):3} scenes: {', '.join(said)};"
            f" {best} {least:.2f}, on all scenes {one} {left(some, one):.2f}"
        )


def measured(
    names: list[str], truth_of: Callable[[str], tuple[fg.Picture, np.ndarray, dict]]
) -> None:
    """Print a line for each scene, and the medians."""
    rows: Rows = {}
    for number, name in enumerate(names):
        still, truth, how = truth_of(name)
        if number == 0:
            print(f"{'':15}8-bit  " + "  ".join(f"{one:9}" for one in how))
        how |= {f"flat {stops:g}": fg.Recovery(clipped=stops) for stops in CONSTANTS}
        found = errors_of(truth, still, how)
        said(name, {key: pair for key, pair in found.items() if "flat" not in key})
        for key, pair in found.items():
            rows.setdefault(key, []).append(pair)
    summed_up(rows)
    by_kind(names, rows)


def open_scene(name: str, folder: Path) -> tuple[fg.Picture, np.ndarray, dict]:
    """A crop of a panorama; all that a mark can say is its true level."""
    truth = scene(name)
    still = as_still(truth, folder)
    seed = LAMP_SCENES.index(name)
    white = white_cd_per_m2(name, np.random.default_rng(seed).normal(0, EXIF_STOPS))
    marks = true_marks(truth, still)
    return still, truth, {
        "no EXIF": None,
        "EXIF": fg.Recovery(white_cd_per_m2=white),
        "levels": fg.Recovery(marks=marks, white_cd_per_m2=white),
    }  # fmt: skip


def room(name: str, folder: Path) -> tuple[fg.Picture, np.ndarray, dict]:
    """A drawn room; a mark says the kind of a lamp."""
    seed = int(name.split()[1])
    drawn = lamp_room(seed)
    still = as_still(drawn.light, folder)
    white = drawn.white_cd_per_m2 * 2.0 ** np.random.default_rng(seed).normal(0, EXIF_STOPS)
    marks = []
    for x, y, kind in drawn.lamps:
        mark = fg.LampMark(x, y, kind=kind)
        try:
            fg.with_recovered_light(still, fg.Recovery(marks=(mark,)))
        except fg.ParameterError:  # it does not clip
            continue
        marks.append(mark)
    return still, drawn.light, {
        "no EXIF": None,
        "EXIF": fg.Recovery(white_cd_per_m2=white),
        "kinds": fg.Recovery(marks=tuple(marks), white_cd_per_m2=white),
    }  # fmt: skip


@cache
def box_named(name: str) -> LitBox:
    kind, number = name.split()
    return lit_box(int(number), "room" if kind == "box" else kind)


def box(name: str, folder: Path) -> tuple[fg.Picture, np.ndarray, dict]:
    """A drawn box, street or window wall."""
    drawn, number = box_named(name), name.split()[1]
    white = drawn.white_cd_per_m2 * 2.0 ** np.random.default_rng(int(number)).normal(0, EXIF_STOPS)
    how = {"no EXIF": None, "EXIF": fg.Recovery(white_cd_per_m2=white)}
    return as_still(drawn.light, folder), drawn.light, how


def traced(path: Path, folder: Path) -> tuple[fg.Picture, np.ndarray, dict]:
    """A path-traced view, in cd/m2 before it went through a lens."""
    rng = np.random.default_rng(int(path.stem.split("-")[1]))
    light = np.maximum(fg.read_picture(path).radiance, 0)
    light = through_lens(rng, light, TRACED_PX_PER_RAD)
    average = np.exp(np.log(np.maximum(light.mean(axis=2), 1e-4)).mean())
    white = max(average / KEY, np.quantile(light.max(axis=2), 1 - MOST_CLIPPED))
    known = fg.Recovery(white_cd_per_m2=float(white * 2.0 ** rng.normal(0, EXIF_STOPS)))
    truth = np.asarray(light / white, np.float32)
    return as_still(truth, folder), truth, {"no EXIF": None, "EXIF": known}


def bracketed(folder: Path) -> None:
    """Print the error that a bracket leaves."""
    errors = []
    for name in LAMP_SCENES:
        truth = scene(name)
        frames = [as_still(truth * np.float32(2.0**s), folder, quality=95) for s in BRACKET_STOPS]
        merged = fg.merged_bracket(frames, BRACKET_STOPS).picture.radiance
        outside = truth.max(axis=2) < 1
        errors.append(glow_error(merged, truth, outside).rms)
    print(f"bracket   median {statistics.median(errors):.3f}, largest {max(errors):.3f}")


def by_quality(quality: int | None, folder: Path) -> str:
    """Medians over all scenes with lamps, stored as PNG or as JPEG of some quality."""
    pairs = []
    for name in LAMP_SCENES:
        truth = scene(name)
        still = as_still(truth, folder, quality=quality)
        how = {"EXIF": fg.Recovery(white_cd_per_m2=white_cd_per_m2(name))}
        pairs.append([rms for rms, _ in errors_of(truth, still, how).values()])
    plain, auto = (statistics.median(column) for column in zip(*pairs, strict=True))
    label = "PNG" if quality is None else f"JPEG {quality}"
    return f"{label:8} {plain:.3f} -> {auto:.3f}"


def time_in_copies() -> float:
    """Time of recovery at 24 MP over that of one copy of the picture."""
    rng = np.random.default_rng(1)
    light = np.repeat(np.repeat(rng.uniform(0.01, 0.15, (40, 60, 3)), 100, 0), 100, 1)
    night = np.rint(255 * light ** (1 / 2.2)).astype(np.uint8)
    for x, y, size in zip(
        rng.integers(0, 5900, 300),
        rng.integers(0, 3900, 300),
        rng.integers(4, 90, 300),
        strict=True,
    ):
        night[y : y + size, x : x + size] = 255
    picture = fg.Picture.from_array(night)

    def seconds(action: Callable[[], object]) -> float:
        spent = []
        for _ in range(3):
            start = time.process_time()
            action()
            spent.append(time.process_time() - start)
        return min(spent)

    copied = seconds(lambda: np.copy(picture.radiance))
    return seconds(lambda: fg.with_recovered_light(picture)) / copied


def main() -> None:
    """Print a line per scene, the medians, scenes without lamps, and the time."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        print("open scenes: error of the glow, light given back over light lost, in stops")
        measured(list(LAMP_SCENES), lambda name: open_scene(name, folder))
        bracketed(folder)
        print("\ndrawn rooms with lamps of known luminance")
        measured([f"room {seed}" for seed in range(ROOMS)], lambda name: room(name, folder))
        print("\ndrawn boxes, streets and windows that nothing was chosen on")
        boxes = [f"{kind} {number}" for kind in ("box", "street", "window") for number in BOXES]
        clip = [name for name in boxes if (box_named(name).light > 1).mean() > LEAST_PART]
        measured(clip, lambda name: box(name, folder))
        if views := {
            f"traced {p.stem}": p for one in sys.argv[1:] for p in Path(one).glob("*.exr")
        }:
            print("\npath-traced views that nothing was fitted to")
            shown = {name: (traced(view, folder)[1] > 1).mean() for name, view in views.items()}
            clip = sorted(name for name, part in shown.items() if part > LEAST_PART)
            measured(clip, lambda name: traced(views[name], folder))
        print(
            "\nscenes without lamps: error of the whole picture at strength 1, without EXIF, with"
        )
        for name in PLAIN_SCENES:
            for stops in (0.0, 1.0):
                whites = (None, white_cd_per_m2(name, stops))
                stills = [as_still(scene(name, stops), folder, white=white) for white in whites]
                errors = [picture_error(fg.with_recovered_light(s).picture, s) for s in stills]
                print(f"{name:14} {stops:+.0f} stop  {errors[0]:.3f}  {errors[1]:.3f}")
        print("\nthe open scenes stored otherwise, with EXIF")
        for quality in QUALITIES:
            print(by_quality(quality, folder))
        print(f"\nrecovery at 24 MP: {time_in_copies():.1f} copies of the picture")


if __name__ == "__main__":
    main()
