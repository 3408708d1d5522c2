"""Recovered light spreads in every element, and the lamp's core stays what the still shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import frontglass as fg
from frontglass.choices import Surround
from frontglass.elements import Passage
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.pipeline.kept_grain import Bare
from frontglass.pipeline.recovered_light import without_direct_beyond

CAMERA = fg.Camera.from_field(40)
SPREADING = (
    "harbour-night",
    "wet-quay",
    "lamps-only",
    "rehearsal-room",
    "bakery-window",
    "engine-shed",
    "slate-roof",
    "fine-net",
    "tallow",
    "old-matinee",
)


def still(lamp: float = 1.0) -> Picture:
    light = np.random.default_rng(3).uniform(0.02, 0.06, (70, 110, 3)).astype(np.float32)
    light[30:36, 50:57] = lamp
    return Picture(radiance=light, encoding=Encoding.srgb())


def with_lost_light(picture: Picture, level: float = 200.0) -> Picture:
    extra = np.zeros_like(picture.radiance)
    extra[30:36, 50:57] = level - 1
    return replace(picture, recovered=extra)


@pytest.mark.parametrize("name", SPREADING)
def test_outside_the_lamp_all_is_as_if_the_still_had_held_it(name):
    look = fg.read_look(name)
    got = fg.render(with_lost_light(still()), [look], camera=CAMERA).radiance
    want = fg.render(still(200.0), [look], camera=CAMERA).radiance
    bare = fg.render(still(), [look], camera=CAMERA).radiance
    outside = np.ones(got.shape[:2], dtype=bool)
    outside[30:36, 50:57] = False
    # 200 in float32 is rounded by 1.5e-5 when the still's own 1 is added to it.
    np.testing.assert_allclose(got[outside], want[outside], rtol=1e-4, atol=1e-5)
    assert got[outside].mean() > 1.02 * bare[outside].mean()


@pytest.mark.parametrize("name", SPREADING)
def test_the_core_is_the_direct_light_of_the_base_and_all_that_spread(name):
    look = fg.read_look(name)
    picture = with_lost_light(still())
    seen = fg.render(picture, [look], camera=CAMERA)
    core = seen.radiance[31:35, 51:56]
    # White still, and well below the lamp itself, which is 200.
    assert core.min() >= 1 - 1e-4
    whole = fg.render(still(200.0), [look], camera=CAMERA).radiance[31:35, 51:56]
    assert core.max() < whole.max()
    # What is not shown is carried on, so that a second pass spreads it too.
    assert seen.recovered is not None
    np.testing.assert_allclose((seen.radiance + seen.recovered)[31:35, 51:56], whole, rtol=1e-3)


def test_what_a_file_holds_beyond_white_and_what_was_lost_are_carried_on_apart():
    shown = still()
    shown.radiance[10:13, 20:23] = 1
    beyond = np.zeros_like(shown.radiance)
    beyond[10:13, 20:23] = 30
    looks = [fg.read_look("harbour-night")]
    seen = fg.render(replace(with_lost_light(shown), beyond=beyond), looks, camera=CAMERA)
    lost = shown.radiance + np.asarray(with_lost_light(shown).recovered)
    whole = fg.render(shown.with_radiance(lost + beyond), looks, camera=CAMERA).radiance
    apart = np.asarray(seen.beyond), np.asarray(seen.recovered)
    np.testing.assert_allclose(seen.radiance + apart[0] + apart[1], whole, rtol=1e-3)
    assert apart[0][11, 21].min() > 10 > apart[0][32, 53].max()
    assert apart[1][32, 53].min() > 100 > apart[1][11, 21].max()


def test_a_glow_adds_exactly_the_halo_of_what_was_lost():
    look = fg.read_look("harbour-night").with_glass(returns=0.0)
    _, glow = look.light_path
    seen = fg.render(with_lost_light(still()), [look], camera=CAMERA).radiance
    bare = fg.render(still(), [look], camera=CAMERA).radiance
    alone = still()
    lost = with_lost_light(still()).recovered
    spread_out = fg.render(alone.with_radiance(lost), [look], camera=CAMERA).radiance
    direct = np.array([glow.psf(c).direct for c in range(3)])
    np.testing.assert_allclose(seen, bare + spread_out - direct * lost, rtol=1e-4, atol=2e-4)


@pytest.mark.parametrize("name", SPREADING)
def test_strength_0_is_the_bare_still_bit_for_bit(name):
    picture = with_lost_light(still())
    seen = fg.render(picture, [fg.read_look(name).at(0)], camera=CAMERA)
    assert seen.radiance.tobytes() == picture.radiance.tobytes()
    assert seen.recovered is picture.recovered


def test_two_passes_make_one_of_both_strengths():
    look = fg.read_look("harbour-night").with_glass(returns=0.0)
    once = fg.render(with_lost_light(still()), [look.at(1)], camera=CAMERA)
    half = fg.render(with_lost_light(still()), [look.at("1/2")], camera=CAMERA)
    twice = fg.render(half, [look.at("1/2")], camera=CAMERA)
    outside = np.ones((70, 110), dtype=bool)
    outside[28:38, 48:59] = False
    np.testing.assert_allclose(
        twice.radiance[outside], once.radiance[outside], rtol=2e-3, atol=1e-4
    )


def test_light_not_made_up_is_lost_to_what_was_recovered_too():
    look = fg.read_look("fine-net")
    off = False
    picture = with_lost_light(still())
    on = fg.render(picture, [look], camera=CAMERA)
    lost = fg.render(picture, [look], camera=CAMERA, compensate=off)
    kept = 2.0**-look.light_loss_stops
    np.testing.assert_allclose(lost.radiance, on.radiance * kept, rtol=1e-5)
    np.testing.assert_allclose(lost.recovered, np.asarray(on.recovered) * kept, rtol=1e-5)


def test_what_is_recovered_must_have_the_shape_of_the_light():
    with pytest.raises(fg.ParameterError, match="recovered must be of shape"):
        replace(still(), recovered=np.zeros((3, 3, 3), dtype=np.float32))


@pytest.mark.parametrize(
    ("behind", "left"),
    [
        (0.8, 0.3),  # below white it falls by all that was beyond
        (1.5, 1.0),
        (1.8, 1.3),
        (1.2, 0.7),
    ],
)
def test_what_is_beyond_is_taken_where_enough_is_left(behind: float, left: float):
    assert left_of(behind, 0.5) == pytest.approx(left)


@pytest.mark.parametrize(
    ("behind", "left"),
    [
        (0.9, 0.0),  # nothing held it
        (1.25, 0.25),  # a quarter of a stop's light above white holds a quarter of what was shown
        (1.5, 0.5),
        (2.0, 1.0),  # from there on it stays as the still shows it
        (5.0, 1.0),
    ],
)
def test_a_part_shown_is_held_the_more_the_brighter_it_is_behind_the_glass(behind, left):
    assert left_of(behind, behind) == pytest.approx(left)


def left_of(behind: float, beyond: float) -> float:
    """Light of a white pixel of which so much came through, and so much of that was beyond."""
    seen = np.full((5, 2, 3), behind, np.float32)
    shown = np.ones((5, 2, 3), np.float32)
    picture = Picture(radiance=shown, beyond=beyond * shown)
    passage = Passage(camera=CAMERA, surround=Surround.DARK, distance_m=None, lamps=None)
    gone, lamps = without_direct_beyond(seen, picture, Bare(shown, None), [], passage)
    assert lamps is None
    np.testing.assert_allclose(seen + gone, behind, rtol=1e-6)
    (left,) = np.unique(seen)  # of all rows of a tall still
    return float(left)
