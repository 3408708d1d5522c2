"""Where `clipped_lamps.COEFFICIENTS` come from: a fit to open panoramas, and those left out of it.

    python tests/benchmarks/fit_lamps.py FOLDER

FOLDER holds open high-dynamic-range pictures: OpenEXR, Radiance, JPEGs with a gain map beside their
base, cube maps in KTX, OpenEXR as a data URL in a script. Crops are exposed by the benchmark's rule
and up to a stop and a half off it, and stored as 8-bit PNG or JPEG. What the fit makes small is the
error of the glow, not of the levels. Some crops show drawn sheets of white paper, lit like their
surroundings. Errors of the fit are those of pictures left out of it.

`COEFFICIENTS` are what it prints for these 28, and none of them is one of those that the benchmark
measures (`tests/data/hdr/LICENCE.md`), under whatever name:

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
import base64
import io
import re
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import fft, optimize

sys.path.insert(0, str(Path(__file__).parents[2]))

import frontglass as fg
from frontglass.picture.clipped import RegionFeatures, depth_within, outline, region_features
from frontglass.picture.clipped_lamps import (
    COEFFICIENTS,
    MOST_ESTIMATED_STOPS,
    lamp_share,
    log_features,
)
from frontglass.picture.curves import SRGB_CURVE
from tests.picture.hdr_scenes import KEY, codes

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

HEIGHT, WIDTH, CELL = 160, 256, 4
HALO_PX = 0.5 / 40 * WIDTH
"""Harbour-night's exponential, on a field of 40 degrees."""
SHRUNK_PX = 600
"""Narrower panoramas were shrunk with a sharp kernel, and their rims look like hard edges."""
QUALITIES = (None, 98, 90, 75)
LIT_STOPS, PAPER_WEIGHT = 0.1, 2.0
RIDGE = 1e-4
START = np.array([-1.0, 0.0, 0.0, 0.0, 0.0])


class Crop(NamedTuple):
    """One still: what it shows, the glow of each region for one unit of light, and of it all.

    `level` is that which, shared out as recovery does, gives each region what it has lost [stop].
    """

    name: str
    features: RegionFeatures
    by_region: Float64
    as_is: Float64
    true: Float64
    level: Float64


def light_of(path: Path) -> Float32:
    """Light of a picture, with its gain map if it has one (ISO 21496-1's formula)."""
    data = path.read_bytes()
    if path.suffix == ".ktx":
        return faces_of(data)
    if path.suffix == ".js":  # a data URL in a script
        found = re.search(rb"base64,([A-Za-z0-9+/=]+)", data)
        assert found, path
        with tempfile.NamedTemporaryFile(suffix=Path(path.stem).suffix) as held:
            held.write(base64.b64decode(found[1]))
            held.flush()
            return light_of(Path(held.name))
    if b"hdrgm:GainMapMax" not in data:
        return np.maximum(fg.read_picture(path).radiance, 0)

    def number(key: str) -> float:
        found = re.search(f'hdrgm:{key}="([^"]*)"'.encode(), data)
        assert found, key
        return float(found[1])

    base = Image.open(io.BytesIO(data)).convert("RGB")
    map_at = data.rindex(b"\xff\xd8\xff")
    gain = Image.open(io.BytesIO(data[map_at:])).convert("RGB").resize(base.size)
    share = (np.asarray(gain) / 255) ** (1 / number("Gamma"))
    low, high = number("GainMapMin"), number("GainMapMax")
    light = SRGB_CURVE.decode(np.asarray(base) / 255) + number("OffsetSDR")
    light = light * 2.0 ** (low + (high - low) * share) - number("OffsetHDR")
    return np.asarray(np.maximum(light, 0), dtype=np.float32)


def faces_of(data: bytes) -> Float32:
    """Four upright faces side by side of a cube map in KTX 1, floats of 11, 11 and 10 bits."""
    kind, side, pairs = (int(np.frombuffer(data, "<u4", 1, at)[0]) for at in (28, 36, 60))
    assert kind == 0x8C3A, "not of R11F_G11F_B10F"
    size = 6 * side * side
    words = np.frombuffer(data, "<u4", size, 64 + pairs + 4).reshape(6, side, side)[[0, 5, 1, 4]]
    light = np.empty((4, side, side, 3), np.float32)
    for channel, (at, bits) in enumerate(((0, 6), (11, 6), (22, 5))):
        exponent = ((words >> (at + bits)) & 31).astype(float)
        mantissa = ((words >> at) & (2**bits - 1)) / 2**bits
        small = exponent == 0
        light[..., channel] = (mantissa + ~small) * 2.0 ** (np.maximum(exponent, 1) - 15)
    return np.concatenate(list(light), axis=1)


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


def crop_of(name: str, truth: Float32, quality: int | None) -> Crop | None:
    """What a still of `truth` shows; None if next to nothing clips, or most of it."""
    still = stored(truth, quality)
    found = outline(still)
    share = np.mean(found.labels > 0)
    if not 2e-4 <= share <= 0.4 or found.regions > 150:
        return None
    outside = cells((found.labels > 0).astype(float)) == 0
    unit = found.mask.mean(axis=2) * depth_within(found.labels)
    each = [cells(np.where(found.labels == i, unit, 0)) for i in range(1, found.regions + 1)]
    point = np.random.default_rng(0).permutation(np.flatnonzero(outside))[:60]
    if point.size < 60:
        return None
    own = glow(np.stack(each)).reshape(found.regions, -1)[:, point]
    as_is, true = (glow(cells(light.mean(axis=2))).ravel()[point] for light in (still, truth))
    labels = found.labels.ravel()
    lost = np.bincount(labels, np.maximum(truth - still, 0).mean(axis=2).ravel())[1:]
    held = np.bincount(labels, unit.ravel())[1:]
    level = np.log2(1 + lost / np.maximum(held, 1e-3))
    return Crop(name, region_features(still, found), own, as_is, true, level)


def exposed(light: Float32, rng: np.random.Generator) -> Float32:
    """A crop, as sharp as chance has it, exposed by the rule or up to 1.5 stops off."""
    y, x = (int(rng.integers(0, light.shape[k] - n + 1)) for k, n in ((0, HEIGHT), (1, WIDTH)))
    part = light[y : y + HEIGHT, x : x + WIDTH]
    blur = 0.8 if light.shape[1] < SHRUNK_PX else rng.choice([0, 0, 0.5, 0.8])
    part = cv2.GaussianBlur(part, (0, 0), blur) if blur else part
    average = np.exp(np.log(np.maximum(part.mean(axis=2), 1e-3)).mean())
    return np.asarray(
        part * np.float32(KEY / average * 2 ** np.clip(rng.normal(0, 0.7), -1.5, 1.5))
    )


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
            part = exposed(lights[rng.choice(list(lights)) if name == "paper" else name], rng)
            truth = with_paper(part, rng) if name == "paper" else part
            quality = QUALITIES[rng.integers(len(QUALITIES))]
            crop = None if truth is None else crop_of(name, truth, quality)
            if crop is not None:
                crops.append(crop)
                found += 1
            if found == wanted:
                break
        print(f"{name}: {found} crops", flush=True)
    return crops


def weights(crops: list[Crop]) -> Float64:
    """Every picture counts alike, however many crops it gave."""
    names = [crop.name for crop in crops]
    each = np.array([(PAPER_WEIGHT if n == "paper" else 1) / names.count(n) for n in names])
    return np.asarray(each / each.sum())


class Joined:
    """Crops in one, so that a fit's loss and its gradient are a few operations on arrays."""

    def __init__(self, crops: list[Crop]) -> None:
        self.first = np.cumsum([0, *(len(crop.by_region) for crop in crops)])
        self.logs = np.concatenate([log_features(crop.features) for crop in crops])
        # A region whose outline cannot be seen is not estimated.
        self.unread = np.isnan(self.logs).any(axis=1)
        self.logs[self.unread] = 0
        share = np.concatenate([lamp_share(crop.features) for crop in crops])
        self.share = np.where(self.unread, 0, share)
        self.by_region = np.concatenate([crop.by_region for crop in crops])
        self.as_is = np.stack([crop.as_is for crop in crops])
        self.true = np.log2(np.maximum(np.stack([crop.true for crop in crops]), 1e-6))

    def levels(self, fit: Float64) -> Float64:
        lost = np.minimum(self.logs @ fit, MOST_ESTIMATED_STOPS)
        return np.asarray(self.share * np.log2(1 + 2.0**lost))

    def ratios(self, stops: Float64) -> tuple[Float64, Float64]:
        """Glow of each crop, and its error [stop]."""
        given = (2.0**stops - 1)[:, np.newaxis] * self.by_region
        got = np.maximum(self.as_is + np.add.reduceat(given, self.first[:-1]), 1e-6)
        return got, np.log2(got) - self.true

    def loss(self, fit: Float64, weight: Float64) -> tuple[float, Float64]:
        """Weighted mean of the errors, and its gradient."""
        stops = self.levels(fit)
        got, off = self.ratios(stops)
        rms = np.sqrt((off**2).mean(axis=1)) + 1e-9
        by_glow = off / got * (weight / rms / off.shape[1])[:, np.newaxis] / np.log(2)
        crop = np.repeat(np.arange(len(off)), np.diff(self.first))
        by_stops = (by_glow[crop] * self.by_region).sum(axis=1) * 2.0**stops * np.log(2)
        lost = self.logs @ fit
        rising = self.share / (1 + 2.0**-lost) * (lost < MOST_ESTIMATED_STOPS)
        value = weight @ rms + RIDGE * fit @ fit
        return float(value), np.asarray(self.logs.T @ (by_stops * rising) + 2 * RIDGE * fit)


def levels(crops: list[Crop], fit: Float64) -> list[Float64]:
    """Levels of all regions, crop by crop [stop]."""
    joined = Joined(crops)
    return np.split(joined.levels(fit), joined.first[1:-1])


def errors(crops: list[Crop], stops: list[Float64]) -> Float64:
    """Error of the glow of each crop [stop rms]."""
    _, off = Joined(crops).ratios(np.concatenate(stops))
    return np.asarray(np.sqrt((off**2).mean(axis=1)))


def unrecovered(crops: list[Crop]) -> Float64:
    return errors(crops, [np.zeros(len(crop.by_region)) for crop in crops])


def fitted(crops: list[Crop], start: Float64 = START) -> Float64:
    """Numbers of least expected error."""
    # Errors count as shares of what they were, or scenes of small lamps would say nothing.
    joined, weight = Joined(crops), weights(crops) / (unrecovered(crops) + LIT_STOPS)
    return np.asarray(optimize.minimize(joined.loss, start, weight, "L-BFGS-B", jac=True).x)


def held_out(crops: list[Crop], whole: Float64) -> list[Float64]:
    """Levels of each picture's crops by a fit that did not see it."""
    stops: dict[int, Float64] = {}
    for name in dict.fromkeys(crop.name for crop in crops):
        own = [i for i, crop in enumerate(crops) if crop.name == name]
        # Without any paper nothing would speak for paper: half of it stays.
        parts = [own[::2], own[1::2]] if name == "paper" else [own]
        for part in parts:
            others = [crop for i, crop in enumerate(crops) if i not in set(part)]
            fit = fitted(others, whole)
            stops |= dict(zip(part, levels([crops[i] for i in part], fit), strict=True))
    return [stops[i] for i in range(len(crops))]


def said(crops: list[Crop], stops: list[Float64]) -> None:
    """Print how near the glow comes, picture by picture."""
    plain, now = unrecovered(crops), errors(crops, stops)
    lit, names = plain > LIT_STOPS, np.array([crop.name for crop in crops])
    for name in dict.fromkeys(names):
        own = (names == name) & (lit | (name == "paper"))
        before, after = (float(np.median(e[own])) if own.any() else 0.0 for e in (plain, now))
        print(f"{name:22} {own.sum():4} crops, median rms {before:.3f} -> {after:.3f}")
    lit &= names != "paper"
    median, largest = np.median(now[lit] / plain[lit]), np.mean(now[lit] > plain[lit])
    print(f"all with lamps: median of ratios {median:.2f}, {100 * largest:.0f} % worse")
    added = np.array(
        [
            np.sqrt(np.mean(np.log2(1 + (2.0**s - 1) @ c.by_region / c.as_is) ** 2))
            for c, s in zip(crops, stops, strict=True)
        ]
    )
    for label, own in (
        ("paper", names == "paper"),
        ("without lamps", (plain < 0.03) & (names != "paper")),
    ):
        mean, high, most = added[own].mean(), np.percentile(added[own], 90), added[own].max()
        print(
            f"glow added, {label}: mean {mean:.3f}, nine in ten below {high:.3f}, most {most:.3f}"
        )


def said_of_levels(crops: list[Crop], stops: list[Float64]) -> None:
    """Print the error of single levels, crops counting alike and regions by their area."""
    share = [c.features.area_px / c.features.area_px.sum() for c in crops if c.name != "paper"]
    true = np.concatenate([c.level for c in crops if c.name != "paper"])
    guess = np.concatenate([s for c, s in zip(crops, stops, strict=True) if c.name != "paper"])
    weight = np.concatenate(share)
    order = np.argsort(true)
    half = np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)
    print(f"median level of all regions {true[order][half]:.2f} stops")
    for low, high in ((0, 0.1), (0.1, 0.5), (0.5, 1), (1, 2), (2, 3), (3, 5), (5, 8)):
        own = (guess >= low) & (guess < high)
        if own.any():
            off = np.sqrt(np.average((true[own] - guess[own]) ** 2, weights=weight[own]))
            mean = np.average(true[own], weights=weight[own])
            print(
                f"taken for {low}..{high}: {own.sum():5} regions,"
                f" truly {mean:.2f}, rms off {off:.2f}"
            )


def main() -> None:
    """Fit, and say how well it does on pictures it has not seen."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?")
    parser.add_argument("--crops", type=int, default=100, help="of each picture")
    parser.add_argument("--seed", type=int, default=11)
    asked = parser.parse_args()
    if asked.folder is None:
        print("fit_lamps.py measures a folder of high-dynamic-range pictures: name one.")
        return
    crops = drawn_crops(asked.folder, asked.crops, asked.seed)
    print("\nCoefficients as they stand:")
    shipped = levels(crops, np.array(COEFFICIENTS))
    said(crops, shipped)
    said_of_levels(crops, shipped)
    fit = fitted(crops)
    print("\nfitted here:", *(round(float(number), 3) for number in fit), "on pictures left out:")
    out = held_out(crops, fit)
    said(crops, out)
    said_of_levels(crops, out)


if __name__ == "__main__":
    main()
