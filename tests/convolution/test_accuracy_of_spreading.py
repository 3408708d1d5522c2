"""The engine against its slow reference: within 1e-3 of the local value plus 1e-4 of white."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.accuracy import ACCURACY
from frontglass.choices import Surround
from frontglass.convolution import cells
from frontglass.convolution.cells import cell_width_px
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import ScatterFilter
from frontglass.optics.profiles import (
    Airy,
    Cone,
    Exponential,
    Gaussian,
    Mixture,
    Moffat,
    Profile,
)
from tests.reference.pairs import Scatterers, in_the_dark, mirrored, score

Plane = NDArray[np.float32]

SMOOTH: dict[str, Profile] = {
    "gaussian 0.05 px": Gaussian(sigma_rad=0.05),
    "gaussian 0.7 px": Gaussian(sigma_rad=0.7),
    "gaussian 12 px": Gaussian(sigma_rad=12),
    "gaussian beyond the frame": Gaussian(sigma_rad=150),
    "exponential 0.05 px": Exponential(scale_rad=0.05),
    "exponential 1 px": Exponential(scale_rad=1),
    "exponential 6 px": Exponential(scale_rad=6),
    "exponential 30 px": Exponential(scale_rad=30),
    "exponential beyond the frame": Exponential(scale_rad=200),
    "moffat 1.7": Moffat(core_rad=4, beta=1.7),
    "moffat 2.5": Moffat(core_rad=30, beta=2.5),
    "moffat 6": Moffat(core_rad=25, beta=6),
    "narrow over wide": Mixture(
        shares=(0.01, 0.99), profiles=(Gaussian(sigma_rad=0.5), Exponential(scale_rad=60))
    ),
    "hardly any narrow over wide": Mixture(
        shares=(1e-5, 1 - 1e-5), profiles=(Gaussian(sigma_rad=1.5), Gaussian(sigma_rad=60))
    ),
    "three lobes": Mixture(
        shares=(0.5, 0.3, 0.2),
        profiles=(Gaussian(sigma_rad=2), Exponential(scale_rad=9), Moffat(core_rad=40, beta=3)),
    ),
}
HEAVY: dict[str, Profile] = {
    "moffat 1.25, 0.1 px": Moffat(core_rad=0.1, beta=1.25),
    "moffat 1.25, 3 px": Moffat(core_rad=3, beta=1.25),
    "moffat 1.25, 20 px": Moffat(core_rad=20, beta=1.25),
}
CONES: dict[str, Profile] = {
    f"cone {radius} px": Cone(radius_rad=radius) for radius in (0.05, 0.3, 1.3, 7.9, 8.1, 30.0)
}
FLECKS: dict[str, Profile] = {
    f"flecks {ratio} px": Airy(lambda_over_d_rad=ratio) for ratio in (1.3, 2.0, 3.0, 40.0)
}


def over(*profiles: dict[str, Profile]) -> pytest.MarkDecorator:
    known = {name: profile for group in profiles for name, profile in group.items()}
    return pytest.mark.parametrize("profile", known.values(), ids=known.keys())


def lamp(shape: tuple[int, int], at: tuple[int, int], *, level: float = 1e5) -> Plane:
    plane = np.full(shape, 0.01, dtype=np.float32)
    plane[at] = level
    return plane


def disc_lamp(shape: tuple[int, int], at: tuple[int, int], radius_px: float) -> Plane:
    y, x = np.ogrid[: shape[0], : shape[1]]
    inside = np.hypot(y - at[0], x - at[1]) <= radius_px
    return np.where(inside, 1e4, 0.01).astype(np.float32)


def seen(
    plane: Plane, scatterers: Scatterers, surround: Surround = Surround.MIRROR
) -> NDArray[np.float32]:
    halo = ScatterFilter(scatterers=tuple(scatterers), px_per_rad=1.0)
    return convolve(np.dstack([plane] * 3), (halo,) * 3, surround)[..., 0]


class TestMirror:
    @over(SMOOTH, HEAVY)
    @pytest.mark.parametrize("at", [(40, 50), (0, 119)], ids=["inside", "corner"])
    def test_single_pixel_lamp(self, profile: Profile, at: tuple[int, int]) -> None:
        plane = lamp((96, 120), at)
        expected = mirrored(plane.astype(np.float64), [(0.5, profile)])
        assert score(seen(plane, [(0.5, profile)]), expected) <= 1

    @over(CONES)
    def test_cones(self, profile: Profile) -> None:
        plane = lamp((41, 37), (17, 36))
        expected = mirrored(plane.astype(np.float64), [(0.5, profile)], periods=1)
        assert score(seen(plane, [(0.5, profile)]), expected) <= 1

    @over(FLECKS)
    def test_flecks(self, profile: Profile) -> None:
        # The reference sums rings one image after another, and they die down slowly.
        plane = lamp((49, 32), (0, 31), level=1e4)
        expected = mirrored(plane.astype(np.float64), [(0.5, profile)], periods=9)
        assert score(seen(plane, [(0.5, profile)]), expected) <= 1

    @pytest.mark.parametrize("radius_px", [2.2, 9.0])
    @pytest.mark.parametrize("at", [(30, 40), (0, 0), (70, 0)])
    def test_disc_lamp(self, radius_px: float, at: tuple[int, int]) -> None:
        scatterers = [(0.3, Exponential(scale_rad=25))]
        plane = disc_lamp((71, 90), at, radius_px)
        expected = mirrored(plane.astype(np.float64), scatterers)
        assert score(seen(plane, scatterers), expected) <= 1

    @pytest.mark.parametrize(
        "shape",
        [(1, 1), (1, 2), (1, 37), (53, 1), (2, 2), (3, 200), (64, 64), (101, 97), (128, 31)],
    )
    def test_every_size(self, shape: tuple[int, int]) -> None:
        scatterers = [(0.4, Gaussian(sigma_rad=15)), (0.2, Gaussian(sigma_rad=1.2))]
        plane = lamp(shape, (shape[0] // 2, shape[1] // 3), level=1e4)
        expected = mirrored(
            plane.astype(np.float64), scatterers, periods=int(np.ceil(70 / min(shape)))
        )
        assert score(seen(plane, scatterers), expected) <= 1

    def test_stacked_scatterers(self) -> None:
        scatterers = [
            (0.3, Gaussian(sigma_rad=3)),
            (0.2, Exponential(scale_rad=20)),
            (1.5, Moffat(core_rad=40, beta=2)),
        ]
        plane = lamp((120, 75), (3, 60))
        expected = mirrored(plane.astype(np.float64), scatterers)
        assert score(seen(plane, scatterers), expected) <= 1

    def test_each_channel_has_its_own_halo(self) -> None:
        widths = (24.0, 12.0, 6.0)
        halos = [
            ScatterFilter(scatterers=((0.5, Exponential(scale_rad=width)),), px_per_rad=1.0)
            for width in widths
        ]
        plane = lamp((80, 90), (20, 30))
        got = convolve(np.dstack([plane] * 3), halos, Surround.MIRROR)
        for channel, width in enumerate(widths):
            expected = mirrored(plane.astype(np.float64), [(0.5, Exponential(scale_rad=width))])
            assert score(got[..., channel], expected) <= 1

    def test_larger_frame_on_wide_cells(self) -> None:
        scatterers = [(0.4, Exponential(scale_rad=90))]
        plane = lamp((299, 307), (298, 5)) + disc_lamp((299, 307), (100, 200), 5.5)
        assert cell_width_px(ScatterFilter(scatterers=tuple(scatterers), px_per_rad=1.0), 299) >= 12
        expected = mirrored(plane.astype(np.float64), scatterers)
        assert score(seen(plane, scatterers), expected) <= 1


class TestDark:
    @over(SMOOTH)
    @pytest.mark.parametrize("at", [(30, 25), (0, 60)], ids=["inside", "corner"])
    def test_single_pixel_lamp(self, profile: Profile, at: tuple[int, int]) -> None:
        plane = lamp((97, 61), at)
        expected = in_the_dark(plane.astype(np.float64), [(0.5, profile)], window_px=1536)
        assert score(seen(plane, [(0.5, profile)], Surround.DARK), expected) <= 1

    @over(HEAVY)
    def test_heavy_tails(self, profile: Profile) -> None:
        plane = lamp((64, 48), (0, 47))
        expected = in_the_dark(plane.astype(np.float64), [(0.5, profile)], window_px=3072)
        assert score(seen(plane, [(0.5, profile)], Surround.DARK), expected) <= 1

    @over(CONES, FLECKS)
    def test_cones_and_flecks(self, profile: Profile) -> None:
        plane = lamp((67, 45), (0, 44))
        expected = in_the_dark(plane.astype(np.float64), [(0.5, profile)], window_px=768)
        assert score(seen(plane, [(0.5, profile)], Surround.DARK), expected) <= 1

    @pytest.mark.parametrize("shape", [(1, 1), (1, 41), (59, 1), (2, 3), (60, 113)])
    def test_every_size(self, shape: tuple[int, int]) -> None:
        scatterers = [(0.4, Gaussian(sigma_rad=15)), (0.2, Exponential(scale_rad=2))]
        plane = lamp(shape, (shape[0] // 2, shape[1] // 3), level=1e4)
        expected = in_the_dark(plane.astype(np.float64), scatterers, window_px=1536)
        assert score(seen(plane, scatterers, Surround.DARK), expected) <= 1


class TestNarrowFiltersInTheDark:
    """These go by two parts: one on cells, and one that ends within a margin."""

    @pytest.mark.parametrize("at", [(100, 140), (0, 0)], ids=["inside", "corner"])
    @pytest.mark.parametrize(
        "profile",
        [
            Gaussian(sigma_rad=0.3),
            Gaussian(sigma_rad=5),
            Exponential(scale_rad=0.5),
            Exponential(scale_rad=6),
            Moffat(core_rad=3, beta=1.25),
            Moffat(core_rad=12, beta=4),
            Cone(radius_rad=0.8),
            Cone(radius_rad=20),
            Cone(radius_rad=60),
            Airy(lambda_over_d_rad=8),
        ],
        ids=repr,
    )
    def test_narrow_halos(self, profile: Profile, at: tuple[int, int]) -> None:
        scatterers = [(0.5, profile)]
        plane = lamp((233, 300), at)
        expected = in_the_dark(plane.astype(np.float64), scatterers, window_px=2048)
        assert score(seen(plane, scatterers, Surround.DARK), expected) <= 1


@pytest.mark.slow
def test_cells_agree_with_the_pixel_route_on_a_frame_of_millions_of_pixels(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    scatterers = [(0.24, Exponential(scale_rad=40))]
    plane = np.random.default_rng(3).uniform(0.005, 0.3, (1301, 1951)).astype(np.float32)
    plane[400:404, 1000:1003] = 3e4
    by_cells = seen(plane, scatterers)
    monkeypatch.setattr(cells, "ACCURACY", replace(ACCURACY, cell_widths_px=()))
    by_pixels = seen(plane, scatterers)
    assert not np.array_equal(by_cells, by_pixels)
    assert score(by_cells, by_pixels.astype(np.float64)) <= 1
