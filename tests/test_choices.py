"""Choices at every public border: a string will do, and a wrong one is told the right ones."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import OpenEXR
import pytest

import frontglass as fg
from frontglass.choices import Choice
from frontglass.errors import ParameterError

CAMERA = fg.Camera.from_field(40.0)
VEIL = fg.Look(elements=(fg.Veil(veil_share=0.02),))
DARK_ROOM = np.full((30, 40, 3), 0.05)
STILL = fg.Picture.from_array(DARK_ROOM)
SIDES = "'lampless', 'mirror' or 'dark'"
MENDING = "'refuse' or 'mend'"


def bracket(**how: object) -> object:
    return fg.merged_bracket([STILL, fg.Picture.from_array(DARK_ROOM / 4)], [0, -2], **how)


def sway(**how: object) -> object:
    from frontglass.sheets.sway import sway

    return sway(STILL, [VEIL], camera=CAMERA, **how)


def match(criterion: str) -> object:
    return fg.match(VEIL, VEIL, fg.meter_on_targets(CAMERA, 0.5), criterion)


BORDERS: dict[str, tuple[Callable[[Any], object], str]] = {
    "render": (lambda x: fg.render(STILL, VEIL, surround=x), SIDES),
    "ladder": (lambda x: fg.ladder(STILL, VEIL, camera=CAMERA, surround=x), SIDES),
    "compare": (lambda x: fg.compare(STILL, [VEIL], camera=CAMERA, surround=x), SIDES),
    "sway": (lambda x: sway(surround=x), SIDES),
    "Recipe.surround": (lambda x: fg.Recipe(surround=x), SIDES),
    "Recipe.non_finite": (lambda x: fg.Recipe(non_finite=x), MENDING),
    "read_picture": (lambda x: fg.read_picture("any.exr", non_finite=x), MENDING),
    "from_array": (lambda x: fg.Picture.from_array(DARK_ROOM, non_finite=x), MENDING),
    "from_array.curve": (
        lambda x: fg.Picture.from_array(DARK_ROOM, curve=x), "'srgb' or 'linear'"
    ),
    "response": (lambda x: bracket(response=x), "'profile' or 'estimated'"),
    "alignment": (lambda x: bracket(alignment=x), "'shift' or 'off'"),
    "Space": (lambda x: fg.Space(depth=Path("maps"), depth_kind=x), "'ray' or 'depth'"),
    "match": (match, "'halo', 'black', 'texture' or 'mix'"),
    "weave": (
        lambda x: fg.Net(pitch_mm=1, thread_mm=0.1, weave=x), "'woven', 'knitted' or 'tulle'"
    ),
    "strokes": (
        lambda x: fg.Grease(film_um=1, texture_um=50, strokes=x),
        "'straight', 'radial', 'circular' or 'random'",
    ),
    "clear": (lambda x: fg.ClearCentre(radius_mm=5, clear=x), "'inside' or 'outside'"),
    "container": (
        lambda x: fg.Encoding(container=x, sample="uint8"),
        "'JPEG', 'PNG', 'TIFF', 'OpenEXR', 'Radiance HDR', 'HEIF', 'AVIF', 'DPX' or 'camera raw'",
    ),
    "sample": (fg.Encoding.srgb, "'uint8', 'uint16', 'float16' or 'float32'"),
    "primaries": (
        lambda x: fg.Picture.from_array(DARK_ROOM, primaries=x),
        "'bt709', 'p3-d65', 'bt2020', 'oprgb', 'romm', 'ap0' or 'ap1'",
    ),
}  # fmt: skip


@pytest.mark.parametrize("border", BORDERS)
@pytest.mark.parametrize("wrong", ["nonsense", "", None])
def test_a_wrong_choice_is_told_the_right_ones(border: str, wrong: str | None):
    call, right = BORDERS[border]
    if wrong is None and border in {"Space", "from_array.curve"}:
        pytest.skip("None leaves it to the file, or to the type")
    with pytest.raises(ParameterError) as caught:
        call(wrong)
    assert caught.value.rule == right
    assert caught.value.got == wrong


@pytest.mark.parametrize(
    "call",
    [
        lambda x: fg.render(STILL, VEIL, compensate=x),
        lambda x: fg.ladder(STILL, VEIL, camera=CAMERA, compensate=x),
        lambda x: fg.compare(STILL, [VEIL], camera=CAMERA, compensate=x),
        lambda x: sway(compensate=x),
        lambda x: fg.Recipe(compensate=x),
    ],
    ids=["render", "ladder", "compare", "sway", "Recipe"],
)
@pytest.mark.parametrize("wrong", ["False", 0, 1, None])
def test_compensation_is_true_or_false(call, wrong: object):
    with pytest.raises(ParameterError, match="compensate must be True or False"):
        call(wrong)


def test_a_file_with_no_numbers_is_refused_if_that_is_asked_for(tmp_path):
    path = tmp_path / "spoilt.exr"
    light = np.zeros((4, 6, 3), np.float32)
    light[1, 2] = np.nan

    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, {"RGB": light}).write(str(path))
    with pytest.raises(fg.PictureFileError, match="3 NaN"):
        fg.read_picture(path, non_finite="refuse")
    assert (fg.read_picture(path, non_finite="mend").radiance == 0).all()


def test_members_are_their_strings():
    class Side(Choice):
        LEFT = "left"
        RIGHT = "right"

    assert Side.of("side", "left") is Side.LEFT
    assert Side.of("side", Side.RIGHT) is Side.RIGHT
    assert str(Side.LEFT) == "left"
