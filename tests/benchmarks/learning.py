"""How well a glass is learned: python tests/benchmarks/learning.py [FOLDER] [PAIRS].

Pairs are made by `tests/learning/truth.py`, which shares nothing with the engine: plain float64
transforms on finer pixels, padded by the mirror image, glasses whose shapes no lobe has (stretched
exponentials, odd power laws, two scales, GalSim's Sersic and Kolmogorov), compound scattering, a
veil, a tint, noise, nudges, exposures a tenth of a stop apart. FOLDER holds panoramas in `fit` (to
learn from) and `judge` (to be judged on), as the heads of `fit_lamps.py` and `clipped.py` name
them; without it the crops of `tests/data/hdr` are taken for panoramas. Errors are after one
overall gain, in stops rms over the whole frame, floor a thousandth; "plain" is the bare still with
the best gain, the best constant.
"""

from __future__ import annotations

import io
import math
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2]))

import frontglass as fg
from frontglass.picture.clipped import outline
from frontglass.picture.curves import SRGB_CURVE
from tests.benchmarks.open_pictures import light_of
from tests.learning.truth import (
    Glass,
    View,
    behind,
    exposed,
    galsim_shape,
    noisy,
    pair_of,
    power_law,
    rms_stops,
    stretched,
    two_scales,
)

Array = NDArray[np.float64]
CROPS = Path(__file__).parents[1] / "data" / "hdr"
SHAPE = (200, 300)
FIELD = 40.0
CAMERA = fg.Camera.from_field(FIELD)
STRENGTHS = (0.5, 1.0, 2.0)
BRACKET = (0, -4, -8, -12)
BRIGHTEST = 3000.0
MOST_CLIPPED, MOST_MARKED = 0.2, 12


def panoramas(folder: Path | None, part: str, most: int = 6) -> list[Array]:
    paths = sorted((folder / part).iterdir()) if folder else sorted(CROPS.glob("*.exr"))
    if folder is None:
        paths = paths[::2] if part == "fit" else paths[1::2]
    found = []
    for path in paths:
        # The sun would not fit into half a float, nor into four frames.
        light = np.minimum(exposed(light_of(path).astype(float)), BRIGHTEST)
        found.append((float(light.max() / np.median(light)), light))
    # Those with the brightest lamps tell most, as in a test that somebody shoots.
    found.sort(key=lambda one: -one[0])
    return [light for _, light in found[:most]]


def glass_from(rng: np.random.Generator) -> Glass:
    kind = rng.integers(5)
    size = math.radians(float(np.exp(rng.uniform(np.log(0.15), np.log(1.0)))))
    shape = [
        stretched(size / 3, float(rng.uniform(0.5, 0.9))),
        power_law(size, float(rng.uniform(3.2, 4.5))),
        two_scales(size / 3, size * 5, 0.2),
        galsim_shape("Sersic", size, n=float(rng.uniform(0.8, 3))),
        galsim_shape("Kolmogorov", size),
    ][kind]
    red, blue = rng.uniform(0.85, 1.15, 2)
    return Glass(
        shape,
        float(rng.uniform(0.05, 0.5)),
        (float(red), 1.0, float(blue)),
        (1.05, 1.0, 0.95),
        float(rng.uniform(0, 0.02)),
        (0.99, 1.0, float(rng.uniform(0.9, 1))),
    )


def jpeg(light: Array, stop: float) -> fg.Picture:
    """Light as an 8-bit JPEG, exposed by so many stops."""
    codes = np.rint(255 * SRGB_CURVE.encode(np.clip(light * 2.0**stop, 0, 1))).astype(np.uint8)
    stream = io.BytesIO()
    Image.fromarray(codes).save(stream, "JPEG", quality=95, subsampling=0)
    read = SRGB_CURVE.decode(np.asarray(Image.open(stream)) / 255.0)
    return fg.Picture(
        radiance=np.asarray(read, dtype=np.float32), encoding=fg.Encoding.srgb("uint8")
    )


def bracket(light: Array, rng: np.random.Generator) -> fg.Picture:
    frames = [jpeg(noisy(light * 2.0**stop, rng) * 2.0**-stop, stop) for stop in BRACKET]
    return fg.merged_bracket(frames, BRACKET).picture


def towards_lamp(panorama: Array, rng: np.random.Generator) -> View:
    """View with the brightest light in it, as somebody shoots a test."""
    height, width = panorama.shape[:2]
    row, column = np.unravel_index(int(panorama.mean(axis=2).argmax()), (height, width))
    yaw = 360 * (column + 0.5) / width + rng.uniform(-8, 8)
    pitch = 90 - 180 * (row + 0.5) / height + rng.uniform(-5, 5)
    return View(yaw=float(yaw), pitch=float(np.clip(pitch, -60, 60)), shape=SHAPE)


def as_stills(
    kind: str, bare: Array, other: Array, rng: np.random.Generator
) -> tuple[object, object]:
    if kind == "half floats":
        one, two = (noisy(light, rng, 2e5).astype(np.float16) for light in (bare, other))
        return one, two
    if kind == "brackets":
        return bracket(bare, rng), bracket(other, rng)
    # Exposed so that no more than a fifth of the still with glass clips.
    gain = min(1.0, 1 / float(np.quantile(other.max(axis=2), 1 - MOST_CLIPPED)))
    one, two = (jpeg(noisy(light * gain, rng), 0) for light in (bare, other))
    marks = fg.Recovery(marks=marks_of(one, bare * gain))
    return fg.with_recovered_light(one, marks).picture, two


def marks_of(still: fg.Picture, light: Array) -> tuple[fg.LampMark, ...]:
    """Marks with the true mean light of those clipped areas that lost a hundredth of all."""
    found = outline(still.radiance)
    level = light.mean(axis=2).ravel()[found.at]
    lost = found.sums(np.maximum(level - 1, 0))
    marks = []
    for area in np.argsort(-lost)[:MOST_MARKED]:
        if lost[area] < 0.01 * lost.sum():
            break
        own = np.flatnonzero(found.owner == area)
        row, column = divmod(int(found.at[own[np.argmax(found.depth[own])]]), light.shape[1])
        marks.append(fg.LampMark(column, row, max(0.0, float(np.log2(level[own].mean())))))
    return tuple(marks)


def judged(look: fg.Look, glass: Glass, scenes: list[Array], field: float = FIELD) -> Iterator:
    """Errors of a look on scenes, at three strengths, and those of the best constant."""
    for number, light in enumerate(scenes):
        view = View(yaw=70.0 * number, field=field, shape=SHAPE if field == FIELD else (160, 260))
        bare = behind(light, None, view)
        for strength in STRENGTHS:
            want = behind(light, glass, view, strength)
            got = fg.render(
                bare, look.at(strength), camera=fg.Camera.from_field(field), surround="mirror"
            )
            glow = rms_stops(
                np.maximum(got - math.exp(-glass.depth * strength) * bare, 0),
                np.maximum(want - math.exp(-glass.depth * strength) * bare, 0),
                bare.max(axis=2) < 1,
                1e-4,
            )
            yield rms_stops(got, want), glow, rms_stops(bare, want)


def told(name: str, rows: list[tuple[float, float, float]], bound: tuple[float, float]) -> None:
    errors, glows, plain = np.array(rows).T
    print(
        f"  {name}: median {np.median(errors):.4f} (must {bound[0]}), 90 % below"
        f" {np.quantile(errors, 0.9):.4f}, most {errors.max():.4f} (must {bound[1]});"
        f" glow median {np.median(glows):.4f}, most {glows.max():.4f};"
        f" best constant {np.median(plain):.3f}",
        flush=True,
    )


def coverage(learned: fg.Learned, glass: Glass) -> list[bool]:
    """Whether true ring values lie within two standard deviations, ring by ring."""
    from frontglass.learning.rings import Rings

    rings = Rings(angles_rad=tuple(np.radians(learned.angles_deg)))
    view = View(shape=SHAPE)
    # Truth is laid on pixels: finer rings it does not tell.
    middles = np.array(rings.angles_rad)
    edges = np.sqrt(middles[:-1] * middles[1:])
    edges = edges[edges * view.px_per_rad > 2.0]
    edges = edges[edges < math.radians(15)]
    true = glass.ring_shares(edges, 1, view.px_per_rad * 2)
    within = rings.within(edges)
    got = learned.shares[1] @ within
    deviation = np.sqrt((learned.deviations[1] ** 2) @ within**2)
    return list(np.abs(got - true) < 2 * deviation)


def is_of_lobes(look: fg.Look) -> bool:
    """Whether its halo is written as lobes of the catalogue."""
    glows = [part for part in look.elements if isinstance(part, fg.Glow)]
    return any(not isinstance(lobe, fg.TableLobe) for glow in glows for lobe in glow.lobes)


def random_pairs(kind: str, count: int, folder: Path | None, bound: tuple[float, float]) -> None:
    rng = np.random.default_rng(2026)
    teach, judge = panoramas(folder, "fit"), panoramas(folder, "judge")
    rows: list[tuple[float, float, float]] = []
    longer: list[tuple[float, float, float]] = []
    sure: list[bool] = []
    refused, lobes, spent = 0, 0, 0.0
    for number in range(count):
        glass = glass_from(rng)
        view = towards_lamp(teach[number % len(teach)], rng)
        bare, other = pair_of(teach[number % len(teach)], glass, view, view.nudged(rng))
        stills = as_stills(kind, bare, other * 2.0 ** rng.uniform(-0.1, 0.1), rng)
        start = time.process_time()
        try:
            pair = fg.StillPair(bare=stills[0], with_glass=stills[1], lamp_stops=0.3)
            learned = fg.learn_look([pair], camera=CAMERA, surround="mirror")
        except fg.ParameterError as error:
            refused += 1
            print(f"  refused: {str(error)[:110]}", flush=True)
            continue
        spent += time.process_time() - start
        sure += coverage(learned, glass)
        scenes = [judge[number % len(judge)]]
        rows += judged(learned.look, glass, scenes)
        lobes += is_of_lobes(learned.look)
        longer += judged(learned.look, glass, scenes, field=17.0)
    print(
        f" {kind}, {count} pairs, {refused} refused, {lobes} written as lobes,"
        f" {spent / max(count, 1):.1f} CPU s each"
    )
    told("unseen scenes, strengths 1/2, 1, 2", rows, bound)
    told("the same at 2.4 times the focal length and another size", longer, bound)
    print(
        f"  true ring values within two standard deviations: {100 * np.mean(sure):.0f} %"
        " (must 90 to 99)",
        flush=True,
    )


def large_pair() -> None:
    rng = np.random.default_rng(4)
    small = rng.uniform(0.01, 0.2, (250, 375, 3))
    small[100:103, 150:153] = 200
    bare = np.kron(small, np.ones((16, 16, 1))).astype(np.float32)
    other = fg.render(bare, fg.read_look("harbour-night"), camera=CAMERA, grain=False)
    start, wall = time.process_time(), time.monotonic()
    fg.learn_look([(bare, other)], camera=CAMERA)
    import resource

    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    print(
        f" 24 MP: {time.process_time() - start:.0f} CPU s, {time.monotonic() - wall:.0f} s (must"
        f" 60); the whole process came to {peak:.1f} GiB (must 3, stills and their making included)"
    )


def main() -> None:
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 10
    random_pairs("half floats", count, folder, (0.006, 0.03))
    random_pairs("brackets", max(2, count // 2), folder, (0.02, 0.06))
    random_pairs("single JPEGs, lamps marked", count, folder, (0.15, 0.15))
    large_pair()


if __name__ == "__main__":
    main()
