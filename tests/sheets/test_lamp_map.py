"""A still with its clipped areas numbered: a box round each, its label beside it, no more."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.elements.ghosts import Ghost
from frontglass.picture.clipped_lamps import with_recovered_light
from frontglass.picture.encoding import Encoding
from frontglass.sheets.lamp_map import ghost_map, lamp_map
from frontglass.sheets.sheet import Sizes
from frontglass.sheets.views import view
from tests.sheets.conftest import Laid


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


def ghost(lamp: tuple[float, float], place: tuple[float, float], level: float) -> Ghost:
    return Ghost(
        lamp_px=lamp, ghost_px=place, level=level, under=0.1, width_px=3.2, lamp_width_px=5.5,
        share=0.001, inside=True,
    )  # fmt: skip


def test_lamps_and_their_ghosts_are_numbered_in_pairs_where_they_stand_in_the_frame(laid: Laid):
    light = np.full((200, 400, 3), 0.1, np.float32)
    picture = fg.Picture(radiance=light, notices=("the lens is assumed.",))
    ghosts = [
        ghost((60, 50), (360, 170), 0.0131),
        ghost((12, 15), (423, 60), 0.2),  # its lamp reaches into the frame by a pixel
        ghost((5, 100), (425, 100), 0.2),  # neither of them does
        ghost((100, 7), (100, 224), 0.2),
    ]
    sheet = ghost_map(picture, ghosts, (14, 12))
    # A lamp of 5.5 px has a box of 6, its ghost one 4 px wider, round their middles.
    assert [(*box[:4], *box[4].lines) for box in laid.boxes] == [
        (43, 35, 6, 6, "1"),
        (341, 153, 10, 10, "1 ghost 1.3 %"),
        (-5, 0, 6, 6, "2"),
    ]
    assert sheet.codes.shape == (200, 400, 3)
    assert sheet.notices == ("the lens is assumed.",)
    wide = fg.Picture(radiance=np.full((20, 1600, 3), 0.1, np.float32))
    ghost_map(wide, [ghost((60, 10), (70, 10), 0.1)], (0, 0))
    # Never smaller than 0.8 % of the width.
    assert laid.boxes[-2][2:4] == (13, 13)
