"""Stills as the page shows them: reduced in light, coded as a file would be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.live.shown import at_most, half_light, shown_codes, to_screen
from frontglass.live.smooth import Smooth
from frontglass.picture.wider import framed


def picture(**more):
    light = np.random.default_rng(4).random((60, 100, 3)).astype(np.float32)
    return fg.Picture(radiance=light, recovered=light * 3, **more)


def test_a_small_still_is_itself():
    still = picture()
    assert at_most(still, 100) is still


def test_reducing_keeps_the_mean_of_light_and_moves_lamps_along():
    lamp = fg.LampPlace(x_px=80, y_px=40, distance_m=3)
    away = np.where(np.arange(100) < 50, 2.0, 9.0).astype(np.float32) * np.ones((60, 1), np.float32)
    small = at_most(picture(lamps=(lamp,), distance_m=away), 50)
    assert small.radiance.shape == (30, 50, 3)
    assert small.radiance.mean() == pytest.approx(picture().radiance.mean(), rel=1e-4)
    assert np.asarray(small.recovered).mean() == pytest.approx(3 * small.radiance.mean(), rel=1e-4)
    assert (small.lamps[0].x_px, small.lamps[0].y_px) == (40, 20)
    assert set(np.unique(small.distance_m)) == {2, 9}  # no place half way between two surfaces


def test_a_frame_keeps_what_is_round_it():
    frame = framed(picture(), fg.Region(40, 20, 40, 20))
    small = at_most(frame, 20)
    assert (small.width_px, small.height_px) == (20, 10)
    assert small.wider.picture.width_px == 50
    np.testing.assert_array_equal(small.radiance, small.wider.picture.radiance[10:20, 20:40])


@pytest.mark.parametrize("mode", ["RGB", "L"])
@pytest.mark.parametrize("look", ["harbour-night", "lamps-only", "late-tram"])
def test_codes_are_those_of_a_file(mode, look, tmp_path, scout_codes):
    path, out = tmp_path / "scout.png", tmp_path / "out.png"
    Image.fromarray(scout_codes[:48, :64]).convert(mode).save(path)
    recipe = fg.Recipe(looks=(fg.read_look(look).at("1/2"),))
    fg.render_file(path, out, recipe)
    still = recipe.picture_from(path)
    seen = recipe.rendered(still, recipe.framing.camera_for(still).camera)
    with Image.open(out) as read:
        np.testing.assert_array_equal(shown_codes(seen), np.asarray(read.convert("RGB")))


def test_clipping_channel_by_channel_shows():
    bright = fg.Picture(radiance=np.full((4, 4, 3), (4, 1.2, 0.1), np.float32))
    hue, clip = (shown_codes(replace(bright, past_white=way)) for way in ("hue", "clip"))
    assert clip[0, 0, 1] == 255
    assert hue[0, 0, 1] < 255


def test_light_is_handed_over_with_what_takes_it_to_the_primaries_of_the_screen():
    light = np.full((2, 2, 3), (0.5, 0.25, 0.125), np.float32)
    plain, wide = (fg.Picture(radiance=light, primaries=p) for p in ("bt709", "bt2020"))
    for still in (plain, wide):
        np.testing.assert_array_equal(half_light(still), light.astype(np.float16))
    assert to_screen(plain) == np.eye(3).ravel().tolist()
    # Columns: of BT.2020's white the screen's, and red beyond what the screen has.
    columns = np.array(to_screen(wide)).reshape(3, 3)
    np.testing.assert_allclose(columns.sum(axis=0), 1, atol=1e-4)
    assert columns[0, 0] > 1.5
    assert columns[0, 1] < 0
    assert np.isfinite(half_light(fg.Picture(radiance=light * 1e9))).all()


def test_grain_that_was_laid_over_light_is_told_from_it(noisy):
    smooth = Smooth.of(noisy)
    seen = fg.render(noisy, fg.read_look("powder-room"))
    alone = fg.render(smooth.picture, fg.read_look("powder-room"), grain=False)
    assert np.abs(seen.radiance - alone.radiance).max() > 0.05
    # Lamps of thousands are told to single precision.
    np.testing.assert_allclose(
        smooth.without_grain(seen).radiance, alone.radiance, rtol=1e-6, atol=2e-5
    )
    # A frame of a wider still has the grain of that.
    frame = Smooth.of(framed(noisy, fg.Region(40, 20, 200, 100)))
    np.testing.assert_array_equal(frame.grain, smooth.grain[20:120, 40:240])
    assert frame.picture.wider.picture.radiance.shape == noisy.radiance.shape
    assert Smooth.of(picture()).laid() is None
    # Where light that glass takes stays lost, the program finds what lamps do not fall below.
    kept = smooth._replace(finds_floor=False)
    assert len(kept.lost()) == 0 < len(smooth.lost())
    assert kept.without_floor(alone, [fg.read_look("powder-room")]) is None
