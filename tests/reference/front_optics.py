"""What tests of things before the lens share: a camera, a render, and a slow reference of nets."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.elements import Element, Lines, Net
from frontglass.optics.bands import CHANNEL_BANDS, Band
from frontglass.optics.camera import Camera
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from tests.reference.mask_reference import tabulated

Light = NDArray[np.float32]
Array = NDArray[np.float64]

RED, GREEN, BLUE = 0, 1, 2
WAVELENGTHS_M = (600e-9, 540e-9, 465e-9)


def camera(width_px: int, px_per_rad: float, **how: float) -> Camera:
    """Camera of 50 mm whose sensor is as wide as the scale asks for."""
    return Camera(
        focal_length_mm=50, sensor_width_mm=50 * width_px / px_per_rad, **{"f_number": 2.8, **how}
    )


def seen(light: Any, *elements: Element, camera: Camera, **how: Any) -> Light:
    """Light after elements; what lies outside is the mirror image, lamps and all, if not said."""
    how = {"surround": Surround.MIRROR, **how}
    picture = Picture(radiance=np.asarray(light, np.float32), encoding=Encoding.linear())
    return render(picture, elements, camera=camera, **how).radiance


def lamp(shape: tuple[int, int], row: int, column: int, level: float = 1.0) -> Light:
    """One bright pixel in the dark."""
    light = np.zeros((*shape, 3), dtype=np.float32)
    light[row, column] = level
    return light


def level_net_reference(light: Light, mesh: Net | Lines, px_per_rad: float) -> Array:
    """Nets at 0 degrees and one family of lines, in float64, by their transfer function.

    Nothing comes from the engine. At one wavelength the transfer function is a product in
    x and y, and so is its average over the pixel that sends and the pixel that receives the light:
    a sum over aliases. The band is a sum over 5201 wavelengths, and the frame is laid out with its
    mirror images.
    """
    height, width, _ = light.shape
    out = np.empty(light.shape)
    for channel in range(3):
        mask = mesh.mask() if isinstance(mesh, Net) else mesh.mask(channel)
        gratings, band = mask.crossed.gratings, CHANNEL_BANDS[channel]
        u = light[..., channel].astype(float)
        big = np.block([[u, u[:, ::-1]], [u[::-1], u[::-1, ::-1]]])
        correlation = tabulated(gratings[0], 13 * px_per_rad * 1.6 * band.centre_m)
        wavelengths, shares = _whole_band(band)
        # What is laid out with its mirror images has an even transform: half of it says all.
        down = np.ones((len(wavelengths), height + 1))
        if len(gratings) > 1:
            down = _at_wavelengths(correlation, gratings[0].direct, wavelengths, px_per_rad, height)
        right = _at_wavelengths(correlation, gratings[0].direct, wavelengths, px_per_rad, width)
        transfer = (down * shares[:, np.newaxis]).T @ right
        transfer = np.concatenate([transfer, transfer[-2:0:-1]])
        out[..., channel] = np.fft.irfft2(np.fft.rfft2(big) * transfer, s=big.shape)[
            :height, :width
        ]
    return out


def _at_wavelengths(
    correlation: Callable[[Array], Array],
    mean: float,
    wavelengths: Array,
    px_per_rad: float,
    n: int,
) -> Array:
    """Transfer along one axis of n pixels mirrored, averaged over pixels: (wavelengths, n + 1)."""
    f = np.arange(n + 1) / (2 * n) + np.arange(-12, 13)[:, np.newaxis]
    weight = np.sinc(f) ** 2
    # So far out a band has washed all periods out of it, and left the mean.
    return np.array(
        [
            (weight * (correlation(wavelength * px_per_rad * f) - mean)).sum(axis=0) + mean
            for wavelength in wavelengths
        ]
    )


def _whole_band(band: Band) -> tuple[Array, Array]:
    """Wavelengths of a Gaussian band, out to where 1e-10 of it is left."""
    z = np.linspace(-6.5, 6.5, 5201)
    shares = np.exp(-(z**2) / 2)
    return band.centre_m + band.sigma_m * z, shares / shares.sum()
