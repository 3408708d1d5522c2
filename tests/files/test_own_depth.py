"""Depth that a phone writes into its still: metres, and haze by it."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import LookError, ParameterError
from frontglass.files.jpeg_segments import APP1
from tests.files.phones import XMP_HEAD, depth_xmp, heic, jpeg, jpeg_with_behind, xmp

CAMERA = fg.Camera(focal_length_mm=30, sensor_width_mm=36)
GREY = np.full((128, 192, 3), 120, np.uint8)
GREY[:, 96:] = 60
NEAR_FAR = np.zeros((64, 96), np.uint8)
NEAR_FAR[:, :48] = 255
NEAR_FAR[:, 48:] = 51
# 1/m from 0 to 0.5: 2 m on the left, 10 m on the right.
SAID = depth_xmp("disparity", 0.0, 0.5, "absolute")


def in_xmp(form: str, data: bytes) -> bytes:
    text = base64.b64encode(data).decode()
    fields = f' GDepth:Format="{form}" GDepth:Near="2" GDepth:Far="10" GDepth:Units="m"'
    return xmp(
        f'{fields} GDepth:Data="{text}"', "GDepth", "http://ns.google.com/photos/1.0/depthmap/"
    )


def png(codes: np.ndarray) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(codes).save(buffer, "PNG")
    return buffer.getvalue()


HOLDS = {
    "heic": lambda: heic(GREY, depth=(NEAR_FAR, SAID)),
    "jpeg": lambda: jpeg_with_behind(jpeg(GREY), jpeg(NEAR_FAR, (APP1, XMP_HEAD + SAID))),
    # There 0 is near and the highest number far, by inverse depth or evenly.
    "text": lambda: jpeg(
        GREY, (APP1, XMP_HEAD + in_xmp("RangeInverse", png((NEAR_FAR < 99) * np.uint8(255))))
    ),
    "even": lambda: jpeg(
        GREY, (APP1, XMP_HEAD + in_xmp("RangeLinear", png((NEAR_FAR < 99) * np.uint8(255))))
    ),
}


@pytest.mark.parametrize("form", HOLDS)
def test_every_form_gives_the_same_metres(tmp_path: Path, form: str):
    path = tmp_path / "counter"
    path.write_bytes(HOLDS[form]())
    own = fg.read_picture(path).own_depth
    assert own.scale == "metres"
    assert own.depth_m[30, 10] == pytest.approx(2, rel=0.02)
    assert own.depth_m[30, 80] == pytest.approx(10, rel=0.02)


def test_haze_finds_the_depth_by_itself_and_dims_by_it(tmp_path: Path):
    """Against transmittance typed here: exp(-0.1 z / cos), on a still without airlight."""
    path = tmp_path / "counter.heic"
    path.write_bytes(heic(GREY, depth=(NEAR_FAR, SAID)))
    still = fg.read_picture(path)
    haze = fg.Haze(extinction_per_m=0.1, airlight=(0, 0, 0))
    seen = fg.render(still, haze, camera=CAMERA, grain=False)
    ratio = (seen.radiance / still.radiance)[64, [48, 150], 1]
    scale = CAMERA.px_per_rad(192)
    longer = [np.hypot(1, (x + 0.5 - 96) / scale) for x in (48, 150)]
    np.testing.assert_allclose(ratio, np.exp(-0.1 * np.array([2, 10]) * longer), rtol=0.02)
    assert any("file's own depth, 2 m near by" in note for note in seen.notices)
    # A map that was typed wins.
    typed = fg.Picture(
        radiance=still.radiance,
        distance_m=np.full((128, 192), 5.0, np.float32),
        own_depth=still.own_depth,
    )
    other = fg.render(typed, haze, camera=CAMERA, grain=False)
    np.testing.assert_allclose(
        (other.radiance / still.radiance)[64, [48, 150], 1], np.exp(-0.5), rtol=1e-3
    )


def test_one_typed_distance_puts_all_right(tmp_path: Path):
    path = tmp_path / "counter.heic"
    path.write_bytes(heic(GREY, depth=(NEAR_FAR, depth_xmp("disparity", 0.0, 0.5))))
    still = fg.read_picture(path)
    assert still.own_depth.scale == "about"
    assert "ratios alone" in still.own_depth.said()
    space = fg.Space(points=(fg.DistancePoint(x_px=40, y_px=60, distance_m=3.0),))
    placed = space.around(still, CAMERA, path).distance_m
    assert placed[60, 40] == pytest.approx(3, rel=1e-5)
    assert placed[60, 150] / placed[60, 40] == pytest.approx(5, rel=0.06)
    outside = fg.Space(points=(fg.DistancePoint(x_px=400, y_px=60, distance_m=3.0),))
    with pytest.raises(ParameterError, match="inside the still's 192 x 128 px"):
        outside.around(still, CAMERA, path)


def test_two_typed_distances_put_right_what_is_added_to_inverse_depth(tmp_path: Path):
    """A phone writes d where 2 d - 0.15 is true: 1.18 m and 20 m, not 2 m and 10 m."""
    path = tmp_path / "counter.heic"
    path.write_bytes(heic(GREY, depth=(NEAR_FAR, depth_xmp("disparity", 0.0, 0.5))))
    still = fg.read_picture(path)
    longer = [np.hypot(1, (x + 0.5 - 96) / CAMERA.px_per_rad(192)) for x in (48, 150, 20, 180)]
    near, far = 1 / (2 * 0.5 - 0.15), 1 / (2 * 0.1 - 0.15)
    points = tuple(
        fg.DistancePoint(x_px=x, y_px=64, distance_m=z * stretch)
        for x, z, stretch in zip((48, 150), (near, far), longer[:2], strict=True)
    )
    placed = fg.Space(points=points).around(still, CAMERA, path).distance_m
    others = placed[64, [20, 180]] / longer[2:]
    np.testing.assert_allclose(others, [near, far], rtol=0.03)


def test_depths_without_a_unit_ask_for_one_distance(tmp_path: Path):
    path = tmp_path / "counter.jpg"
    text = in_xmp("RangeInverse", png(NEAR_FAR)).replace(b' GDepth:Units="m"', b"")
    path.write_bytes(jpeg(GREY, (APP1, XMP_HEAD + text)))
    still = fg.read_picture(path)
    with pytest.raises(LookError, match="type how far one place is"):
        fg.render(still, fg.Haze(extinction_per_m=0.1), camera=CAMERA)


def test_the_commands_use_it(tmp_path: Path):
    path = tmp_path / "counter.heic"
    path.write_bytes(heic(GREY, depth=(NEAR_FAR, SAID)))
    shown = CliRunner().invoke(
        app, ["distance", str(path), "--lens", "30mm", "--sensor", "full-frame"]
    )
    assert shown.exit_code == 0, shown.output
    assert "own depth" in " ".join(shown.stderr.split())
    hazed = CliRunner().invoke(
        app,
        ["apply", str(path), "--look", "grain-loft:1", "--lens", "30mm", "--sensor", "full-frame"],
    )
    assert hazed.exit_code == 0, hazed.output


@pytest.mark.parametrize(("low", "high"), [(0.5, 0.1), (-1, 1), (0, float("inf"))])
def test_a_map_of_nonsense_is_left_out_with_a_note(tmp_path: Path, low: float, high: float):
    path = tmp_path / "counter.heic"
    path.write_bytes(heic(GREY, depth=(NEAR_FAR, depth_xmp("disparity", low, high))))
    still = fg.read_picture(path)
    assert still.own_depth is None
    assert any("depth map is damaged" in note for note in still.notices)


def test_two_distances_at_one_depth_set_the_unit_and_nothing_else():
    depth = np.linspace(1, 6, 30, dtype=np.float32) * np.ones((20, 1), np.float32)
    own = fg.OwnDepth(depth_m=depth)
    still = fg.Picture(radiance=np.full((20, 30, 3), 0.2, np.float32))
    longer = own.distance_m(still, CAMERA) / depth
    # Both in one column: of one depth in the file, twice as far as that says.
    points = [
        fg.DistancePoint(x_px=9, y_px=y, distance_m=2 * float(depth[y, 9] * longer[y, 9]))
        for y in (4, 15)
    ]
    found = own.distance_m(still, CAMERA, tuple(points))
    np.testing.assert_allclose(found, 2 * depth * longer, rtol=1e-4)
