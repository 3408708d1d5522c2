"""Light given back to clipped lamps: an estimate for each, a number typed in, or a mark by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import NDArray

from frontglass.checks import check_not_negative, check_within
from frontglass.errors import ParameterError
from frontglass.picture.clipped import (
    Outline,
    RegionFeatures,
    depth_within,
    outline,
    region_features,
)
from frontglass.picture.picture import Picture

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]

AUTO, OFF = "auto", "off"
MOST_STOPS = 20.0
MOST_ESTIMATED_STOPS = 8.0
LEAST_STOPS = 0.1
"""A region estimated at less is plain white, and given nothing."""
UNREAD_STOPS = 0.9
"""For a region whose outline cannot be seen: the median of clipped areas of open pictures, crops
counting alike and areas by their size, as tests/benchmarks/fit_lamps.py prints it."""
COEFFICIENTS = (-1.119, 1.829, -1.139, -0.063, 0.271)
"""The logarithm of the light a region lost, over white [stop], is a constant; rises with the share
that clips in all channels, with a darker edge, a darker frame and a larger area. As printed by
tests/benchmarks/fit_lamps.py on 28 open panoramas, none of which the benchmark knows."""
UNCERTAIN_STOPS = 2.4
"""Rms of level against estimate as that script prints it for pictures left out, areas by size: 1.4
to 1.6 stops where less than half a stop is estimated, 2.3 to 2.8 from there on."""
SMALL_SHARE, LARGE_SHARE = 0.05, 0.4
"""Of the frame: up to the first an area may be a lamp, from the second on it is a sky or a wall."""
HARD_EDGE, SOFT_EDGE = 0.75, 0.95
"""Light just outside, over the clipping level: white that comes up softly is no lamp either."""
DIMMEST_EDGE = 0.02
DARKEST_FRAME = 0.005
MARK_REACH_SHARE = 0.01
FARTHEST_MARK_PX = 8.0
HUE_KEPT = 0.5


@dataclass(frozen=True, slots=True)
class LampMark:
    """A clipped region whose level somebody knows.

    Parameters
    ----------
    x_px, y_px : float
        A pixel in the region or close beside it. [px], >= 0.
    stops : float
        Mean light of the region above white. [stop], in [0, 20].

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Recovery(marks=(fg.LampMark(80, 90, stops=8),)).is_asked_for
    True
    """

    x_px: float
    y_px: float
    stops: float

    def __post_init__(self) -> None:
        check_not_negative("lamp x", self.x_px)
        check_not_negative("lamp y", self.y_px)
        check_within("lamp stops", self.stops, 0, MOST_STOPS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """What is done about clipped lamps.

    Parameters
    ----------
    clipped : "auto", "off" or float
        Estimate each region, do nothing, or take every region to be this far above white. [stop]
    marks : tuple of LampMark
        Regions whose level is known; a mark wins over `clipped`, even over "off".

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Recovery(clipped=6).is_asked_for, fg.Recovery().is_asked_for
    (True, False)
    """

    clipped: str | float = AUTO
    marks: tuple[LampMark, ...] = ()

    def __post_init__(self) -> None:
        if self.clipped not in {AUTO, OFF}:
            rule = f"auto, off or a number of stops from 0 to {MOST_STOPS:g}"
            if isinstance(self.clipped, str):
                raise ParameterError("clipped", rule, self.clipped)
            check_within("clipped", self.clipped, 0, MOST_STOPS)

    @classmethod
    def from_text(cls, text: str, marks: tuple[LampMark, ...] = ()) -> Self:
        """Recovery of "auto", "off" or a number of stops.

        Examples
        --------
        >>> Recovery.from_text("6").clipped
        6.0
        """
        try:
            return cls(clipped=float(text), marks=marks)
        except ValueError as error:
            if isinstance(error, ParameterError):
                raise
            return cls(clipped=text, marks=marks)

    @property
    def is_asked_for(self) -> bool:
        """Whether somebody said more than leave it to the program or leave it."""
        return bool(self.marks) or self.clipped not in {AUTO, OFF}


@dataclass(frozen=True, slots=True, kw_only=True)
class ClippedLamp:
    """A clipped region and what is believed of it.

    Parameters
    ----------
    x_px, y_px : float
        Its centre. [px]
    area_px : int
        Its size.
    stops : float
        Mean light above white. [stop]; 0 is plain white.
    uncertain_stops : float
        Standard deviation of that; 0 where somebody typed it. [stop]
    colour : tuple of 3 float
        Of its light, mean 1.
    marked : bool
        Whether its level was typed for this region.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> night = np.full((60, 90), 40, np.uint8)
    >>> night[30:33, 40:44] = 255
    >>> (lamp,) = fg.with_recovered_light(fg.Picture.from_array(night)).lamps
    >>> lamp.x_px, lamp.area_px, lamp.stops > 0
    (41.5, 12, True)
    """

    x_px: float
    y_px: float
    area_px: int
    stops: float
    uncertain_stops: float
    colour: tuple[float, float, float]
    marked: bool


class RecoveredStill(NamedTuple):
    """A still with the light its lamps had lost, and the clipped regions, most light first."""

    picture: Picture
    lamps: tuple[ClippedLamp, ...]


def with_recovered_light(
    picture: Picture, recovery: Recovery | None = None, *, white: float = 1.0
) -> RecoveredStill:
    """Return a still that carries, beside what it shows, the light that its clipped lamps lost.

    Parameters
    ----------
    picture : Picture
        The still. One from a float file keeps what it has: it holds its lamps.
    recovery : Recovery or None
        What to do; None estimates.
    white : float
        Light of the file's highest code, if the still has been exposed anew. > 0.

    Raises
    ------
    ParameterError
        If a mark lies on no clipped region.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> night = np.full((60, 90), 40, np.uint8)
    >>> night[30:33, 40:44] = 255
    >>> recovery = fg.Recovery(clipped=6)
    >>> still = fg.with_recovered_light(fg.Picture.from_array(night), recovery).picture
    >>> float(still.radiance.max()), bool(still.recovered.max() > 40)
    (1.0, True)
    """
    recovery = Recovery() if recovery is None else recovery
    if not picture.encoding.sample.is_integer:
        said = "The file holds light above white: nothing is recovered for clipped lamps."
        notices = (*picture.notices, said) if recovery.is_asked_for else picture.notices
        return RecoveredStill(replace(picture, notices=notices), ())
    if recovery.clipped == OFF and not recovery.marks:
        return RecoveredStill(replace(picture, recovered=None), ())
    light = picture.radiance
    found = outline(light, white)
    if found.regions == 0 and not recovery.marks:
        return RecoveredStill(replace(picture, recovered=None), ())
    features = region_features(light, found)
    stops, uncertain, marked = _levels_with_marks(features, recovery, found)
    colours = _colours(features)
    excess = _excess(light, found, stops, colours)
    lamps = tuple(
        ClippedLamp(
            x_px=float(features.x_px[i]),
            y_px=float(features.y_px[i]),
            area_px=int(features.area_px[i]),
            stops=float(stops[i]),
            uncertain_stops=float(uncertain[i]),
            colour=(float(colours[i, 0]), float(colours[i, 1]), float(colours[i, 2])),
            marked=bool(marked[i]),
        )
        for i in np.argsort(-(2.0**stops - 1) * features.area_px, kind="stable")
    )
    if not excess.any():
        return RecoveredStill(replace(picture, recovered=None), lamps)
    notices = (*picture.notices, _said(lamps))
    return RecoveredStill(replace(picture, recovered=excess, notices=notices), lamps)


def _levels_with_marks(
    features: RegionFeatures, recovery: Recovery, found: Outline
) -> tuple[Float64, Float64, NDArray[np.bool_]]:
    """Level of each region and its uncertainty [stop], and whether it was typed for the region."""
    stops, uncertain = _levels(features, recovery.clipped)
    marked = np.zeros(found.regions, dtype=bool)
    for mark in recovery.marks:
        region = _region_at(mark, found)
        stops[region], uncertain[region], marked[region] = mark.stops, 0, True
    return stops, uncertain, marked


def _said(lamps: tuple[ClippedLamp, ...]) -> str:
    given = [lamp.stops for lamp in lamps if lamp.stops > 0]
    areas = "1 clipped area is" if len(given) == 1 else f"{len(given)} clipped areas are"
    return f"{areas} taken to be up to {max(given):.1f} stops above white in what spreads."


def _levels(features: RegionFeatures, clipped: str | float) -> tuple[Float64, Float64]:
    """Level of each region above white and its uncertainty [stop]."""
    count = len(features.area_px)
    if clipped == OFF:
        return np.zeros(count), np.zeros(count)
    if isinstance(clipped, float | int):
        return np.full(count, float(clipped)), np.zeros(count)
    read = estimated_stops(features)
    unread = np.isnan(read)
    # A still that is white all over shows a wall, not a lamp.
    stops = np.where(unread, UNREAD_STOPS if count > 1 else 0.0, read)
    stops = np.clip(np.where(stops < LEAST_STOPS, 0, stops), 0, MOST_ESTIMATED_STOPS)
    return stops, np.full(count, UNCERTAIN_STOPS)


def estimated_stops(
    features: RegionFeatures, coefficients: Sequence[float] = COEFFICIENTS
) -> Float64:
    """Level of each region above white [stop], nan where its edge is not to be seen.

    Parameters
    ----------
    features : RegionFeatures
        What the still shows.
    coefficients : five numbers
        As `COEFFICIENTS`.

    Notes
    -----
    The light lost, over white, is a power law of the features: it never falls below zero, and fades
    away by itself where they speak against a lamp.
    """
    lost_stops = log_features(features) @ np.asarray(coefficients)
    level = np.log2(1 + 2 ** np.minimum(lost_stops, MOST_ESTIMATED_STOPS))
    return np.asarray(level * lamp_share(features))


def log_features(features: RegionFeatures) -> Float64:
    """Return what `COEFFICIENTS` multiply, shape (N, 5): 1, whole share, edge, median, area."""
    edge = np.log2(np.maximum(features.edge, DIMMEST_EDGE))
    median = np.log2(np.maximum(features.frame_median, DARKEST_FRAME))
    columns = (1.0, features.whole_share, edge, median, np.log2(features.area_share))
    return np.stack([np.broadcast_to(column, edge.shape) for column in columns], axis=1)


def lamp_share(features: RegionFeatures) -> Float64:
    """How much a region may be a lamp, by its size and the hardness of its edge [1]."""
    larger = np.log2(features.area_share / SMALL_SHARE) / np.log2(LARGE_SHARE / SMALL_SHARE)
    softer = (features.edge - HARD_EDGE) / (SOFT_EDGE - HARD_EDGE)
    return np.asarray((1 - np.clip(larger, 0, 1)) * (1 - np.clip(softer, 0, 1)))


def _region_at(mark: LampMark, found: Outline) -> int:
    """Index of the region a mark lies on, or close beside."""
    height, width = found.labels.shape
    asked = f"{mark.x_px:g},{mark.y_px:g}"
    if mark.x_px >= width or mark.y_px >= height:
        raise ParameterError("lamp", f"inside the still's {width} x {height} px", asked)
    rows, columns = np.nonzero(found.labels)
    if rows.size == 0:
        raise ParameterError("lamp", "on a clipped area", asked, "Nothing in this still clips.")
    away = np.hypot(columns - mark.x_px, rows - mark.y_px)
    nearest = int(np.argmin(away))
    if away[nearest] > max(FARTHEST_MARK_PX, MARK_REACH_SHARE * width):
        hint = f"The nearest clips at {columns[nearest]},{rows[nearest]}."
        raise ParameterError("lamp", "on a clipped area", asked, hint)
    return int(found.labels[rows[nearest], columns[nearest]]) - 1


def _colours(features: RegionFeatures) -> Float64:
    """Colour of each region's light, mean 1: half way (in stops) from white to its ring."""
    ring = np.nan_to_num(np.maximum(features.ring_light, 0), nan=1.0)
    mean = ring.mean(axis=1, keepdims=True)
    hue = np.where(mean > 0, np.maximum(ring, 1e-3 * mean) / np.where(mean > 0, mean, 1), 1.0)
    hue = hue**HUE_KEPT
    return np.asarray(hue / hue.mean(axis=1, keepdims=True))


def _excess(light: Float32, found: Outline, stops: Float64, colours: Float64) -> Float32:
    """Light above what the still holds, brighter towards the middle of each region."""
    inside = found.labels > 0
    own = found.labels[inside] - 1
    level = np.where(stops > 0, 2.0**stops, 0.0)[:, np.newaxis] * colours * found.levels
    excess = np.zeros_like(light)
    lost = np.maximum(level[own] - light[inside], 0)
    # Shared out by depth: a lamp's rim, blurred by the lens, holds least above white.
    shape = depth_within(found.labels)[inside][:, np.newaxis]
    excess[inside] = found.mask[inside] * lost * shape
    return excess
