"""Standard targets: an edge, gratings, a black disc, a wedge and a lamp, as pictures of light."""

from __future__ import annotations

import math
from functools import cache

import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.optics.camera import Camera
from frontglass.optics.psf import FloatArray
from frontglass.optics.slanted_edge import diffraction_limited_mtf
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.units import m_from_mm, m_from_nm

GREEN_NM = 540.0
EDGE_PX = (768, 384)
"""Width and height of the edge target; its rows reach no mirror image of the edge's end."""
EDGE_ANGLE_DEG = 5.0
EDGE_DARK, EDGE_BRIGHT = 0.2, 0.8
"""A contrast of 4, as the standard's target has, and no clipping anywhere."""

PATCH_RADIUS_DEG = 1.0
"""Radius of the discs of the glare and wedge targets: as `look_numbers` has it."""
FIELD_PX = (481, 271)
"""Odd, so that one pixel is the middle: towards the rim of a disc its light rises steeply."""
FIELD_PX_PER_DEG = 16.0

LAMP_PX = 321
LAMP_RADIANCE = 1e4
"""One pixel thirteen stops over white: over every threshold, and still a small lamp."""

GRATING_PX = 288
GRATING_PERIOD_PX = 24
"""The engine lays halos on whole pixels, which hold 99.4 % of waves so long."""


def camera_at(camera: Camera, width_px: int, px_per_deg: float) -> Camera:
    """Return the same lens and stop before a sensor that makes a picture `px_per_deg` large."""
    sensor_mm = camera.focal_length_mm * width_px / (px_per_deg * math.degrees(1))
    return Camera(
        focal_length_mm=camera.focal_length_mm,
        f_number=camera.f_number,
        sensor_width_mm=sensor_mm,
        filter_distance_mm=camera.filter_distance_mm,
    )


def camera_of_crop(camera: Camera, width_px: int, crop_px: int) -> Camera:
    """Return the camera of the middle `crop_px` of a picture `width_px` wide."""
    return camera_at(camera, crop_px, camera.px_per_deg(width_px))


def edge_target(camera: Camera, width_px: int) -> Picture:
    """Slanted edge as a perfect lens at its stop and square pixels give it, before any filter.

    Parameters
    ----------
    camera : Camera
        Its f-number and the size of its pixels count.
    width_px : int
        Of the whole picture, of which the target is a part. [px], > 0.
    """
    pitch_m = m_from_mm(camera.sensor_width_mm) / width_px
    across, down = EDGE_PX
    angle = math.radians(EDGE_ANGLE_DEG)
    rows, columns = np.indices((down, across))
    middle = (columns - (across - 1) / 2) - math.tan(angle) * (rows - (down - 1) / 2)
    profile = _edge_profile(across, pitch_m, camera.f_number, angle)
    at = (
        np.arange(profile.size) / ACCURACY.edge_samples_per_px
        - profile.size / ACCURACY.edge_samples_per_px / 2
    )
    light = EDGE_DARK + (EDGE_BRIGHT - EDGE_DARK) * np.interp(middle * math.cos(angle), at, profile)
    return grey_picture(light)


def grating_target(direction_deg: float) -> Picture:
    """Grating of a period of 24 px about a mean of 1/2, its waves along a direction [degree]."""
    turn = math.radians(direction_deg)
    rows, columns = np.indices((GRATING_PX, GRATING_PX))
    along = columns * math.cos(turn) + rows * math.sin(turn)
    return grey_picture(0.5 + 0.4 * np.cos(2 * math.pi * along / GRATING_PERIOD_PX))


def disc_target(disc: float, field: float) -> Picture:
    """Disc of 1 degree radius and one radiance in the middle of an even field of another."""
    return grey_picture(field + (disc - field) * _share_of_disc())


@cache
def _share_of_disc() -> FloatArray:
    """How much of each pixel of the field lies in the disc. [1]."""
    across, down = FIELD_PX
    scale = ACCURACY.disc_oversampled
    rows, columns = np.indices((down * scale, across * scale), dtype=np.float32)
    radius = np.hypot(columns - (across * scale - 1) / 2, rows - (down * scale - 1) / 2)
    inside = radius < PATCH_RADIUS_DEG * FIELD_PX_PER_DEG * scale
    return np.asarray(inside.reshape(down, scale, across, scale).mean(axis=(1, 3)))


def lamp_target() -> Picture:
    """One bright pixel in the middle of the dark."""
    light = np.zeros((LAMP_PX, LAMP_PX))
    light[LAMP_PX // 2, LAMP_PX // 2] = LAMP_RADIANCE
    return grey_picture(light)


def grey_picture(light: FloatArray) -> Picture:
    """Picture whose three channels hold the same light."""
    same = np.repeat(light[:, :, np.newaxis], 3, axis=2).astype(np.float32)
    return Picture(radiance=same, encoding=Encoding.linear())


def _edge_profile(reach_px: int, pitch_m: float, f_number: float, angle: float) -> FloatArray:
    """Step from 0 to 1 seen by lens and pixel, 32 samples a pixel, its middle in the middle."""
    count = 4 * reach_px * ACCURACY.edge_samples_per_px
    per_px = np.fft.rfftfreq(count, 1 / ACCURACY.edge_samples_per_px)
    lens = diffraction_limited_mtf(
        per_px / pitch_m, f_number=f_number, wavelength_m=m_from_nm(GREEN_NM)
    )
    # A square pixel averages along the normal of a slanted edge as its two sides see it.
    pixel = np.sinc(per_px * math.cos(angle)) * np.sinc(per_px * math.sin(angle))
    # The midpoint rule: the sample itself counts half.
    spread = np.fft.fftshift(np.fft.irfft(lens * pixel, count))
    return np.cumsum(spread) - spread / 2
