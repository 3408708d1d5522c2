"""Tulle as a filter: its orders one by one near a lamp, its arms farther out, threads' halo."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float64
from frontglass.convolution.filters import Planes
from frontglass.convolution.joint_orders import streaks_of
from frontglass.convolution.kept import is_small
from frontglass.convolution.splat import MaskFilter, Pixels, Points, planes_of, splat
from frontglass.convolution.tulle_halo import arms_beyond, halo_points, is_narrow_halo
from frontglass.optics.bands import REACH_SIGMAS, Band
from frontglass.optics.masks import Orders
from frontglass.optics.tulle import HexagonalNet
from frontglass.threads import in_pieces

_NORMALS = np.radians([0.0, 60.0, 120.0])
_GOLDEN = (1 + math.sqrt(5)) / 2
_ROWS = np.arange(-40, 41)
"""Of orders beside an arm; 99 % of its light."""
_LEVEL = 1e-12
HALO_ROWS_AT_ONCE = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class TulleFilter(MaskFilter):
    """A net of hexagonal holes before the lens, in one channel.

    Parameters
    ----------
    mask : HexagonalNet
        What the pupil sees.
    """

    mask: HexagonalNet

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """See `Filter`."""
        share = 1 - self.pale_share
        laid = list(star(self.mask, self.band, self.px_per_rad))
        found = 2 * sum(float(points.shares.sum()) for points in laid)
        whole = 1 - self.mask.direct
        # Jitter's halo has what is left; of a perfect net that is next to nothing.
        brighter = 1.0 if self.mask.jitter_m or not found else whole / found
        every = _on_pixels(laid, share * brighter)
        has_halo = self.mask.jitter_m and found
        is_narrow = has_halo and is_narrow_halo(self.mask, self.band, self.px_per_rad)
        if is_narrow:
            more = halo_points(self.mask, self.band, self.px_per_rad, max(shape))
            every = itertools.chain(every, _on_pixels(more, share * (whole - found)))
        planes = planes_of(every, shape, dtype, is_even=self.is_even, has_mirrors=self.has_mirrors)
        if has_halo and not is_narrow:
            self._add_folded_halo(planes, shape, share * (whole - found))
        return planes

    def _add_folded_halo(self, planes: Planes, shape: tuple[int, int], light: float) -> None:
        """Add the halo as mirrors fold it, and without them take off what goes beyond the frame.

        Of a large frame that would take as much memory as a picture, and little goes so far.
        """
        if is_small(shape):
            halo = _folded_halo(self.mask, self.band, self.px_per_rad, shape, is_even=self.is_even)
            for plane, own in zip(planes, halo, strict=True):
                if plane is not None and own is not None:
                    np.add(plane, light * own, out=plane, casting="same_kind")
        else:
            add_halo(planes, halo_of_pieces(self.mask, self.band), self.px_per_rad, light)
        if self.has_mirrors or not is_small(shape):
            return
        beyond = _on_pixels(arms_beyond(self.mask, self.band, self.px_per_rad, shape), -light)
        folded = planes_of(beyond, shape, planes.even.dtype, is_even=self.is_even)
        np.add(planes.even, folded.even, out=planes.even)
        if planes.odd is not None and folded.odd is not None:
            np.add(planes.odd, folded.odd, out=planes.odd)


def _on_pixels(points: Iterable[Points], light: float) -> Iterator[Pixels]:
    """Yield pixels of some light of points."""
    for x, y, shares in points:
        yield from map(splat, Points(x, y, light * shares).pieces())


def star(mask: HexagonalNet, band: Band, px_per_rad: float) -> Iterator[Points]:
    """Light that tulle deviates, as points to one side of the lamp."""
    if not mask.width_m:
        return
    px = px_per_rad * band.centre_m
    farthest = min(ACCURACY.tulle_px * mask.pitch_m / px, ACCURACY.most_tulle_orders)
    farthest = max(farthest, ACCURACY.tulle_orders)
    orders = mask.orders(farthest)
    damping = mask.debye_waller(orders.x_per_m, orders.y_per_m)
    near = Orders(orders.x_per_m, orders.y_per_m, orders.shares * damping)
    first, spacing = 0.0, 2 / math.sqrt(3) * px / mask.pitch_m
    radius = np.hypot(near.x_per_m, near.y_per_m) * mask.pitch_m
    for last, step in ACCURACY.tulle_steps_px:
        some = (radius <= last) & (radius > first)
        chosen = Orders(*(column[some] for column in near))
        yield from streaks_of(chosen, band, px_per_rad, min(step, spacing / ACCURACY.tulle_parts))
        first = last
    # Half of all there is lies to one side.
    beyond = (1 - mask.direct) / 2 - float(orders.shares.sum())
    yield from _arms(mask, band, px_per_rad, farthest * px / mask.pitch_m, beyond)


def _arms(
    mask: HexagonalNet, band: Band, px_per_rad: float, start_px: float, light: float
) -> Iterator[Points]:
    """Light beyond some distance: rows of orders along three arms, each the tail of an edge."""
    if light <= 0 or start_px >= ACCURACY.streak_reach_px:
        return
    relative = band.sigma_m / band.centre_m
    first = (1 - REACH_SIGMAS * relative) * start_px
    coarse = max(ACCURACY.fine_arms * start_px, ACCURACY.fine_arms_px)
    fine_px, coarse_px = ACCURACY.arm_steps_px
    # Where arms begin within a pixel, most of their light is there.
    near = np.geomspace(first, fine_px, 32)[:-1] if first < fine_px else np.zeros(0)
    edges = np.concatenate(
        [
            near,
            np.arange(max(first, fine_px), coarse, fine_px),
            np.arange(coarse, ACCURACY.streak_reach_px, coarse_px),
        ]
    )
    along = (edges[1:] + edges[:-1]) / 2
    # The band blurs where they begin, and each row aside: every point has a wavelength.
    tail = -np.diff(1 / edges) * scipy.special.ndtr((along / start_px - 1) / relative)
    apart = mask.hole_side_m / (math.sqrt(3) * mask.pitch_m)
    rows = apart * np.sinc(apart * _ROWS) ** 2  # all there are sum to 1
    quantiles = (
        np.add.outer(np.abs(_ROWS) * _GOLDEN**2, np.arange(along.size) * _GOLDEN + 0.5) % 1.0
    )
    ratio = 1 + relative * scipy.special.ndtri(np.clip(quantiles, 1e-4, 1 - 1e-4))
    aside = np.c_[_ROWS] * ratio * band.centre_m * px_per_rad / (math.sqrt(3) * mask.pitch_m)
    at_per_m = along / (band.centre_m * px_per_rad)
    left = tail / tail.sum() * mask.debye_waller(at_per_m, np.zeros(along.size))
    shares = np.outer(rows, left) * light / len(_NORMALS)
    lit = shares > ACCURACY.darkest_point
    x = np.broadcast_to(along, aside.shape)
    yield from _on_arms(mask, x[lit], aside[lit], shares[lit])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Halo:
    """Transfer function of what jitter takes from the orders, the mean of a band, 1 at 0.

    Parameters
    ----------
    table : ndarray, shape (N, N)
        At frequencies across and along one set of pieces of thread, on nodes that are even in
        ``arcsinh(f / notch_per_rad)``.
    notch_per_rad, across_per_rad, along_per_rad : float
        Frequency [cycles/rad] about 0 in which jitter leaves a notch, and where the table ends.
    directions_rad : ndarray, shape (3,)
        Across the three sets, from x towards y.
    """

    table: Float64
    notch_per_rad: float
    across_per_rad: float
    along_per_rad: float
    directions_rad: Float64

    def at(self, across_per_rad: Float64, along_per_rad: Float64) -> Float64:
        """Value at frequencies within the table [cycles/rad]."""
        from scipy import ndimage  # takes long to load, and few looks are tulle

        last = len(self.table) - 1
        places = [
            np.arcsinh(np.abs(f) / self.notch_per_rad)
            * (last / np.arcsinh(end / self.notch_per_rad))
            for f, end in (
                (across_per_rad, self.across_per_rad),
                (along_per_rad, self.along_per_rad),
            )
        ]
        found: Float64 = ndimage.map_coordinates(self.table, places, order=1, mode="nearest")
        return found


@lru_cache(maxsize=12)
def halo_of_pieces(mask: HexagonalNet, band: Band) -> Halo:
    """Halo of pieces of thread that each moved alone."""
    wavelengths, weights = band.wavelengths(band.sigma_m / ACCURACY.halo_wavelengths)
    notch = math.sqrt(2) * mask.jitter_m / band.centre_m
    # Pieces seen by the shortest wavelengths reach farthest, and hold next to nothing there.
    ends = [
        mask.piece_ends_m(long) / wavelengths[0] for long in (mask.width_m, mask.thread_length_m)
    ]

    def values(ends: list[float]) -> Float64:
        nodes = [
            notch * np.sinh(np.linspace(0, np.arcsinh(end / notch), ACCURACY.halo_nodes))
            for end in ends
        ]
        still, moved = mask.pieces(*(np.multiply.outer(wavelengths, at) for at in nodes))
        total = (np.c_[weights] * still[0]).T @ still[1] - (np.c_[weights] * moved[0]).T @ moved[1]
        normal: Float64 = total / total[0, 0]
        return normal

    table = np.abs(values(ends)) > ACCURACY.darkest_halo
    for axis in (0, 1):
        last = int(np.flatnonzero(table.any(axis=1 - axis)).max()) + 1
        part = min(last / (len(table) - 1), 1.0)
        ends[axis] = notch * math.sinh(part * math.asinh(ends[axis] / notch))
    return Halo(
        table=values(ends),
        notch_per_rad=notch,
        across_per_rad=ends[0],
        along_per_rad=ends[1],
        directions_rad=mask.angle_rad + _NORMALS,
    )


@lru_cache(maxsize=3)
def _folded_halo(
    mask: HexagonalNet, band: Band, px_per_rad: float, shape: tuple[int, int], *, is_even: bool
) -> Planes:
    """Return planes of a halo, which a frame needs with its mirrors and without them."""
    planes = Planes.empty(shape, np.dtype(np.float64), is_even=is_even)
    for plane in planes:
        if plane is not None:
            plane[:] = 0
    add_halo(planes, halo_of_pieces(mask, band), px_per_rad, 1.0)
    return planes


def add_halo(planes: Planes, halo: Halo, px_per_rad: float, light: float) -> None:
    """Add a share of light to planes: a mean over the sending and the receiving pixel."""
    height = len(planes.even) - 1

    def add(rows: slice) -> None:
        down = np.arange(rows.start, rows.stop) / (2 * height)
        _add_halo_to_rows(planes.rows(rows), down, halo, px_per_rad, light)

    in_pieces(add, height + 1, HALO_ROWS_AT_ONCE)
    if planes.odd is not None:
        planes.odd[[0, -1]] = 0
        planes.odd[:, [0, -1]] = 0


def _add_halo_to_rows(
    planes: Planes, down: Float64, halo: Halo, px_per_rad: float, light: float
) -> None:
    """Add it to some rows of planes, at frequencies [cycles/px] down the frame."""
    across, along = (reach / px_per_rad for reach in (halo.across_per_rad, halo.along_per_rad))
    width = planes.even.shape[1] - 1
    columns = np.arange(width + 1)
    aliases = range(-math.ceil(across + along), math.ceil(across + along) + 1)
    # What is even looks the same the other way up: all that would be laid so is laid already.
    signs = (1, -1) if planes.odd is not None else (1,)
    each = light / (len(_NORMALS) * len(signs))
    for direction, sign, alias in itertools.product(halo.directions_rad, signs, aliases):
        c, s = math.cos(direction), math.sin(direction)
        fy = sign * down + alias
        seen_down = each * np.sinc(fy) ** 2
        first, last = _within(c, s * fy, across)
        start, end = _within(s, -c * fy, along)
        first, last = np.maximum(first, start), np.minimum(last, end)
        lit = last > first
        if not lit.any():
            continue
        for beside in range(math.floor(first[lit].min()), math.ceil(last[lit].max())):
            row, column = _between(first - beside, last - beside, width)
            fx = columns / (2 * width) + beside
            seen_across, x, y = np.sinc(fx) ** 2, fx[column], fy[row]
            value = halo.at((c * x + s * y) * px_per_rad, (s * x - c * y) * px_per_rad)
            value *= seen_across[column] * seen_down[row]
            planes.even[row, column] += value
            if planes.odd is not None:
                planes.odd[row, column] -= sign * value


def _within(slope: float, offset: Float64, reach: float) -> tuple[Float64, Float64]:
    """Find the ends of where ``|slope x + offset| < reach``; (0, 0) if there is no such x."""
    if abs(slope) < _LEVEL:
        far = np.where(np.abs(offset) < reach, np.inf, 0.0)
        return -far, far
    ends = (np.array([[-reach], [reach]]) - offset) / slope
    return ends.min(axis=0), ends.max(axis=0)


def _between(
    first: Float64, last: Float64, width: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns whose frequency along x, from 0 to 1/2, lies between a row's ends."""
    low = np.ceil(2 * width * np.clip(first, 0, 1)).astype(np.intp)
    high = np.floor(np.clip(2 * width * last, -1, width)).astype(np.intp)
    count = np.maximum(high - low + 1, 0)
    row = np.repeat(np.arange(count.size), count)
    return row, np.arange(row.size) - np.repeat(np.cumsum(count) - count - low, count)


def _on_arms(
    mask: HexagonalNet, along: Float64, aside: Float64, shares: Float64
) -> Iterator[Points]:
    """Points in directions along and beside the six arms, three of them to one side of the lamp."""
    for a in _NORMALS:
        c, s = math.cos(a), math.sin(a)
        x, y = mask.turned(c * along - s * aside, s * along + c * aside)
        yield Points(x.ravel(), y.ravel(), shares.ravel())
