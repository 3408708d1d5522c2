"""Light past white: in its own hue, smoothly, and nothing else touched."""

from __future__ import annotations

from dataclasses import replace

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import frontglass as fg
from frontglass.picture.display import display_codes
from frontglass.picture.past_white import towards_white
from frontglass.picture.primaries import BT709
from frontglass.sheets.views import view

WEIGHTS = BT709.luminance_weights
hues = st.lists(st.floats(0, 1), min_size=3, max_size=3).filter(lambda c: max(c) > 0.01)


def through(hue: object, level: float) -> np.ndarray:
    c = np.asarray(hue, np.float32)
    return towards_white((c / c.max() * np.float32(level)).reshape(1, 3))[0].astype(float)


def test_below_white_nothing_changes():
    light = np.random.default_rng(1).uniform(-0.1, 1, (40, 50, 3)).astype(np.float32)
    np.testing.assert_array_equal(towards_white(light), light)


@given(hue=hues, level=st.floats(1.001, 1e5))
def test_it_ends_at_white(hue, level):
    shown = through(hue, level)
    assert shown.max() == pytest.approx(1, abs=1e-6)
    assert shown.min() >= 0


@given(hue=hues, level=st.floats(0.5, 1e4), more=st.floats(1.01, 4))
def test_more_light_is_never_darker(hue, level, more):
    brighter = through(hue, level * more) - through(hue, level)
    assert brighter @ WEIGHTS > -2e-6
    # Of pure magenta on its way to white blue gives way by 3.5 %, of any other hue less.
    assert brighter.min() > -0.04


@given(hue=hues, level=st.floats(1.001, 100))
@pytest.mark.source("CssColor4", "sec. 9.2: Oklab, by colour-science")
def test_the_hue_that_is_seen_stays(hue, level):
    hue = np.maximum(np.asarray(hue), 0.02 * max(hue))  # of black channels a rounding is a hue

    def oklab(rgb):
        xyz = colour.RGB_to_XYZ(rgb, "sRGB")
        return colour.XYZ_to_Oklab(xyz)

    _, a, b = oklab(hue / hue.max())
    _, c, d = oklab(through(hue, level))
    assert a * d - b * c == pytest.approx(0, abs=2e-4)
    assert a * c + b * d > -1e-4


@pytest.mark.parametrize("hue", [(1, 0.5, 0.1), (1, 0.6, 0.3), (0.3, 0.5, 1), (1, 0.2, 0.6)])
def test_luminance_rises_through_white_without_a_kink(hue):
    step = 2e-3
    below, at, above = (through(hue, 1 + k * step) @ WEIGHTS for k in (-1, 0, 1))
    assert (above - at) / (at - below) == pytest.approx(1, abs=0.03)


def test_gold_stays_gold_where_clipping_makes_it_yellow():
    gold = np.full((8, 8, 3), (2.4, 1.2, 0.3), np.float32)
    picture = fg.Picture.from_array(gold)
    clipped = replace(picture, past_white="clip")
    red, green, blue = (int(c) for c in view(picture, (8, 8)).mean((0, 1)))
    assert red == 255
    assert green < 250
    assert blue > 160
    np.testing.assert_allclose(view(clipped, (8, 8)).mean((0, 1)), (255, 255, 149), atol=1)


def test_files_hold_what_sheets_show(tmp_path):
    light = np.full((8, 8, 3), (2.4, 1.2, 0.3), np.float32)
    for how in ("hue", "clip"):
        picture = replace(fg.Picture.from_array(light), past_white=how)
        fg.write_picture(tmp_path / f"{how}.png", picture)
        stored = np.asarray(fg.read_picture(tmp_path / f"{how}.png").encoding.codes) / 257
        # Sheets are dithered, a file of 16 bits is not.
        shown = view(picture, (8, 8)).mean((0, 1))
        np.testing.assert_allclose(stored.mean((0, 1)), shown, atol=0.3)


def test_floats_keep_all_their_light(tmp_path):
    picture = fg.Picture.from_array(np.full((8, 8, 3), (2.5, 1.25, 0.25), np.float32))
    fg.write_picture(tmp_path / "bright.exr", picture)
    np.testing.assert_array_equal(
        fg.read_picture(tmp_path / "bright.exr").radiance, picture.radiance
    )


def test_white_and_grey_clip_as_ever():
    light = np.full((4, 4, 3), 3.0, np.float32)
    assert (display_codes(light) == 255).all()
