"""Ghosts of lamps on pictures: where, how bright, of what; and what throws none."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

import frontglass as fg
from frontglass.elements import Passage, Plate
from frontglass.elements.ghost_mirror import Glass
from frontglass.elements.ghosts import ghosts_in
from frontglass.elements.lamp_patches import lamps_found
from frontglass.errors import LookError, ParameterError
from frontglass.looks import Look
from frontglass.optics.plate import plate_reflectance
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.picture.wider import framed

# 144 px are 36 mm: 200 px a radian, 0.05 degrees of which nothing is lost on the way.
CAMERA = fg.Camera(
    focal_length_mm=50, f_number=1.4, sensor_width_mm=36, filter_distance_mm=40, focus_m=math.inf
)
SIZE = (96, 144)
LAMP = 600.0
PX_PER_RAD = CAMERA.px_per_rad(SIZE[1])
PLATE = Plate(index=1.52, returns=0.02)
MIRRORED = plate_reflectance((0.52 / 2.52) ** 2)


def night(*lamps: tuple[int, int], size: tuple[int, int] = SIZE) -> np.ndarray:
    light = np.full((*size, 3), 0.01, np.float32)
    for row, column in lamps:
        light[row, column] = LAMP
    return light


def added(light: np.ndarray, *elements, camera: fg.Camera = CAMERA) -> np.ndarray:
    """What elements lay over light, in green."""
    return (fg.render(light, elements, camera=camera) - light)[..., 1].astype(np.float64)


def kept(row: int, column: int, camera: fg.Camera = CAMERA) -> float:
    """Share of a pupil that shares with itself, moved aside by twice the way to the plate."""
    away = math.hypot(row - (SIZE[0] - 1) / 2, column - (SIZE[1] - 1) / 2) / PX_PER_RAD
    aside = 2 * camera.filter_distance_mm * away / camera.entrance_pupil_mm
    return 2 / math.pi * (math.acos(aside) - aside * math.sqrt(1 - aside**2))


@pytest.mark.parametrize("focus_m", [math.inf, 3.0])
def test_a_light_path_lays_ghosts_over_the_light_itself(focus_m):
    passage = Passage(camera=replace(CAMERA, focus_m=focus_m), surround=fg.Surround.LAMPLESS)
    light = night((30, 60))
    kept_light, lost = light.copy(), light.copy()
    apart = PLATE.through(kept_light, passage)
    assert kept_light.tobytes() == light.tobytes()
    assert PLATE.through_over(lost, passage) is lost
    assert lost.tobytes() == apart.tobytes() != light.tobytes()


def test_the_ghost_of_a_lamp_is_opposite_and_as_bright_as_the_physics_says():
    ghost = added(night((30, 60)), PLATE)
    row, column = SIZE[0] - 1 - 30, SIZE[1] - 1 - 60
    expected = LAMP * 0.02 * MIRRORED * kept(30, 60)
    assert ghost[row, column] == pytest.approx(expected, rel=1e-4)
    ghost[row, column] = 0
    assert np.abs(ghost).max() == 0


def test_a_lamp_moved_right_moves_its_ghost_left_by_as_much():
    before, after = (added(night((30, column)), PLATE) for column in (60, 67))
    (row, column), moved = (np.unravel_index(x.argmax(), SIZE) for x in (before, after))
    assert tuple(moved) == (row, column - 7)


def test_a_tilt_moves_it_up_or_to_the_right_by_twice_the_angle():
    untilted = np.array([SIZE[0] - 1 - 50, SIZE[1] - 1 - 75])
    for tilt, sense in (((2.0, 0.0), (-1, 0)), ((0.0, 2.0), (0, 1))):
        ghost = added(night((50, 75)), replace(PLATE, tilt_deg=tilt))
        rows, columns = np.indices(SIZE)
        middle = np.array([np.average(part, weights=ghost) for part in (rows, columns)])
        moved = PX_PER_RAD * math.tan(math.radians(4))
        np.testing.assert_allclose(middle - untilted, np.multiply(sense, moved), atol=0.05)


def test_strength_takes_glass_away_or_leaves_it():
    look = Look(elements=(PLATE,))
    light = night((30, 60))
    whole = fg.render(light, look, camera=CAMERA)
    for strength in ("1/8", 2):
        some = fg.render(light, look.at(strength), camera=CAMERA)
        np.testing.assert_array_equal(some, whole)
    assert fg.render(light, look.at(0), camera=CAMERA).tobytes() == light.tobytes()
    assert look.at("1/8").light_loss_stops == pytest.approx(-math.log2(1 - MIRRORED))


@pytest.mark.parametrize("focus_m", [math.inf, 0.8])
def test_ghosts_hold_no_more_light_than_the_camera_sent_back(focus_m):
    camera = replace(CAMERA, focus_m=focus_m)
    light = night((20, 40), (50, 70), (70, 110))
    for plate in (PLATE, replace(PLATE, tilt_deg=(3.0, 2.0), blades=7)):
        ghost = added(light, plate, camera=camera)
        assert ghost.min() >= -1e-6
        assert 0 < ghost.sum() <= 3 * LAMP * 0.02 * MIRRORED * 1.01


def test_a_look_may_be_nothing_but_a_pane():
    text = 'name = "pane"\nsummary = "s"\nwatch = "w"\n[[element]]\nkind = "plate"\nindex = 1.52\n'
    pane = Look.from_toml(text)
    ghost = fg.render(night((30, 60)), pane, camera=CAMERA) - night((30, 60))
    assert ghost[SIZE[0] - 1 - 30, SIZE[1] - 1 - 60, 1] > 0.1
    assert Look.from_toml(pane.to_toml()) == pane


@pytest.mark.parametrize("level", [0.9, 3.0, 40.0])
def test_walls_windows_and_even_fields_throw_none(level):
    wall = night()
    wall[:, :80] = level
    assert not added(wall, PLATE).any()
    assert not added(np.full((*SIZE, 3), level, np.float32), PLATE).any()


def test_what_a_clipped_lamp_had_lost_makes_its_ghost():
    light, lost = night(), np.zeros((*SIZE, 3), np.float32)
    light[30, 60], lost[30, 60] = 1.0, LAMP - 1
    still = Picture(radiance=light, recovered=lost, encoding=Encoding.linear())
    seen = fg.render(still, PLATE, camera=CAMERA).radiance
    ghost = added(night((30, 60)), PLATE)
    np.testing.assert_allclose((seen - light)[..., 1], ghost, atol=1e-6)
    assert seen[30, 60, 1] == pytest.approx(1.0)
    # A still that clips and nobody knows by how much has no lamps.
    assert not added(light, PLATE).any()


def test_a_lamp_of_a_colour_that_no_display_has_throws_its_ghost():
    light = night()
    light[30:42, 60:72] = LAMP * np.array([1, -0.5, -0.5], np.float32)
    for focus_m in (math.inf, 3.0):
        seen = fg.render(light, PLATE, camera=replace(CAMERA, focus_m=focus_m)) - light
        assert seen[..., 0].sum() == pytest.approx(-2 * seen[..., 1].sum(), rel=1e-3)
        assert seen[..., 0].sum() > 1


def test_coatings_and_tints_make_it_fainter_and_coloured():
    light = night((30, 60))
    at = SIZE[0] - 1 - 30, SIZE[1] - 1 - 60
    bare = (fg.render(light, PLATE, camera=CAMERA) - light)[at]
    for plate in (
        Plate(coating="multi", returns=0.02),
        Plate(coating="single", returns=0.02),
        Plate(reflectance=0.02, tint=(0.5, 1.0, 0.25), returns=0.02),
    ):
        ghost = (fg.render(light, plate, camera=CAMERA) - light)[at]
        told = [plate.plate_reflectance(channel) / MIRRORED for channel in range(3)]
        np.testing.assert_allclose(ghost / bare, told, rtol=1e-4)
    assert Plate(coating="multi").plate_reflectance(1) == pytest.approx(0.006, rel=0.01)


@pytest.mark.parametrize("width_px", [144, 720])
def test_out_of_focus_it_is_a_disc_that_holds_the_same_light(width_px):
    camera = replace(CAMERA, focus_m=1.0)
    fine = width_px // 144
    light = night(size=(96 * fine, 144 * fine))
    # About the middle, so that hardly anything of it is cut off.
    light[48 * fine : 49 * fine, 72 * fine : 73 * fine] = LAMP
    ghost = added(light, PLATE, camera=camera)
    sent = LAMP * fine**2 * 0.02 * MIRRORED
    assert ghost.sum() == pytest.approx(sent, rel=0.02)
    across = 2 * camera.entrance_pupil_mm / 1000 * 0.96 * camera.px_per_rad(width_px)
    rows, columns = np.indices(ghost.shape)
    about = np.average(columns, weights=ghost)
    deviation = math.sqrt(np.average((columns - about) ** 2, weights=ghost))
    # Of a disc, and of the lamp that it is laid for.
    assert 4 * deviation == pytest.approx(math.hypot(across, 2 * fine / math.sqrt(3)), rel=0.03)
    # No rings: within its rim a disc is even.
    y, x = rows - np.average(rows, weights=ghost), columns - about
    inner = ghost[np.hypot(x, y) < 0.35 * across]
    assert np.ptp(inner) < 0.02 * inner.mean()


def test_a_disc_is_cut_off_where_light_misses_the_pupil():
    camera = replace(CAMERA, focus_m=1.0)
    light = night()
    light[48, 100] = LAMP
    ghost = added(light, PLATE, camera=camera)
    rows, columns = np.nonzero(ghost > 0.5 * ghost.max())
    assert np.ptp(columns) < 0.75 * np.ptp(rows)


def test_a_preview_shows_the_same():
    big = night(size=(192, 288))
    big[60:64, 100:104] = LAMP
    small = big.reshape(96, 2, 144, 2, 3).mean((1, 3)).astype(np.float32)
    for camera in (CAMERA, replace(CAMERA, focus_m=2.0)):
        tilted = replace(PLATE, tilt_deg=(1.0, -1.5))
        one = added(big, tilted, camera=camera).reshape(96, 2, 144, 2).mean((1, 3))
        other = added(small, tilted, camera=camera)
        assert one.sum() == pytest.approx(other.sum(), rel=1e-3)
        assert np.abs(one - other).max() < 0.1 * other.max()


@pytest.mark.parametrize("focus_m", [3.0, 0.8])
def test_the_ghost_of_a_wide_lamp_is_that_of_all_its_points(focus_m):
    """Rays at random, each from a point of the lamp through a point of the pupil."""
    camera = replace(CAMERA, focus_m=focus_m)
    size, left, top, side = (200, 300), 190, 50, 30
    light = night(size=size)
    light[top : top + side, left : left + side] = LAMP
    ghost = added(light, PLATE, camera=camera)
    path, px = PLATE.glass.path(camera), camera.px_per_rad(size[1])
    rng = np.random.default_rng(5)
    pupil = np.sqrt(rng.random(500_000)) / 2 * np.exp(2j * np.pi * rng.random(500_000))
    x, y = (rng.uniform(start, start + side, len(pupil)) for start in (left, top))
    lamp = ((x - size[1] / 2) + 1j * (y - size[0] / 2)) / px
    k = 1 - 2 * path.distance_m / focus_m
    back = k * pupil + 2 * path.distance_m / path.pupil_m * lamp
    comes = np.abs(back) < 0.5
    falls = (-k * lamp + path.blur * pupil)[comes] * px
    places = falls.imag + size[0] / 2, falls.real + size[1] / 2
    rays = np.histogram2d(*places, bins=size, range=((0, size[0]), (0, size[1])))[0]
    rays *= side**2 * LAMP * PLATE.returns * MIRRORED / len(pupil)
    assert ghost.sum() == pytest.approx(rays.sum(), rel=3e-3)
    # Squares of 5 px, for rays are few: 14,000 in each.
    some, all_rays = (one.reshape(40, 5, 60, 5).mean(axis=(1, 3)) for one in (ghost, rays))
    np.testing.assert_allclose(some, all_rays, atol=0.05 * all_rays.max())


@pytest.mark.parametrize("focus_m", [math.inf, 10.0, 4.0])
def test_a_wide_lamp_behind_a_tilted_plate_has_an_even_ghost(focus_m):
    camera = replace(CAMERA, focal_length_mm=24, filter_distance_mm=20, focus_m=focus_m)
    light = night(size=(320, 480))
    light[70:130, 120:200] = 90
    ghost = added(light, replace(PLATE, tilt_deg=(6.0, -4.0)), camera=camera)
    inner = ndimage.binary_erosion(ghost > 0.2 * ghost.max(), iterations=6)
    assert inner.sum() > 2000
    # Lines between squares of pixels were 10 %; a pupil that is cut off falls off smoothly.
    for axis in (0, 1):
        bend = ndimage.correlate1d(ghost, [0.5, -1, 0.5], axis=axis)
        assert np.abs(bend[inner] / ghost[inner]).max() < 2e-3


def test_glass_that_leans_by_45_degrees_throws_none_into_the_frame():
    close = replace(CAMERA, filter_distance_mm=2)
    for focus_m in (math.inf, 1.0):
        camera = replace(close, focus_m=focus_m)
        assert not added(night((30, 60)), replace(PLATE, tilt_deg=(45.0, 0.0)), camera=camera).any()


def test_a_wedge_throws_two_ghosts():
    ghost = added(night((40, 60)), replace(PLATE, wedge_deg=(0.0, 1.0)))
    opposite = SIZE[1] - 1 - 60
    apart = 2 * PX_PER_RAD * math.tan(math.radians(1.52))
    columns = ghost[SIZE[0] - 1 - 40 - 1 : SIZE[0] - 1 - 40 + 2].sum(0)
    assert columns[opposite] > 0
    far = np.arange(opposite + 3, opposite + 12)
    assert np.average(far, weights=columns[far]) == pytest.approx(opposite + apart, abs=0.1)
    # And light that goes to and fro in the glass stands beside the lamp.
    beside = added(night((40, 60)), replace(PLATE, wedge_deg=(0.0, 1.0)))[40, 63:72].sum()
    assert beside == pytest.approx(LAMP * (0.52 / 2.52) ** 4, rel=0.01)


def test_two_panes_catch_light_between_them():
    light = night((40, 60))
    panes = (PLATE, replace(PLATE, tilt_deg=(0.0, 1.0)))
    got = added(light, *panes)
    # The outer one leans less: twice the angle to the left.
    apart = 2 * PX_PER_RAD * math.tan(math.radians(1))
    near = np.arange(50, 59)
    assert got[40, near].sum() == pytest.approx(LAMP * MIRRORED**2, rel=1e-3)
    assert np.average(near, weights=got[40, near]) == pytest.approx(60 - apart, abs=0.05)
    # Parallel ones catch it on the lamp itself, where it is not told from the lamp.
    both = added(light, PLATE, PLATE)
    one = added(light, PLATE)
    np.testing.assert_allclose(both, one * (1 + (1 - MIRRORED) ** 2), atol=1e-6)


def test_what_scatters_before_the_lens_scatters_ghosts():
    mist = fg.Glow(optical_depth=0.5, lobes=(fg.GaussianLobe(sigma_deg=3),))
    light = night((30, 60))
    bare = added(light, PLATE)
    ghost = fg.render(light, (mist, PLATE), camera=CAMERA, surround="dark")
    ghost = (ghost - fg.render(light, mist, camera=CAMERA, surround="dark"))[..., 1]
    at = np.unravel_index(bare.argmax(), SIZE)
    assert ghost[at] == pytest.approx(bare[at] * math.exp(-0.5), rel=0.02)
    assert ghost.sum() == pytest.approx(bare.sum(), rel=0.02)


@pytest.mark.parametrize("name", ["fine-net", "wide-net", "torch-wash", "grain-loft"])
def test_nets_haze_and_bare_lenses_throw_none(name):
    assert fg.read_look(name).with_glass(returns=0.5) == fg.read_look(name)


def test_a_frame_of_the_taking_lens_is_mirrored_about_its_own_middle():
    still = Picture(radiance=night((30, 40)), encoding=Encoding.linear())
    frame = framed(still, Region(20, 10, 72, 48))
    camera = replace(CAMERA, sensor_width_mm=18)
    seen = fg.render(frame, PLATE, camera=camera).radiance
    ghost = (seen - frame.radiance)[..., 1]
    # The lamp is at 20,20 of the frame of 48 x 72 px.
    assert np.argwhere(ghost == ghost.max()).tolist() == [[47 - 20, 71 - 20]]


def glass() -> Glass:
    return replace(PLATE, returns=0.01).glass


def test_lamps_whose_ghosts_are_seen_are_told_and_a_tilt_that_hides_them():
    light = night((30, 60), (44, 20))
    found = ghosts_in(light, lamps_found(light), glass(), CAMERA)
    first = found.seen[0]
    assert first.lamp_px == pytest.approx((60, 30))
    assert first.ghost_px == pytest.approx((SIZE[1] - 1 - 60, SIZE[0] - 1 - 30))
    assert first.level == pytest.approx(LAMP * 0.01 * MIRRORED * kept(30, 60), rel=1e-3)
    assert found.tilt_deg is not None
    hidden = replace(PLATE, returns=0.01, tilt_deg=found.tilt_deg).glass
    assert not ghosts_in(light, lamps_found(light), hidden, CAMERA).seen
    less = tuple(part * 0.8 for part in found.tilt_deg)
    shown = replace(PLATE, returns=0.01, tilt_deg=less).glass
    assert ghosts_in(light, lamps_found(light), shown, CAMERA).seen
    # On what is white anyway it is not seen.
    bright = light.copy()
    bright[40:, 60:] = 1.0
    assert not ghosts_in(bright, lamps_found(light), glass(), CAMERA).seen


def test_notes_say_which_lamps_throw_ghosts():
    still = Picture(radiance=night((30, 60)), encoding=Encoding.linear())
    unknown = replace(CAMERA, focus_m=None)
    notices = fg.render(still, PLATE, camera=unknown).notices
    assert "the lamp at 60,30 one at 83,65." in notices[0]
    assert notices[1].startswith("--tilt")
    assert "Focus is not known" in notices[2]
    faint = replace(PLATE, coating="multi", returns=1e-4)
    assert not fg.render(still, faint, camera=CAMERA).notices


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("tilt_deg = [90.0, 0.0]", r"tilt_deg must be in \[-45, 45\], got 90"),
        ("tilt_deg = 5.0", "tilt_deg must be two angles"),
        ("reflectance = 1.2", r"reflectance must be in \[0, 1\], got 1.2"),
        ("index = 0.9", r"index must be in \[1, 4\], got 0.9"),
        ("tint = [30.0, 1.0, 1.0]", "tint must be such that no surface mirrors more"),
        ('coating = "gold"', "coating must be 'none', 'single' or 'multi', got 'gold'"),
        ("blades = 3", "blades must be 0 or a whole number from 5 to 18, got 3"),
        ("returns = 2", r"returns must be in \[0, 1\], got 2"),
        ('reflectance = 0.1\ncoating = "multi"', "coating must be left out beside reflectance"),
        ("wedge = 1", "unknown key 'wedge'"),
    ],
)
def test_what_no_plate_is_gets_one_line(line, said):
    text = f'name = "pane"\nsummary = "s"\nwatch = "w"\n[[element]]\nkind = "plate"\n{line}\n'
    with pytest.raises(LookError, match=rf"element\[0\] \(plate\): {said}") as error:
        Look.from_toml(text)
    assert "\n" not in str(error.value)


def test_a_focus_nearer_than_the_filter_is_refused():
    with pytest.raises(ParameterError, match=r"focus_m must be farther than the filter, 0\.04 m"):
        replace(CAMERA, focus_m=0.03)
