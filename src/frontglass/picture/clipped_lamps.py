"""Light given back to clipped lamps: by estimate, by kind, by a number typed in, by marks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Float64
from frontglass.errors import ParameterError
from frontglass.lit_pixels import LitPixels
from frontglass.optics.camera import Camera, choose_camera
from frontglass.picture.clipped import Outline, outline
from frontglass.picture.clipped_features import RegionFeatures, region_features
from frontglass.picture.lamp_colours import colours_of
from frontglass.picture.lamp_kinds import KINDS, White, kind_named, white_of
from frontglass.picture.lamp_levels import Levels
from frontglass.picture.lamp_rim import Rims
from frontglass.picture.last_light import LastLight
from frontglass.picture.picture import Picture
from frontglass.picture.recovery import AUTO, OFF, LampMark, LampRange, Recovery

MARK_REACH_SHARE = 0.01
FARTHEST_MARK_PX = 8.0
MOST_LISTED = 1000
"""Areas that are told one by one; leaves before a white sky make ten times as many."""
DOUBT_STOPS = 1 / 3
"""Doubt that is said: a glow that would change by more."""
DOUBT_PX, DOUBT_SPREADS = 256, (0.02, 0.08)
"""It is judged by halos of those shares of the frame's width, on a still of so many pixels."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClippedLamp:
    """A clipped area and what is believed of it.

    Parameters
    ----------
    x_px, y_px : float
        Its centre. [px]
    box_px : tuple of 4 int
        Left, top, width and height. [px]
    area_px : int
        Its size.
    stops : float
        Mean light above white. [stop]; 0 is plain white.
    uncertain_stops : float
        Standard deviation of that; 0 where somebody typed it. [stop]
    colour : tuple of 3 float
        Of its light, mean 1.
    share : float
        Of the light given back, as far as it is this one's. [1], in [0, 1]
    marked : bool
        Whether somebody marked this area.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> night = np.full((60, 90), 40, np.uint8)
    >>> night[30:33, 40:44] = 255
    >>> (lamp,) = fg.with_recovered_light(fg.Picture.from_array(night)).lamps
    >>> lamp.x_px, lamp.area_px, lamp.stops > 0, lamp.box_px
    (41.5, 12, True, (40, 30, 4, 3))
    """

    x_px: float
    y_px: float
    box_px: tuple[int, int, int, int]
    area_px: int
    stops: float
    uncertain_stops: float
    colour: tuple[float, float, float]
    share: float
    marked: bool


class RecoveredStill(NamedTuple):
    """A still with the light its lamps had lost, and its clipped areas, most light first.

    Of very many areas, the first thousand; `areas` is how many there are. `white` is None where
    nothing tells it; `doubt_stops` is by how much the glow may be off.
    """

    picture: Picture
    lamps: tuple[ClippedLamp, ...]
    white: White | None = None
    doubt_stops: float = 0.0
    areas: int = 0


def with_recovered_light(
    picture: Picture,
    recovery: Recovery | None = None,
    *,
    white: float = 1.0,
    camera: Camera | None = None,
    is_last: bool = False,
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
    camera : Camera or None
        What took the still, where a sun or a moon is marked; None goes by what its file says.
    is_last : bool
        Whether nobody asks of the same light again: then nothing is kept for that.

    Raises
    ------
    ParameterError
        If a mark lies on no clipped area.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> night = np.full((60, 90), 40, np.uint8)
    >>> night[30:33, 40:44] = 255
    >>> recovery = fg.Recovery(clipped=6)
    >>> still = fg.with_recovered_light(fg.Picture.from_array(night), recovery).picture
    >>> float(still.radiance.max()), bool(still.recovered.light.max() > 40)
    (1.0, True)
    """
    recovery = Recovery() if recovery is None else recovery
    top = np.array(picture.encoding.ends, np.float32)
    if not picture.encoding.ends_somewhere:
        said = "The file holds light above white: nothing is recovered for clipped lamps."
        notices = (*picture.notices, said) if recovery.is_asked_for else picture.notices
        return RecoveredStill(replace(picture, notices=notices), ())
    luminance = white_of(picture.shot, recovery.white_cd_per_m2)
    bare = picture.but(recovered=None)
    if recovery.clipped == OFF and not recovery.marks:
        return RecoveredStill(bare, (), luminance)
    if (top != 1).any():
        return _beyond_the_top(bare, recovery, top, white=white, camera=camera)
    return _recovered(bare, recovery, luminance, white=white, camera=camera, is_last=is_last)


def _beyond_the_top(
    picture: Picture, recovery: Recovery, top: Float32, *, white: float, camera: Camera | None
) -> RecoveredStill:
    """Recover what clips where a file's curve or gain map ends, above white.

    There it is a still like any other, exposed so much less: levels count from that end.
    """
    scene = picture.radiance if picture.beyond is None else picture.radiance + picture.beyond
    stops = float(np.log2(top).mean())
    luminance = white_of(picture.shot, recovery.white_cd_per_m2)
    higher = luminance and luminance._replace(cd_per_m2=luminance.cd_per_m2 * 2**stops)
    found = _recovered(
        replace(picture, radiance=scene / top),
        recovery.above(stops),
        higher,
        white=white,
        camera=camera,
        is_last=True,  # light that was made here
    )
    lost = found.picture.recovered
    if lost is not None:
        lost = lost.times(top)
    lamps = tuple(replace(lamp, stops=lamp.stops + stops) for lamp in found.lamps)
    notices = picture.notices
    if lost is not None:
        notices += _said(lamps, found.areas, found.doubt_stops)
    return found._replace(
        picture=picture.but(recovered=lost, notices=notices),
        lamps=lamps,
        white=luminance,
    )


def _recovered(
    bare: Picture,
    recovery: Recovery,
    luminance: White | None,
    *,
    white: float,
    camera: Camera | None,
    is_last: bool,
) -> RecoveredStill:
    """Return a still whose light ends at white with what its clipped lamps lost."""
    # Who marks lamps one after the other asks of the same light each time.
    find = _AREAS.once if is_last else _AREAS.of
    found, features = find(bare.radiance, white, lambda: _areas(bare.radiance, white))
    marked = tuple(_region_at(mark, found) for mark in recovery.marks)
    if found.regions == 0:
        return RecoveredStill(bare, (), luminance)
    assert features is not None
    rims = Rims(bare.radiance, found, _px_per_rad(bare, camera))
    likely = _levels(features, recovery, marked, luminance, rims)
    levels = replace(likely, stops=likely.off_by(recovery.lamp_range.deviations))
    colours = colours_of(features)
    lamps = _listed(found, features, levels, colours, marked)
    doubt, excess = 0.0, _excess(found, features, levels, colours)
    if excess.any():
        if recovery.lamp_range is LampRange.LIKELY:
            doubt = _doubt_stops(bare.radiance, found, excess, likely)
        given = int(np.count_nonzero(levels.stops))
        bare = _lit(bare, found, excess, _said(lamps, given, doubt))
    return RecoveredStill(bare, lamps, luminance, doubt, found.regions)


def _areas(light: Float32, white: float) -> tuple[Outline, RegionFeatures | None]:
    """Clipped areas of light, and what is seen of them if there are any."""
    found = outline(light, white)
    return found, region_features(light, found) if found.regions else None


_AREAS = LastLight[tuple[Outline, RegionFeatures | None]]()


def _lit(bare: Picture, found: Outline, excess: Float32, said: tuple[str, ...]) -> Picture:
    """Still that carries light of its clipped pixels, and what is said of it."""
    at = np.divmod(found.at.astype(np.intp), bare.width_px)
    recovered = LitPixels(bare.radiance.shape, at, excess)
    return bare.but(recovered=recovered, notices=(*bare.notices, *said))


def _px_per_rad(picture: Picture, camera: Camera | None) -> float:
    if camera is None:
        width_px, height_px = picture.width_px, picture.height_px
        camera = choose_camera(picture.shot, width_px=width_px, height_px=height_px).camera
    return camera.px_per_rad(picture.width_px)


def _levels(
    features: RegionFeatures,
    recovery: Recovery,
    marked: tuple[int, ...],
    white: White | None,
    rims: Rims,
) -> Levels:
    """Level of each area: what was said of all of them, and then the marks."""
    number = len(features.area_px)
    if recovery.clipped == AUTO:
        levels = Levels.estimated(features, white, rims.px_per_rad)
    else:
        stops = 0.0 if isinstance(recovery.clipped, str) else recovery.clipped
        levels = Levels.of(np.full(number, float(stops)))
    kinds: list[tuple[int, str]] = []
    if isinstance(recovery.clipped, str) and recovery.clipped in KINDS:
        kinds = [(index, recovery.clipped) for index in range(number)]
    for index, mark in zip(marked, recovery.marks, strict=True):
        if mark.stops is not None:
            levels.type(index, mark.stops)
        # The last that is said of an area counts.
        kinds = [named for named in kinds if named[0] != index]
        if mark.kind is not None:
            kinds.append((index, mark.kind))
    for index, kind in kinds:
        levels.name(index, kind_named(kind), white, rims.seen(index), rims.px_per_rad)
    return levels


def _listed(
    found: Outline,
    features: RegionFeatures,
    levels: Levels,
    colours: Float64,
    marked: tuple[int, ...],
) -> tuple[ClippedLamp, ...]:
    """Areas one by one, those that send most light first."""
    given = (2.0**levels.stops - 1) * features.area_px
    order = [int(i) for i in np.argsort(-given, kind="stable")]
    order = [i for place, i in enumerate(order) if place < MOST_LISTED or i in marked]
    total = max(float(given.sum()), 1e-9)
    return tuple(
        ClippedLamp(
            x_px=float(features.x_px[i]),
            y_px=float(features.y_px[i]),
            box_px=_four(found.boxes[i]),
            area_px=int(features.area_px[i]),
            stops=float(levels.stops[i]),
            uncertain_stops=float(levels.uncertain_stops[i]),
            colour=(float(colours[i, 0]), float(colours[i, 1]), float(colours[i, 2])),
            share=float(given[i]) / total,
            marked=i in marked,
        )
        for i in order
    )


def _four(box: NDArray[np.int32]) -> tuple[int, int, int, int]:
    left, top, width, height = (int(side) for side in box)
    return left, top, width, height


def _said(lamps: tuple[ClippedLamp, ...], given: int, doubt: float) -> tuple[str, ...]:
    highest = max(lamp.stops for lamp in lamps)
    areas = "1 clipped area is" if given == 1 else f"{given} clipped areas are"
    said = f"{areas} taken to be up to {highest:.1f} stops above white in what spreads."
    if doubt <= DOUBT_STOPS:
        return (said,)
    unsure = (
        f"How bright the clipped lamps are is not known: halos may be {doubt:.1f} stops weaker or"
        " stronger. Name their kinds (--lamp X,Y,bulb; the command lamps lists them), or look at"
        " both ends with ladder --lamp-range."
    )
    return said, unsure


def _region_at(mark: LampMark, found: Outline) -> int:
    """Index of the area a mark lies on, or close beside."""
    height, width = found.shape
    asked = f"{mark.x_px:g},{mark.y_px:g}"
    if mark.x_px >= width or mark.y_px >= height:
        raise ParameterError("lamp", f"inside the still's {width} x {height} px", asked)
    if found.at.size == 0:
        raise ParameterError("lamp", "on a clipped area", asked, "Nothing in this still clips.")
    rows, columns = np.divmod(found.at, width)
    away = np.hypot(columns - mark.x_px, rows - mark.y_px)
    nearest = int(np.argmin(away))
    if away[nearest] > max(FARTHEST_MARK_PX, MARK_REACH_SHARE * width):
        hint = f"The nearest clips at {columns[nearest]},{rows[nearest]}."
        raise ParameterError("lamp", "on a clipped area", asked, hint)
    return int(found.owner[nearest])


def _excess(found: Outline, features: RegionFeatures, levels: Levels, colours: Float64) -> Float32:
    """Light of each clipped pixel above what the still holds, shape (N, 3).

    It rises from the edge of an area, where the still's own light ends, to its core.
    """
    to_core = ((1 - levels.core) * features.deepest_px).astype(np.float32)[found.owner]
    shape = np.minimum(found.depth / to_core, 1)
    shape **= levels.fall.astype(np.float32)[found.owner]
    for index in np.flatnonzero(levels.disc_px):
        own = np.flatnonzero(found.owner == index)
        shape[own] = _disc(found, own, float(levels.disc_px[index]))
    shape /= (found.sums(shape) / features.area_px).astype(np.float32)[found.owner]
    light = np.where(levels.stops > 0, 2.0**levels.stops, 0.0)[:, np.newaxis]
    level = (light * colours * found.levels).astype(np.float32)
    lost = np.maximum(level[found.owner] - found.own, 0)
    return np.asarray(lost * found.held * shape[:, np.newaxis])


def _disc(found: Outline, own: NDArray[np.intp], radius_px: float) -> Float32:
    """How much of each of some pixels lies in a disc about the deepest of them. [1], in [0, 1]."""
    rows, columns = np.divmod(found.at[own], found.shape[1])
    deep = found.depth[own] >= 0.9 * found.depth[own].max()
    away = np.hypot(rows - rows[deep].mean(), columns - columns[deep].mean())
    # Not less than the nearest pixel.
    return np.asarray(np.clip(max(radius_px, float(away.min())) + 0.5 - away, 0, 1), np.float32)


def _doubt_stops(light: Float32, found: Outline, excess: Float32, levels: Levels) -> float:
    """How far a glow would change if levels lay at the upper end of what is likely [stop], rms.

    At the lower end it changes less: of 45 drawn scenes in all.
    """
    step = max(1, round(light.shape[1] / DOUBT_PX))
    small = light[step // 2 :: step, step // 2 :: step].mean(axis=2)
    # Of very many pixels every second tells it, or every tenth.
    every = max(1, len(found.at) // ACCURACY.doubt_px)
    at, owner, excess = found.at[::every], found.owner[::every], excess[::every]
    lost = (excess[:, 0] + excess[:, 1] + excess[:, 2]) / 3 * every
    rows, columns = (
        np.minimum(place // step, size - 1)
        for place, size in zip(np.divmod(at, found.shape[1]), small.shape, strict=True)
    )
    cell = rows * small.shape[1] + columns
    outside = np.bincount(cell, minlength=small.size).reshape(small.shape) == 0
    likely = 2.0**levels.stops - 1
    glows = []
    for deviations in (0, 1):
        gain = np.divide(
            2.0 ** levels.off_by(deviations) - 1,
            likely,
            where=likely > 0,
            out=np.zeros_like(likely),
        )
        given = np.bincount(cell, lost * gain[owner], small.size) / step**2
        whole = (small + given.reshape(small.shape)).astype(np.float32)
        near, wide = (cv2.GaussianBlur(whole, (0, 0), s * small.shape[1]) for s in DOUBT_SPREADS)
        spread = np.asarray((near + wide) / 2)
        glows.append(np.log2(np.maximum(spread, 1e-6))[outside])
    if not outside.any():
        return 0.0
    likely_glow, high = glows
    return float(np.sqrt(np.mean((high - likely_glow) ** 2)))
