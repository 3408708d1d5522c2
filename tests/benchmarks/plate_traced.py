"""Ghosts of a plate traced through a real lens: what tests/data/traced_plate.json holds.

A double Gauss of 100 mm, f/2, as rayoptics 0.9.8 ships it (``ag_dblgauss.seq`` among the tests of
its reader of lens files; written there on 16 July 2015 as "Double Gauss F/2 - Available Glasses"),
stopped down. Every ray goes from the sensor out through the lens, is mirrored by a plate and comes
in again: one sequence of surfaces with a reflection, each refraction by Snell's law. Or it begins
at a lamp, and the sensor is a mirror too.

It wants rayoptics, which takes a gigabyte with what it brings, and is no dependency of frontglass:

    python -m venv traced && traced/bin/pip install rayoptics==0.9.8
    traced/bin/python tests/benchmarks/plate_traced.py tests/data/traced_plate.json
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np

# Curvature [1/mm], thickness [mm] and index at 587.6 nm of N-SSK2, N-SK2, F5 and N-SK16.
SSK2, SK2, F5, SK16 = 1.62229, 1.60738, 1.60342, 1.62041
LENS = [
    (0.01779284094091543, 8.75, SSK2),
    (0.006566600536925569, 0.5, 1.0),
    (0.02653743294670983, 12.5, SK2),
    (0.0, 3.8, F5),
    (0.04126892878570084, 16.36944492653564, 1.0),
    (0.0, 13.74795696388906, 1.0),  # the iris
    (-0.03523942654429074, 3.8, F5),
    (0.0, 11.0, SK16),
    (-0.02636750828657709, 0.5, 1.0),
    (0.005636604951748545, 7.0, SK16),
    (-0.0125926458590576, 61.4875364179821, 1.0),
]
IRIS = 5
WAVELENGTH_NM = 587.6
FAR_MM = 1e9
GRID = 51


def model_of(parts: list[tuple[float, float, float | str]], lean_deg: dict[int, float]) -> Any:
    """Return a sequence of surfaces; the last thickness is that to the image."""
    from rayoptics.elem.surface import DecenterData
    from rayoptics.environment import OpticalModel

    opm = OpticalModel()
    model = opm["seq_model"]
    opm.radius_mode = False
    opm["optical_spec"]["wvls"].set_from_list([(WAVELENGTH_NM, 1.0)])
    model.gaps[0].thi = 0.0
    for number, (curvature, thickness, medium) in enumerate(parts, 1):
        model.add_surface(
            [curvature, thickness, medium] if medium != 1.0 else [curvature, thickness]
        )
        if number in lean_deg:
            model.ifcs[number].decenter = DecenterData("dec and return", alpha=lean_deg[number])
    # Surfaces alone: what is told of a whole lens, its pupils and fields, makes no sense here.
    model.update_model()
    return model


def traced(model: Any, start: np.ndarray, direction: np.ndarray) -> list[np.ndarray] | None:
    """Return where a ray meets each surface, in that surface's own coordinates."""
    from rayoptics.raytr import raytrace
    from rayoptics.raytr.traceerror import TraceError

    try:
        ray, *_ = raytrace.trace(model, start, direction, WAVELENGTH_NM)
    except TraceError:
        return None
    return [part[0] for part in ray] + [ray[-1][1]]


def through(back_mm: float) -> list[tuple[float, float, float | str]]:
    """Return the lens on the way in, the last surface so far before what follows."""
    return [*LENS[:-1], (LENS[-1][0], back_mm, 1.0)]


def out_and_in(back_mm: float, plate_mm: float) -> list[tuple[float, float, float | str]]:
    """Return the way from the sensor out to a plate so far before the lens, and in again."""
    mediums = [1.0, *(medium for _, _, medium in LENS[:-1])]
    gaps = [plate_mm, *(thickness for _, thickness, _ in LENS[:-1])]
    way: list[tuple[float, float, float | str]] = [(0.0, back_mm, 1.0)]
    for number in reversed(range(len(LENS))):
        way.append((-LENS[number][0], gaps[number], mediums[number]))
    # After a reflection thicknesses count backwards.
    way.append((0.0, -plate_mm, "REFL"))
    for curvature, thickness, medium in LENS[:-1]:
        way.append((-curvature, -thickness, medium))
    return [*way, (-LENS[-1][0], -back_mm, 1.0)]


def all_the_way(back_mm: float, plate_mm: float) -> list[tuple[float, float, float | str]]:
    """Return the way of a lamp's light to the sensor, a mirror, and on as above."""
    mediums = [1.0, *(medium for _, _, medium in LENS[:-1])]
    gaps = [plate_mm, *(thickness for _, thickness, _ in LENS[:-1])]
    way = [*through(back_mm), (0.0, -back_mm, "REFL")]
    for number in reversed(range(len(LENS))):
        way.append((LENS[number][0], -gaps[number], mediums[number]))
    return [*way, (0.0, plate_mm, "REFL"), *through(back_mm)]


class Lens:
    """The lens at a stop, focused at a distance from its entrance pupil."""

    def __init__(self, f_number: float, focus_mm: float) -> None:
        self.inward = model_of(through(LENS[-1][1]), {})
        # A ray that leaves the middle of the iris tells where the pupil is.
        self.pupil_mm = self._pupil()
        self.iris_mm = self._iris(100.0 / f_number / 2)
        self.diameter_mm = 100.0 / f_number
        self.back_mm = self._focused(focus_mm)
        self.inward = model_of(through(self.back_mm), {})
        self.focus_mm, self.f_number = focus_mm, f_number
        tangents = np.linspace(-0.25, 0.25, 21)
        # Distortion is smooth: an odd polynomial holds it to 1e-6.
        self._directions = np.polyfit([self.image_mm(t) for t in tangents], tangents, 7)

    def _hit(self, model: Any, height: float, slope: float) -> list[np.ndarray] | None:
        direction = np.array([0.0, slope, 1.0]) / math.hypot(1, slope)
        return traced(model, np.array([0.0, height, 0.0]), direction)

    def _pupil(self) -> float:
        """Depth of the entrance pupil behind the first surface, by rays near the axis."""
        slope = 1e-4
        low, high = (self._hit(self.inward, h, slope)[IRIS + 1][1] for h in (-1e-2, 0.0))
        height = 1e-2 * high / (low - high)  # where the ray meets the middle of the iris
        return -height / slope

    def _iris(self, pupil_radius: float) -> float:
        return pupil_radius * self._hit(self.inward, 1e-3, 0.0)[IRIS + 1][1] / 1e-3

    def _focused(self, focus_mm: float) -> float:
        """Distance to the sensor where a point on the axis is sharp: by rays of the middle zone.

        As one focuses by eye, wide open or not: at the focus of rays near the axis the lens's own
        error would be twice as large.
        """
        model = model_of(through(1.0), {})
        zone = self.diameter_mm / 2 / math.sqrt(2)
        slope = 0.0 if focus_mm >= FAR_MM else zone / focus_mm
        found = self._hit(model, zone - slope * self.pupil_mm, slope)
        end, direction = found[-2], found[-1]
        return float(1.0 - end[1] / direction[1] * direction[2])

    def image_mm(self, tangent: float) -> float:
        """Height of the image of a direction, by its ray through the middle of the iris."""
        low, high = -self.pupil_mm * tangent - 2, -self.pupil_mm * tangent + 2
        for _ in range(40):
            middle = (low + high) / 2
            if self._hit(self.inward, middle, tangent)[IRIS + 1][1] > 0:
                high = middle
            else:
                low = middle
        return float(self._hit(self.inward, middle, tangent)[-2][1])

    def direction_of(self, image_mm: np.ndarray) -> np.ndarray:
        """Return tangents whose images are at these heights."""
        return np.polyval(self._directions, image_mm)

    def ghost_of_point(self, tangent: float, plate_mm: float, lean_deg: float) -> dict[str, float]:
        """Trace what a point of the sensor sends out into all of the pupil."""
        way = out_and_in(self.back_mm, plate_mm - self.pupil_mm)
        plate = len(LENS) + 2
        model = model_of(way, {plate: lean_deg})
        irises = (1 + 1 + len(LENS) - 1 - IRIS, plate + 1 + IRIS)
        height = self.image_mm(tangent)
        # Slopes that fill the iris and more: the exit pupil is about as far as the sensor.
        most = 1.3 / (2 * self.f_number)
        middle = self._slope_through_the_iris(model, height, irises[0])
        slopes = np.linspace(-most, most, GRID)
        places, left = [], 0
        for x in slopes:
            for y in middle + slopes:
                start, direction = np.array([0.0, height, 0.0]), np.array([x, y, 1.0])
                found = traced(model, start, direction / np.linalg.norm(direction))
                if found is None or np.hypot(*found[irises[0]][:2]) > self.iris_mm:
                    continue
                left += 1
                if np.hypot(*found[irises[1]][:2]) <= self.iris_mm:
                    places.append(found[-2][:2])
        if not places:
            return {"share": 0.0}
        across, along = np.array(places).T
        seen = self.direction_of(along)
        per_mm = tangent / height
        return {
            "share": len(places) / left,
            "middle": float(seen.mean()),
            # The diameter of a disc is four times its standard deviation along a line.
            "wide": 4 * float(seen.std()),
            "high": 4 * abs(float((across * per_mm).std())),
        }

    def _slope_through_the_iris(self, model: Any, height: float, iris: int) -> float:
        slopes = np.linspace(-0.4, 0.4, 81)
        found = [
            traced(model, np.array([0.0, height, 0.0]), np.array([0.0, s, 1.0]) / math.hypot(1, s))
            for s in slopes
        ]
        hits = [(one[iris][1], s) for one, s in zip(found, slopes, strict=True) if one is not None]
        hits.sort()
        return float(np.interp(0.0, [hit for hit, _ in hits], [s for _, s in hits]))

    def ghost_of_lamp(self, tangent: float, plate_mm: float) -> dict[str, float]:
        """Trace a lamp at infinity, the sensor a mirror."""
        way = all_the_way(self.back_mm, plate_mm - self.pupil_mm)
        model = model_of(way, {})
        count = len(LENS)
        irises = (1 + IRIS, 2 * count + 1 - IRIS, 2 * count + 3 + IRIS)
        middle = -self.pupil_mm * tangent
        heights = np.linspace(-0.6, 0.6, GRID) * self.diameter_mm
        places, left = [], 0
        for x in heights:
            for y in middle + heights:
                direction = np.array([0.0, tangent, 1.0]) / math.hypot(1, tangent)
                found = traced(model, np.array([x, y, 0.0]), direction)
                if found is None or np.hypot(*found[irises[0]][:2]) > self.iris_mm:
                    continue
                left += 1
                if all(np.hypot(*found[iris][:2]) <= self.iris_mm for iris in irises[1:]):
                    places.append(found[-2][:2])
        if not places:
            return {"share": 0.0}
        along = np.array(places)[:, 1]
        seen = self.direction_of(along)
        return {"share": len(places) / left, "middle": float(seen.mean())}


CASES = [
    (4.0, math.inf, 80.0, (0.5, 1.0, 2.0, 3.0, 4.0, 6.0), 0.0),
    (4.0, math.inf, 120.0, (1.0, 2.0, 4.0), 1.0),
    (4.0, 5.0, 80.0, (0.5, 1.0, 2.0, 4.0, 6.0), 0.0),
    (4.0, 2.0, 120.0, (0.5, 1.0, 2.0, 3.0), 0.0),
    (2.8, 2.0, 80.0, (1.0, 3.0, 5.0), 0.0),
    (2.8, 3.0, 120.0, (1.0, 3.0), -2.0),
    (2.8, math.inf, 65.0, (8.0, 10.0, 12.0), 0.0),
    (2.8, 3.0, 65.0, (8.0, 10.0, 12.0), 0.0),
]
"""Stop, focus [m], plate to pupil [mm], field angles [degree], lean [degree]."""


def main(out: Path) -> None:
    """Trace all cases and write what was found."""
    points, lamps = [], []
    for f_number, focus_m, plate_mm, angles, lean in CASES:
        lens = Lens(f_number, min(1000 * focus_m, FAR_MM))
        how = {"f_number": f_number, "plate_mm": plate_mm, "lean_deg": lean}
        how["focus_m"] = None if math.isinf(focus_m) else focus_m
        for angle in angles:
            tangent = math.tan(math.radians(angle))
            found = lens.ghost_of_point(tangent, plate_mm, lean)
            points.append({**how, "tangent": tangent, **found})
            print(points[-1], flush=True)
            if math.isinf(focus_m) and not lean:
                lamps.append({**how, "tangent": tangent, **lens.ghost_of_lamp(tangent, plate_mm)})
                print(lamps[-1], flush=True)
    text = json.dumps({"points": points, "lamps": lamps}, indent=1)
    out.write_text(text + "\n", encoding="utf-8")


if __name__ == "__main__":
    if len(sys.argv) > 1:
        main(Path(sys.argv[1]))
    else:
        print("left out: it wants rayoptics, and to hear where to write")
