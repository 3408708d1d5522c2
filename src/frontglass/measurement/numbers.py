"""Numbers of a look at its strength, from what its elements say in closed form."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from frontglass.accuracy import ACCURACY
from frontglass.elements import Element, Place
from frontglass.looks import Look
from frontglass.optics.camera import Camera
from frontglass.optics.glare import veiled_radiance
from frontglass.optics.profiles import Mixture, Profile
from frontglass.optics.psf import deviated_radius_rad
from frontglass.optics.scatter import CompoundScatter
from frontglass.units import deg_from_rad, rad_from_deg, stops_from_ratio

CHANNELS = (0, 1, 2)
GREEN = 1

REFERENCE_MEAN = 0.18
"""Mean light of the reference scene, a mid grey. Common practice, no source."""
REFERENCE_WHITE = 1.0
REFERENCE_BLACK = 2.0**-10
"""Black of the reference scene: ten stops below its white of 1."""
BLACK_PATCH_RADIUS_RAD = rad_from_deg(1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class GlowNumbers:
    """What all the glows of a look do together, per channel red, green, blue.

    Parameters
    ----------
    direct_share : tuple of 3 float
        Light that passes undeviated. [1]
    half_energy_radius_deg, half_energy_radius_px : tuple of 3 float
        Circle that holds half of the deviated light; 0 where none is. [degree], [px]
    threshold_stops : tuple of float
        Thresholds of the glows that have one [stop]; where empty the numbers hold for all light.
    """

    direct_share: tuple[float, ...]
    half_energy_radius_deg: tuple[float, ...]
    half_energy_radius_px: tuple[float, ...]
    threshold_stops: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LookNumbers:
    """What a look does at its strength.

    Parameters
    ----------
    strength : float
        The strength. [1]
    light_loss_stops : float
        Light to make up. [stop]
    direct_share : tuple of 3 float
        Light that goes straight on, red, green and blue; through the covered part of what has a
        clear one. [1]
    glow : GlowNumbers or None
        Where deviated light goes; None where there is no glow.
    veiling_glare_index : float
        Light in the middle of a black disc of 1 degree radius over that of the even field round
        it, in green. [1]. All that spreads light has part in it but glows with a threshold.
    black_lift_stops : float
        By how much that, and the wash of a stray lamp in the middle of the frame, lift the black
        of the reference scene: white 1, black ten stops under it, mean 0.18. [stop]
    contrast_stops : float
        Stops left between that white and that black. [stop]

    References
    ----------
    [ISO9358], for the index of a black patch in a bright field.
    """

    strength: float
    light_loss_stops: float
    direct_share: tuple[float, ...]
    glow: GlowNumbers | None
    veiling_glare_index: float
    black_lift_stops: float
    contrast_stops: float


def look_numbers(look: Look, camera: Camera, width_px: int) -> LookNumbers:
    """Numbers of a look for a lens and a picture width.

    Parameters
    ----------
    look : Look
        The look, at its strength.
    camera : Camera
        Turns degrees into pixels.
    width_px : int
        Width of the picture. [px], > 0.

    Returns
    -------
    LookNumbers
        In closed form or by quadrature; no picture is rendered.
    """
    path = look.light_path
    front = [part for part in path if part.place is Place.FRONT]
    glows = [part for part in path if part.scatter(GREEN) is not None]
    within = _within_black_patch(path, camera)
    scene = {"mean_radiance": REFERENCE_MEAN, "veil_share": 1 - within}
    black = veiled_radiance(REFERENCE_BLACK, **scene)
    white = veiled_radiance(REFERENCE_WHITE, **scene)
    wash = sum(part.stray_light(GREEN) for part in path)
    return LookNumbers(
        strength=look.strength,
        light_loss_stops=look.light_loss_stops,
        direct_share=tuple(
            math.prod(part.direct_share(channel) for part in front) for channel in CHANNELS
        ),
        glow=_glow_numbers(glows, camera.px_per_deg(width_px)),
        veiling_glare_index=1 - within,
        black_lift_stops=stops_from_ratio((black + wash) / REFERENCE_BLACK),
        contrast_stops=stops_from_ratio((white + wash) / (black + wash)),
    )


def _within_black_patch(path: Sequence[Element], camera: Camera) -> float:
    """Light in the middle of the frame that lands within a black patch's radius, in green. [1]."""
    within, scatterers = 1.0, []
    for part in path:
        covered = part.covered_share(camera)
        if covered == 1 and part.scatter(GREEN) is not None and part.threshold_stops is None:
            scatterers.append(part)
        elif part.place is not Place.AIR and covered > 0:
            within *= 1 - covered * (1 - part.encircled_flux(BLACK_PATCH_RADIUS_RAD, GREEN))
    if scatterers:
        within *= float(together(scatterers, GREEN).encircled_flux(BLACK_PATCH_RADIUS_RAD))
    return within


def _glow_numbers(glows: Sequence[Element], px_per_deg: float) -> GlowNumbers | None:
    if not glows:
        return None
    psfs = [together(glows, channel) for channel in CHANNELS]
    radii = [deg_from_rad(_deviated_radius_rad(psf)) for psf in psfs]
    return GlowNumbers(
        direct_share=tuple(psf.direct for psf in psfs),
        half_energy_radius_deg=tuple(radii),
        half_energy_radius_px=tuple(radius * px_per_deg for radius in radii),
        threshold_stops=tuple(g.threshold_stops for g in glows if g.threshold_stops is not None),
    )


def _deviated_radius_rad(psf: CompoundScatter) -> float:
    if not psf.optical_depth:
        return 0.0
    if psf.optical_depth < ACCURACY.once_only_depth:
        return psf.profile.half_energy_radius_rad
    return deviated_radius_rad(psf)


def together(elements: Sequence[Element], channel: int) -> CompoundScatter:
    """One scatterer as deep as all of them: exponents of transfer functions add."""
    all_of_them = [scatter for part in elements if (scatter := part.scatter(channel)) is not None]
    whole = math.fsum(scatter.optical_depth for scatter in all_of_them)
    profiles: tuple[Profile, ...] = tuple(scatter.profile for scatter in all_of_them)
    if len(profiles) == 1 or not whole:
        return CompoundScatter(optical_depth=whole, profile=profiles[0])
    shares = tuple(scatter.optical_depth / whole for scatter in all_of_them)
    return CompoundScatter(optical_depth=whole, profile=Mixture(shares=shares, profiles=profiles))
