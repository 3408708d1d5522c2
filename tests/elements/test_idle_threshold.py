"""A glow above white, on a still without anything above white, says that it did nothing."""

from __future__ import annotations

import numpy as np

import frontglass as fg
from frontglass.picture.encoding import Encoding


def rendered(brightest: float, look: str) -> fg.Picture:
    light = np.full((12, 16, 3), 0.2, np.float32)
    light[5, 7] = brightest
    still = fg.Picture(radiance=light, encoding=Encoding.linear())
    return fg.render(still, [fg.read_look(look)], camera=fg.Camera.from_field(40))


def test_nothing_above_white_is_said():
    seen = rendered(1.0, "lamps-only")
    assert [notice for notice in seen.notices if "did nothing" in notice]
    assert float(seen.radiance.max()) == 1.0


def test_a_lamp_above_white_needs_no_word():
    notices = rendered(50.0, "lamps-only").notices
    assert not [notice for notice in notices if "did nothing" in notice]


def test_a_look_for_all_light_needs_no_word():
    assert rendered(1.0, "harbour-night").notices == ()
