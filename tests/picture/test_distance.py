"""Distance maps: fitted, filled, spread from typed places; rooms; a real map."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from skimage import data

from frontglass.errors import ParameterError
from frontglass.files.distance import read_distance
from frontglass.optics.camera import Camera
from frontglass.picture.distance import (
    DistancePoint,
    distance_from_points,
    fitted_distance,
    ray_distance,
)
from frontglass.picture.room import Room

EXAMPLES = Path(__file__).parents[2] / "examples"


def two_surfaces(height: int = 90, width: int = 160) -> tuple[np.ndarray, np.ndarray]:
    """Bright disc 2 m away before a dark wall at 8 m: light and distance."""
    y, x = np.mgrid[:height, :width]
    disc = np.hypot(y - height / 2, x - width / 2) < height / 3
    light = np.where(disc[..., None], 0.5, 0.05) * np.ones(3)
    return light.astype(np.float32), np.where(disc, 2.0, 8.0).astype(np.float32)


@pytest.mark.source("Euclid", "I.47: the ray is the long side of a right triangle")
def test_depth_becomes_distance_along_the_ray():
    got = ray_distance(np.full((4, 6), 3.0, np.float32), 2.0)
    assert got[0, 0] == pytest.approx(3 * math.sqrt(1 + 1.25**2 + 0.75**2))
    assert got[2, 3] == pytest.approx(3 * math.sqrt(1 + 2 * 0.25**2))


class TestFitted:
    def test_a_map_that_fits_is_left_alone(self):
        light, distance = two_surfaces()
        assert fitted_distance(distance, light) is distance

    def test_a_map_rounded_by_one_row_fits_and_one_of_another_frame_does_not(self):
        light = np.full((201, 301, 3), 0.2, np.float32)
        for rows in (100, 101):
            got = fitted_distance(np.full((rows, 150), 3.0, np.float32), light)
            np.testing.assert_allclose(got, 3, rtol=1e-6)
        with pytest.raises(ParameterError, match="shaped like the still of 301 x 201 px"):
            fitted_distance(np.full((102, 150), 3.0, np.float32), light)

    @pytest.mark.parametrize("factor", [2, 3, 5])
    def test_a_small_map_takes_the_edges_of_the_picture(self, factor):
        light, distance = two_surfaces()
        y0 = x0 = factor // 2
        small = distance[y0::factor, x0::factor]
        got = fitted_distance(small, light)
        assert set(np.unique(got)) <= {2.0, 8.0}  # no distance between is made up
        wrong = (got != distance).mean()
        plain = np.kron(small, np.ones((factor, factor)))[:90, :160]
        assert wrong < 0.3 * (plain != distance[: plain.shape[0], : plain.shape[1]]).mean()

    def test_a_slope_stays_a_slope(self):
        light = np.full((120, 200, 3), 0.2, np.float32)
        slope = np.broadcast_to(np.linspace(2, 4, 200, dtype=np.float32), (120, 200))
        small = np.ascontiguousarray(slope[2::5, 2::5])
        got = fitted_distance(small, light)
        np.testing.assert_allclose(got[:, 5:-5], slope[:, 5:-5], rtol=1e-3)

    def test_a_large_map_is_sampled_not_averaged(self):
        light, distance = two_surfaces()
        large = np.kron(distance, np.ones((4, 4), np.float32))
        np.testing.assert_array_equal(fitted_distance(large, light), distance)

    @pytest.mark.parametrize("edge", [np.s_[-1, :], np.s_[:, -1], np.s_[0, :], np.s_[:, 0]])
    def test_a_small_map_reaches_the_edges_of_the_frame(self, edge):
        small = np.full((8, 8), 2.0, np.float32)
        small[edge] = 8.0
        large = np.kron(small, np.ones((8, 8), np.float32))
        light = np.repeat(large[..., np.newaxis] / 10, 3, axis=2)
        np.testing.assert_array_equal(fitted_distance(small, light), large)

    def test_holes_are_filled_along_surfaces(self):
        light, distance = two_surfaces()
        holes = distance.copy()
        holes[20:70, 75:100] = np.nan
        holes[5, 7], holes[80, 150] = 0, -3
        got = fitted_distance(holes, light)
        assert (got > 0).all()
        kept = holes > 0
        np.testing.assert_array_equal(got[kept], distance[kept])
        close = np.abs(got / distance - 1) < 0.1
        assert close[~kept].mean() > 0.95

    def test_sky_stays_sky_beside_holes(self):
        light, distance = two_surfaces()
        distance[:20] = np.inf
        distance[3:6, 3:6] = np.nan
        got = fitted_distance(distance, light)
        assert np.isinf(got[:20]).all()
        assert np.isfinite(got[20:]).all()

    def test_one_known_place_fills_all(self):
        light, distance = two_surfaces()
        distance[:] = np.nan
        distance[11, 13] = 5.0
        np.testing.assert_allclose(fitted_distance(distance, light), 5.0, rtol=1e-5)

    def test_a_map_without_anything_is_refused(self):
        light, distance = two_surfaces()
        with pytest.raises(ParameterError, match="must be above 0 somewhere, got 'only holes'"):
            fitted_distance(distance * 0, light)

    def test_a_map_of_another_shape_is_refused(self):
        light, distance = two_surfaces()
        with pytest.raises(ParameterError, match="shaped like the still of 160 x 90 px"):
            fitted_distance(distance[:, :100], light)


@pytest.fixture(scope="module")
def motorcycle() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Light, distance and holes; the calibration is that of the data set's own description."""
    focal_px, baseline_m, offset_px = 994.978, 0.193001, 31.086
    left, _, disparity = data.stereo_motorcycle()
    light = ((left / 255.0) ** 2.2).astype(np.float32)
    holes = ~np.isfinite(disparity)
    depth = focal_px * baseline_m / (np.where(holes, 0, disparity) + offset_px)
    depth = np.where(holes, np.nan, depth).astype(np.float32)
    return light, ray_distance(depth, focal_px), holes


@pytest.mark.source("Middlebury2014", "Motorcycle, scikit-image's copy at a quarter size")
class TestARealMap:
    """A stereo pair with its measured disparity: real edges, real holes."""

    def test_its_holes_are_filled_with_distances_of_the_scene(self, motorcycle):
        light, distance, holes = motorcycle
        got = fitted_distance(distance, light)
        np.testing.assert_array_equal(got[~holes], distance[~holes])
        assert np.nanmin(distance) <= got[holes].min()
        assert got[holes].max() <= np.nanmax(distance) * 1.01

    def test_a_hidden_part_is_found_again(self, motorcycle):
        light, distance, holes = motorcycle
        hidden = np.random.default_rng(4).random(distance.shape) < 0.5
        hidden[200:230, 300:330] = True
        got = fitted_distance(np.where(hidden, np.nan, distance).astype(np.float32), light)
        off = np.abs(np.log(got / distance))[hidden & ~holes]
        print(
            f"median error {100 * np.median(off):.2f} %, 95 % {100 * np.percentile(off, 95):.1f} %"
        )
        assert np.median(off) < 0.02
        assert np.percentile(off, 90) < 0.25

    def test_a_fifth_of_its_size_is_enough(self, motorcycle):
        light, distance, _ = motorcycle
        whole = fitted_distance(distance, light)
        rows, columns = (n // 5 * 5 for n in whole.shape)
        whole, light = whole[:rows, :columns], np.ascontiguousarray(light[:rows, :columns])
        got = fitted_distance(np.ascontiguousarray(whole[2::5, 2::5]), light)
        off = np.abs(np.log(got / whole))
        plain = np.abs(np.log(np.kron(whole[2::5, 2::5], np.ones((5, 5))) / whole))
        print(f"off by over 5 %: {(off > 0.05).mean():.4f}, by squares {(plain > 0.05).mean():.4f}")
        assert (off > 0.05).mean() < 0.8 * (plain > 0.05).mean()
        assert np.median(off) < 0.005


class TestPoints:
    def test_one_point_is_everywhere(self):
        light, _ = two_surfaces()
        got = distance_from_points([DistancePoint(x_px=3, y_px=4, distance_m=3.3)], light)
        np.testing.assert_allclose(got, 3.3, rtol=1e-5)

    def test_points_are_met_and_edges_are_kept(self):
        light, distance = two_surfaces()
        points = [DistancePoint.from_text(text) for text in ("80,45,2", "10,10,8", "150,80,8")]
        got = distance_from_points(points, light)
        for point in points:
            at = int(point.y_px), int(point.x_px)
            assert got[at] == pytest.approx(point.distance_m, rel=1e-5)
        assert got.min() >= 2 * 0.999
        assert got.max() <= 8 * 1.001
        off = np.abs(np.log(got / distance))
        assert np.median(off) < 0.02
        assert np.percentile(off, 95) < 0.2

    def test_points_correct_a_room(self):
        light = np.full((90, 160, 3), 0.2, np.float32)
        room = Room(camera_m=1.5, back_m=6).distance_m((90, 160), 150.0)
        point = DistancePoint(x_px=80, y_px=45, distance_m=9.0)
        got = distance_from_points([point], light, room)
        np.testing.assert_allclose(got, room * (9 / room[45, 80]), rtol=1e-5)

    def test_a_point_on_the_sky_of_a_room_is_refused(self):
        light = np.full((90, 160, 3), 0.2, np.float32)
        room = Room(camera_m=1.5).distance_m((90, 160), 150.0)
        with pytest.raises(ParameterError, match="endless"):
            distance_from_points([DistancePoint(x_px=8, y_px=3, distance_m=9.0)], light, room)

    def test_points_elsewhere_are_refused(self):
        light, _ = two_surfaces()
        with pytest.raises(ParameterError, match="inside the still's 160 x 90"):
            distance_from_points([DistancePoint(x_px=160, y_px=4, distance_m=3)], light)
        with pytest.raises(ParameterError, match="one at least"):
            distance_from_points([], light)

    @pytest.mark.parametrize("text", ["", "1,2", "1,2,3,4", "a,2,3", "1,2,0", "-1,2,3", "1,2,inf"])
    def test_texts_that_are_no_point(self, text):
        with pytest.raises(ParameterError):
            DistancePoint.from_text(text)


class TestRoom:
    @pytest.mark.source(
        "Traced2026", "cafe.py: camera at 1.6 m, tilted by 0.11, walls at 3.6 and 9.5"
    )
    def test_the_cafe_is_a_room(self):
        camera = Camera.from_field(52.0)
        scale = camera.px_per_rad(1280)
        room = Room(
            camera_m=1.6, back_m=9.5, left_m=3.6, right_m=3.6, ceiling_m=3.2,
            horizon_px=360 - 0.11 * scale,
        )  # fmt: skip
        traced = read_distance(EXAMPLES / "cafe_1280_distance.exr").metres
        ratio = room.distance_m((720, 1280), scale) / traced
        # Places that show bare wall and floor: bricks left and right of the window, and above the
        # board; floor between the tables.
        for rows, columns in (
            (np.s_[100:240], np.s_[150:190]),
            (np.s_[40:60], np.s_[580:700]),
            (np.s_[60:240], np.s_[20:90]),
        ):
            np.testing.assert_allclose(ratio[rows, columns], 1, atol=0.01)
        assert (np.abs(ratio - 1) < 0.02).mean() > 0.3

    @pytest.mark.source("Euclid", "VI.4: similar triangles")
    def test_floor_and_wall_of_a_level_camera(self):
        room = Room(camera_m=1.5, back_m=6.0)
        got = room.distance_m((101, 101), 50.0)
        assert got[50, 50] == pytest.approx(6.0)
        # 40 px below the horizon: a slope of 0.8; the floor is 1.5 / 0.8 m away.
        assert got[90, 50] == pytest.approx(1.5 / 0.8 * math.hypot(1, 0.8))
        assert Room(camera_m=1.5).distance_m((101, 101), 50.0)[20, 50] == math.inf
        between = Room(left_m=2.0, right_m=2.0).distance_m((101, 101), 50.0)
        assert (between[:, 50] > 0).all()

    def test_a_wall_to_the_right(self):
        room = Room(back_m=6.0, right_m=2.0, vanishing_px=30.5)
        got = room.distance_m((101, 101), 50.0)
        # Straight along the room is where its lines meet; the right wall cuts the frame after.
        assert got[50, 30] == pytest.approx(6.0, rel=1e-6)
        assert got[50, 100] < got[50, 60] < 6.5

    @pytest.mark.parametrize(
        "text", ["", "back", "back=a", "depth=3", "back=-1", "camera=2,ceiling=1.9", "back=nan"]
    )
    def test_texts_that_are_no_room(self, text):
        with pytest.raises(ParameterError):
            Room.from_text(text)

    def test_text(self):
        assert Room.from_text("back=9,ceiling=3, camera=1.6") == Room(
            back_m=9, ceiling_m=3, camera_m=1.6
        )


@pytest.mark.parametrize("flip", [np.s_[:], np.s_[:, ::-1], np.s_[::-1], np.s_[::-1, ::-1]])
def test_on_one_surface_typed_distances_count_by_the_inverse_cube_of_the_way(flip):
    # Ways go along pixels and their diagonals; each is half a pixel longer than counted.
    places, metres = np.array([[1, 1], [2, 7]]), np.array([1.0, 4.0])
    y, x = np.mgrid[:6, :9]
    total, weights = np.zeros((6, 9)), np.zeros((6, 9))
    for (row, column), far in zip(places, metres, strict=True):
        down, across = np.abs(y - row), np.abs(x - column)
        way = np.maximum(down, across) + (math.sqrt(2) - 1) * np.minimum(down, across)
        total += np.log(far) / (way + 0.5) ** 3
        weights += 1 / (way + 0.5) ** 3
    want = np.exp(total / weights)
    for (row, column), far in zip(places, metres, strict=True):
        want[row, column] = far
    marks = np.zeros((6, 9))
    marks[tuple(places.T)] = metres
    points = [
        DistancePoint(
            x_px=float(column), y_px=float(row), distance_m=float(marks[flip][row, column])
        )
        for row, column in np.argwhere(marks[flip])
    ]
    got = distance_from_points(points, np.full((6, 9, 3), 0.2, np.float32))
    np.testing.assert_allclose(got, want[flip], rtol=1e-5)


@pytest.mark.parametrize(("x", "y"), [(9, 2), (4, 6), (9, 6)])
def test_a_point_on_the_far_border_is_outside(x: int, y: int):
    light = np.full((6, 9, 3), 0.2, np.float32)
    with pytest.raises(ParameterError, match=f"inside the still's 9 x 6 px, got '{x},{y}'"):
        distance_from_points([DistancePoint(x_px=x, y_px=y, distance_m=2.0)], light)
    corner = DistancePoint(x_px=8, y_px=5, distance_m=2.0)
    np.testing.assert_allclose(distance_from_points([corner], light), 2, rtol=1e-6)
