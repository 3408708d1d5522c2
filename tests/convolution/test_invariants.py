"""What no halo may break: energy, flat fields, linearity, sums of strengths, smoothness."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.choices import Surround
from frontglass.convolution.cells import cell_width_px
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import ScatterFilter
from frontglass.convolution.product import Product
from frontglass.optics.profiles import (
    Airy,
    Cone,
    Exponential,
    Gaussian,
    Mixture,
    Moffat,
    Profile,
)
from frontglass.optics.scatter import CompoundScatter

Light = NDArray[np.float32]

PROFILES: dict[str, Profile] = {
    "gaussian core": Gaussian(sigma_rad=0.3),
    "gaussian": Gaussian(sigma_rad=14),
    "exponential core": Exponential(scale_rad=0.4),
    "exponential": Exponential(scale_rad=30),
    "moffat": Moffat(core_rad=9, beta=1.4),
    "flecks": Airy(lambda_over_d_rad=5),
    "cone core": Cone(radius_rad=0.6),
    "cone": Cone(radius_rad=33),
}
every_profile = pytest.mark.parametrize("profile", PROFILES.values(), ids=PROFILES.keys())
every_surround = pytest.mark.parametrize("surround", Surround)
SIZES = [(1, 1), (1, 9), (7, 1), (2, 3), (61, 83), (96, 64), (160, 240)]

ROUNDING = 4e-7
"""A few units in the last place of float32."""


def halo(profile: Profile, depth: float = 0.5) -> ScatterFilter:
    return ScatterFilter(scatterers=((depth, profile),), px_per_rad=1.0)


def seen(light: Light, scatterer: ScatterFilter, surround: Surround = Surround.MIRROR) -> Light:
    return convolve(light, (scatterer,) * 3, surround)


def lamp(shape: tuple[int, int], at: tuple[int, int], level: float = 1e5) -> Light:
    light = np.zeros((*shape, 3), dtype=np.float32)
    light[at] = level
    return light


def grainy(shape: tuple[int, int], seed: int = 5) -> Light:
    light = np.random.default_rng(seed).uniform(0.01, 0.5, (*shape, 3)).astype(np.float32)
    light[shape[0] // 3, shape[1] // 2] = 4e3
    return light


@every_profile
@pytest.mark.parametrize("shape", SIZES)
def test_flat_light_stays_flat(profile: Profile, shape: tuple[int, int]) -> None:
    flat = np.full((*shape, 3), 0.18, dtype=np.float32)
    np.testing.assert_allclose(seen(flat, halo(profile)), flat, rtol=ROUNDING)


def test_a_halo_wider_than_any_frame_leaves_flat_light_flat() -> None:
    flat = np.full((9, 14, 3), 0.18, dtype=np.float32)
    for profile in (Exponential(scale_rad=1e6), Moffat(core_rad=1e6, beta=1.3)):
        np.testing.assert_allclose(seen(flat, halo(profile)), flat, rtol=ROUNDING)


@every_profile
@pytest.mark.parametrize("shape", SIZES)
def test_a_mirror_keeps_all_light(profile: Profile, shape: tuple[int, int]) -> None:
    light = grainy(shape)
    before, after = (
        x.sum(axis=(0, 1), dtype=np.float64) for x in (light, seen(light, halo(profile)))
    )
    np.testing.assert_allclose(after, before, rtol=ROUNDING)


@every_profile
def test_light_lost_in_the_dark_is_what_leaves_the_frame(profile: Profile) -> None:
    # A frame that is a disc's bounding square, with the lamp in the middle, so the encircled flux
    # of the inner and the outer circle bound what stays.
    light = lamp((201, 201), (100, 100))
    kept = float(seen(light, halo(profile), Surround.DARK)[..., 0].sum(dtype=np.float64)) / 1e5
    psf = CompoundScatter(optical_depth=0.5, profile=profile)
    inner, outer = psf.encircled_flux(np.array([100.0, 101 * np.sqrt(2)]))
    assert inner - 1e-6 <= kept <= outer + 1e-6


@every_profile
@every_surround
def test_no_light_turns_negative(profile: Profile, surround: Surround) -> None:
    light = lamp((120, 151), (3, 70)) + np.float32(0)
    out = seen(light, halo(profile), surround)
    # Rounding of float64 transforms, and of the splines, against the lamp.
    assert float(out.min()) >= -1e-4
    ground = light + np.float32(0.01)
    assert float(seen(ground, halo(profile), surround).min()) > 0


@every_profile
@every_surround
def test_doubling_the_light_doubles_the_result_bit_for_bit(
    profile: Profile, surround: Surround
) -> None:
    light = grainy((73, 58))
    once, twice = (seen(x, halo(profile), surround) for x in (light, 2 * light))
    np.testing.assert_array_equal(twice, 2 * once)


@every_profile
@pytest.mark.parametrize("surround", [Surround.MIRROR, Surround.DARK])  # no lamp is negative
def test_negative_values_are_light_taken_away(profile: Profile, surround: Surround) -> None:
    light = grainy((40, 61))
    np.testing.assert_array_equal(
        seen(-light, halo(profile), surround), -seen(light, halo(profile), surround)
    )


@every_profile
@every_surround
def test_strengths_add(profile: Profile, surround: Surround) -> None:
    light = grainy((121, 90))
    in_a_row = Product((halo(profile, 0.2), halo(profile, 0.3)))
    two, one = (convolve(light, (f,) * 3, surround) for f in (in_a_row, halo(profile, 0.5)))
    # The light stays the same to a rounding of single precision.
    np.testing.assert_allclose(two, one, rtol=ROUNDING, atol=1e-6)


@every_profile
def test_a_still_seen_again_adds_up_but_for_what_pixels_average_twice(profile: Profile) -> None:
    # What two scatterers deviate one after the other is averaged over pixels once. Stored between
    # them as pixels, it is averaged twice: only that light, as much as both deviate, can differ.
    light = lamp((121, 90), (40, 45))
    in_two = seen(seen(light, halo(profile, 0.2)), halo(profile, 0.3)).astype(np.float64)
    away = in_two[..., 0] - seen(light, halo(profile, 0.5))[..., 0]
    deviated_by_both = 1e5 * np.expm1(-0.2) * np.expm1(-0.3)
    assert np.abs(away).sum() < 2 * deviated_by_both
    assert abs(away.sum()) < 0.2  # rounding of single precision, of a lamp of 1e5


@pytest.mark.parametrize("name", ["gaussian", "exponential", "moffat", "cone"])
def test_a_still_seen_again_adds_up_where_halos_are_wider_than_a_few_pixels(name: str) -> None:
    # In single precision between the passes, and each pass within the engine's accuracy.
    light, profile = grainy((121, 90)), PROFILES[name]
    in_two = seen(seen(light, halo(profile, 0.2)), halo(profile, 0.3))
    at_once = seen(light, halo(profile, 0.5))
    np.testing.assert_allclose(in_two, at_once, rtol=1e-3, atol=1e-4)


@every_surround
def test_channels_do_not_mix(surround: Surround) -> None:
    light = grainy((64, 90))
    halos = [halo(Exponential(scale_rad=width)) for width in (30.0, 20.0, 12.0)]
    together = convolve(light, halos, surround)
    for channel in range(3):
        alone = np.zeros_like(light)
        alone[..., channel] = light[..., channel]
        apart = convolve(alone, halos, surround)
        np.testing.assert_allclose(apart[..., channel], together[..., channel], rtol=ROUNDING)
        others = [c for c in range(3) if c != channel]
        assert float(np.abs(apart[..., others]).max()) == 0


def test_no_deviated_light_is_the_same_light_bit_for_bit() -> None:
    light = grainy((30, 41))
    np.testing.assert_array_equal(seen(light, halo(Gaussian(sigma_rad=3), 0.0)), light)


@pytest.mark.parametrize("profile", [Exponential(scale_rad=6), Gaussian(sigma_rad=25)], ids=repr)
def test_a_point_lands_where_the_density_says(profile: Profile) -> None:
    # Axes are [y, x]: the frame is not square, and the lamp not in its middle.
    light, at = lamp((181, 260), (60, 150), level=1.0), (60, 150)
    out = seen(light, halo(profile, 0.3), Surround.DARK)
    psf = CompoundScatter(optical_depth=0.3, profile=profile)
    for dy, dx in ((30, 0), (0, 30), (-25, 40), (100, 20)):
        expected = float(psf.radial_density(np.hypot(float(dx), float(dy))))
        # A pixel sees the density averaged over itself, a few parts in a thousand off its middle.
        assert float(out[at[0] + dy, at[1] + dx, 1]) == pytest.approx(expected, rel=5e-3)


@pytest.mark.parametrize("depth", [0.2, 1.0])
@pytest.mark.parametrize("profile", [Exponential(scale_rad=6), Gaussian(sigma_rad=12)], ids=repr)
@pytest.mark.source("Wells1969", "many small deviations; encircled light by the Poisson series")
def test_encircled_light_of_a_lamp(profile: Profile, depth: float) -> None:
    light = lamp((301, 301), (150, 150), level=1.0)
    out = seen(light, halo(profile, depth), Surround.DARK)[..., 0].astype(np.float64)
    y, x = np.ogrid[-150:151, -150:151]
    psf = CompoundScatter(optical_depth=depth, profile=profile)
    for radius in (20.5, 60.5, 140.5):
        inside = np.hypot(y, x) <= radius
        same_area = np.sqrt(inside.sum() / np.pi)  # a circle of whole pixels is not quite round
        within = float(out[inside].sum())
        assert within == pytest.approx(float(psf.encircled_flux(same_area)), abs=5e-4)


@pytest.mark.parametrize("scale_px", [20.0, 33.0, 60.0])
@pytest.mark.parametrize("move", [(0, 1), (1, 0), (1, 1)])
def test_a_lamp_moved_by_a_pixel_takes_its_halo_along(
    scale_px: float, move: tuple[int, int]
) -> None:
    # Cells of 3 to 12 px that do not divide the frame: what flicker there is shows here.
    scatterer = halo(Exponential(scale_rad=scale_px), 0.3)
    assert cell_width_px(scatterer, 301) > 2
    size, (dy, dx) = (301, 403), move
    before, after = (
        seen(lamp(size, at), scatterer, Surround.DARK)[..., 0]
        for at in ((140, 190), (140 + dy, 190 + dx))
    )
    still = before[: size[0] - dy, : size[1] - dx]
    moved = after[dy:, dx:]
    np.testing.assert_allclose(moved, still, rtol=2e-3)


@pytest.mark.parametrize("profile", [Exponential(scale_rad=25), Gaussian(sigma_rad=20)], ids=repr)
def test_a_halo_falls_without_rings_or_blocks(profile: Profile) -> None:
    scatterer = halo(profile)
    assert cell_width_px(scatterer, 250) > 2
    along = seen(lamp((251, 301), (125, 150)), scatterer, Surround.DARK)[125, 151:, 0]
    falls = np.diff(along[along > 1e-3])
    assert (falls < 0).all()


@pytest.mark.source("CIE135-1999", "total glare: its three terms (1 + x**2)**-1.5, age 25, p 0.5")
def test_cores_of_the_eye_s_glare_rendered_fall_as_the_equation_says() -> None:
    px_per_deg, radius_deg = 400.0, np.array([0.05, 0.1, 0.2])
    ageing = (25 / 70) ** 4
    terms = [  # peak [1/sr] and core [degree] as the equation gives them
        ((1 - 0.08 * ageing) * 9.2e6, 0.0046),
        ((1 - 0.08 * ageing) * 1.5e5, 0.045),
        ((1 + 1.6 * ageing) * 0.5 * 1300, 0.1),
    ]
    light = [peak * 2 * np.pi * np.radians(core) ** 2 for peak, core in terms]
    profiles = tuple(Exponential(scale_rad=float(np.radians(core))) for _, core in terms)
    shares = tuple(share / sum(light) for share in light)
    px_per_rad = px_per_deg * 180 / np.pi
    # A depth so small that light is deviated once; the rest of it passes.
    depth = 1e-3
    scatterer = ScatterFilter(
        scatterers=((depth, Mixture(shares=shares, profiles=profiles)),), px_per_rad=px_per_rad
    )
    out = convolve(lamp((201, 201), (100, 100), 1.0), (scatterer,) * 3, Surround.DARK)
    at = 100 + np.round(radius_deg * px_per_deg).astype(int)
    got = out[100, at, 0] / depth * sum(light) * px_per_rad**2
    expected = sum(peak / (1 + (radius_deg / core) ** 2) ** 1.5 for peak, core in terms)
    np.testing.assert_allclose(got, expected, rtol=4e-3)
