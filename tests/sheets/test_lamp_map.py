"""A still with its clipped areas numbered: a box round each, its label beside it, no more."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.clipped_lamps import with_recovered_light
from frontglass.picture.encoding import Encoding
from frontglass.sheets.lamp_map import lamp_map
from frontglass.sheets.sheet import Sizes
from frontglass.sheets.views import view


def test_a_box_and_a_label_stand_at_the_lamp_and_the_rest_is_the_still():
    light = np.full((300, 480, 3), 0.05, np.float32)
    light[200:210, 100:110] = 1.0
    picture = fg.Picture(radiance=light, encoding=Encoding.srgb())
    found = with_recovered_light(picture)
    (lamp,) = found.lamps
    codes = lamp_map(found.picture, found.lamps).codes.astype(int)
    changed = np.abs(codes - view(picture, (480, 300))).max(axis=2) > 2
    rows, columns = np.flatnonzero(changed.any(1)), np.flatnonzero(changed.any(0))
    # The box: the lamp's own radius and 3 px on each side, in thin lines.
    reach = np.sqrt(lamp.area_px / np.pi) + 3
    assert columns[0] == pytest.approx(104.5 - reach, abs=5)
    assert rows[-1] == pytest.approx(204.5 + reach, abs=5)
    # The label: one line of some 12 px, close to the box.
    assert 8 < rows[-1] - rows[0] - 2 * reach < 40
    assert columns[-1] - columns[0] < 150


@pytest.mark.parametrize("width_px", [600, 1600, 4000])
def test_type_of_a_sheet_can_be_read_and_titles_are_larger(width_px):
    sizes = Sizes.of(width_px)
    # A hundred small letters of half their height in width fill six tenths of the width.
    assert 0.5 < 50 * sizes.small / width_px < 0.7
    assert 1.5 * sizes.small < sizes.large < 2 * sizes.small
    assert sizes.gap < sizes.margin
