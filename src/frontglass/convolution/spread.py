"""Spreading light over pixels: the one place where a halo meets a picture.

``out = gain * (direct * light + halo * light) + pedestal``

The direct light never enters a transform. The halo is computed in float64, on cells (see `cells`)
as wide as its own smoothness allows, down to the pixels themselves when it is narrow. What lies
outside the frame is a choice: a mirror, for which a cosine transform is exact and needs no margin,
or the dark, for which the kernel is cut at the frame and the picture padded with zeros.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from frontglass.choices import Surround
from frontglass.convolution.blocks import FEWEST_IN_SINGLE_PX, available_cores, precision_for
from frontglass.convolution.cells import REACH, SPLINE_DEGREE, CellAxis, CellSpreader
from frontglass.convolution.halo import Halo
from frontglass.convolution.mirrors import spread_among_mirrors
from frontglass.convolution.surroundings import light_of_images
from frontglass.convolution.transfers import MirrorTransfer
from frontglass.optics.hankel import density_from_transform

Float32 = NDArray[np.float32]
Float64 = NDArray[np.float64]
Axes = tuple[CellAxis, CellAxis]

CELL_WIDTHS_PX = (16.0, 12.0, 8.0, 6.0, 4.0, 3.0, 2.5, 2.0)
LARGEST_LEAK = 2.5e-5
FEWEST_CELLS = 8
SMOOTHING_PX = 24.0
SHARP_REACH_PX = 256
FARTHEST_SHARP_PER_PX2 = 1e-9
LARGEST_WHOLE_KERNEL_PX = 4_000_000
LEAST_GRID = 256


def spread(
    light: Float32,
    halos: Sequence[Halo],
    *,
    surround: Surround,
    gain: float = 1.0,
    pedestal: Sequence[float] = (0.0, 0.0, 0.0),
) -> Float32:
    """Light of a still after a halo per channel.

    Parameters
    ----------
    light : ndarray, shape (H, W, 3), float32
        Linear light, finite.
    halos : sequence of 3 Halo
        One per channel.
    surround : Surround
        What lies outside the frame.
    gain : float
        Factor on the result. [1]
    pedestal : sequence of 3 float
        Light added to every pixel of a channel.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        ``gain * (direct * light + halo * light) + pedestal``; within 1e-3 of the local value plus
        1e-4 of white of the same sum over every pair of pixels in float64.
    """
    height, width = light.shape[:2]
    cell_px = min(cell_width_px(halo, min(height, width)) for halo in set(halos))
    margin = 0 if surround is Surround.MIRROR else REACH
    if cell_px > 1:
        axes = _axes((height, width), cell_px, margin)
        return _over_cells(light, halos, axes, gain, pedestal)
    if surround is Surround.MIRROR:
        return _over_pixels(light, halos, gain, pedestal)
    if height * width <= LARGEST_WHOLE_KERNEL_PX or not all(map(_is_sharp_part_near, set(halos))):
        return _whole_kernel_in_the_dark(light, halos, gain, pedestal)
    return _narrow_in_the_dark(light, halos, gain, pedestal)


def cell_width_px(halo: Halo, shortest_side_px: int) -> float:
    """Widest cells on which a halo is computed within the engine's accuracy [px].

    Notes
    -----
    Light gathered into cells of width h carries, at a frequency g = f h in cycles per cell, an
    alias of relative size ``(g / (1 - g))**(degree + 1)``. The leak is the halo's alias flux, plus
    what it holds beyond the cells' own limit, over its whole; it bounds the error at the peak.
    """
    f = np.geomspace(1e-7, np.sqrt(0.5), 2000)
    weight = np.abs(halo.along_radius(f)) * f**2  # f df on a logarithmic axis
    whole = float(weight.sum())
    for cell_px in CELL_WIDTHS_PX:
        if shortest_side_px < FEWEST_CELLS * cell_px or whole == 0:
            continue
        g = np.minimum(f * cell_px, 0.5)
        alias = (g / (1 - g)) ** (SPLINE_DEGREE + 1)
        if float((weight * alias).sum()) <= LARGEST_LEAK * whole:
            return cell_px
    return 1.0


def _axes(shape: tuple[int, int], cell_px: float, margin: int) -> Axes:
    height, width = (
        CellAxis(length_px=length, count=max(1, round(length / cell_px)), margin=margin)
        for length in shape
    )
    return height, width


def _over_cells(
    light: Float32, halos: Sequence[Halo], axes: Axes, gain: float, pedestal: Sequence[float]
) -> Float32:
    """Gather, filter the cells, scatter while adding the direct light."""
    height, width, _ = light.shape
    rows, columns = axes
    cells = rows.gather(light.reshape(height, width * 3)).reshape(rows.total, width, 3)
    cells = columns.gather(_columns_first(cells)).reshape(columns.total, 3, rows.total)
    planes = cells.transpose(1, 2, 0).astype(np.float64)
    halo_planes = _filtered_cells(planes, halos, axes)
    halo_planes *= gain
    halo_planes += np.asarray(pedestal)[:, np.newaxis, np.newaxis]
    wide = np.ascontiguousarray(halo_planes.transpose(2, 0, 1), dtype=np.float32)
    spreader = columns.scatter(wide.reshape(columns.total, 3 * rows.total))
    columns_first = spreader.all_rows().reshape(width, 3, rows.total)
    tall = np.ascontiguousarray(columns_first.transpose(2, 0, 1)).reshape(rows.total, width * 3)
    direct = np.tile(np.array([gain * halo.direct for halo in halos], dtype=np.float32), width)
    return _with_direct(light, direct, rows.scatter(tall))


def _with_direct(light: Float32, direct: Float32, spreader: CellSpreader) -> Float32:
    out = np.empty_like(light)
    height, width, _ = light.shape
    flat_light, flat_out = light.reshape(height, width * 3), out.reshape(height, width * 3)
    for cell in range(spreader.count):
        rows = spreader.rows_of(cell)
        np.multiply(flat_light[rows], direct, out=flat_out[rows])
        flat_out[rows] += spreader.light_of(cell)
    return out


def _columns_first(cells: Float32) -> Float32:
    rows, width, _ = cells.shape
    return np.ascontiguousarray(cells.transpose(1, 2, 0)).reshape(width, 3 * rows)


def _filtered_cells(planes: Float64, halos: Sequence[Halo], axes: Axes) -> Float64:
    """Halo light of the cells, shape (3, rows, columns) in and out."""
    rows, columns = axes
    workers = available_cores()
    size = (rows.width_px, columns.width_px)

    def transfer(halo: Halo, fx: Float64, fy: Float64) -> Float64:
        response = np.outer(rows.response(fy), columns.response(fx))
        return halo.on_grid(fx, fy) / response**2

    if not rows.margin:
        fy = np.arange(rows.count) / (2 * rows.length_px)
        fx = np.arange(columns.count) / (2 * columns.length_px)
        spectrum = fft.dctn(planes, axes=(1, 2), workers=workers, overwrite_x=True)
        for channels, halo in _grouped(halos):
            spectrum[channels] *= transfer(halo, fx, fy)
        return np.asarray(fft.idctn(spectrum, axes=(1, 2), workers=workers, overwrite_x=True))
    shape = _padded((rows.total, columns.total))
    fy, fx = fft.fftfreq(shape[0]) / size[0], fft.rfftfreq(shape[1]) / size[1]
    for channels, halo in _grouped(halos):
        kernel = transfer(halo, fx, fy)
        images = light_of_images(halo, shape=shape, cell_px=size, workers=workers)
        # Cells see points where pixels see averages over two pixels.
        images /= np.outer(np.sinc(fy) ** 2, np.sinc(fx) ** 2)
        kernel -= images
        for channel in channels:
            spectrum = fft.rfft2(planes[channel], s=shape, workers=workers)
            spectrum *= kernel
            halo_light = fft.irfft2(spectrum, s=shape, workers=workers)
            planes[channel] = halo_light[: rows.total, : columns.total]
    return planes


def _over_pixels(
    light: Float32, halos: Sequence[Halo], gain: float, pedestal: Sequence[float]
) -> Float32:
    """Pixel by pixel under a mirror, one channel at a time to hold memory down."""
    height, width, _ = light.shape
    if height * width >= FEWEST_IN_SINGLE_PX:
        kind = precision_for(light, max(1 - halo.direct for halo in halos))
        transfers = {
            halo: MirrorTransfer.of_halo(halo, (height, width), kind, gain) for halo in set(halos)
        }
        return spread_among_mirrors(light, [transfers[halo] for halo in halos], pedestal)
    out = np.empty_like(light)
    fy, fx = np.arange(height) / (2 * height), np.arange(width) / (2 * width)
    workers = available_cores()
    for channels, halo in _grouped(halos):
        transfer = halo.on_grid(fx, fy)
        for channel in channels:
            plane = light[..., channel].astype(np.float64)
            spectrum = fft.dctn(plane, workers=workers, overwrite_x=True)
            spectrum *= transfer
            plane = fft.idctn(spectrum, workers=workers, overwrite_x=True)
            plane += halo.direct * light[..., channel]
            out[..., channel] = gain * plane + pedestal[channel]
    return out


def _whole_kernel_in_the_dark(
    light: Float32, halos: Sequence[Halo], gain: float, pedestal: Sequence[float]
) -> Float32:
    """Pixel by pixel, the kernel cut at the frame and the picture padded with zeros."""
    out = np.empty_like(light)
    height, width, _ = light.shape
    workers = available_cores()
    shape = _padded((height, width))
    fy, fx = fft.fftfreq(shape[0]), fft.rfftfreq(shape[1])
    for channels, halo in _grouped(halos):
        kernel = halo.on_grid(fx, fy)
        kernel -= light_of_images(halo, shape=shape, cell_px=(1.0, 1.0), workers=workers)
        for channel in channels:
            spectrum = fft.rfft2(light[..., channel].astype(np.float64), s=shape, workers=workers)
            spectrum *= kernel
            plane = fft.irfft2(spectrum, s=shape, workers=workers)[:height, :width]
            plane += halo.direct * light[..., channel]
            out[..., channel] = gain * plane + pedestal[channel]
    return out


def _padded(shape: tuple[int, int]) -> tuple[int, int]:
    rows, columns = (fft.next_fast_len(max(2 * side, LEAST_GRID), real=True) for side in shape)
    return rows, columns


def _narrow_in_the_dark(
    light: Float32, halos: Sequence[Halo], gain: float, pedestal: Sequence[float]
) -> Float32:
    """Add a smooth part on cells, which may leave the frame, and a sharp part that cannot get far.

    A full kernel the size of the frame, for 24 MP in float64, would take ten copies of the picture.
    """
    smooth = [SmoothPart(halo=halo) for halo in halos]
    axes = _axes((light.shape[0], light.shape[1]), CELL_WIDTHS_PX[-1], REACH)
    out = _over_cells(light, smooth, axes, gain, pedestal)
    height, width, _ = light.shape
    workers = available_cores()
    shape = tuple(fft.next_fast_len(side + SHARP_REACH_PX, real=True) for side in (height, width))
    fy, fx = fft.fftfreq(shape[0]), fft.rfftfreq(shape[1])
    for channels, halo in _grouped(halos):
        transfer = halo.on_grid(fx, fy) * (1 - _smooth_window(np.hypot(fy[:, np.newaxis], fx)))
        for channel in channels:
            plane = light[..., channel].astype(np.float64)
            spectrum = fft.rfft2(plane, s=shape, workers=workers)
            spectrum *= transfer
            plane = fft.irfft2(spectrum, s=shape, workers=workers)[:height, :width]
            out[..., channel] += gain * plane
    return out


def _is_sharp_part_near(halo: Halo) -> bool:
    """Whether the sharp part of a halo ends within its reach: rings and far edges do not."""

    def sharp(f_per_px: Float64) -> Float64:
        return halo.along_radius(f_per_px) * (1 - _smooth_window(f_per_px))

    r = np.geomspace(SHARP_REACH_PX, 16 * SHARP_REACH_PX, 2000)
    light = density_from_transform(sharp, r, scale_rad=SMOOTHING_PX)
    return bool(np.abs(light).max() <= FARTHEST_SHARP_PER_PX2)


@dataclass(frozen=True, slots=True, kw_only=True)
class SmoothPart:
    """What is left of a halo when its detail below a few pixels is taken out.

    Notes
    -----
    The window ``1 - (1 - exp(-x))**3`` with ``x = 2 (pi sigma f)**2`` is flat to sixth order at the
    origin, so a power-law tail stays wholly in the smooth part.
    """

    halo: Halo

    @property
    def direct(self) -> float:
        """See `Halo`."""
        return self.halo.direct

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Halo`."""
        window = _smooth_window(np.hypot(fy_per_px[:, np.newaxis], fx_per_px))
        return self.halo.on_grid(fx_per_px, fy_per_px) * window

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Halo`."""
        return self.halo.along_radius(f_per_px) * _smooth_window(f_per_px)


def _smooth_window(f_per_px: Float64) -> Float64:
    shape = np.expm1(-2 * (np.pi * SMOOTHING_PX * f_per_px) ** 2)
    return np.asarray(1 + shape**3, dtype=np.float64)


def _grouped(halos: Sequence[Halo]) -> list[tuple[list[int], Halo]]:
    """Channels that share a halo, so that its transfer function is made once."""
    groups: dict[Halo, list[int]] = {}
    for channel, halo in enumerate(halos):
        groups.setdefault(halo, []).append(channel)
    return [(channels, halo) for halo, channels in groups.items()]
