"""A tile of the loupe is what the whole still would be there, without rendering all of it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.live.in_full import lean
from frontglass.live.table import LightTable
from frontglass.picture.display import display_codes
from frontglass.threads import GivenUp, for_each, while_wanted
from tests.live.conftest import CAFE

WIDE, HIGH, SMALL_PX = 1200, 720, 320
PLACES = {"corner": (0.0, 0.02), "lamp": (0.62, 0.3)}


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    """A table with a still of 8 bits, noisy, with clipped lamps and a glint of few pixels."""
    whole = fg.read_picture(CAFE, exposure_stops=2.5)
    light = cv2.resize(whole.radiance, (WIDE, HIGH), interpolation=cv2.INTER_CUBIC)
    light[500:503, 150:152] = 60
    noise = np.random.default_rng(3).normal(0, 0.01, light.shape) * np.sqrt(np.maximum(light, 0))
    path = tmp_path_factory.mktemp("windows") / "counter.png"
    Image.fromarray(display_codes(np.float32(np.maximum(light + noise, 0)))).save(path)
    recipe = fg.Recipe(framing=fg.Framing(lens_mm=36.9, sensor="36x21.6"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("frontglass.live.table.LONGEST_PX", SMALL_PX)
        patch.setattr("frontglass.live.table.TILE_PX", 64)
        patch.setattr("frontglass.live.windows.AROUND_PX", 128)
        yield LightTable([path], fg.catalogue(), lambda _: recipe)


@pytest.mark.parametrize("name", ["engine-shed", "lamps-only", "powder-room"])
def test_a_tile_is_that_of_the_whole_still(name, table, monkeypatch):
    looks = [table.looks[name]]
    tiles = {place: table.tile(0, looks, *at) for place, at in PLACES.items()}
    windows = table._windows_of(0, looks)
    assert 0 < windows._is_there.mean() < 1  # not all of it was rendered
    assert windows.picture.recovered is not None
    assert windows.curve is not None
    monkeypatch.setattr("frontglass.live.table.can_be_parted", lambda *_: False)
    table._windows = None
    for place, at in PLACES.items():
        whole = table.tile(0, looks, *at)
        off = np.abs(tiles[place].astype(int) - whole)
        # Half a code off would let the noise of codes take every second sample to its neighbour.
        assert off.max() <= 1
        assert off.mean() < 0.1
        bare = table.tile(0, [], *at)
        assert np.abs(bare.astype(int) - whole).max() > 0 or name == "lamps-only"


@pytest.mark.parametrize("name", ["fine-net", "keyhole", "grain-loft"])
def test_what_spreads_unsmoothly_is_rendered_in_full(name, table):
    assert table._windows_of(0, [table.looks[name]]) is None


def test_a_frame_that_was_written_over_is_there_again_though_nobody_waited():
    codes = np.random.default_rng(2).integers(0, 256, (40, 60, 3)).astype(np.uint8)
    still = fg.Picture.from_array(codes)
    light = still.radiance.copy()
    wanted = [True]
    with while_wanted(lambda: wanted[0]):
        with lean(still, is_compared=False) as again:
            assert again is not None
            still.radiance[:] = 0
            wanted[0] = False
        with pytest.raises(GivenUp):
            for_each(print, ())
    np.testing.assert_array_equal(still.radiance, light)
