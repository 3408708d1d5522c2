"""What is known of a space comes to its still: maps by file and folder, rooms, typed distances."""

from __future__ import annotations

import math
from dataclasses import FrozenInstanceError
from pathlib import Path

import numpy as np
import OpenEXR
import pytest
import tifffile

import frontglass as fg
from frontglass.files.distance import DistanceKind
from frontglass.picture.encoding import Encoding
from frontglass.picture.region import Region
from frontglass.pipeline.space import map_of

# 40 px across 36 mm at 36 mm: 40 px in a tangent of 1.
CAMERA = fg.Camera(focal_length_mm=36, sensor_width_mm=36)
# From the axis to the middle of the corner's pixel, 19.5 px and 14.5 px.
TO_THE_CORNER = math.sqrt(1 + (19.5**2 + 14.5**2) / 40**2)
STILL = fg.Picture(radiance=np.full((30, 40, 3), 0.2, np.float32), encoding=Encoding.linear())


@pytest.fixture
def depth(tmp_path: Path) -> Path:
    path = tmp_path / "pier_depth.tif"
    tifffile.imwrite(path, np.full((30, 40), 3.0, np.float32))
    return path


def test_a_map_that_does_not_say_what_it_is_is_taken_for_depth(depth: Path):
    seen = fg.Space(depth=depth, depth_scale_m=2.0).around(STILL, CAMERA, Path("pier.tif"))
    assert seen.distance_m[0, 0] == pytest.approx(6 * TO_THE_CORNER, rel=1e-5)
    (notice,) = seen.notices
    assert notice.startswith("pier_depth.tif is taken for depth along the axis of the lens; say")


def test_a_map_of_floats_says_that_they_are_metres(depth: Path):
    seen = fg.Space(depth=depth).around(STILL, CAMERA, Path("pier.tif"))
    (notice,) = seen.notices
    assert notice == (
        "pier_depth.tif is taken for depth along the axis of the lens, in metres; say "
        "--depth-is ray if it is distance along each ray."
    )


@pytest.mark.parametrize(
    ("channel", "said", "corner"),
    [
        ("distance", "for distance along each ray, in metres, by the name of its channel", 3.0),
        ("Z", "for depth along the axis of the lens, in metres, by the", 3 * TO_THE_CORNER),
    ],
)
def test_a_map_whose_channel_says_what_it_is_says_so(tmp_path, channel, said, corner):
    path = tmp_path / "pier.exr"
    header = {"compression": OpenEXR.ZIP_COMPRESSION, "type": OpenEXR.scanlineimage}
    OpenEXR.File(header, {channel: np.full((30, 40), 3.0, np.float32)}).write(str(path))
    seen = fg.Space(depth=path).around(STILL, CAMERA, Path("pier.tif"))
    (notice,) = seen.notices
    assert said in notice
    assert seen.distance_m[0, 0] == pytest.approx(corner, rel=1e-5)


@pytest.mark.parametrize(("kind", "corner"), [("ray", 3.0), ("depth", 3 * TO_THE_CORNER)])
def test_a_map_is_what_it_is_said_to_be(depth: Path, kind: str, corner: float):
    space = fg.Space(depth=depth.parent, depth_scale_m=1.0, depth_kind=kind)
    assert space.depth_kind is DistanceKind(kind)
    seen = space.around(STILL, CAMERA, depth.with_name("pier.png"))
    assert seen.distance_m[0, 0] == pytest.approx(corner, rel=1e-5)
    assert seen.notices == ()


def test_typed_distances_stand_alone_or_correct_a_room():
    room = fg.Room(camera_m=1.5)
    alone = fg.Space(room=room).around(STILL, CAMERA, Path("a")).distance_m
    point = fg.DistancePoint(x_px=20, y_px=29, distance_m=2 * float(alone[29, 20]))
    both = fg.Space(room=room, points=(point,)).around(STILL, CAMERA, Path("a")).distance_m
    known = np.isfinite(alone)
    np.testing.assert_allclose(both[known], 2 * alone[known], rtol=1e-4)
    typed = fg.Space(points=(fg.DistancePoint(x_px=5, y_px=5, distance_m=4),))
    np.testing.assert_allclose(typed.around(STILL, CAMERA, Path("a")).distance_m, 4, rtol=1e-5)


def test_a_space_of_nothing_leaves_the_still_as_it_is():
    bare = fg.Space()
    assert not bare.has_distance
    assert bare.around(STILL, CAMERA, Path("a")).distance_m is None


def test_a_folder_must_hold_one_map_and_the_still_is_none(depth: Path):
    still = depth.with_name("pier.tif")
    still.write_bytes(b"")
    assert map_of(depth.parent, still) == depth
    assert map_of(depth, still) == depth
    depth.with_name("pier_distance.tif").write_bytes(b"")
    with pytest.raises(fg.PictureFileError, match=r"several distance maps for pier\.tif"):
        map_of(depth.parent, still)
    with pytest.raises(fg.PictureFileError, match="no distance map"):
        map_of(depth.parent, depth.with_name("gate.tif"))


def test_without_a_sensor_a_picture_is_as_wide_as_sixteen_to_nine():
    whole = fg.Framing(lens_mm=50).camera_for_width(1600).camera
    still = fg.Picture(radiance=np.ones((900, 1600, 3), np.float32), encoding=Encoding.linear())
    assert whole == fg.Framing(lens_mm=50).camera_for(still).camera


@pytest.mark.parametrize(
    ("value", "name"),
    [
        (fg.Recipe(), "compensate"),
        (fg.Space(), "room"),
        (fg.Framing(), "lens_mm"),
        (fg.Room(camera_m=1.5), "camera_m"),
        (Region(0, 0, 4, 4), "width_px"),
    ],
)
def test_what_describes_a_still_cannot_be_changed(value: object, name: str):
    with pytest.raises(FrozenInstanceError):
        setattr(value, name, 1)
