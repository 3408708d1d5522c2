"""The last look of a still writes over the still's own light, and changes nothing else."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture import clipped_lamps
from frontglass.picture.codes import StillInCodes
from frontglass.picture.last_light import LastLight
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.still_files import render_picture

HOW = {
    "with lamps": {},
    "no grain kept": {"grain": False},
    "light lost": {"compensate": False},
    "brighter": {"exposure_stops": 0.5},
}


@pytest.fixture(scope="module", params=["uint8", "uint16", "grey"])
def still(request, tmp_path_factory):
    rng = np.random.default_rng(2)
    light = np.clip(0.2 + 0.03 * rng.standard_normal((96, 128, 3)), 0, 1)
    light[30:38, 40:48] = 1
    if request.param == "grey":
        light = light[..., :1]
    top = 65535 if request.param == "uint16" else 255
    codes = np.round(light * top).astype("uint16" if top > 255 else "uint8")
    path = tmp_path_factory.mktemp("still") / "still.png"
    fg.write_picture(path, fg.Picture.from_array(codes))
    return path


@pytest.mark.parametrize("how", list(HOW))
@pytest.mark.parametrize("look", ["harbour-night:1/2", "powder-room:1", "bare"])
def test_the_file_is_the_same(still, how, look, tmp_path):
    name, _, strength = look.partition(":")
    looks = () if look == "bare" else (fg.read_look(name).at(strength),)
    recipe = Recipe(looks=looks, **HOW[how])
    for out, is_last in (("kept.png", False), ("spent.png", True)):
        picture = recipe.picture_from(still)
        before = picture.radiance.copy()
        render_picture(picture, still, tmp_path / out, recipe, is_last=is_last)
        is_spent = is_last and how != "brighter" and look != "bare"
        assert np.array_equal(before, picture.radiance) != is_spent
    kept, spent = (tmp_path / name for name in ("kept.png", "spent.png"))
    assert kept.read_bytes() == spent.read_bytes()


def test_codes_tell_a_still_only_as_long_as_it_is_theirs(still):
    picture = fg.read_picture(still)
    told = StillInCodes.of(picture.radiance, picture.encoding)
    assert np.array_equal(told[3:9], picture.radiance[3:9])
    at = np.array([1, 95]), np.array([127, 0])
    assert np.array_equal(told[at], picture.radiance[at])
    picture.radiance[95, 127, 1] *= 1.001
    assert StillInCodes.of(picture.radiance, picture.encoding) is None


def test_what_is_asked_for_once_is_not_kept():
    last, light, found = LastLight[int](), np.ones((4, 4, 3), np.float32), []

    def find() -> int:
        found.append(1)
        return len(found)

    assert [last.once(light, None, find) for _ in range(2)] == [1, 2]
    assert [last.of(light, None, find), last.once(light, None, find)] == [3, 3]


def test_what_is_found_of_lamps_is_kept_only_where_somebody_may_ask_again(still, monkeypatch):
    kept = LastLight[Any]()
    monkeypatch.setattr(clipped_lamps, "_AREAS", kept)
    recipe = Recipe(looks=(fg.read_look("harbour-night"),))
    once = recipe.picture_from(still)
    assert kept._kept == []
    again = recipe.lit(recipe.exposed(still), still).picture
    assert len(kept._kept) == 1
    assert once.recovered is not None
    assert again.recovered is not None
    np.testing.assert_array_equal(once.recovered.light, again.recovered.light)
