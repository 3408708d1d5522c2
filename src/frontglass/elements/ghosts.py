"""Which lamps of a picture throw ghosts that will be seen, where, and what tilt takes them out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.elements.ghost_mirror import Glass, View
from frontglass.elements.lamp_patches import FoundLamps
from frontglass.optics.camera import Camera
from frontglass.optics.plate import (
    Iris,
    Lean,
    Leans,
    Reflection,
    ReturnPath,
    ghosts_and_caught,
)
from frontglass.picture.curves import SRGB_CURVE

SEEN_CODES = 4.0
"""Step in 8-bit sRGB codes from which on a ghost is seen: 3 % of a mid grey. Common practice, no
source."""
TOLD_LAMPS = 3
DISC_NODES = 41
DIRECTIONS = ((1, 0), (-1, 0), (0, 1), (0, -1))
UNDER_NODES, UNDER_PX = 5, 5
FARTHER = "No tilt up to {:g} degrees takes them all out: coat the glass, or take it away."


@dataclass(frozen=True, slots=True, kw_only=True)
class Ghost:
    """A lamp, and the ghost that glass throws of it.

    Parameters
    ----------
    lamp_px, ghost_px : (float, float)
        Middle of the lamp and of its ghost, right and down from the corner. [px]
    level : float
        Light of the ghost where it is brightest; 1 is white.
    under : float
        Light of the picture there.
    width_px : float
        Of the disc that it is spread over; 0 is sharp. [px]
    lamp_width_px : float
        Of a disc as large as the lamp. [px]
    share : float
        Share of its light that comes back into the pupil. [1], in [0, 1]
    inside : bool
        Whether it is in the frame.
    """

    lamp_px: tuple[float, float]
    ghost_px: tuple[float, float]
    level: float
    under: float
    width_px: float
    lamp_width_px: float
    share: float
    inside: bool

    @property
    def is_seen(self) -> bool:
        """Whether it stands out from what is under it."""
        return self.inside and bool(_stands_out(self.level, self.under))

    def moved(self, right_px: float, down_px: float) -> Ghost:
        """Return it where pixels are counted from elsewhere."""
        lamp, ghost = (
            (place[0] + right_px, place[1] + down_px) for place in (self.lamp_px, self.ghost_px)
        )
        return replace(self, lamp_px=lamp, ghost_px=ghost)


@dataclass(frozen=True, slots=True, kw_only=True)
class GhostsOfStill:
    """Ghosts of a still's lamps, the brightest first.

    Parameters
    ----------
    ghosts : tuple of Ghost
        One for each lamp and mirror.
    tilt_deg : (float, float) or None
        The least tilt of all glass, as `Plate.tilt_deg`, at which none is seen; None if there is
        none up to 15 degrees.
    """

    ghosts: tuple[Ghost, ...]
    tilt_deg: tuple[float, float] | None

    @property
    def seen(self) -> tuple[Ghost, ...]:
        """Those that will be seen."""
        return tuple(ghost for ghost in self.ghosts if ghost.is_seen)


def ghosts_in(
    light: Float32,
    lamps: FoundLamps | None,
    glass: Glass,
    camera: Camera,
    axis_px: tuple[float, float] | None = None,
) -> GhostsOfStill:
    """Ghosts that glass throws of a picture's lamps.

    Parameters
    ----------
    light, lamps, glass, camera, axis_px
        As in `ghost_light.with_ghosts`; no lamps have none.
    """
    view = View.of(light.shape, camera, axis_px)
    if lamps is None:
        return GhostsOfStill(ghosts=(), tilt_deg=(0.0, 0.0))
    mirrors, _ = ghosts_and_caught(glass.mirrors)
    room = _Room(light, view, glass.path(camera))
    told = _told_apart(lamps, view.shape)
    found = [ghost for one in mirrors for ghost in room.ghosts(told, one, glass.returns)]
    found.sort(key=lambda ghost: (not ghost.is_seen, -ghost.level))
    if not any(ghost.is_seen for ghost in found):
        return GhostsOfStill(ghosts=tuple(found), tilt_deg=(0.0, 0.0))
    tilt = _tilt_without(room, told, mirrors, glass.returns)
    return GhostsOfStill(ghosts=tuple(found), tilt_deg=tilt)


def ghost_notices(found: GhostsOfStill, camera: Camera) -> list[str]:
    """Say which lamps throw ghosts that will be seen, and what tilt takes them out."""
    if not found.seen:
        return []
    some = [
        f"the lamp at {_place(ghost.lamp_px)} one at {_place(ghost.ghost_px)}"
        for ghost in found.seen[:TOLD_LAMPS]
    ]
    more = len(found.seen) - len(some)
    rest = f", and {more} more" if more > 0 else ""
    said = [f"The glass throws ghosts that will be seen: {', '.join(some)}{rest}."]
    said.append(tilt_words(found.tilt_deg))
    if camera.focus_m is None:
        said.append("Focus is not known: ghosts are sharp, as at infinity (else --focus 3m).")
    return said


def tilt_words(tilt_deg: tuple[float, float] | None) -> str:
    """Say what tilt leaves no ghost."""
    if tilt_deg is None:
        return FARTHER.format(ACCURACY.largest_tilt_deg)
    up, right = tilt_deg
    return f"--tilt {up:g},{right:g} takes them out of sight."


def _place(px: tuple[float, float]) -> str:
    return f"{px[0]:.0f},{px[1]:.0f}"


@dataclass(frozen=True, slots=True, eq=False)
class _Lamps:
    """Lamps told apart: middles, light summed over pixels and where it is brightest, widths."""

    rows: Float64
    columns: Float64
    flux: Float64
    peak: Float64
    across: Float64


def _told_apart(lamps: FoundLamps, shape: tuple[int, int]) -> _Lamps:
    """Return lamps told apart, those that send most light first, and not all of many.

    Notes
    -----
    Those that touch are one, on squares of few pixels.
    """
    step = -(-max(shape) // ACCURACY.ghost_map_px)
    size = -(-shape[0] // step), -(-shape[1] // step)
    lit = np.zeros(size, np.uint8)
    rows, columns, flux, peak, area = lamps.squares(step)
    lit[_squares(rows, step), _squares(columns, step)] = 1
    count, owner = cv2.connectedComponents(lit, connectivity=8)
    own = owner[_squares(rows, step), _squares(columns, step)].astype(np.intp) - 1
    weight = flux.max(axis=1).astype(np.float64)

    def summed(part: NDArray[Any]) -> Float64:
        return np.asarray(np.bincount(own, part, minlength=count - 1), np.float64)

    total = summed(weight)
    first = np.argsort(-total, kind="stable")[: ACCURACY.ghost_lamps]
    peaks = np.zeros((count - 1, 3))
    np.maximum.at(peaks, own, peak)
    middles = [summed(weight * part)[first] / total[first] for part in (rows, columns)]
    return _Lamps(
        middles[0],
        middles[1],
        np.stack([summed(flux[:, channel]) for channel in range(3)], axis=1)[first],
        peaks[first],
        2 * np.sqrt(summed(area)[first] / math.pi),
    )


def _squares(places: Float64, step: int) -> NDArray[np.intp]:
    return (places // step).astype(np.intp)


class _Room:
    """A picture and its lens: where ghosts land, how bright they are and on what they fall."""

    def __init__(self, light: Float32, view: View, path: ReturnPath) -> None:
        self._view, self._path = view, path
        self._blur_px = path.blur * view.px_per_rad
        self._light = light
        # Light as a ghost covers it: a few pixels under it tell as much as all.
        across = np.linspace(-0.4, 0.4, UNDER_NODES) * max(self._blur_px, UNDER_PX)
        self._down, self._right = (part.ravel() for part in np.meshgrid(across, across))

    def _found(
        self, lamps: _Lamps, level: tuple[float, ...], lean: Lean | Leans
    ) -> tuple[Float64, Float64, Float64, Float64]:
        """Rows, columns, shares and levels of the ghosts of lamps in a mirror."""
        x, y = self._view.tangents(lamps.rows, lamps.columns)
        share = self._path.share(x, y, lean)
        rows, columns = self._view.pixels(*self._path.place(x, y, lean))
        area = math.pi / 4 * self._blur_px**2
        # A disc that is cut off holds less light on less of its area; a wide lamp fills it.
        light = lamps.peak * share[..., np.newaxis]
        if area > 1:
            light = np.minimum(lamps.flux / area, light)
        visible = np.where(share > 0, (light * level).max(axis=-1), 0.0)
        return rows, columns, share, visible

    def _under(self, rows: Float64, columns: Float64) -> Float64:
        height, width = self._view.shape
        down = np.clip(rows[..., np.newaxis] + self._down, 0, height - 1).astype(np.intp)
        right = np.clip(columns[..., np.newaxis] + self._right, 0, width - 1).astype(np.intp)
        return np.asarray(self._light[down, right].max(axis=-1).mean(axis=-1), np.float64)

    def _inside(self, rows: Float64, columns: Float64) -> NDArray[np.bool_]:
        reach = self._blur_px / 2
        return (
            (rows > -reach)
            & (rows < self._view.shape[0] + reach)
            & (columns > -reach)
            & (columns < self._view.shape[1] + reach)
        )

    def ghosts(self, lamps: _Lamps, one: Reflection, returns: float) -> list[Ghost]:
        """Return the ghosts of lamps in a mirror, those that no light reaches left out."""
        sent = _times(one.level, returns)
        rows, columns, share, level = self._found(lamps, sent, one.lean)
        under, inside = self._under(rows, columns), self._inside(rows, columns)
        if self._blur_px > 0:
            rows, columns = self._middles(lamps, one, rows, columns)
        return [
            Ghost(
                lamp_px=(float(lamps.columns[i]), float(lamps.rows[i])),
                ghost_px=(float(columns[i]), float(rows[i])),
                level=float(level[i]),
                under=float(under[i]),
                width_px=self._blur_px,
                lamp_width_px=float(lamps.across[i]),
                share=float(share[i]),
                inside=bool(inside[i]),
            )
            for i in np.flatnonzero(share > 0)
        ]

    def _middles(
        self, lamps: _Lamps, one: Reflection, rows: Float64, columns: Float64
    ) -> tuple[Float64, Float64]:
        """Rows and columns of the middles of discs of which a part is cut off."""
        x, y = self._view.tangents(lamps.rows, lamps.columns)
        walks = np.stack(self._path.walk(x, y, one.lean), axis=1)
        right, down = np.meshgrid(*[np.linspace(-0.5, 0.5, DISC_NODES)] * 2)
        iris = Iris(edge=1 / DISC_NODES)
        aside = np.zeros((2, len(walks)))
        for number, walk in enumerate(walks):
            cover = self._path.cover(right, down, (float(walk[0]), float(walk[1])), iris)
            if cover.any():
                aside[:, number] = [np.average(part, weights=cover) for part in (down, right)]
        return rows + self._blur_px * aside[0], columns + self._blur_px * aside[1]

    def are_seen(self, lamps: _Lamps, sent: tuple[float, ...], leans: Leans) -> NDArray[np.bool_]:
        """Whether a ghost of lamps in a mirror is seen, for each of its leans, (T, 1)."""
        rows, columns, _, level = self._found(lamps, sent, leans)
        # Of what nobody sees, places may be anywhere.
        rows, columns = (np.nan_to_num(part, posinf=0, neginf=0) for part in (rows, columns))
        seen = _stands_out(level, self._under(rows, columns))
        return np.asarray((seen & self._inside(rows, columns)).any(axis=-1))


def _tilt_without(
    room: _Room, lamps: _Lamps, mirrors: Sequence[Reflection], returns: float
) -> tuple[float, float] | None:
    """Return the least tilt, about one axis, at which no ghost is seen.

    Notes
    -----
    All mirrors lean together, by so much from how they would stand untilted.
    """
    first, step = mirrors[-1].lean, ACCURACY.tilt_steps_deg
    steps = step * np.arange(1, round(ACCURACY.largest_tilt_deg / step) + 1)
    # Up, down, right and left, the least first.
    tilts = (steps[:, np.newaxis, np.newaxis] * np.array(DIRECTIONS)).reshape(-1, 2)
    up, right = np.tan(np.radians(tilts)).T[..., np.newaxis]
    seen = np.zeros(len(tilts), bool)
    for one in mirrors:
        leans = Leans(one.lean.right - first.right + right, one.lean.down - first.down - up)
        seen |= room.are_seen(lamps, _times(one.level, returns), leans)
    free = np.flatnonzero(~seen)
    return (float(tilts[free[0], 0]), float(tilts[free[0], 1])) if free.size else None


def _times(level: tuple[float, ...], returns: float) -> tuple[float, ...]:
    return tuple(returns * part for part in level)


def _stands_out(level: float | Float64, under: float | Float64) -> NDArray[np.bool_]:
    before = np.clip(under, 0, 1)
    after = np.clip(np.add(under, level), 0, 1)
    codes = 255 * (SRGB_CURVE.encode(after) - SRGB_CURVE.encode(before))
    return np.asarray(codes >= SEEN_CODES)
