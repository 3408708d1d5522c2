"""What holds for every element and every lobe, whatever it is."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from frontglass.choices import Surround
from frontglass.elements import ELEMENTS, LOBES, Element, Haze, Place, Plate, StrayLamp, Tint
from frontglass.optics.camera import Camera
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from tests.elements.samples import SAMPLE_LOBES, SAMPLES

CAMERA = Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)

# Scoped so that tests of one element run one after the other: what its filters need is kept.
every_element = pytest.mark.parametrize(
    "element", SAMPLES.values(), ids=SAMPLES.keys(), scope="module"
)
# A lamp beside the lens adds light of its own, whatever is in the frame; a tint spreads nothing and
# takes one channel more than another (test_tint.py).
PASSING = {k: v for k, v in SAMPLES.items() if not isinstance(v, StrayLamp | Tint)}
# Haze scatters the light of lamps out of the frame, and finds lamps by all channels.
HELD = {k: v for k, v in PASSING.items() if not isinstance(v, Haze)}
# Ghosts are light that the sensor had sent back, and take nothing from a lamp.
SPREADING = {k: v for k, v in PASSING.items() if not isinstance(v, Plate)}
# What covers a part of the view lets more of one lamp into the lens, and less of another.
KEPT = {
    k: v
    for k, v in HELD.items()
    if getattr(v, "clear_centre", None) is None and not isinstance(v, Plate)
}
every_passing_element = pytest.mark.parametrize(
    "element", PASSING.values(), ids=PASSING.keys(), scope="module"
)
# A threshold looks at the brightest channel, and at how bright it is.
LINEAR = {k: v for k, v in HELD.items() if getattr(v, "threshold_stops", None) is None}
every_linear_element = pytest.mark.parametrize(
    "element", LINEAR.values(), ids=LINEAR.keys(), scope="module"
)
every_lobe = pytest.mark.parametrize("lobe", SAMPLE_LOBES.values(), ids=SAMPLE_LOBES.keys())
every_surround = pytest.mark.parametrize("surround", Surround)


def picture(radiance: np.ndarray) -> Picture:
    # A wall that faces the lens; only haze asks.
    distance = np.full(radiance.shape[:2], 4.0, np.float32)
    return Picture(
        radiance=radiance.astype(np.float32), distance_m=distance, encoding=Encoding.linear()
    )


def seen(light: np.ndarray, *elements: Element, **how) -> np.ndarray:
    return render(picture(light), elements, camera=CAMERA, **how).radiance


def night() -> np.ndarray:
    """Dim noise, one lamp off the middle."""
    light = np.random.default_rng(5).uniform(0, 0.2, (37, 54, 3))
    light[11, 33] = (600.0, 500.0, 300.0)
    return light


def test_every_kind_has_a_sample():
    assert {type(sample) for sample in SAMPLES.values()} == set(ELEMENTS.values())
    assert {name: type(lobe) for name, lobe in SAMPLE_LOBES.items()} == LOBES


@every_element
def test_an_element_is_a_frozen_value(element):
    field = dataclasses.fields(element)[0].name
    with pytest.raises(dataclasses.FrozenInstanceError):
        setattr(element, field, 0.5)
    copied = dataclasses.replace(element)
    assert copied is not element
    assert copied == element
    assert hash(copied) == hash(element)


@every_lobe
def test_a_lobe_is_a_frozen_value(lobe):
    with pytest.raises(dataclasses.FrozenInstanceError):
        lobe.share = 0.5
    assert dataclasses.replace(lobe) == lobe
    assert hash(dataclasses.replace(lobe)) == hash(lobe)


@every_lobe
def test_a_lobe_has_a_profile_for_every_channel(lobe):
    for channel in range(3):
        profile = lobe.profile(channel)
        assert profile.direct == 0
        # Rings are followed to where 6e-9 is left beyond; other tails leave less.
        assert float(profile.encircled_flux(1e9)) == pytest.approx(1, abs=1e-8)
        assert float(profile.transform(0.0)) == pytest.approx(1, abs=1e-14)


@every_element
def test_strength_1_is_the_thing_itself(element):
    assert element.at(1) == element


@every_element
def test_an_element_knows_its_place(element):
    assert isinstance(element.place, Place)


@every_element
@pytest.mark.parametrize("strength", [0, 0.125, 1, 2])
def test_transmittance_is_a_share_that_never_grows_with_strength(element, strength):
    assert 0 < element.at(strength).transmittance <= 1
    assert element.at(strength + 0.5).transmittance <= element.at(strength).transmittance
    assert element.at(0).transmittance == 1


@every_element
@every_surround
def test_strength_0_leaves_every_bit(element, surround):
    light = night()
    got = seen(light, element.at(0), surround=surround, compensate=False)
    assert got.tobytes() == light.astype(np.float32).tobytes()


@every_passing_element
@pytest.mark.parametrize("shape", [(37, 54), (64, 64), (1, 9), (5, 1), (1, 1)])
def test_an_evenly_lit_field_stays_even(element, shape):
    # White furnace: what is spread away comes back from the neighbours. 3e-6: float32 twice.
    grey = np.broadcast_to(np.array([0.18, 2.5, 0.9]), (*shape, 3))
    np.testing.assert_allclose(seen(grey, element), grey, rtol=3e-6)
    lost = seen(grey, element, compensate=False)
    np.testing.assert_allclose(lost, grey * element.transmittance, rtol=3e-6)


@pytest.mark.parametrize("element", KEPT.values(), ids=KEPT.keys(), scope="module")
def test_no_light_is_made_or_lost(element):
    light = night()
    got = seen(light, element, surround="mirror")
    # Rays askew to the frame bring in across its corners not quite what they take out.
    rtol = 1e-5 if getattr(element, "angle_deg", 0) else 3e-6
    np.testing.assert_allclose(got.mean((0, 1), dtype=np.float64), light.mean((0, 1)), rtol=rtol)
    # The ground near the lamp may not go dark by the engine's own rounding.
    assert got.min() > -1e-4


@pytest.mark.parametrize("element", SPREADING.values(), ids=SPREADING.keys(), scope="module")
def test_something_is_done_to_a_lamp(element):
    light = night()
    got = seen(light, element)
    assert got[11, 33, 0] < 0.995 * light[11, 33, 0]
    assert got[12, 33, 0] > 1.02 * light[12, 33, 0]


@every_linear_element
def test_a_stop_more_light_is_a_stop_more_everywhere(element):
    light = night()
    # What is lamp and whose twins show goes by white, so the law itself is that of the mirror.
    once, twice = (seen(x, element, surround="mirror") for x in (light, 2 * light))
    # 2e-5: float32 beside a lamp of 1200.
    np.testing.assert_allclose(twice, 2 * once, rtol=1e-6, atol=2e-5)


@every_linear_element
def test_a_channel_is_no_business_of_another(element):
    light = night()
    alone = light * np.array([0, 1, 0])
    # A lamp is one by its brightest channel, so the law itself is that of the mirror.
    one, all_ = (seen(x, element, surround="mirror")[..., 1] for x in (alone, light))
    np.testing.assert_array_equal(one, all_)
