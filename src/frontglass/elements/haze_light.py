"""Light through haze.

The light of a surface reaches the lens weakened by the air before it; air lit by the room, by lamps
and by beams adds its own. What lamps and beams add is smooth across the frame, apart from lamps
themselves and from edges where the distance jumps. So it is computed on a grid of nodes, at the
nearest and at the farthest distance around each, as a straight line in the transmittance; each
pixel reads the line at its own. Close to a lamp, where the glow is sharp, the part that a grid
cannot hold is computed pixel by pixel and laid on top.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import cv2
import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.elements.airlight import OUTSIDE_WALLS, estimated_airlight
from frontglass.errors import AccuracyWarning, LookError
from frontglass.optics.air import LampGlow, droplet_load_mg_per_m3
from frontglass.optics.beams import beam_airlight
from frontglass.picture.lamps_in_air import LampInAir, lamps_in
from frontglass.threads import for_each
from frontglass.units import percent_text, rad_from_deg

if TYPE_CHECKING:
    from frontglass.elements.element import Passage
    from frontglass.elements.haze import Haze
    from frontglass.elements.haze_lamps import BareLamp


CHANNELS = (0, 1, 2)
ROWS_AT_A_TIME = 16
DEEPEST_SINGLE_SCATTER = 0.5
"""Optical depth to a lamp from which on the missing multiple scattering is said."""
SAID_LAMPS = 8
WIDEST_RAD = math.pi - 2e-3
"""From a lamp behind the camera: straight away from it formulas divide nothing by nothing."""
CAUTION_MG_PER_M3 = 10.0
"""Load of droplets from which on the cautions are said again beside the picture."""

CAUTION = (
    "Haze this dense takes about {load:.0f} mg/m3 of glycol droplets: ventilate, mind smoke "
    "detectors and slippery residue, follow the fluid's data sheet, local rules and the venue's "
    "responsible person. This preview is no estimate of exposure."
)
NO_DISTANCE = (
    "haze needs to know how far everything is: give a distance map (--depth FILE), a few typed "
    "distances (--distance X,Y,METRES) or a simple room (--room)."
)


class _Lamp(NamedTuple):
    """A lamp that shines evenly: found in the frame, or said to stand somewhere.

    `way` is a unit vector from the lens: right, down, forward; `intensity` that of each channel.
    """

    way: tuple[float, float, float]
    distance_m: float
    radius_rad: float
    intensity: Float64

    @classmethod
    def found(cls, lamp: LampInAir) -> _Lamp:
        """Lamp of a still."""
        right, down = lamp.tangents
        longer = math.hypot(right, down, 1)
        # Its light at the lens in clear air, from that far.
        intensity = np.array(lamp.illuminance) * lamp.distance_m**2
        way = right / longer, down / longer, 1 / longer
        return cls(way, lamp.distance_m, lamp.radius_rad, intensity)

    @classmethod
    def said(cls, lamp: BareLamp, px_per_rad: float, ratio: float) -> _Lamp:
        """Lamp of a look; in the frame it would be a pixel wide."""
        away = math.hypot(*lamp.place_m)
        right, down, forward = (part / away for part in lamp.place_m)
        intensity = ratio * np.array([lamp.intensity(c) for c in CHANNELS])
        return cls((right, down, forward), away, 1 / px_per_rad, intensity)


class _LinesOverTransmittance(NamedTuple):
    """Light added at nodes: offset + slope * transmittance, shape (rows, columns, 3)."""

    offset: Float32
    slope: Float32


def light_through_haze(light: Float32, haze: Haze, passage: Passage) -> Float32:
    """Light of a picture with the air full of haze.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light.
    haze : Haze
        At its strength.
    passage : Passage
        With distances.

    Raises
    ------
    LookError
        If the distances are not known.
    """
    distance = passage.distance_m
    if distance is None:
        raise LookError(NO_DISTANCE)
    px_per_rad = passage.camera.px_per_rad(light.shape[1])
    found = lamps_in(light, distance, px_per_rad, passage.lamps)
    grid = _Grid(distance, haze, px_per_rad)
    shining = [_Lamp.found(lamp) for lamp in found.lamps]
    # What walls that nobody sees send back of a lamp outside the frame is airlight: where that is
    # estimated it comes from about where the lamp is.
    walls = OUTSIDE_WALLS if haze.airlight is None else 0.0
    shining += [_Lamp.said(lamp, px_per_rad, 1 + walls) for lamp in haze.lamps if lamp.level]
    added = grid.added(shining)
    glow = (added[0] + added[1]).mean(axis=0) / 2
    if haze.airlight is None:
        airlight = estimated_airlight(
            light, distance, haze, found, glow=glow, px_per_rad=px_per_rad
        )
    else:
        airlight = np.array(haze.airlight, np.float64).reshape(1, 1, 3)
    lines = grid.lines(added, airlight)
    out = _composed(light, distance, grid.extinctions, lines)
    for lamp in shining:
        grid.add_near(out, lamp)
    farthest_m = max((lamp.distance_m for lamp in shining), default=0.0)
    passage.notices.extend(_said(haze, found.lamps, airlight.mean((0, 1)).tolist(), farthest_m))
    return out


class _Grid:
    """Nodes over the frame, with the nearest and the farthest distance round each.

    Parameters
    ----------
    distance : ndarray, shape (H, W), float32
        [m].
    haze : Haze
        The haze.
    px_per_rad : float
        Scale of the picture.
    """

    def __init__(self, distance: Float32, haze: Haze, px_per_rad: float) -> None:
        self.distance, self.haze, self.px_per_rad = distance, haze, px_per_rad
        self.airs = [haze.air(channel) for channel in CHANNELS]
        self.extinctions = tuple(air.extinction_per_m for air in self.airs)
        # Channels that the air treats alike share a table.
        self.alike = len(set(self.airs)) == 1
        height, width = distance.shape
        cell_rad = rad_from_deg(ACCURACY.haze_cell_deg)
        self.cell_px = min(max(round(cell_rad * px_per_rad), 1), ACCURACY.widest_haze_cell_px)
        self.near_px = float(ACCURACY.near_haze_cells * self.cell_px)
        self.shape = math.ceil(height / self.cell_px), math.ceil(width / self.cell_px)
        # cv2.resize puts nodes at the middles of equal parts of the frame.
        rows, columns = (
            (np.arange(n) + 0.5) * side / n
            for n, side in zip(self.shape, distance.shape, strict=True)
        )
        self.down = np.repeat((rows - height / 2) / px_per_rad, len(columns))
        self.right = np.tile((columns - width / 2) / px_per_rad, len(rows))
        self.surfaces = [_around(distance, self.shape, end) for end in (np.minimum, np.maximum)]

    def lines(self, added: tuple[Float64, Float64], airlight: Float64) -> _LinesOverTransmittance:
        """Light that the air adds, as lines in the transmittance; lamps without their middle."""
        near, far = added
        around = cv2.resize(airlight, self.shape[::-1], interpolation=cv2.INTER_LINEAR)
        around = around.reshape(-1, 3)
        offset, slope = np.empty_like(near), np.empty_like(near)
        for c, extinction in enumerate(self.extinctions):
            # Zero times an endless distance is no number; no extinction, no loss.
            transmittance = [
                np.exp(-extinction * s) if extinction else np.ones_like(s) for s in self.surfaces
            ]
            apart = transmittance[0] - transmittance[1]
            flat = apart < 1e-5
            slope[:, c] = np.where(flat, 0, (near[:, c] - far[:, c]) / np.where(flat, 1, apart))
            offset[:, c] = far[:, c] - slope[:, c] * transmittance[1]
            # A line through one point only: all its light, wherever the pixel lies on it.
            offset[flat, c] = (near[flat, c] + far[flat, c]) / 2
            offset[:, c] += around[:, c]
            slope[:, c] -= around[:, c]
        whole = (*self.shape, 3)
        return _LinesOverTransmittance(
            offset.reshape(whole).astype(np.float32), slope.reshape(whole).astype(np.float32)
        )

    def added(self, lamps: Sequence[_Lamp]) -> tuple[Float64, Float64]:
        """Light of lamps and beams at the nodes, before the nearest and the farthest surface."""
        added = [np.zeros((self.right.size, 3)) for _ in self.surfaces]
        for lamp in lamps:
            angle, apart_px = self._from(lamp, self.right, self.down)
            smooth = 1 - _near_share(apart_px, self.near_px)
            for glow, channels in self._glows(lamp, float(angle.max())):
                for to, surface in zip(added, self.surfaces, strict=True):
                    power = lamp.intensity[channels]
                    to[:, channels] += (smooth * glow(angle, surface))[:, None] * power
        if any(beam.level for beam in self.haze.beams):
            rays = np.stack([self.right, self.down, np.ones_like(self.right)], axis=-1)
            rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
            for beam in self.haze.beams:
                for channels in self._channels():
                    power = np.array([beam.intensity(c) for c in channels])
                    for to, surface in zip(added, self.surfaces, strict=True):
                        column = beam_airlight(self.airs[channels[0]], beam.beam(), rays, surface)
                        to[:, channels] += column[:, None] * power
        return added[0], added[1]

    def add_near(self, out: Float32, lamp: _Lamp) -> None:
        """Add what the grid could not hold of a lamp's glow, pixel by pixel."""
        height, width = self.distance.shape
        right, down, forward = lamp.way
        if forward <= 0:
            return
        x = right / forward * self.px_per_rad + width / 2
        y = down / forward * self.px_per_rad + height / 2
        reach = self.near_px
        top, bottom = max(0, math.floor(y - reach)), min(height, math.ceil(y + reach))
        first, last = max(0, math.floor(x - reach)), min(width, math.ceil(x + reach))
        if top >= bottom or first >= last:
            return
        part = np.s_[top:bottom, first:last]
        rows, columns = np.mgrid[part]
        tangent_right = (columns + 0.5 - width / 2) / self.px_per_rad
        tangent_down = (rows + 0.5 - height / 2) / self.px_per_rad
        angle, apart_px = self._from(lamp, tangent_right, tangent_down)
        share = _near_share(apart_px, self.near_px)
        surface = self.distance[part].astype(np.float64)
        for glow, channels in self._glows(lamp, float(angle.max())):
            light = share * glow(angle, surface)
            for c in channels:
                out[(*part, c)] += light * lamp.intensity[c]

    def _from(self, lamp: _Lamp, right: Float64, down: Float64) -> tuple[Float64, Float64]:
        """Angle from a lamp [rad], softened by its size, and the way to it in the frame [px]."""
        x, y, z = lamp.way
        across = np.sqrt((right * z - x) ** 2 + (down * z - y) ** 2 + (right * y - down * x) ** 2)
        angle = np.arctan2(across, z + right * x + down * y)
        # The mean of 1 / distance over a disc is 2 / radius in its middle.
        angle = np.minimum(np.sqrt(angle**2 + lamp.radius_rad**2 / 4), WIDEST_RAD)
        if z <= 0:
            return angle, np.full(angle.shape, np.inf)
        return angle, np.hypot(right - x / z, down - y / z) * self.px_per_rad

    def _channels(self) -> list[list[int]]:
        return [list(CHANNELS)] if self.alike else [[channel] for channel in CHANNELS]

    def _glows(self, lamp: _Lamp, widest: float) -> list[tuple[LampGlow, list[int]]]:
        return [
            (
                LampGlow(
                    self.airs[channels[0]], lamp.distance_m, min(1.001 * widest, WIDEST_RAD + 1e-3)
                ),
                channels,
            )
            for channels in self._channels()
        ]


def _near_share(apart_px: Float64, reach_px: float) -> Float64:
    """Share of a lamp's glow that is computed pixel by pixel: 1 at the lamp, 0 from `reach_px`."""
    inside = np.maximum(1 - (apart_px / reach_px) ** 2, 0)
    return np.asarray(inside**2)


def _around(distance: Float32, nodes: tuple[int, int], end: np.ufunc) -> Float64:
    """Nearest, or farthest, distance of the pixels that read each node [m]."""
    height = len(distance)
    # reduceat over each cell; then the neighbours, into which straight interpolation reaches.
    starts = [np.arange(n) * side // n for n, side in zip(nodes, distance.shape, strict=True)]
    stops = [*starts[0][1:], height]
    cells = np.empty(nodes, np.float32)

    def row(number: int) -> None:
        band = end.reduce(distance[starts[0][number] : stops[number]], axis=0)
        end.reduceat(band, starts[1], out=cells[number])

    for_each(row, range(nodes[0]))
    padded = np.pad(cells, 1, mode="edge")
    tall = end(end(padded[:-2], padded[1:-1]), padded[2:])
    wide = end(end(tall[:, :-2], tall[:, 1:-1]), tall[:, 2:])
    return np.asarray(wide, dtype=np.float64).ravel()


def _composed(
    light: Float32, distance: Float32, extinctions: Sequence[float], lines: _LinesOverTransmittance
) -> Float32:
    """Return (light + slope) transmittance + offset, its lines read between the nodes."""
    height, width = distance.shape
    # Not empty_like: rows must lie one after the other, whatever those of the light do.
    out = np.empty(light.shape, np.float32)
    offset, slope = (_as_wide(part, width) for part in lines)
    count = len(offset)
    # Row of nodes above each row of pixels, and how far below it that row is.
    place = np.clip((np.arange(height) + 0.5) * count / height - 0.5, 0, count - 1)
    above = np.minimum(place.astype(int), max(count - 2, 0))
    below = np.minimum(above + 1, count - 1)
    weight = (place - above).astype(np.float32)
    flat_light, flat_out = light.reshape(height, -1), out.reshape(height, -1)

    def rows(start: int) -> None:
        stop = min(start + ROWS_AT_A_TIME, height)
        first, last = max(start - 1, 0), min(stop + 1, height)
        transmittance = _transmittances(distance[first:last], extinctions)[start - first :].reshape(
            -1, 3 * width
        )
        for y in range(start, stop):
            base, next_, w = above[y], below[y], weight[y]
            row = flat_out[y]
            np.multiply(slope[next_], w, out=row)
            row += slope[base] * (1 - w)
            row += flat_light[y]
            row *= transmittance[y - start]
            row += offset[base] * (1 - w)
            row += offset[next_] * w

    for_each(rows, range(0, height, ROWS_AT_A_TIME))
    return out


def _as_wide(nodes: Float32, width: int) -> Float32:
    """Nodes interpolated across to every column; shape (rows, 3 width)."""
    wide = cv2.resize(nodes, (width, len(nodes)), interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide, dtype=np.float32).reshape(len(nodes), -1)


def _transmittances(distance: Float32, extinctions: Sequence[float]) -> Float32:
    """Transmittance per channel, shape (rows, columns, 3).

    A map holds the distance in the middle of a pixel where the still holds light from all over it:
    fine hair would come out as dark specks in the veil. So it is averaged with its neighbours.
    """
    planes = {}
    for extinction in dict.fromkeys(extinctions):
        if extinction:
            sampled = cv2.exp(distance * np.float32(-extinction))
            planes[extinction] = cv2.GaussianBlur(
                sampled, (3, 3), 0, borderType=cv2.BORDER_REPLICATE
            )
        else:
            planes[extinction] = np.ones_like(distance)
    whole = cv2.merge([planes[extinction] for extinction in extinctions])
    return np.asarray(whole, dtype=np.float32)


def _said(
    haze: Haze, lamps: Sequence[LampInAir], airlight: Sequence[float], farthest_m: float
) -> list[str]:
    """Say what was assumed, and what such haze would be in a room."""
    said = []
    if haze.airlight is None:
        shares = "/".join(percent_text(part).removesuffix(" %") for part in airlight)
        said.append(
            f"Airlight of the haze is estimated: {shares} % of white (red/green/blue), from the "
            "light of the frame apart from its lamps, and from their glow."
        )
    places = [f"{away:.1f}" for away in sorted({round(lamp.distance_m, 1) for lamp in lamps})]
    if places:
        more = ", ..." if len(places) > SAID_LAMPS else ""
        said.append(
            f"Lamps that glow in the haze are {', '.join(places[:SAID_LAMPS])}{more} m away."
        )
    load = droplet_load_mg_per_m3(haze.green_extinction_per_m)
    if load > CAUTION_MG_PER_M3:
        said.append(CAUTION.format(load=load))
    deepest = haze.green_extinction_per_m * farthest_m
    if deepest > DEEPEST_SINGLE_SCATTER:
        warnings.warn(
            f"The haze has an optical depth of {deepest:.2g} up to the farthest lamp: light "
            "scattered more than once is left out, so glows are too weak, at depth 1 from a third "
            "near a lamp to several times far from it.",
            AccuracyWarning,
            stacklevel=2,
        )
    return said
