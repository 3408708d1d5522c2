"""Clipped lamps: the glow of an 8-bit still, as it is and recovered, against the true scene's.

Truth are open high-dynamic-range crops (tests/data/hdr), exposed by one rule, clipped to 8 bits
of sRGB and stored as JPEG. None is of a panorama that the estimate was fitted to (fit_lamps.py).
Errors are of the scattered light alone, in stops, outside the clipped areas.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

import frontglass as fg
from frontglass.picture.clipped import outline
from tests.picture.hdr_scenes import (
    LAMP_SCENES,
    PLAIN_SCENES,
    as_still,
    glow_error,
    scene,
    source,
    true_marks,
)

QUALITIES = (None, 98, 90, 75)
BRACKET_STOPS = (0.0, -4.0, -8.0, -12.0)
THIRD = 1 / 3


def main() -> None:
    """Print a line per scene and the medians."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        columns: list[tuple[float, ...]] = []
        print("rms and p95 of the glow, stops")
        print("scene         8-bit      recovered  flux    +-1/3 stop  marks        bracket")
        for name in LAMP_SCENES:
            row, text = measured(name, folder)
            columns.append(row)
            print(f"{name:12}  {text}")
        clipped, recovered, marked, bracket = (
            statistics.median(column) for column in zip(*columns, strict=True)
        )
        worse = sum(row[1] > row[0] for row in columns)
        print(
            f"median rms    {clipped:.3f}      {recovered:.3f}  (ratio {recovered / clipped:.2f},"
            f" {worse} scenes worse)        {marked:.3f}        {bracket:.3f}"
        )
        clipped, recovered, marked, bracket = map(max, zip(*columns, strict=True))
        print(
            f"largest rms   {clipped:.3f}      {recovered:.3f}"
            f"                                    {marked:.3f}        {bracket:.3f}"
        )
        print("\nscenes without lamps: glow added that is not there, stops rms")
        for name in PLAIN_SCENES:
            for stops in (0.0, 1.0):
                print(f"{name:14} {stops:+.0f} stop  {false_glow(name, stops, folder):.3f}")
        print("\nthe same lamps stored otherwise: median rms as it is and recovered")
        for quality in QUALITIES:
            print(by_quality(quality, folder))


def measured(name: str, folder: Path) -> tuple[tuple[float, ...], str]:
    """Errors of one scene, and the line that says them."""
    truth = scene(name)
    still = as_still(truth, folder)
    found = outline(still.radiance)
    outside = found.labels == 0
    recovered = fg.with_recovered_light(still).picture
    plain = glow_error(still.radiance, truth, outside)
    auto = glow_error(source(recovered), truth, outside)
    lost = float((truth - still.radiance)[~outside].sum())
    flux = float((source(recovered) - still.radiance).sum()) / lost
    marks = fg.Recovery(marks=true_marks(truth, still))
    marked = glow_error(source(fg.with_recovered_light(still, marks).picture), truth, outside)
    frames = [as_still(truth * np.float32(2.0**s), folder, quality=95) for s in BRACKET_STOPS]
    merged = fg.merged_bracket(frames, BRACKET_STOPS)
    bracket = glow_error(merged.picture.radiance, truth, outside)
    change = max(
        glow_error(source_at(name, s, folder), source(recovered), outside).rms
        for s in (-THIRD, THIRD)
    )
    text = (
        f"{plain.rms:.2f} {plain.p95:.2f}  {auto.rms:.2f} {auto.p95:.2f}  {flux:5.2f}"
        f"   {change:5.2f}       {marked.rms:.3f} {marked.p95:.3f}"
        f"  {bracket.rms:.3f} {bracket.p95:.3f}"
    )
    return (plain.rms, auto.rms, marked.rms, bracket.rms), text


def by_quality(quality: int | None, folder: Path) -> str:
    """Medians over all scenes with lamps, stored as PNG or as JPEG of some quality."""
    pairs = []
    for name in LAMP_SCENES:
        truth = scene(name)
        still = as_still(truth, folder, quality=quality)
        outside = outline(still.radiance).labels == 0
        recovered = source(fg.with_recovered_light(still).picture)
        pairs.append(
            [glow_error(light, truth, outside).rms for light in (still.radiance, recovered)]
        )
    plain, auto = (statistics.median(column) for column in zip(*pairs, strict=True))
    worse = [
        f"{name} {before:.2f} -> {after:.2f}"
        for name, (before, after) in zip(LAMP_SCENES, pairs, strict=True)
        if after > before
    ]
    label = "PNG" if quality is None else f"JPEG {quality}"
    ratio = f"ratio {auto / plain:.2f}, worse: {', '.join(worse) or 'none'}"
    return f"{label:8} {plain:.3f}  {auto:.3f}  ({ratio})"


def source_at(name: str, stops: float, folder: Path) -> np.ndarray:
    """What a still of the scene exposed otherwise sends out, on the scale of the rule."""
    still = as_still(scene(name, stops), folder)
    return source(fg.with_recovered_light(still).picture) * np.float32(2.0**-stops)


def false_glow(name: str, stops: float, folder: Path) -> float:
    """Glow that recovery adds to a scene, against the true scene's own error."""
    truth = scene(name, stops)
    still = as_still(truth, folder)
    everywhere = np.ones(truth.shape[:2], dtype=bool)
    picture = fg.with_recovered_light(still).picture
    return glow_error(source(picture), np.maximum(truth, still.radiance), everywhere).rms


if __name__ == "__main__":
    main()
