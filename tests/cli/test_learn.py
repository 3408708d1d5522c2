"""``frontglass learn`` as it is typed."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.picture.curves import SRGB_CURVE
from tests.learning.truth import Glass, stretched

RUN = CliRunner()
LENS = ["--lens", "35mm", "--sensor", "full-frame", "--stop", "4"]
STOPS = (0, -4, -8, -12)
GLASS = Glass(stretched(math.radians(0.5), 0.7), 0.25)


def codes(light: np.ndarray, stop: float) -> np.ndarray:
    return np.rint(255 * SRGB_CURVE.encode(np.clip(light * 2.0**stop, 0, 1))).astype(np.uint8)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A café table at night, without and with a glass, as floats and as brackets of JPEGs."""
    place = tmp_path_factory.mktemp("pair")
    light = fg.read_picture(Path(__file__).parents[2] / "examples" / "cafe_1280.exr").radiance
    light = np.maximum(light, 0).astype(float)
    bare = light.reshape(light.shape[0] // 10, 10, 128, 10, 3).mean(axis=(1, 3)) * 4
    seen = GLASS.seen(bare, 128 * 35 / 36)
    for name, one in (("bare", bare), ("with", seen)):
        fg.write_picture(place / f"{name}.exr", fg.Picture(radiance=one.astype(np.float32)))
        for number, stop in enumerate(STOPS):
            frame = Image.fromarray(codes(one, stop))
            frame.save(place / f"{name}-{number}.jpg", quality=95, subsampling=0)
    return place


def learn(*words: str) -> tuple[int, str]:
    done = RUN.invoke(app, ["learn", *LENS, "--surround", "mirror", *words])
    return done.exit_code, done.output


def test_a_look_is_learned_shown_and_used(folder: Path, tmp_path: Path):
    out, sheet = tmp_path / "terminal-mist.toml", tmp_path / "sheet.png"
    pair = ["--bare", str(folder / "bare.exr"), "--with", str(folder / "with.exr")]
    code, said = learn(*pair, "--strength", "1/4", "-o", str(out), "--picture", str(sheet))
    assert code == 0, said
    assert "well known: from" in said
    with Image.open(sheet) as shown_sheet:
        assert shown_sheet.size[0] == 1600
    look = fg.read_look(out)
    assert look.name == "terminal-mist"
    assert look.learned is not None
    assert look.learned.strengths == (0.25,)
    shown = RUN.invoke(app, ["show", str(out)])
    assert "piece 1/4, at 35 mm, f/4" in shown.output
    bare = fg.read_picture(folder / "bare.exr")
    camera = fg.Camera(focal_length_mm=35, f_number=4, sensor_width_mm=36)
    got = fg.render(bare, look.at("1/4"), camera=camera, surround="mirror").radiance
    want = fg.read_picture(folder / "with.exr").radiance
    inner = np.log2(got / want).mean(axis=2)
    assert np.sqrt(np.mean((inner - np.median(inner)) ** 2)) < 0.03
    # It does not overwrite what is there.
    code, said = learn(*pair, "-o", str(out))
    assert code == 1
    assert "exists already" in said


def test_brackets_are_merged_by_the_stops_that_are_typed(folder: Path, tmp_path: Path):
    sides = [
        word
        for side, name in (("--bare", "bare"), ("--with", "with"))
        for number in range(len(STOPS))
        for word in (side, str(folder / f"{name}-{number}.jpg"))
    ]
    code, said = learn(*sides, "-o", str(tmp_path / "x.toml"))
    assert code == 1
    assert "say the exposures with --stops" in said
    code, said = learn(*sides, "--stops", "0,-4,-8,-12", "-o", str(tmp_path / "x.toml"), "--json")
    assert code == 0, said
    record = json.loads(said[said.index("{") :])
    # What stays within a pixel or two is told by nobody; the rest is.
    middles = np.radians(record["angles_deg"])
    far = middles > math.radians(1)
    edge = math.sqrt(middles[~far][-1] * middles[far][0])
    (true,) = GLASS.ring_shares(np.array([edge, 1.0]), 1, 128 * 35 / 36 * 8)
    assert sum(np.array(record["shares"][1])[far]) == pytest.approx(true, abs=0.03)


def test_a_list_of_pairs_is_fitted_together(folder: Path, tmp_path: Path):
    text = """
[[pair]]
bare = "bare.exr"
with = "with.exr"
strength = "1/2"
"""
    listed = folder / "pairs.toml"
    listed.write_text(text, encoding="utf-8")
    code, said = learn("--pairs", str(listed), "-o", str(tmp_path / "x.toml"), "--json")
    assert code == 0, said
    assert json.loads(said[said.index("{") :])["pairs"][0]["strength"] == 0.5
    listed.write_text(text.replace("strength", "strengh"), encoding="utf-8")
    code, said = learn("--pairs", str(listed), "-o", str(tmp_path / "y.toml"))
    assert code == 1
    assert "pair[0]: unknown key 'strengh'" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--bare", "bare.exr"], "no --with"),
        (["--bare", "bare.exr", "--with", "bare.exr"], "another file than the bare still"),
        (["--bare", "bare.exr", "--with", "none.exr"], "none.exr"),
        (["--bare", "bare-0.jpg", "--with", "with-1.jpg"], "with --stops, such as"),
        (["--bare", "bare-0.jpg", "--bare", "bare-1.jpg", "--with", "with-1.jpg"], "2 and 1"),
        (["--bare", "bare-3.jpg", "--with", "with-3.jpg"], "bright"),
        (["--bare", "cut.jpg", "--with", "with-0.jpg"], "cut.jpg"),
    ],
)
def test_bad_input_is_one_clear_line(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words, said
):
    monkeypatch.chdir(folder)
    (folder / "cut.jpg").write_bytes((folder / "bare-0.jpg").read_bytes()[:900])
    out = tmp_path / "x.toml"
    code, told = learn(*words, "-o", str(out))
    errors = [line for line in told.splitlines() if line.startswith("error: ")]
    assert code == 1, told
    assert len(errors) == 1
    assert said in errors[0]
    assert not out.exists()
