"""A still that nothing changes is its own file, byte for byte."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.pipeline.still_files import render_file

BARE = fg.Recipe(looks=(fg.read_look("harbour-night").at(0),))
SUFFIXES = (".jpg", ".png", ".tif", ".exr", ".hdr")


@pytest.fixture
def dim() -> np.ndarray:
    """A dim picture with detail that a JPEG cannot keep, shape (40, 60, 3)."""
    return np.random.default_rng(4).uniform(0.02, 0.6, (40, 60, 3))


@pytest.fixture
def jpeg(tmp_path: Path, dim: np.ndarray) -> Path:
    """One that another program wrote, with its own tables, a comment and a turn in its EXIF."""
    path = tmp_path / "scout.jpg"
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Ferry Terminal"
    image = Image.fromarray((dim * 255).astype(np.uint8))
    image.save(path, quality=71, exif=exif, comment=b"after closing", progressive=True)
    return path


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_strength_0_copies_every_format(tmp_path, dim, suffix):
    still, out = tmp_path / f"scout{suffix}", tmp_path / f"out{suffix}"
    fg.write_picture(still, fg.Picture.from_array(dim))
    render_file(still, out, BARE)
    assert out.read_bytes() == still.read_bytes()


def test_a_jpeg_of_another_program_is_copied_with_all_that_it_holds(jpeg):
    result = render_file(jpeg, None, BARE)
    assert result.out.name == "scout_harbour-night_0.jpg"
    assert result.out.read_bytes() == jpeg.read_bytes()


def test_a_look_that_finds_nothing_to_do_copies_too(jpeg, tmp_path):
    # Only light above white is spread, and there is none.
    recipe = fg.Recipe(looks=(fg.read_look("lamps-only"),))
    result = render_file(jpeg, tmp_path / "out.jpg", recipe)
    assert result.out.read_bytes() == jpeg.read_bytes()
    assert any("nothing" in notice for notice in result.notices)


@pytest.mark.parametrize(
    ("name", "recipe"),
    [
        ("out.jpg", fg.Recipe(looks=BARE.looks, exposure_stops=-0.5)),
        ("out.jpg", fg.Recipe(looks=BARE.looks, quality=60)),
        ("out.jpg", fg.Recipe(looks=(fg.read_look("harbour-night"),))),
        ("out.png", BARE),
    ],
    ids=["exposed", "of another quality", "through a look", "in another format"],
)
def test_what_is_asked_for_is_done(jpeg, tmp_path, name, recipe):
    out = render_file(jpeg, tmp_path / name, recipe).out
    assert out.read_bytes() != jpeg.read_bytes()
    assert fg.read_picture(out).radiance.shape == (60, 40, 3)  # upright


def test_a_still_that_was_mended_is_not_the_file_it_was(tmp_path, dim):
    still = tmp_path / "scout.tif"
    light = dim[..., 1].astype(np.float32)
    light[7, 9] = np.nan
    Image.fromarray(light).save(still)
    out = render_file(still, tmp_path / "out.tif", fg.Recipe(non_finite="mend")).out
    assert np.isfinite(fg.read_picture(out).radiance).all()


def test_a_damaged_still_is_refused_and_nothing_is_left(jpeg, tmp_path):
    jpeg.write_bytes(jpeg.read_bytes()[:400])
    out = tmp_path / "out.jpg"
    with pytest.raises(fg.PictureFileError):
        render_file(jpeg, out, BARE)
    assert not out.exists()


def test_names_are_kept_to(jpeg, tmp_path):
    with pytest.raises(fg.PictureFileError, match="never overwritten"):
        render_file(jpeg, jpeg, BARE)
    out = tmp_path / "out.jpg"
    out.write_bytes(b"mine")
    with pytest.raises(fg.PictureFileError, match="exists already"):
        render_file(jpeg, out, BARE)
    with pytest.raises(fg.PictureFileError, match="no folder"):
        render_file(jpeg, tmp_path / "none" / "out.jpg", BARE)
    assert out.read_bytes() == b"mine"
    render_file(jpeg, out, BARE, overwrite=True)
    assert out.read_bytes() == jpeg.read_bytes()


def test_apply_and_batch_copy(jpeg, tmp_path):
    look = ["--look", "powder-room:0"]
    for arguments in (
        ["apply", str(jpeg), *look, "-o", str(tmp_path / "out.jpg")],
        [
            "batch",
            str(jpeg),
            *look,
            "-o",
            str(tmp_path / "tests"),
            "--jobs",
            "1",
            "--patience",
            "inf",
        ],
    ):
        result = CliRunner().invoke(app, arguments)
        assert result.exit_code == 0, result.output
    for out in (tmp_path / "out.jpg", tmp_path / "tests" / "scout_powder-room_0.jpg"):
        assert out.read_bytes() == jpeg.read_bytes()
    names = sorted(path.name for path in tmp_path.rglob("*") if path.is_file())
    assert [name for name in names if name.endswith(".jpg")] == [
        "out.jpg",
        "scout.jpg",
        "scout_powder-room_0.jpg",
    ]
