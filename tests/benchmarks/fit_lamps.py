"""Where the numbers of `lamp_levels` come from: fits to open panoramas, and those left out of them.

    python tests/benchmarks/fit_lamps.py FOLDER

FOLDER holds open high-dynamic-range pictures: OpenEXR, Radiance, JPEGs with a gain map beside their
base, cube maps in KTX, OpenEXR as a data URL in a script. Crops are exposed by the benchmark's rule
and up to a stop and a half off it, and stored as 8-bit PNG or JPEG. A fit makes small the error of
the glow, that of the light given back as a whole, stop for stop, and how far that is too much or
too little in the middle of each kind of scene. Panoramas hold light up to a factor: what white is
in cd/m2 is guessed from what they show (`LOG_AVERAGE_CD_M2`), and the slope by white comes out too
flat for it. Errors are those of panoramas left out of the fit, and beside each kind stand the best
constant for that kind, and the best for all stills with lamps; both have seen all of them.

To these come drawn rooms and boxes with lamps of known luminance (`tests/picture/lamp_rooms.py`,
`lit_boxes.py`), those of even numbers.

Numbers are rounded from a fit to 50 and 60 crops (seeds 11 and 21, joined) of these 28 and drawn
ones. None is one that the benchmark measures (`tests/data/hdr/LICENCE.md`), under whatever name:

- `world-city world-courtyard world-forest world-interior world-night world-studio world-sunrise`,
  the OpenEXR worlds of bpy 5.0.1 without its sunset, by Poly Haven, CC0, renamed with `world-`;
  and `StinsonBeach.hdr`, which comes in it with OpenUSD;
- `dikhololo_night lebombo potsdamer_platz studio_small_03` of viser 1.1.1, by Poly Haven, CC0;
- `bridge esplanade hall lab sunset venice workshop` of the npm package @pmndrs/assets 1.7.0, as the
  `.exr.js` they come as, by Poly Haven, CC0 (its sunset is another one);
- the sky boxes `brightday crossroads hall konzerthaus nightlights park park2 pillars streetlamp` of
  open3d-cpu 0.20.0, as KTX, which the package has under the MIT License.
"""

from __future__ import annotations

import argparse
import io
import sys
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import fft, optimize

sys.path.insert(0, str(Path(__file__).parents[2]))

from frontglass.picture.clipped import outline
from frontglass.picture.clipped_features import RegionFeatures, region_features
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.lamp_kinds import White
from frontglass.picture.lamp_levels import BY_STILL, BY_WHITE, MOST_ESTIMATED_STOPS, signs
from tests.benchmarks.open_pictures import light_of
from tests.picture.hdr_scenes import KEY, codes
from tests.picture.lamp_rooms import lamp_room
from tests.picture.lit_boxes import lit_box

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

HEIGHT, WIDTH, CELL = 160, 256, 4
HALO_PX = 0.5 / 40 * WIDTH
"""Harbour-night's exponential, on a field of 40 degrees."""
SHRUNK_PX = 600
"""Narrower panoramas were shrunk with a sharp kernel, and their rims look like hard edges."""
QUALITIES = (None, 98, 90, 75)
LIT_STOPS, FLUX_WEIGHT = 0.1, 1.5
"""Light given back counts where a still's own error is larger: others lost next to nothing."""
LEAST_OWN_STOPS = 0.2
"""The glow's error counts over the still's own and so much more, as it is judged."""
BIAS_WEIGHT, FEWEST_CROPS = 0.4, 5
"""Price of too much or too little light in the middle of a kind of scene, whose panoramas count
alike if they have so many crops."""
CONSTANTS = np.arange(1, 6.5, 0.5)
WEIGHTS = {"paper": 0.3, "corner": 0.3, "room": 4.0, "lamp room": 4.0, "street": 4.0, "window": 4.0}
"""How many panoramas each counts for."""
BOXES, BOXES_EACH = ("room", "street", "window", "corner", "lamp room"), 70
EXIF_STOPS = 0.5
PAPERS = ("paper", "corner")
RIDGE = 1e-3
GUESSED_STOPS = 0.7
"""What a still's exposure does not tell of white, in the guess."""
LOG_AVERAGE_CD_M2 = {
    "dikhololo_night": 0.02, "world-night": 0.05, "streetlamp": 1, "nightlights": 2, "hall": 20,
    "hall.exr": 20, "esplanade.exr": 30, "world-interior": 40, "lab.exr": 60, "studio_small_03": 60,
    "world-studio": 60, "lebombo": 80, "workshop.exr": 80, "bridge.exr": 100, "venice.exr": 100,
    "pillars": 200, "sunset.exr": 200, "world-courtyard": 300, "world-forest": 400,
    "konzerthaus": 600, "potsdamer_platz": 800, "park2": 1000, "world-sunrise": 1000, "park": 1500,
    "crossroads": 1500, "world-city": 1500, "brightday": 3000, "StinsonBeach": 3000,
}  # fmt: skip
"""Of panoramas, as their time of day and lamps suggest; from memory, no source."""
KINDS = {
    "drawn rooms": ("lamp room",), "boxes": ("room",), "drawn streets": ("street",),
    "drawn windows": ("window",),
    "night": ("dikhololo_night", "world-night", "streetlamp", "nightlights"),
    "interior": ("hall", "hall.exr", "esplanade.exr", "world-interior", "workshop.exr",
                 "studio_small_03", "world-studio"),
    "window": ("lab.exr", "lebombo", "bridge.exr", "pillars", "world-courtyard"),
    "sun": ("StinsonBeach", "brightday", "crossroads", "park", "world-city", "world-sunrise",
            "sunset.exr"),
    "open sky": ("venice.exr", "world-forest", "konzerthaus", "potsdamer_platz", "park2"),
}  # fmt: skip


class Crop(NamedTuple):
    """One still: what it shows, the glow of each region for one unit of light, and of it all.

    `lost` is the light that all its regions lost, `held` what one unit in each of them holds.
    """

    name: str
    features: RegionFeatures
    white: White
    by_region: Float64
    as_is: Float64
    true: Float64
    held: Float64
    lost: float


def stored(light: Float32, quality: int | None) -> Float32:
    if quality is None:
        return np.asarray(SRGB_CURVE.decode(codes(light) / 255), np.float32)
    stream = io.BytesIO()
    Image.fromarray(codes(light)).save(stream, "JPEG", quality=quality, subsampling=0)
    return np.asarray(SRGB_CURVE.decode(np.asarray(Image.open(stream)) / 255), np.float32)


def cells(light: NDArray[np.floating]) -> Float64:
    rows, columns = light.shape[0] // CELL, light.shape[1] // CELL
    return np.asarray(light.reshape(rows, CELL, columns, CELL).mean((1, 3)), dtype=np.float64)


def halo() -> Float64:
    """Transform of the halo on cells under a mirror, 1 at the origin."""
    rows, columns = np.arange(HEIGHT // CELL), np.arange(WIDTH // CELL)
    part = (np.arange(8) - 3.5) / 8
    y = rows[:, None, None, None] + part[None, None, :, None]
    x = columns[None, :, None, None] + part[None, None, None, :]
    kernel = np.exp(-np.hypot(y, x) * CELL / HALO_PX).mean((2, 3))
    down, across = (
        np.cos(np.pi * np.outer(n, n) / n.size) * np.where(n == 0, 1, 2) for n in (rows, columns)
    )
    otf = down @ kernel @ across.T
    return np.asarray(otf / otf[0, 0])


OTF = halo()


def glow(light: Float64) -> Float64:
    axes = (-2, -1)
    return np.asarray(fft.idctn(fft.dctn(light, axes=axes) * OTF, axes=axes))


def crop_of(name: str, truth: Float32, white: White, quality: int | None) -> Crop | None:
    """What a still of `truth` shows; None if next to nothing clips, or most of it."""
    still = stored(truth, quality)
    found = outline(still)
    share = len(found.at) / (HEIGHT * WIDTH)
    if not 2e-4 <= share <= 0.4 or found.regions > 150:
        return None
    features, labels, unit = region_features(still, found), found.labels, np.zeros(found.shape)
    mean = found.sums(found.depth) / features.area_px
    unit.ravel()[found.at] = found.held.mean(axis=1) * found.depth / mean[found.owner]
    outside = cells((labels > 0).astype(float)) == 0
    each = [cells(np.where(labels == i, unit, 0)) for i in range(1, found.regions + 1)]
    point = np.random.default_rng(0).permutation(np.flatnonzero(outside))[:20]
    if point.size < 20:
        return None
    own = glow(np.stack(each)).reshape(found.regions, -1)[:, point]
    as_is, true = (glow(cells(light.mean(axis=2))).ravel()[point] for light in (still, truth))
    held = found.sums(unit.ravel()[found.at])
    lost = float(np.maximum(truth - still, 0).mean(axis=2)[labels > 0].sum())
    return Crop(name, features, white, own, as_is, true, held, lost)


def exposed(light: Float32, rng: np.random.Generator) -> tuple[Float32, float]:
    """A crop, as sharp as chance has it, exposed by the rule or up to 1.5 stops off; the factor."""
    y, x = (int(rng.integers(0, light.shape[k] - n + 1)) for k, n in ((0, HEIGHT), (1, WIDTH)))
    part = light[y : y + HEIGHT, x : x + WIDTH]
    blur = 0.8 if light.shape[1] < SHRUNK_PX else rng.choice([0, 0, 0.5, 0.8])
    part = cv2.GaussianBlur(part, (0, 0), blur) if blur else part
    average = np.exp(np.log(np.maximum(part.mean(axis=2), 1e-3)).mean())
    factor = np.float32(KEY / average * 2 ** np.clip(rng.normal(0, 0.7), -1.5, 1.5))
    return np.asarray(part * factor), float(factor)


def white_of(name: str, light: Float32, factor: float, rng: np.random.Generator) -> White:
    """White of a crop exposed by a factor, as well as a panorama's own scale can be guessed."""
    average = float(np.exp(np.log(np.maximum(light.mean(axis=2), 1e-4)).mean()))
    level = LOG_AVERAGE_CD_M2.get(name, 100.0) / average / factor
    return White(level * 2 ** rng.normal(0, GUESSED_STOPS), GUESSED_STOPS)


def with_paper(part: Float32, rng: np.random.Generator) -> Float32 | None:
    """A crop without lamps, and on it sheets and plates up to 1.6 times white."""
    bright, median = np.percentile(part.mean(axis=2), [99, 50])
    if bright > 6 * median:
        return None
    ground = np.exp(rng.uniform(np.log(0.1), np.log(0.45)))
    light = np.minimum(part * (ground / median), 0.88).astype(np.float64)
    grey = light.mean(axis=(0, 1))
    white = (grey / grey.mean()) ** rng.uniform(0.3, 1)
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    for _ in range(rng.integers(1, 5)):
        wide = np.exp(rng.uniform(np.log(6), np.log(130)))
        high, x, y = wide * rng.uniform(0.4, 1.4), rng.uniform(0, WIDTH), rng.uniform(0, HEIGHT)
        sheet = np.zeros((HEIGHT * 4, WIDTH * 4), np.uint8)
        box = ((x * 4, y * 4), (wide * 4, high * 4), rng.choice([0.0, rng.uniform(0, 90)]))
        if rng.random() < 0.7:
            cv2.fillPoly(sheet, [cv2.boxPoints(box).astype(np.int32)], 255)
        else:
            cv2.ellipse(sheet, box, 255, -1)
        cover = cv2.resize(sheet, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA) / 255
        turn = rng.uniform(0, 2 * np.pi)
        along = ((columns - x) * np.cos(turn) + (rows - y) * np.sin(turn)) / max(wide, high)
        level = np.exp(rng.uniform(0, np.log(1.6))) * (1 + rng.uniform(0, 0.25) * along)
        light += cover[..., None] * (np.clip(level, 0.7, 2)[..., None] * white - light)
    light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.4, 1.0))
    return np.asarray(light * rng.normal(1, 0.01, light.shape), dtype=np.float32)


def drawn_crops(folder: Path, each: int, seed: int) -> list[Crop]:
    """`each` crops of every picture, and twice as many with paper on them."""
    rng = np.random.default_rng(seed)
    lights = {p.stem: light_of(p) for p in sorted(folder.iterdir()) if p.is_file()}
    crops: list[Crop] = []
    for name in (*lights, "paper"):
        wanted, found = each * (2 if name == "paper" else 1), 0
        for _ in range(40 * wanted):
            shown = str(rng.choice(list(lights))) if name == "paper" else name
            part, factor = exposed(lights[shown], rng)
            truth = with_paper(part, rng) if name == "paper" else part
            quality = QUALITIES[rng.integers(len(QUALITIES))]
            white = white_of(shown, lights[shown], factor, rng)
            crop = None if truth is None else crop_of(name, truth, white, quality)
            if crop is not None:
                crops.append(crop)
                found += 1
            if found == wanted:
                break
        print(f"{name}: {found} crops", flush=True)
    return crops


def boxed_crops(seed: int) -> list[Crop]:
    """Boxes and rooms with lamps of known luminance: those of even numbers, the others judge."""
    rng = np.random.default_rng(seed)
    crops = []
    for scene in BOXES:
        for number in range(0, BOXES_EACH, 2):
            drawn = lamp_room(number) if scene == "lamp room" else lit_box(number, scene)
            light = drawn.light
            if scene == "lamp room":
                light = cv2.resize(light, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
            truth = with_paper(light, rng) if scene == "corner" else light
            white = White(drawn.white_cd_per_m2 * 2 ** rng.normal(0, EXIF_STOPS), EXIF_STOPS)
            quality = QUALITIES[rng.integers(len(QUALITIES))]
            crop = None if truth is None else crop_of(scene, truth, white, quality)
            if crop is not None:
                crops.append(crop)
    return crops


class Joined:
    """Crops in one, so that a fit's loss and its gradient are a few operations on arrays."""

    def __init__(self, crops: list[Crop], kind: str) -> None:
        self.first = np.cumsum([0, *(len(crop.by_region) for crop in crops)])
        known = [signs(c.features, c.white if kind == "by white" else None) for c in crops]
        self.signs = np.concatenate(known)[:, : 1 if kind == "constant" else None]
        self.share = np.concatenate([crop.features.lamp_share for crop in crops])
        if kind == "constant":
            self.share = np.ones_like(self.share)
        self.by_region = np.concatenate([crop.by_region for crop in crops])
        self.held = np.concatenate([crop.held for crop in crops])
        self.as_is = np.stack([crop.as_is for crop in crops])
        self.true = np.log2(np.maximum(np.stack([crop.true for crop in crops]), 1e-6))
        self.lost = np.array([crop.lost for crop in crops])
        self.names = np.array([crop.name for crop in crops])
        self.crop = np.repeat(np.arange(len(crops)), np.diff(self.first))
        self.plain = self.rms(np.log2(np.maximum(self.as_is, 1e-6)) - self.true)
        self.lit = (self.plain > LIT_STOPS) & ~np.isin(self.names, PAPERS)
        of_kind = np.stack([self.lit & np.isin(self.names, some) for some in KINDS.values()])
        many = np.array([(self.lit & (self.names == name)).sum() for name in self.names])
        of_kind = of_kind / np.maximum(many, FEWEST_CROPS)
        self.of_kind = of_kind / np.maximum(of_kind.sum(axis=1, keepdims=True), 1e-9)

    @staticmethod
    def rms(off: Float64) -> Float64:
        return np.asarray(np.sqrt((off**2).mean(axis=1)) + 1e-9)

    def given(self, fit: Float64) -> tuple[Float64, Float64, Float64]:
        """Level of each region over white, less white; glow of each crop; its light given back."""
        lost = np.minimum(self.signs @ fit, MOST_ESTIMATED_STOPS)
        gain = 2.0 ** (self.share * np.log2(1 + 2.0**lost)) - 1
        got = self.as_is + np.add.reduceat(gain[:, None] * self.by_region, self.first[:-1])
        return gain, np.maximum(got, 1e-6), np.add.reduceat(gain * self.held, self.first[:-1])

    def off(self, fit: Float64) -> tuple[Float64, Float64]:
        """Error of each crop's glow [stop rms], and of its light given back [stop]."""
        _, got, back = self.given(fit)
        flux = np.log2(np.maximum(back, 1e-2)) - np.log2(np.maximum(self.lost, 1e-2))
        return self.rms(np.log2(got) - self.true), flux

    def loss(self, fit: Float64, weight: Float64) -> tuple[float, Float64]:
        """Weighted mean of the errors, and its gradient."""
        gain, got, back = self.given(fit)
        off = np.log2(got) - self.true
        rms = self.rms(off)
        flux = np.log2(np.maximum(back, 1e-2)) - np.log2(np.maximum(self.lost, 1e-2))
        off_flux = np.sqrt(flux**2 + 0.25)  # rounded at the middle
        counted = FLUX_WEIGHT * weight * self.lit
        weight = weight / (self.plain + LEAST_OWN_STOPS)
        by_glow = off / got * (weight / rms / off.shape[1])[:, None]
        value = weight @ rms + counted @ off_flux + RIDGE * fit @ fit
        by_flux = counted * flux / off_flux
        # About as many crops get too much as too little where these sum to nothing.
        sign = np.tanh(flux)
        bias = self.of_kind @ sign
        value += BIAS_WEIGHT * bias @ bias
        by_flux += 2 * BIAS_WEIGHT * (bias @ self.of_kind) * (1 - sign**2)
        by_gain = (by_glow[self.crop] * self.by_region).sum(axis=1)
        by_gain += (by_flux / np.maximum(back, 1e-2))[self.crop] * self.held
        raised = self.signs @ fit
        rising = self.share / (1 + 2.0**-raised) * (raised < MOST_ESTIMATED_STOPS)
        slope = self.signs.T @ (by_gain * (gain + 1) * rising)
        return float(value), np.asarray(slope + 2 * RIDGE * fit)

    def fitted(self, start: Float64 | None = None) -> Float64:
        """Numbers of least expected error; every picture counts alike, however many its crops."""
        many = {name: np.sum(self.names == name) for name in dict.fromkeys(self.names)}
        weight = np.array([WEIGHTS.get(n, 1) / many[n] for n in self.names])
        start = np.zeros(self.signs.shape[1]) if start is None else start
        weight /= weight.sum()
        return np.asarray(optimize.minimize(self.loss, start, weight, "L-BFGS-B", jac=True).x)


def held_out(crops: list[Crop], kind: str, whole: Float64) -> tuple[Float64, Float64]:
    """Errors of each picture's crops by a fit that did not see it."""
    rms, flux = np.zeros((2, len(crops)))
    for name in dict.fromkeys(crop.name for crop in crops):
        own = [i for i, crop in enumerate(crops) if crop.name == name]
        # Without any paper or boxes nothing would speak for them: half of them stays.
        for part in [own[::2], own[1::2]] if name in WEIGHTS else [own]:
            others = [crop for i, crop in enumerate(crops) if i not in set(part)]
            fit = Joined(others, kind).fitted(whole)
            rms[part], flux[part] = Joined([crops[i] for i in part], kind).off(fit)
    return rms, flux


def said(crops: list[Crop], errors: tuple[Float64, Float64]) -> None:
    """Print how near glow and light come, kind by kind of scene, beside the best constants."""
    flat = Joined(crops, "constant")
    plain, lit, names = flat.plain, flat.lit, flat.names
    constants = {c: flat.off(np.log2([2.0**c - 1]))[0] / plain for c in CONSTANTS}
    one = min(CONSTANTS, key=lambda c: np.median(constants[c][lit]))
    rms, flux = errors
    for label, own in (
        ("all with lamps", lit),
        ("half a stop off as they are, or more", lit & (plain > 0.4)),
        *((kind, lit & np.isin(names, some)) for kind, some in KINDS.items()),
    ):
        if own.any():
            near = np.percentile(np.abs(flux[own]), 68)
            least, best = min((float(np.median(left[own])), c) for c, left in constants.items())
            print(
                f"{label:37} {own.sum():4} crops: ratio {np.median(rms[own] / plain[own]):.2f}"
                f" ({least:.2f} by {best:g} stops on all, {np.median(constants[one][own]):.2f} by"
                f" {one:g}), light {np.median(flux[own]):+.1f} stops,"
                f" two in three within {near:.1f}"
            )
    unlit = ~lit & (plain < 0.03)
    for label, own in (("paper", np.isin(names, PAPERS)), ("without lamps", unlit)):
        high = np.percentile(rms[own], 90)
        print(f"{label:37} {own.sum():4} crops: off by {rms[own].mean():.3f}, most {high:.3f}")


def main() -> None:
    """Fit, and say how well it does on pictures it has not seen."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--crops", type=int, default=50, help="of each picture")
    parser.add_argument("--seed", type=int, default=11)
    asked = parser.parse_args()
    if asked.folder is None:
        print("fit_lamps.py measures a folder of high-dynamic-range pictures: name one.")
        return
    crops = drawn_crops(asked.folder, asked.crops, asked.seed) + boxed_crops(asked.seed)
    for kind, shipped in (("constant", None), ("by still", BY_STILL), ("by white", BY_WHITE)):
        joined = Joined(crops, kind)
        if shipped is not None:
            print(f"\n{kind}, as it stands: {shipped}")
            said(crops, joined.off(np.array(shipped)))
        fit = joined.fitted()
        print(f"\n{kind}, fitted:", *np.round(fit, 2), "on pictures left out:")
        said(crops, held_out(crops, kind, fit))


if __name__ == "__main__":
    main()
