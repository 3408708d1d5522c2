"""Ghosts while the camera moves: against their lamps, and in haze none."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.looks import Look
from frontglass.picture.encoding import Encoding
from frontglass.pipeline.rendering import Conditions
from frontglass.sheets.moving_ghosts import MovingGhosts
from frontglass.sheets.sway import BESIDE_GAP_PX, FRAMES, _ghosts_said, side_by_side, sway

CAMERA = fg.Camera(
    focal_length_mm=50, f_number=1.4, sensor_width_mm=36, filter_distance_mm=40, focus_m=math.inf
)
PANE = Look(elements=(fg.Plate(returns=0.02),), name="pane")
SIZE = (120, 180)
LAMP = (45, 70)


def still() -> fg.Picture:
    light = np.full((*SIZE, 3), 0.002, np.float32)
    light[LAMP[0] - 1 : LAMP[0] + 2, LAMP[1] - 1 : LAMP[1] + 2] = 300
    return fg.Picture(radiance=light, encoding=Encoding.linear())


@pytest.fixture(scope="module")
def loop():
    return sway(still(), [PANE], camera=CAMERA, pan_deg=2.0, width_px=180)


def spots(codes: np.ndarray) -> tuple[np.ndarray, ...]:
    """Middles (x, y) of what is white and of what is bright beside it."""
    light = codes[..., 1].astype(np.float64)
    lamp = (light > 250).astype(np.uint8)
    ghost = np.where(cv2.dilate(lamp, np.ones((7, 7))) > 0, 0, np.maximum(light - 60, 0))
    y, x = np.indices(light.shape)
    return tuple(
        np.array([np.average(x, weights=part), np.average(y, weights=part)])
        for part in (lamp, ghost)
    )


def test_lamps_go_one_way_and_ghosts_the_other_in_step(loop):
    pan_px = CAMERA.px_per_rad(SIZE[1]) * math.tan(math.radians(2))
    middle = np.array([loop.frames[0].shape[1], loop.frames[0].shape[0]]) / 2 - 0.5
    rest = np.array([LAMP[1] - (SIZE[1] - 1) / 2, LAMP[0] - (SIZE[0] - 1) / 2])
    for number in range(0, FRAMES, 5):
        turn = 2 * math.pi * number / FRAMES
        pan = pan_px * np.array([math.cos(turn), math.sin(turn)])
        lamp, ghost = spots(loop.frames[number])
        np.testing.assert_allclose(lamp, middle + rest - pan, atol=0.6)
        # Mirrored about the middle of the frame, wherever the camera points.
        np.testing.assert_allclose(ghost, middle - rest + pan, atol=0.6)


def test_it_is_said(loop):
    assert (
        "The ghost of a lamp is seen, and in a pan of 2 degrees goes 4 against it." in loop.verdict
    )


def test_without_lamps_or_glass_nothing_swims():
    mist = Look(elements=(fg.Veil(veil_share=0.01),), name="mist")
    bare = sway(still(), [mist], camera=CAMERA, width_px=120)
    assert "ghost" not in bare.verdict
    dark = fg.Picture(radiance=np.full((*SIZE, 3), 0.2, np.float32), encoding=Encoding.linear())
    assert "ghost" not in sway(dark, [PANE], camera=CAMERA, width_px=120).verdict


def test_what_is_before_the_lens_spreads_ghosts_and_takes_no_light():
    glow = fg.Glow(optical_depth=0.7, lobes=(fg.GaussianLobe(sigma_deg=0.5),))
    misty = Look(elements=(*PANE.elements, glow), name="misty-pane")
    dark = np.zeros((*SIZE, 3), np.float32)
    sharp, spread = (
        MovingGhosts(still(), [look], CAMERA, Conditions(camera=CAMERA)).over(dark, 3.0, -2.0)
        for look in (PANE, misty)
    )
    assert spread.sum() == pytest.approx(sharp.sum(), rel=1e-3)
    assert 0.1 < spread.max() / sharp.max() < 0.9


def test_loops_beside_one_another_are_one(loop):
    both = side_by_side([loop, loop], ["pane 1", "haze 1"])
    height, width, _ = loop.frames[0].shape
    assert len(both.frames) == FRAMES
    assert both.frames[0].shape[1] == 2 * width + BESIDE_GAP_PX
    np.testing.assert_array_equal(both.frames[3][-height:, :width], loop.frames[3])
    np.testing.assert_array_equal(both.frames[3][-height:, -width:], loop.frames[3])
    assert [line.split(":")[0] for line in both.verdict.splitlines()] == ["pane 1", "haze 1"]


def test_glass_and_haze_beside_each_other_at_the_command_line(tmp_path):
    path = tmp_path / "quay.exr"
    fg.write_picture(path, still())
    words = ["sway", path, "--look", "harbour-night", "--look", "grain-loft", "--beside"]
    lens = ["--lens", "50mm", "--sensor", "36x24", "--stop", "1.4", "--filter-distance", "40mm"]
    out = tmp_path / "both.gif"
    how = ["--distance", "90,60,6", "--width", "96", "-o", out]
    result = CliRunner().invoke(app, [str(word) for word in (*words, *lens, *how)])
    assert result.exit_code == 0, result.output
    assert out.exists()
    assert "harbour-night 1:" in result.stdout
    assert "grain-loft 1:" in result.stdout


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        (0, ""),
        (1, " The ghost of a lamp is seen, and in a pan of 1.5 degrees goes 3 against it."),
        (3, " 3 ghosts of lamps are seen, and in a pan of 1.5 degrees go 3 against them."),
    ],
)
def test_how_far_ghosts_go_is_twice_the_pan(seen: int, said: str):
    assert _ghosts_said(seen, 1.5) == said
