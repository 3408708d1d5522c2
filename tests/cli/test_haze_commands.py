"""Haze on the command line: distances, lamps, numbers, sheets."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner, Result

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.distance import DistanceKind
from frontglass.picture.distance import DistancePoint
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.room import Room
from frontglass.pipeline.space import map_of

Run = Callable[..., Result]
CAMERA = ("--lens", "30mm", "--stop", "2.8", "--sensor", "super35")
LENS = fg.Camera(focal_length_mm=30, f_number=2.8, sensor_width_mm=24.89)


@pytest.fixture
def run() -> Run:
    def command(*words: object) -> Result:
        return CliRunner().invoke(app, [str(word) for word in words])

    return command


@pytest.fixture
def still(tmp_path) -> Path:
    codes = np.random.default_rng(3).integers(10, 40, (48, 64, 3), np.uint8)
    codes[10:13, 40:43] = 255
    Image.fromarray(codes).save(tmp_path / "scout.png")
    return tmp_path / "scout.png"


@pytest.fixture
def depth(tmp_path) -> Path:
    metres = np.broadcast_to(np.linspace(2, 9, 64, dtype=np.float32), (48, 64))
    np.save(tmp_path / "far.npy", metres)
    return tmp_path / "far.npy"


def one_line(result: Result) -> str:
    assert result.exit_code == 1, result.output
    assert result.stderr.count("\n") == 1
    return result.stderr


class TestApply:
    def test_the_file_is_the_librarys_bit_for_bit(self, run, still, depth, tmp_path):
        options = ("--depth", depth, "--depth-is", "ray", "--lamp", "41,11,6m")
        result = run(
            "apply", still, "--look", "wharf-morning", *options, *CAMERA, "-o", tmp_path / "a.png"
        )
        assert result.exit_code == 0, result.output
        assert "glow in the haze are 6.0 m away" in result.stderr
        assert "Airlight of the haze is estimated" in result.stderr
        space = fg.Space(
            depth=depth,
            depth_kind=DistanceKind.RAY,
            lamps=(LampPlace(x_px=41, y_px=11, distance_m=6),),
        )
        framing = fg.Framing(lens_mm=30, f_number=2.8, sensor="super35")
        bare = fg.with_recovered_light(fg.read_picture(still)).picture
        camera = framing.camera_for(bare).camera
        picture = space.around(bare, camera, still)
        seen = fg.render(picture, [fg.read_look("wharf-morning")], camera=camera)
        fg.write_picture(tmp_path / "b.png", seen)
        assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()

    def test_a_still_without_distance_is_told_what_to_give(self, run, still):
        said = one_line(run("apply", still, "--look", "grain-loft", *CAMERA))
        for words in ("--depth FILE", "--distance X,Y,METRES", "--room"):
            assert words in said

    @pytest.mark.parametrize(
        "options",
        [
            ("--distance", "10,10,3"),
            ("--room", "back=8"),
            ("--distance", "9,9,2", "--room", "back=8"),
        ],
    )
    def test_without_a_map(self, run, still, tmp_path, options):
        out = tmp_path / "o.png"
        result = run("apply", still, "--look", "grain-loft", *options, *CAMERA, "-o", out)
        assert result.exit_code == 0, result.output
        assert out.read_bytes() != still.read_bytes()

    @pytest.mark.parametrize(
        ("options", "said"),
        [
            (("--depth", "none.npy"), "none.npy: cannot be read"),
            (("--distance", "10,10"), "distance must be X,Y,METRES"),
            (("--distance", "100,10,3"), "inside the still's 64 x 48 px"),
            (("--room", "wide=3"), "room must be NAME=NUMBER"),
            (("--lamp", "1"), "lamp must be X,Y with"),
        ],
    )
    def test_what_is_wrong_is_one_line(self, run, still, options, said):
        assert said in one_line(run("apply", still, "--look", "grain-loft", *options, *CAMERA))

    def test_a_map_and_a_room_are_too_much(self, run, still, depth):
        result = run("apply", still, "--look", "grain-loft", "--depth", depth, "--room", "back=3")
        assert "A map says how far everything is" in one_line(result)

    def test_glass_does_not_ask(self, run, still, tmp_path):
        out = tmp_path / "o.png"
        assert run("apply", still, "--look", "slate-roof", *CAMERA, "-o", out).exit_code == 0


class TestDistance:
    def test_a_sheet(self, run, still, depth, tmp_path):
        out = tmp_path / "sheet.png"
        result = run("distance", still, "--depth", depth, *CAMERA, "-o", out, "--width", 900)
        assert result.exit_code == 0, result.output
        assert "far.npy is taken for depth along the axis" in result.stderr
        with Image.open(out) as sheet:
            assert 450 <= sheet.width <= 900
            codes = np.asarray(sheet.convert("RGB"))
        assert len(np.unique(codes.reshape(-1, 3), axis=0)) > 50

    def test_sky_is_shown(self, run, still, tmp_path):
        out = tmp_path / "sheet.png"
        result = run("distance", still, "--room", "camera=1.5", *CAMERA, "-o", out)
        assert result.exit_code == 0, result.output

    def test_nothing_known_is_an_error(self, run, still, tmp_path):
        result = run("distance", still, *CAMERA, "-o", tmp_path / "x.png")
        assert "Give a distance map (--depth)" in one_line(result)


class TestLadder:
    def test_haze_beside_glass(self, run, still, depth, tmp_path):
        out = tmp_path / "l.png"
        options = ("--strengths", "1/2,1", "--beside", "harbour-night:1", "--beside", "engine-shed")
        space = ("--depth", depth, "--depth-is", "ray")
        result = run("ladder", still, "--look", "grain-loft", *options, *space, *CAMERA, "-o", out)
        assert result.exit_code == 0, result.output
        assert "Airlight of the haze is estimated" in result.stderr
        alone = run(
            "ladder",
            still,
            "--look",
            "grain-loft",
            "--strengths",
            "1/2,1",
            *space,
            *CAMERA,
            "-o",
            tmp_path / "m.png",
        )
        assert alone.exit_code == 0, alone.output
        with Image.open(out) as wide, Image.open(tmp_path / "m.png") as narrow:
            assert wide.size != narrow.size


class TestShow:
    def test_range_and_loss_across_the_room(self, run):
        said = run("show", "wharf-morning", *CAMERA).stdout
        assert "optical range, 5 % left: 66.6 m" in said
        assert "light left after 10 m: 63.8 %" in said
        assert "33.3 m" in said  # at strength 2
        assert "No estimate of exposure" in said

    def test_little_haze_is_not_cautioned(self, run):
        assert "mg/m3 on ventilate" not in run("show", "grain-loft", *CAMERA).stdout

    def test_json(self, run):
        record = json.loads(run("show", "grain-loft", "--json", *CAMERA).stdout)
        haze = record["numbers"][3]["haze"]
        assert haze["extinction_per_m"] == pytest.approx([0.012] * 3)
        assert haze["optical_range_m"] == pytest.approx(249.6, abs=0.1)
        assert haze["kept_across"][1] == pytest.approx(np.exp(-0.12))

    def test_beams_are_named(self, run):
        look = Path(__file__).parents[2] / "examples" / "counter-spot.toml"
        said = run("show", look, *CAMERA).stdout
        assert "    beam: right 1 m" in said

    def test_glass_has_no_haze(self, run):
        record = json.loads(run("show", "slate-roof", "--json", *CAMERA).stdout)
        assert "haze" not in record["numbers"][0]


class TestSpace:
    def test_a_folder_holds_a_map_for_each_still(self, tmp_path, still):
        folder = tmp_path / "maps"
        folder.mkdir()
        with pytest.raises(PictureFileError, match=r"no distance map for scout\.png"):
            map_of(folder, still)
        (folder / "scout_depth.npy").touch()
        assert map_of(folder, still).name == "scout_depth.npy"
        (folder / "scout.tif").touch()
        with pytest.raises(PictureFileError, match="several distance maps"):
            map_of(folder, still)

    def test_a_map_stands_alone(self):
        with pytest.raises(ParameterError, match="given alone"):
            fg.Space(depth=Path("a"), points=(DistancePoint(x_px=1, y_px=1, distance_m=1),))
        assert not fg.Space().has_distance
        assert fg.Space(room=Room(back_m=3)).has_distance

    def test_depth_is_made_distance_by_the_camera(self, still, depth):
        picture = fg.read_picture(still)
        along = fg.Space(depth=depth).around(picture, LENS, still).distance_m
        rays = fg.Space(depth=depth, depth_kind=DistanceKind.RAY).around(picture, LENS, still)
        corner = np.hypot(63 / 64 * 24.89 / 2, 47 / 64 * 24.89 / 2)
        assert along[0, 0] / rays.distance_m[0, 0] == pytest.approx(
            np.hypot(corner, 30) / 30, rel=1e-5
        )

    def test_batch_takes_one_map_for_all(self, run, still, depth, tmp_path):
        out = tmp_path / "out"
        options = ("--look", "grain-loft", "--depth", depth, "--depth-is", "ray")
        result = run("batch", still, *options, *CAMERA, "-o", out, "--jobs", 1, "--patience", "inf")
        assert result.exit_code == 0, result.output
        assert (out / "scout_grain-loft_1.png").is_file()
