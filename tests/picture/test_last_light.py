"""What was found in light serves again for the same light alone."""

from __future__ import annotations

import gc

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.clipped_lamps import _AREAS
from frontglass.picture.last_light import LastLight


def test_it_is_found_anew_for_other_light_other_questions_and_light_that_changed():
    found: list[float] = []
    last = LastLight[float]()

    def of(light, asked=0):
        def find() -> float:
            found.append(float(light.sum()))
            return found[-1]

        return last.of(light, asked, find)

    light = np.ones((4, 5, 3), np.float32)
    assert of(light) == of(light) == 60
    assert len(found) == 1
    of(light, asked=1)
    assert len(found) == 2
    light[0, 0, 0] = 3
    assert of(light, asked=1) == 62
    assert of(light.copy(), asked=1) == 62
    assert len(found) == 4
    del light
    gc.collect()
    assert not last._kept


def test_the_last_two_stills_are_known():
    last, asked = LastLight[int](), []
    lights = [np.full((4, 5, 3), n, np.float32) for n in range(3)]

    def of(number):
        def find() -> int:
            asked.append(number)
            return number

        return last.of(lights[number], None, find)

    assert [of(n) for n in (0, 1, 0, 1, 2, 1, 0)] == [0, 1, 0, 1, 2, 1, 0]
    assert asked == [0, 1, 2, 0]


def test_what_was_begun_serves_the_next_who_asks_the_same_of_this_light():
    last, light = LastLight[str](), np.ones((4, 5, 3), np.float32)
    last.begin(light, 1, lambda: "begun")
    assert last.once(light.copy(), 1, lambda: "other light") == "other light"
    assert last.once(light, 2, lambda: "other question") == "other question"
    assert last.once(light, 1, lambda: "anew") == "begun"
    assert last.once(light, 1, lambda: "anew") == "anew"
    last.begin(light, 1, lambda: str(1 / 0))
    with pytest.raises(ZeroDivisionError):
        last.of(light, 1, lambda: "anew")


@pytest.mark.parametrize("clipped", ["auto", 5.0])
def test_lamps_marked_one_after_the_other_are_as_if_found_anew(clipped):
    rng = np.random.default_rng(2)
    codes = rng.integers(20, 90, (90, 140, 3), dtype=np.uint8)
    codes[20:26, 30:37] = codes[60:63, 100:104] = 255
    still = fg.Picture.from_array(codes)
    marks = ((), (fg.LampMark(x_px=32, y_px=22, stops=7.0),), ())
    for one in marks:
        recovery = fg.Recovery(clipped=clipped, marks=one)
        again = fg.with_recovered_light(still, recovery)
        _AREAS._kept = []
        anew = fg.with_recovered_light(still, recovery)
        assert again.lamps == anew.lamps
        np.testing.assert_array_equal(again.picture.recovered.light, anew.picture.recovered.light)
