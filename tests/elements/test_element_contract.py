"""What every element says of itself, against what a picture of a point of light shows."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
import pytest

from frontglass.choices import Surround
from frontglass.elements import Element, ExponentialLobe, Glow
from frontglass.optics.camera import Camera
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from tests.elements.samples import SAMPLES

WHOLE = {
    # A point in the middle of a clear centre would meet nothing.
    name: replace(sample, clear_centre=None) if hasattr(sample, "clear_centre") else sample  # type: ignore[type-var]
    for name, sample in SAMPLES.items()
}
# Scoped so that tests of one element run one after the other: what its filters need is kept.
every_element = pytest.mark.parametrize("element", WHOLE.values(), ids=WHOLE.keys(), scope="module")
SIDE = 131
POINT = 1e4
AWAY_M = 3.0
"""As far as haze tells its direct share for."""


@dataclass(frozen=True)
class Stack:
    """What `render` asks of a look."""

    light_path: tuple[Element, ...]


def camera_of(px_per_rad: float, width_px: int = SIDE) -> Camera:
    return Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=50 * width_px / px_per_rad)


def seen(light: np.ndarray, *elements: Element, px_per_rad: float, **how) -> np.ndarray:
    distance = np.full(light.shape[:2], AWAY_M, np.float32)
    picture = Picture(
        radiance=light.astype(np.float32), distance_m=distance, encoding=Encoding.linear()
    )
    camera = camera_of(px_per_rad, light.shape[1])
    return render(picture, [Stack(elements)], camera=camera, **how).radiance.astype(np.float64)


def point_through(element: Element, side: int, px_per_rad: float) -> np.ndarray:
    """What comes of a point in the dark, without what the element adds of its own."""
    dark = np.zeros((side, side, 3))
    point = dark.copy()
    point[side // 2, side // 2] = POINT
    how = {"px_per_rad": px_per_rad, "surround": Surround.DARK}
    return (seen(point, element, **how) - seen(dark, element, **how)) / POINT


@every_element
@pytest.mark.parametrize("strength", [0.5, 1.5])
def test_direct_share_is_what_a_point_keeps(element, strength):
    # Pixels so fine that halos are many of them wide and orders as far apart: of what is deviated
    # the point's own pixel has as much as those round it.
    there = element.at(strength)
    light = point_through(there, 33, px_per_rad=2e4)
    round_it = (light[15:18, 15:18].sum((0, 1)) - light[16, 16]) / 8
    kept = light[16, 16] - round_it
    told = np.array([there.direct_share(channel) for channel in range(3)])
    # The engine's bound, and below a thousandth what a glow above white leaves below it.
    np.testing.assert_allclose(kept, told, rtol=1e-3, atol=1e-4)


def ring(radius: int) -> tuple[np.ndarray, np.ndarray]:
    """Pixels exactly as far from the middle, in every direction: 20 for 25, 36 for 65."""
    offsets = range(-radius, radius + 1)
    places = [(y, x) for y, x in itertools.product(offsets, offsets) if x * x + y * y == radius**2]
    rows, columns = np.array(places).T + SIDE // 2
    return rows, columns


@every_element
def test_is_round_says_whether_all_directions_are_alike(element):
    # At 3000 px a radian halos are some ten pixels wide; rays and streaks are there as well.
    light = point_through(element, SIDE, px_per_rad=3000.0)
    apart = []
    for radius in (25, 65):
        around = light[ring(radius)][:, 1]
        apart.append((around.max() - around.min()) / max(around.max(), 1e-9))
    if element.is_round:
        # Glows and grease keep 1e-3; haze reads its glow between nodes, and far out misses by 7 %.
        assert max(apart) < 0.1
    else:
        assert max(apart) > 0.5


@every_element
def test_what_is_round_does_not_turn_as_fabric(element):
    assert not element.is_round or element.draped(10.0) == element


FILTERS = {name: element for name, element in WHOLE.items() if element.filters(1e3)}
every_filter = pytest.mark.parametrize(
    "element", FILTERS.values(), ids=FILTERS.keys(), scope="module"
)


@every_filter
def test_a_filter_keeps_the_direct_share(element):
    for channel, one in enumerate(element.filters(2e3)):
        assert one.direct == pytest.approx(element.direct_share(channel), rel=1e-12)
        assert one.direct + one.veil <= 1 + 1e-12


@every_filter
def test_a_run_of_filters_is_one_after_the_other(element):
    light = np.random.default_rng(7).uniform(0, 0.3, (60, 83, 3))
    light[20, 31] = (300, 200, 500)
    glow = Glow(optical_depth=0.5, lobes=(ExponentialLobe(scale_deg=0.3),))
    # What a first rendering spread is no lamp to a second one, so lamps keep their mirror images.
    how = {"px_per_rad": 1500.0, "surround": "mirror"}
    together = seen(light, glow, element, **how)
    in_turn = seen(seen(light, glow, **how), element, **how)
    np.testing.assert_allclose(together, in_turn, rtol=1e-3, atol=1e-4)
    # And it is not the glow alone.
    assert np.abs(together - seen(light, glow, **how)).max() > 0.1


@every_element
def test_encircled_flux_rises_from_the_direct_share(element):
    # Rays take long.
    for channel in (0, 2) if element.is_round else (2,):
        within = [element.encircled_flux(radius, channel) for radius in (3e-4, 3e-3, 0.1)]
        assert within == sorted(within)
        assert within[0] >= element.direct_share(channel) - 1e-9
        assert within[-1] <= 1 + 1e-12
