"""A café after closing, small, on a page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.picture.display import display_codes
from frontglass.pipeline.kept_grain import bare
from tests.live.pages import scouts
from tests.live.visiting import Visit, visited

CAFE = Path(__file__).parents[2] / "examples" / "cafe_1280.exr"


@pytest.fixture(scope="session")
def cafe() -> fg.Picture:
    """The café at 160 px, with lamps hundreds of times white."""
    whole = fg.read_picture(CAFE, exposure_stops=2.5)
    light = cv2.resize(whole.radiance, (160, 90), interpolation=cv2.INTER_AREA)
    return replace(whole, radiance=np.maximum(light, 0))


@pytest.fixture(scope="session")
def noisy(tmp_path_factory):
    """A file of 8 bits with a sensor's noise, large enough to tell it; its lamps are given back."""
    whole = fg.read_picture(CAFE, exposure_stops=2.5)
    light = np.maximum(cv2.resize(whole.radiance, (480, 270), interpolation=cv2.INTER_AREA), 0)
    noise = np.random.default_rng(3).normal(0, 0.02, light.shape) * np.sqrt(light)
    path = tmp_path_factory.mktemp("noisy") / "counter.png"
    Image.fromarray(display_codes(np.float32(np.maximum(light + noise, 0)))).save(path)
    still = fg.Recipe(framing=fg.Framing(lens_mm=36.9, sensor="36x20.25")).picture_from(path)
    assert still.recovered is not None
    assert bare(still).grain is not None
    return still


@pytest.fixture(scope="session")
def scout_codes(cafe):
    return display_codes(cafe.radiance)


@pytest.fixture(scope="session")
def visit(tmp_path_factory, scout_codes) -> Iterator[Visit]:
    """One browser and one server for all that is tried in them."""
    yield from visited(scouts(tmp_path_factory.mktemp("scouts"), scout_codes))
