"""The taking lens in commands: one option frames whatever shows a still."""

from __future__ import annotations

import json

import numpy as np
import pytest
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app

AS = ("--as", "50mm,s35,2.39,T4")
LOOK = ("--look", "harbour-night:1/2")


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def scout(tmp_path):
    """Still of a phone with a 26 mm equivalent, 320 x 240 px: 50 mm sees 120 x 50 px of it."""
    codes = np.full((240, 320, 3), 60, np.uint8)
    codes[20:26, 40:46] = codes[118:122, 150:155] = 255
    exif = Image.Exif()
    exif.get_ifd(0x8769).update(
        {37386: IFDRational(68, 10), 41989: 26, 33437: IFDRational(18, 10), 33434: 0.04, 34855: 800}
    )
    path = tmp_path / "quay.jpg"
    Image.fromarray(codes).save(path, quality=92, exif=exif)
    return path


def test_a_still_is_framed_and_says_what_it_was_framed_for(scout, tmp_path):
    out = tmp_path / "framed.jpg"
    result = run("apply", scout, *LOOK, *AS, "-o", out, "--json")
    assert result.exit_code == 0, result.output
    assert (
        "120 x 50 px from 100,95, 28 by 11.9 degrees of the still's 67.3 by 53.1" in result.stderr
    )
    said = json.loads(result.stdout)
    assert said["camera"]["focal_length_mm"] == 50
    assert said["frame_px"] == [100, 95, 120, 50]
    framed, whole = fg.read_picture(out), fg.read_picture(scout)
    assert (framed.width_px, framed.height_px) == (120, 50)
    # Written for the next reader: 50 mm on 26.98 mm across corners, and the exposure as it was.
    assert framed.shot.focal_length_mm == 50
    assert framed.shot.focal_length_35mm == 80
    assert framed.shot.exposure_stops == whole.shot.exposure_stops
    recipe = fg.Recipe(
        looks=(fg.read_look("harbour-night").at("1/2"),),
        framing=fg.Framing(taking=fg.TakingLens.from_text(AS[1])),
    )
    again = tmp_path / "again.jpg"
    fg.render_file(scout, again, recipe)
    assert again.read_bytes() == out.read_bytes()


def test_lamps_are_named_by_the_pixels_of_the_scout_still(scout, tmp_path):
    """A lamp outside of the frame sends its halo into it."""
    dim, bright = tmp_path / "dim.png", tmp_path / "bright.png"
    for out, stops in ((dim, 0), (bright, 12)):
        result = run("apply", scout, *LOOK, *AS, "--lamp", f"42,22,{stops}", "-o", out)
        assert result.exit_code == 0, result.output
    gain = fg.read_picture(bright).radiance[:, :, 1] - fg.read_picture(dim).radiance[:, :, 1]
    # Far from it the halo is below a code.
    assert gain[:10, :10].mean() > 2 * gain[-10:, -10:].mean() >= 0
    assert gain[:10, :10].mean() > 0


@pytest.mark.parametrize(
    "words",
    [
        ("ladder", *LOOK[:1], "harbour-night", "--strengths", "1", "--close-up", "150,110,20,20"),
        ("compare", *LOOK, "--watch", "lamp:140,110,20,20"),
        ("distance", "--room", "camera=1.6,back=9,left=3,right=3,ceiling=3"),
    ],
)
def test_sheets_show_the_frame(scout, tmp_path, words):
    out = tmp_path / "sheet.png"
    result = run(words[0], scout, *words[1:], *AS, "-o", out)
    assert result.exit_code == 0, result.output
    assert "Framed as 50mm,s35,2.39,T4" in result.stderr


def test_what_lies_outside_of_the_frame_cannot_be_watched(scout, tmp_path):
    part = ("--watch", "lamp:40,20,20,20")
    result = run("compare", scout, *LOOK, *part, *AS, "-o", tmp_path / "sheet.png")
    assert result.exit_code == 1
    assert "120 x 50 px from 100,95 of the still, got '40,20,20,20'" in result.stderr


def test_boards_batches_loops_and_matches_take_it(scout, tmp_path):
    board, folder, loop = tmp_path / "board", tmp_path / "batch", tmp_path / "loop.gif"
    assert run("mood", scout, *LOOK, *AS, "-o", board).exit_code == 0
    assert 'width="120" height="50"' in (board / "board.html").read_text()
    assert (
        run("batch", scout, *LOOK, *AS, "-o", folder, "--jobs", "1", "--patience", "inf").exit_code
        == 0
    )
    (made,) = folder.glob("quay_*.jpg")
    assert fg.read_picture(made).radiance.shape == (50, 120, 3)
    # Another frame is another picture: it is not "done before", and does not replace the first.
    aimed = (
        "batch",
        scout,
        *LOOK,
        *AS,
        "--aim",
        "100,100",
        "-o",
        folder,
        "--jobs",
        "1",
        "--patience",
        "inf",
    )
    assert run(*aimed).stdout.startswith("1 left alone")
    assert run(*aimed, "--again").stdout.startswith("1 rendered")
    assert run("sway", scout, *LOOK, *AS, "-o", loop, "--pan", "0.2").exit_code == 0
    with Image.open(loop) as frames:
        assert 16 < frames.width < 120
    match = ("match", "harbour-night:1/2", "--with", "late-tram", "--by", "halo")
    result = run(*match, "--on", scout, "--as", "14mm,super35")
    assert "widest lens that fits this frame is 18.7 mm" in result.stderr


def test_numbers_of_a_look_are_those_of_the_taking_lens():
    # 135.3 px a degree: 50 mm x 6000 px / 24.89 mm, one degree of it 210.4 px.
    said = json.loads(run("show", "harbour-night", *AS, "--width", "6000", "--json").stdout)
    assert said["camera"]["sensor_width_mm"] == pytest.approx(24.89)
    assert said["camera"]["f_number"] == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--as", "14mm,super35"), "widest lens that fits this frame is 18.7 mm"),
        ((*AS, "--aim", "20,20"), "aim must be from 60,25 to 260,215"),
        ((*AS, "--aim", "here"), "aim must be X,Y in pixels of the still"),
        (("--aim", "90,90"), "aim must be given with a taking lens (--as)"),
        ((*AS, "--stop", "2.8"), "stop must be that of --as"),
        (("--lens", "50mm"), "by its file 6.8 mm, 26 mm equivalent, got '50 mm'"),
        (("--lens", "50mm", "--sensor", "super35"), "type --as 50mm,super35"),
    ],
)
def test_what_cannot_be_framed_is_one_line(scout, tmp_path, words, said):
    out = tmp_path / "out.jpg"
    result = run("apply", scout, *LOOK, *words, "-o", out)
    assert result.exit_code == 1
    assert said in result.stderr
    assert result.stderr.count("\n") == 1
    assert not out.exists()
