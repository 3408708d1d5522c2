"""A frame among its mirror images whose lamps have no twins there.

Cosines give a lamp twins beyond the edges, from where its light bounces back; sines give it the
same twins with the opposite sign. So half of each, along an axis, is a lamp without twins, by the
planes that the mirror has anyway. It repeats at twice the frame's size, from where only light comes
in that goes farther than the frame is long; a kernel that ends there has none.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import scipy
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.convolution.blocks import ROWS_AT_ONCE, in_place, over_columns
from frontglass.convolution.cosines import holds
from frontglass.convolution.filters import Planes
from frontglass.threads import in_pieces

Plane = NDArray[Any]


class LampRows(NamedTuple):
    """Light of lamps in one channel of a frame of H rows: the N of them that have any.

    Parameters
    ----------
    rows : ndarray, shape (N,)
        Which they are, rising.
    light : ndarray, shape (N, W)
        Their light.
    """

    rows: NDArray[np.intp]
    light: Plane


class _Waves(NamedTuple):
    """Waves of some frequencies across a frame: named by what they are across, then down."""

    cos_cos: Plane | None
    cos_sin: Plane | None
    sin_cos: Plane | None
    sin_sin: Plane | None


class Twins(NamedTuple):
    """Whether twins beside the frame, and those above and below it, send in light to speak of."""

    beside: bool
    above: bool


def twins_that_show(
    lamps: LampRows, planes: Planes, shape: tuple[int, ...], *, is_round: bool
) -> Twins:
    """Which twins of lamps send light into a frame.

    Parameters
    ----------
    lamps : LampRows
        Lamps.
    planes : Planes
        Of the frame.
    shape : (int, int)
        Its rows and columns.
    is_round : bool
        Whether the kernel looks the same all round.

    Notes
    -----
    No pixel can get more than the kernel's sum over the other axis, at a lamp's distance from the
    edge, times the brightest light there; nor, of a kernel that falls all round, more than the
    kernel at that distance times all the light there.
    """
    bounds = [(lamps.light.max(axis=0), lamps.light.max(axis=1), planes.even[0], planes.even[:, 0])]
    if is_round:
        across, down = (_mean_over(planes.even, axis) for axis in (0, 1))
        bounds.append((lamps.light.sum(axis=0), lamps.light.sum(axis=1), across, down))
    most = np.array(
        [
            (_at_most(light, along), _at_most(_over(light_down, lamps.rows, shape[0]), down))
            for light, light_down, along, down in bounds
        ]
    ).min(axis=0)
    return Twins(*(bool(light > ACCURACY.white_share) for light in most))


def go_beyond(lamps: LampRows, across: Plane, down: Plane) -> bool:
    """Whether light of lamps goes farther than the frame is long, and so comes round again.

    Planes tell by their first row and their first column.
    """
    return any(
        float(light.sum(dtype=np.float64) * _at_least(along)[-1]) > ACCURACY.white_share
        for light, along in (
            (lamps.light.max(axis=0), across),
            (lamps.light.max(axis=1), down),
        )
    )


def _at_least(transform: Plane) -> Plane:
    """Most of a kernel, by its transform along an axis, that goes 1, 2, ... pixels or farther."""
    kernel = scipy.fft.idct(transform.astype(np.float64), type=1)
    return np.asarray(np.maximum.accumulate(kernel[:0:-1])[::-1])


def _over(light: Plane, rows: NDArray[np.intp], height: int) -> Plane:
    whole = np.zeros(height, light.dtype)
    whole[rows] = light
    return whole


def _mean_over(plane: Plane, axis: int) -> Plane:
    """Transform of a kernel's middle row or column, of which the plane's is that of all of it."""
    ends = np.take(plane, (0, -1), axis=axis).sum(axis=axis, dtype=np.float64)
    periods = plane.shape[axis] - 1
    return np.asarray((plane.sum(axis=axis, dtype=np.float64) - ends / 2) / periods)


def _at_most(light: Plane, transform: Plane) -> float:
    """Most light that twins of light along an axis send in, by a kernel's transform along it."""
    farther = _at_least(transform)
    own = light.astype(np.float64)
    return max(float(own @ farther), float(own[::-1] @ farther))


def filtered_without_twins(
    light: Plane, lamps: LampRows, planes: Planes, twins: Twins, *, are_lost: bool
) -> Plane:
    """Deviated light of one channel, as `filtered`, but that of the lamps' mirror images.

    Parameters
    ----------
    light : ndarray, shape (H, W)
        Linear light, that of the lamps among it.
    lamps : LampRows
        Lamps.
    planes : Planes
        Of a frame of this size.
    twins : Twins
        Along which axes they go; each takes as long as all the rest.
    are_lost : bool
        Whether nobody needs the planes afterwards, as in `filtered`.

    Returns
    -------
    ndarray, shape (H, W)

    Notes
    -----
    A wave ``sin cos`` becomes E times itself less O times ``cos sin``, the other way round alike,
    and ``sin sin`` becomes E times itself and O times ``cos cos``, with E and O the planes.
    """
    dtype = np.result_type(light, planes.even)
    height, width = light.shape
    share = 0.5 ** sum(twins)
    # Frequencies from 0 to the last, of which cosines have no last one and sines no first.
    cosines = np.zeros((height, width + 1), dtype)
    cosines[:, :-1] = light
    cosines[lamps.rows, :-1] -= ((1 - share) * lamps.light).astype(dtype)
    del light
    sines = None
    if are_lost and planes.odd is not None and holds(planes.odd, dtype):
        sines = planes.odd[:-1]
    elif twins.beside or planes.odd is not None:
        sines = np.zeros_like(cosines)
    of_lamps = _lamp_waves(lamps, share, twins, dtype)
    _along_rows(scipy.fft.dct, cosines[:, :-1])

    def waves(columns: slice) -> _Waves:
        tall = partial(_tall, columns, lamps.rows, height)
        both = tall(of_lamps.sines) if all(twins) else None
        return _Waves(
            cosines[:, columns].copy(), tall(of_lamps.cosines), tall(of_lamps.sines), both
        )

    return _spread(waves, planes, cosines, sines)


def lamps_without_twins(lamps: LampRows, planes: Planes) -> Plane:
    """Deviated light of lamps in darkness, without that of their mirror images.

    Parameters
    ----------
    lamps : LampRows
        Lamps.
    planes : Planes
        Of a frame of (H, W) pixels. They are lost: written over, if that may be done.

    Returns
    -------
    ndarray, shape (H, W)
    """
    height = planes.even.shape[0] - 1
    twins = Twins(beside=True, above=True)
    of_lamps = _lamp_waves(lamps, 0.25, twins, planes.even.dtype)

    def waves(columns: slice) -> _Waves:
        tall = partial(_tall, columns, lamps.rows, height)
        return _Waves(*(tall(own) for own in of_lamps for _ in range(2)))

    cosines, sines = (
        np.empty_like(planes.even) if own is None or not own.flags.writeable else own
        for own in planes
    )
    return _spread(waves, planes, cosines[:-1], sines[:-1])


def _spread(
    waves: Callable[[slice], _Waves], planes: Planes, cosines: Plane, sines: Plane | None
) -> Plane:
    """Light of waves across a frame behind planes, laid into memory for its cosines and sines.

    It may be that of the planes, or where the waves come from.
    """

    def down(columns: slice) -> None:
        of_cosines, of_sines = _down(
            waves(columns), planes.at(columns).as_precise_as(cosines.dtype)
        )
        cosines[:, columns] = of_cosines
        if sines is not None and of_sines is not None:
            sines[:, columns] = of_sines

    over_columns(down, cosines.shape)
    _along_rows(scipy.fft.idct, cosines[:, :-1])
    if sines is not None:
        _along_rows(scipy.fft.idst, sines[:, 1:])
        cosines[:, :-1] += sines[:, 1:]
    return cosines[:, :-1]


def _tall(columns: slice, rows: NDArray[np.intp], height: int, own: Plane | None) -> Plane | None:
    """Return some frequencies of waves in some rows, in a frame so high."""
    if own is None:
        return None
    waves = np.zeros((height, columns.stop - columns.start), own.dtype)
    waves[rows] = own[:, columns]
    return waves


class _LampWaves(NamedTuple):
    """Lamps' waves across a frame; cosines are for what is to have no twin above."""

    cosines: Plane | None
    sines: Plane | None


def _lamp_waves(lamps: LampRows, share: float, twins: Twins, dtype: np.dtype[Any]) -> _LampWaves:
    own: list[Plane | None] = [None, None]
    for place, (wanted, transform) in enumerate(
        ((twins.above, scipy.fft.dct), (twins.beside, scipy.fft.dst))
    ):
        if wanted:
            waves = np.zeros((len(lamps.rows), lamps.light.shape[1] + 1), dtype)
            inner = waves[:, 1:] if transform is scipy.fft.dst else waves[:, :-1]
            inner[:] = share * lamps.light
            _along_rows(transform, inner)
            own[place] = waves
    return _LampWaves(*own)


def _along_rows(transform: Any, plane: Plane) -> None:
    in_pieces(lambda rows: in_place(transform, plane[rows], axis=1), len(plane), ROWS_AT_ONCE)


def _down(waves: _Waves, planes: Planes) -> tuple[Plane | None, Plane | None]:
    """Return what some cosines, and the sines, across a frame become."""
    cos_cos, cos_sin, sin_cos, sin_sin = waves
    for plane, transform in (
        (cos_cos, scipy.fft.dct),
        (cos_sin, scipy.fft.dst),
        (sin_cos, scipy.fft.dct),
        (sin_sin, scipy.fft.dst),
    ):
        if plane is not None:
            in_place(transform, plane, axis=0)
    even, odd = planes
    out: list[Plane | None] = [
        None if cos_cos is None else even[:-1] * cos_cos,
        None if cos_sin is None else even[1:] * cos_sin,
        None if sin_cos is None else even[:-1] * sin_cos,
        None if sin_sin is None else even[1:] * sin_sin,
    ]
    if odd is not None:
        own = odd[1:-1]
        out[0] = _with(out[0], own, sin_sin, to_sines=False)
        out[1] = _with(out[1], -own, sin_cos, to_sines=True)
        out[2] = _with(out[2], -own, cos_sin, to_sines=False)
        out[3] = _with(out[3], own, cos_cos, to_sines=True)
    return _both(out[0], out[1]), _both(out[2], out[3])


def _with(out: Plane | None, odd: Plane, other: Plane | None, *, to_sines: bool) -> Plane | None:
    """Waves down the frame, and what sines become of cosines, or cosines of sines."""
    if other is None:
        return out
    out = np.zeros_like(other) if out is None else out
    # Sines start at the first frequency, where cosines have the mean.
    to, of = (out[:-1], other[1:]) if to_sines else (out[1:], other[:-1])
    to += odd * of
    return out


def _both(cosines: Plane | None, sines: Plane | None) -> Plane | None:
    """Light of cosines and sines down the frame."""
    if cosines is not None:
        in_place(scipy.fft.idct, cosines, axis=0)
    if sines is not None:
        in_place(scipy.fft.idst, sines, axis=0)
    if cosines is None or sines is None:
        return sines if cosines is None else cosines
    cosines += sines
    return cosines
