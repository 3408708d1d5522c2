"""A scout still framed as another lens would see it; what a still was shot with."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.encoding import Alpha, Native, NativeKind
from frontglass.picture.region import Region
from frontglass.picture.wider import framed, region_in
from frontglass.pipeline import rendering
from frontglass.pipeline.framing import _said_of_frame
from frontglass.pipeline.rendering import Conditions

# 6.8 mm on 9.75 mm across corners: 26 mm equivalent.
PHONE = fg.ShotData(focal_length_mm=6.8, focal_length_35mm=26, f_number=1.8)
AS = fg.TakingLens.from_text("50mm,super35,2.39,T4")
SIZE = (120, 160)


def still(shot: fg.ShotData = PHONE) -> fg.Picture:
    light = np.full((*SIZE, 3), 0.02, np.float32)
    light[10:12, 30:32] = 40  # a lamp, outside of the frame of a 50 mm lens
    light[58:60, 70:73] = 3
    return replace(fg.Picture(radiance=light), shot=shot)


@pytest.fixture(scope="module")
def framing() -> fg.Framing:
    return fg.Framing(taking=AS)


def test_the_frame_is_in_the_middle_with_the_cameras_own_numbers(framing):
    frame = framing.framed(still())
    # 26 x 200 / 43.2666 is 120.19 px: 59.8 x 25.0 px.
    assert (frame.width_px, frame.height_px) == (60, 25)
    assert frame.wider is not None
    assert frame.wider.region == fg.Region(50, 48, 60, 25)
    camera, notices = framing.camera_for(frame)
    assert (camera.focal_length_mm, camera.f_number) == (50, 4)
    assert camera.px_per_rad(60) == pytest.approx(120.185, abs=2e-3)
    assert camera.sensor_width_mm == pytest.approx(24.89, rel=0.5 / 60)
    assert "60 x 25 px from 50,48, 28 by 11.9 degrees of the still's 67.3 by 53.1" in notices[0]
    assert notices[1] == "The frame is 60 px wide: halos are right, detail is coarse."
    whole = framing.camera_for(still()).camera
    assert whole.px_per_rad(160) == pytest.approx(camera.px_per_rad(60))


@pytest.mark.parametrize("name", ["harbour-night", "late-tram"])
def test_light_from_round_the_frame_reaches_it(framing, name):
    # Ghosts are mirrored about the middle of each.
    look = fg.read_look(name).with_glass(returns=0.0)
    frame = framing.framed(still())
    seen = fg.render(frame, look, camera=framing.camera_for(frame).camera)
    whole = fg.render(still(), look, camera=framing.camera_for(still()).camera)
    # Half a pixel in the frame's width, as the sensor's is rounded to pixels.
    np.testing.assert_allclose(seen.radiance, whole.radiance[48:73, 50:110], rtol=1e-6, atol=1e-9)
    assert seen.wider is None
    alone = fg.render(replace(frame, wider=None), look, camera=framing.camera_for(frame).camera)
    assert np.abs(seen.radiance / alone.radiance - 1).max() > 0.02


def test_what_the_file_held_is_cut_with_the_frame(framing):
    codes = np.arange(4 * SIZE[0] * SIZE[1], dtype=np.uint32).reshape(*SIZE, 4)
    encoding = replace(
        still().encoding,
        native=Native(NativeKind.CMYK, codes),
        alpha=Alpha(codes[..., 0]),
        carried={"exr_channels": {"Z": codes[..., 1]}},
    )
    framed = framing.framed(replace(still(), encoding=encoding))
    held, cut = framed.encoding, framed.wider.region.cut(codes)
    np.testing.assert_array_equal(held.native.codes, cut)
    np.testing.assert_array_equal(held.alpha.codes, cut[..., 0])
    np.testing.assert_array_equal(held.carried["exr_channels"]["Z"], cut[..., 1])


def test_no_look_leaves_the_frame_as_it_is(framing):
    frame = framing.framed(still())
    seen = fg.render(frame, ())
    np.testing.assert_array_equal(seen.radiance, still().radiance[48:73, 50:110])


def test_places_typed_on_the_still_mean_the_same_in_the_frame(framing):
    lamps = (fg.LampPlace(x_px=71, y_px=59, distance_m=4.0), fg.LampPlace(x_px=31, y_px=11))
    whole = replace(
        still(), lamps=lamps, distance_m=np.arange(19200, dtype=np.float32).reshape(SIZE) + 1
    )
    frame = framing.framed(whole)
    assert frame.lamps == (fg.LampPlace(x_px=21, y_px=11, distance_m=4.0),)
    assert frame.distance_m is not None
    assert frame.distance_m[11, 21] == 59 * 160 + 71 + 1
    inside = region_in(fg.Region(70, 58, 3, 2), frame)
    np.testing.assert_array_equal(inside.cut(frame.radiance), np.float32(3))
    assert region_in(fg.Region(70, 58, 3, 2), still()) == fg.Region(70, 58, 3, 2)
    with pytest.raises(fg.ParameterError, match=r"60 x 25 px from 50,48 of the still.*'30,10,2,2'"):
        region_in(fg.Region(30, 10, 2, 2), frame)


def test_the_frame_leans_to_one_side_and_never_out_of_the_still():
    left = fg.Framing(taking=AS, aim=(30, 60)).framed(still())
    assert left.wider is not None
    assert left.wider.region == fg.Region(0, 48, 60, 25)
    said = r"from 30,12 to 130,108, so that the frame of 60 x 25 px stays in the still, got '20,60'"
    with pytest.raises(fg.ParameterError, match=said):
        fg.Framing(taking=AS, aim=(20, 60)).framed(still())
    told = fg.Framing(taking=AS, aim=(30, 13)).camera_for(
        fg.Framing(taking=AS, aim=(30, 13)).framed(still())
    )
    # atan(hypot(50, 47) / 120.2) is 29.7 degrees, 1 / cos of which is 1.151.
    assert "30 degrees off the axis" in told.notices[-1]
    assert "15% smaller" in told.notices[-1]
    with pytest.raises(fg.ParameterError, match="aim must be given with a taking lens"):
        fg.Framing(aim=(30, 60))


def test_what_is_not_known_of_the_taking_lens_is_said_or_refused():
    plain = fg.Framing(taking=fg.TakingLens.from_text("50mm,super35"))
    assert "stop of the taking lens is not said: assumed f/2.8" in plain.camera_for(still())[1][0]
    assert fg.Framing(taking=plain.taking, f_number=5.6).camera_for(still()).camera.f_number == 5.6
    with pytest.raises(fg.ParameterError, match=r"stop must be that of --as 50mm,super35,2.39,T4"):
        fg.Framing(taking=AS, f_number=2.8)
    for unknown in (fg.ShotData(), fg.ShotData(focal_length_mm=6.8)):
        said = r"as must be for a still whose field is known, .* does not say lens and sensor"
        with pytest.raises(fg.ParameterError, match=said):
            plain.framed(still(unknown))
    typed = fg.Framing(taking=AS, lens_mm=26)
    # 32 x 24 mm of full frame are 4:3: 26 x 160 / 32 is 130 px.
    assert typed.framed(still(fg.ShotData())).width_px == 65
    assert "taken as shot on a full-frame sensor" in typed.camera_for(still(fg.ShotData()))[1][0]
    assert not replace(typed, sensor="36x24").camera_for(still(fg.ShotData())).notices


def test_targets_have_the_frame_of_the_taking_lens(framing):
    assert framing.height_for_width(2390) == 1000
    assert framing.camera_for_width(2390).camera == fg.Camera(
        focal_length_mm=50, f_number=4, sensor_width_mm=24.89
    )
    assert fg.Framing().height_for_width(1920) == 1080
    assert fg.Framing(sensor="36x24").height_for_width(3000) == 2000


class TestWhatTheStillWasShotWith:
    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"lens_mm": 50}, "its file 6.8 mm, 26 mm equivalent, got '50 mm'"),
            ({"lens_mm": 50, "sensor": "super35"}, "type --as 50mm,super35"),
            ({"lens_mm": 26, "sensor": "super35"}, "type --as 26mm,super35"),
            ({"sensor": "super35"}, "11.3 mm across corners, got 'super35, 31.1 mm across"),
            ({"lens_mm": 6.8, "sensor": "full-frame"}, "'full-frame, 40 mm across corners'"),
        ],
    )
    def test_a_contradiction_is_one_line_with_both_values(self, typed, said):
        with pytest.raises(fg.ParameterError) as caught:
            fg.Framing(**typed).camera_for(still())
        assert said in str(caught.value)
        assert "--no-exif" in str(caught.value)

    @pytest.mark.parametrize(
        "typed",
        [
            {"lens_mm": 26},
            {"lens_mm": 26, "sensor": "full-frame"},
            {"lens_mm": 7},
            {"sensor": "9x6.75"},
        ],
    )
    def test_what_agrees_leaves_the_field_alone(self, typed):
        plain = fg.Framing().camera_for(still()).camera
        choice = fg.Framing(**typed).camera_for(still())
        assert choice.camera.horizontal_field_deg == pytest.approx(
            plain.horizontal_field_deg, rel=0.05
        )

    def test_an_equivalent_is_understood_and_said_so(self):
        camera, notices = fg.Framing(lens_mm=26).camera_for(still())
        assert camera == fg.Framing().camera_for(still()).camera
        assert "26 mm is taken for the 26 mm equivalent" in notices[0]
        assert "the lens itself is 6.8 mm" in notices[0]

    def test_a_wrong_file_can_be_left_out(self):
        framing = fg.Framing(lens_mm=50, f_number=2, sensor="super35", lens_from="typed")
        assert framing.camera_for(still()) == framing.camera_for(still(fg.ShotData()))

    @pytest.mark.parametrize("said", [{"focal_length_mm": 6.8}, {"focal_length_35mm": 26}])
    def test_a_file_that_says_one_of_both_is_contradicted_too(self, said):
        with pytest.raises(fg.ParameterError, match="lens must be what the still was shot with"):
            fg.Framing(lens_mm=50).camera_for(still(fg.ShotData(**said)))

    def test_a_sensor_that_the_file_names_is_not_contradicted_either(self):
        shot = fg.ShotData(focal_length_mm=35, sensor_width_mm=24.89)
        with pytest.raises(fg.ParameterError, match="sensor must be what the still was shot with"):
            fg.Framing(sensor="one-inch").camera_for(still(shot))
        assert fg.Framing(lens_mm=35, sensor="super35").camera_for(still(shot))


def test_where_the_axis_meets_a_frame_is_told_from_its_own_corner():
    # Ghosts lie mirrored about the axis: those of a lamp in the frame move with it.
    light = np.full((90, 140, 3), 0.002, np.float32)
    light[38:41, 62:65] = 500
    whole = fg.Picture(radiance=light)
    camera = fg.Camera(focal_length_mm=50, f_number=1.4, sensor_width_mm=36, focus_m=math.inf)
    pane = fg.Look(elements=(fg.Plate(returns=0.02),))
    region = Region(40, 20, 70, 50)
    own = replace(camera, sensor_width_mm=36 * 70 / 140)
    for axis in ((35.0, 25.0), (30.0, 29.0)):
        frame = Conditions(camera=own, axis_px=axis).seen(framed(whole, region), pane)
        there = (axis[0] + 40, axis[1] + 20)
        seen = Conditions(camera=camera, axis_px=there).seen(whole, pane)
        np.testing.assert_allclose(frame.radiance, region.cut(seen.radiance), rtol=1e-5)
    middle = Conditions(camera=own).seen(framed(whole, region), pane)
    assert np.abs(middle.radiance - frame.radiance).max() > 0.01


@pytest.mark.parametrize(
    ("shot", "typed", "is_sure"),
    [
        ({"focal_length_35mm": 24.0}, {}, True),
        ({"focal_length_mm": 24.0, "sensor_width_mm": 36.0}, {}, True),
        ({"focal_length_mm": 24.0}, {"sensor": "full-frame"}, True),
        ({"sensor_width_mm": 36.0}, {"lens_mm": 24.0}, True),
        ({}, {"lens_mm": 24.0, "sensor": "full-frame"}, True),
        ({}, {"lens_mm": 24.0}, False),
        ({"focal_length_mm": 24.0}, {}, None),
        ({"sensor_width_mm": 36.0}, {}, None),
        ({"focal_length_35mm": 24.0}, {"lens_from": "typed"}, None),
        ({}, {"sensor": "full-frame"}, None),
    ],
)
def test_a_field_is_known_by_lens_and_sensor_or_by_the_equivalent(shot, typed, is_sure):
    whole = still(fg.ShotData(**shot))
    framing = fg.Framing(taking=AS, **typed)
    if is_sure is None:
        with pytest.raises(fg.ParameterError, match=r"^as must be for a still whose field is"):
            framing.framed(whole)
        return
    choice = framing.camera_for(framing.framed(whole))
    told = "The still is taken as shot on a full-frame sensor (else type --sensor)."
    assert (told not in choice.notices) is is_sure
    # Of a full-frame sensor that is named a still of 4:3 shows 32 of the 36 mm.
    shown_mm = 32 if "sensor" in typed or not is_sure else 36
    width_px = 160 * 24.89 / shown_mm * 24 / 50
    assert framing.framed(whole).width_px == pytest.approx(width_px, abs=3)


@pytest.mark.parametrize(
    ("x_px", "width_px", "said"),
    [
        (1680, 640, []),
        (1680, 639, ["The frame is 639 px wide: halos are right, detail is coarse."]),
        # 36 mm of 24 mm focal length are 4000 px: a pixel is 0.000375 of the focal length, and a
        # stretch of 1.03 is at 0.2468 of it, 658 px from the middle.
        (1680 - 657, 640, []),
        (
            1680 + 659,
            640,
            [
                "The frame lies 14 degrees off the axis, and keeps the still's perspective; turned"
                " there, a camera sees it 3% smaller."
            ],
        ),
    ],
)
def test_what_is_less_exact_of_a_frame_is_told_from_there_on(x_px, width_px, said):
    whole = fg.Picture(radiance=np.zeros((4, 4000, 3), np.float32))
    scout = fg.Framing(lens_mm=24, sensor="36x0.036").camera_for(whole)
    assert scout.camera.px_per_rad(4000) == pytest.approx(24 / 36 * 4000)
    first, *more = _said_of_frame(Region(x_px, 0, width_px, 4), whole, scout, AS)
    assert first.startswith(
        f"Framed as 50mm,super35,2.39,T4 sees it: {width_px} x 4 px from {x_px},0"
    )
    assert more == said


@pytest.mark.parametrize(("own", "seen_at"), [(None, (80.0, 60.5)), ((10.0, 5.0), (60.0, 53.0))])
def test_the_axis_meets_a_frame_in_its_own_middle_unless_somebody_says_where(
    framing, monkeypatch, own, seen_at
):
    told = []

    def through(picture, _, **how):
        told.append((picture.width_px, how["axis_px"], how["camera"].sensor_width_mm))
        return picture

    monkeypatch.setattr(rendering, "through_light_path", through)
    frame = framing.framed(still())
    camera = fg.Camera(focal_length_mm=50, sensor_width_mm=24)
    conditions = Conditions(camera=camera, axis_px=own)
    assert conditions.seen(frame, []) is frame  # nothing has changed
    # The whole still is seen, on a sensor as much wider as it is than the frame, 60 px from 50,48.
    assert told == [(160, seen_at, pytest.approx(24 * 160 / 60))]
