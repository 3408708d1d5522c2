"""The moving camera: what boils, what turns, what does neither, and files that play."""

from __future__ import annotations

import sys
from dataclasses import replace

import cv2
import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.elements import GaussianLobe, Glow, Net, Veil
from frontglass.errors import ParameterError, PictureFileError
from frontglass.looks import Look
from frontglass.optics.speckle import halo_correlation
from frontglass.picture.encoding import Encoding
from frontglass.pipeline.rendering import Conditions
from frontglass.sheets.boiling import Boiling, BoilingLamp, lamps_of
from frontglass.sheets.sway import FRAMES, _MovingLight, half_pan_deg, sway, write_loop
from frontglass.sheets.views import view

# A small pupil, a small lamp: 25 mm at f/16 is 1.6 mm.
CAMERA = fg.Camera(focal_length_mm=25, f_number=16, sensor_width_mm=36)


def scene() -> fg.Picture:
    light = np.full((90, 160, 3), 0.01, np.float32)
    light[45, 80] = 3000
    return fg.Picture(radiance=light, encoding=Encoding.linear())


def look_of(*elements) -> Look:
    return Look(name="pier", summary="s", watch="w", elements=elements)


GLOW = look_of(Glow(optical_depth=0.5, lobes=(GaussianLobe(sigma_deg=2.0),)))
NET = look_of(Net(pitch_mm=0.5, thread_mm=0.06))


def middles(loop) -> np.ndarray:
    """Frames moved back so that the lamp stays where it is, and cut alike."""
    out = []
    for codes in loop.frames:
        y, x = np.unravel_index(codes.sum(axis=2).argmax(), codes.shape[:2])
        out.append(codes[y - 25 : y + 26, x - 25 : x + 26].astype(float))
    return np.stack(out)


def boiling(exaggerate: float = 1.0) -> Boiling:
    picture = scene()
    return Boiling.of(
        small=picture,
        full=picture,
        looks=[GLOW],
        camera=CAMERA,
        lamps=lamps_of(picture),
        exaggerate=exaggerate,
    )


def test_halos_of_a_glow_boil_more_than_those_of_nothing():
    still, moving = (
        sway(scene(), [look], camera=CAMERA, pan_deg=1.0, exaggerate=20)
        for look in (look_of(Veil(veil_share=0.05)), GLOW)
    )
    assert len(moving.frames) == FRAMES
    assert moving.frames[0].shape == still.frames[0].shape
    change = [middles(loop).std(axis=0).mean() for loop in (still, moving)]
    assert change[1] > change[0] + 1
    assert "nothing boils" in still.verdict
    assert "needles" in moving.verdict
    assert "20 times too strong" in moving.verdict


@pytest.mark.source("Goodman2007", "sec. 5.2: field correlation is the overlap of the pupils")
@pytest.mark.parametrize("slide", [0.125, 0.25, 0.5])
def test_what_is_drawn_forgets_at_the_rate_of_the_pupils_overlap(slide):
    drawn = boiling()
    pupil = CAMERA.entrance_pupil_mm
    inner = (slice(30, 60), slice(60, 100), 1)
    got = []
    for start in np.arange(6) * 1.7 * pupil:
        first, second = (drawn.at(start + s, 0.4 * start)[inner] for s in (0, slide * pupil))
        got.append(np.corrcoef(first.ravel(), second.ravel())[0, 1])
    assert np.mean(got) == pytest.approx(float(halo_correlation(slide)), abs=0.08)


def test_structure_takes_no_light_away():
    assert boiling().at(0.3, 0.2).mean() == pytest.approx(1, abs=0.02)
    conditions = Conditions(camera=CAMERA)
    seen = conditions.seen(scene(), [GLOW]).radiance
    moved = _MovingLight(scene(), [GLOW], conditions, boiling()).over(seen, 0.3, 0.2)
    assert np.abs(moved - seen).max() > 1e-4
    assert moved.mean() == pytest.approx(seen.mean(), rel=0.02)


def test_dots_of_a_net_turn_and_come_back():
    loop = sway(scene(), [NET], camera=CAMERA, pan_deg=2, exaggerate=10)
    frames = middles(loop)
    quarter = FRAMES // 4
    # Up and down the draped threads lean to opposite sides; to the left and right they do not.
    apart = np.abs(frames[quarter] - frames[3 * quarter]).mean()
    level = np.abs(frames[0] - frames[2 * quarter]).mean()
    assert apart > level + 0.5
    assert "dots of the net turn" in loop.verdict


def test_the_loop_closes():
    loop = sway(scene(), [GLOW], camera=CAMERA)
    steps = [
        np.abs(a.astype(float) - b).mean()
        for a, b in zip(loop.frames, (*loop.frames[1:], loop.frames[0]), strict=True)
    ]
    assert steps[-1] < 1.5 * max(steps[:-1])


def test_half_of_it_has_changed_after_a_pan_of():
    # Half at a slide of .234 pupils: 1.5625 mm, 80 mm before the pupil.
    assert half_pan_deg(CAMERA) == pytest.approx(np.degrees(0.234 * 1.5625 / 80), rel=0.01)


def test_a_still_without_lamps_says_so():
    dark = scene().with_radiance(np.full((90, 160, 3), 0.2, np.float32))
    assert "no lamp" in sway(dark, [GLOW], camera=CAMERA).verdict


def test_a_pan_that_leaves_no_frame_is_refused():
    with pytest.raises(ParameterError, match="pan_deg"):
        sway(scene(), [GLOW], camera=fg.Camera(focal_length_mm=600, sensor_width_mm=36), pan_deg=5)


@pytest.mark.parametrize("name", ["a.webp", "a.gif", "a.mp4"])
def test_files_play(tmp_path, name):
    loop = sway(scene(), [GLOW], camera=CAMERA)
    path = tmp_path / name
    write_loop(path, loop)
    if path.suffix == ".mp4":
        film = cv2.VideoCapture(str(path))
        count = 0
        while film.read()[0]:
            count += 1
        film.release()
        assert count == FRAMES
        return
    with Image.open(path) as film:
        assert film.n_frames > FRAMES // 2
        assert film.size == loop.frames[0].shape[1::-1]
        assert film.info["loop"] == 0


def test_other_formats_are_refused(tmp_path):
    with pytest.raises(PictureFileError, match=r"\.webp, \.gif or \.mp4"):
        write_loop(tmp_path / "a.avi", sway(scene(), [GLOW], camera=CAMERA))
    assert list(tmp_path.iterdir()) == []


def test_a_veil_beside_a_glow_does_not_boil():
    # In the dark corner only the veil's light stands: it must not change with the move.
    narrow = Glow(optical_depth=0.5, lobes=(GaussianLobe(sigma_deg=0.5),))
    veiled = look_of(narrow, Veil(veil_share=0.3))
    loop = sway(scene(), [veiled], camera=CAMERA, pan_deg=0.5, exaggerate=50)
    corners = np.stack([codes[:12, :12].mean() for codes in loop.frames])
    assert np.ptp(corners) < 1


def test_a_large_still_is_reduced_with_its_distances():
    small = scene()
    light = np.repeat(np.repeat(small.radiance, 2, axis=0), 2, axis=1)
    far = np.full(light.shape[:2], 3, np.float32)
    large = fg.Picture(radiance=light, encoding=Encoding.linear(), distance_m=far)
    loop = sway(large, [GLOW], camera=CAMERA, width_px=160)
    assert loop.frames[0].shape == sway(small, [GLOW], camera=CAMERA).frames[0].shape


def test_a_pan_of_one_degree_cuts_its_own_width_off_each_side():
    # 160 px of 36 mm at 25 mm: a degree is 1.94 px, so 2 go on each side.
    loop = sway(scene(), [look_of(Veil(veil_share=0.05))], camera=CAMERA)
    assert {frame.shape for frame in loop.frames} == {(86, 156, 3)}


def test_the_refusal_says_how_far_the_picture_would_move():
    camera = fg.Camera(focal_length_mm=600, sensor_width_mm=36)
    # 160 x 600 / 36 x tan(5 degrees)
    with pytest.raises(ParameterError, match=r"got 233\.3"):
        sway(scene(), [GLOW], camera=camera, pan_deg=5)


@pytest.fixture
def _one_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first frame alone, at the level of the still: a net is then laid but once."""
    monkeypatch.setattr(sys.modules[write_loop.__module__], "FRAMES", 1)


@pytest.mark.usefixtures("_one_frame")
def test_threads_turn_a_fifth_of_a_degree_in_a_millimetre():
    loop = sway(scene(), [NET], camera=CAMERA, pan_deg=2)
    # From end to end of the circle: 2 x 80 mm x tan(2 degrees) x 0.2.
    assert "turn by some 1.1 degrees" in loop.verdict


@pytest.mark.usefixtures("_one_frame")
def test_a_net_at_the_level_of_the_frame_is_the_net_as_it_is():
    loop = sway(scene(), [NET], camera=CAMERA, pan_deg=1.03, exaggerate=30)
    seen = fg.render(scene(), [NET], camera=CAMERA)
    # 1.998 px to the right, and no turn: the frame begins 2 + 2 px from the left.
    part = replace(seen, radiance=np.ascontiguousarray(seen.radiance[2:-2, 4:]))
    want = view(part, (156, 86)).astype(float)
    got = loop.frames[0].astype(float)
    away = np.hypot(*np.mgrid[-43:43, -76:80]) > 4
    assert np.abs(got - want)[away].mean() < 0.5


def test_each_lamp_rules_its_own_neighbourhood():
    picture = scene()
    near, far = (BoilingLamp(x_px=x, y_px=45.0, radius_px=1.0, flux=50.0) for x in (30.0, 130.0))

    def drawn(lamps: list[BoilingLamp]) -> np.ndarray:
        return Boiling.of(
            small=picture, full=picture, looks=[GLOW], camera=CAMERA, lamps=lamps, exaggerate=1e6
        ).at(0.3, 0.1)

    alone, both = drawn([near]), drawn([near, far])
    part = np.s_[40:51, 25:36]
    # At 5 px of one and 95 of the other the cubes of the ways are as 1 to 2000.
    scale = np.abs(alone[part] - 1).mean()
    assert scale > 0.1
    assert np.abs(both[part] - alone[part]).max() < 0.02 * scale


def test_lamps_are_found_with_their_place_their_size_and_their_light():
    light = np.full((40, 60, 3), 0.5, np.float32)
    light[10:12, 20:24] = (2.0, 1.0, 0.5)
    light[30, 50] = 40.0
    light[0, 0] = 1.0
    found = lamps_of(scene().with_radiance(light))
    # The brightest channel counts, and the lamp with most light comes first.
    assert [lamp.flux for lamp in found] == [40, 16, 1]
    assert [(lamp.x_px, lamp.y_px) for lamp in found] == [(50, 30), (21.5, 10.5), (0, 0)]
    assert np.pi * found[1].radius_px ** 2 == pytest.approx(8)
