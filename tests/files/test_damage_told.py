"""What decoders warn of, what is too large, what is mended and what appears: told, and no more."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.batch import memory
from frontglass.batch.finding import found_stills
from frontglass.cli.app import app
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.size import claimed_size
from frontglass.picture.non_finite import mended
from frontglass.pipeline import still_files


@pytest.fixture
def zeroed(tmp_path: Path) -> Path:
    """A JPEG file with zeros in the middle."""
    codes = np.random.default_rng(0).integers(0, 256, (96, 128, 3), np.uint8)
    path = tmp_path / "counter.jpg"
    Image.fromarray(codes).save(path, quality=90)
    data = bytearray(path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 800] = bytes(800)
    path.write_bytes(data)
    return path


def test_what_the_decoder_warns_of_is_a_note(zeroed: Path, capfd):
    (first, *_) = fg.read_picture(zeroed).notices
    assert first.startswith("The file may be damaged, its decoder says: Corrupt JPEG data")
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize("subsampling", [0, 2])
@pytest.mark.parametrize(("mode", "progressive"), [("RGB", False), ("RGB", True), ("L", False)])
def test_codes_of_a_whole_jpeg_are_those_that_pillow_reads(
    tmp_path: Path, mode: str, subsampling: int, *, progressive: bool
):
    """Another copy of libjpeg decodes what is whole, for its time."""
    smooth = np.mgrid[:67, :93][0][..., np.newaxis] * [1, 2, 3]
    codes = smooth + np.random.default_rng(0).normal(40, 9, (67, 93, 3))
    still = Image.fromarray(np.clip(codes, 0, 255).astype(np.uint8)).convert(mode)
    path = tmp_path / "counter.jpg"
    still.save(path, quality=80, subsampling=subsampling, progressive=progressive)
    with Image.open(path) as read:
        theirs = np.atleast_3d(np.asarray(read))
    np.testing.assert_array_equal(fg.read_picture(path).encoding.codes, theirs)


def test_half_a_file_with_an_end_marker_is_noticed(zeroed: Path):
    Image.fromarray(np.random.default_rng(0).integers(0, 256, (96, 128), np.uint8)).save(zeroed)
    data = zeroed.read_bytes()
    zeroed.write_bytes(data[: len(data) // 2] + b"\xff\xd9")
    assert "its decoder says" in fg.read_picture(zeroed).notices[0]
    zeroed.write_bytes(data)
    assert "its decoder says" not in " ".join(fg.read_picture(zeroed).notices)


def test_strict_refuses_it(zeroed: Path):
    with pytest.raises(PictureFileError, match="is damaged, its decoder says: Corrupt JPEG"):
        fg.read_picture(zeroed, damage="refuse")
    said = CliRunner().invoke(app, ["apply", str(zeroed), "--look", "slate-roof:1/4", "--strict"])
    assert said.exit_code == 1
    assert not (zeroed.parent / "counter_slate-roof_1-4.jpg").exists()


def test_the_limit_of_megapixels_is_moved(tmp_path: Path):
    Image.new("L", (300, 200)).save(tmp_path / "a.png")
    with pytest.raises(PictureFileError, match=r"300 x 200 pixels are more than the 0\.05 mega"):
        fg.read_picture(tmp_path / "a.png", max_megapixels=0.05)
    assert fg.read_picture(tmp_path / "a.png").width_px == 300
    with pytest.raises(ParameterError, match="max_megapixels"):
        fg.read_picture(tmp_path / "a.png", max_megapixels=0)
    assert claimed_size(tmp_path / "a.png") == (300, 200)


def test_free_memory_is_what_the_system_says():
    said = memory._of_the_machine()
    if said is None:
        pytest.skip("this system has no /proc/meminfo")
    psutil = pytest.importorskip("psutil")
    # Others take and give back memory meanwhile.
    assert said == pytest.approx(psutil.virtual_memory().available, rel=0.3)
    assert (memory.free_bytes() or 0) <= 1.3 * said


def test_jobs_go_by_free_memory(tmp_path: Path, monkeypatch):
    Image.new("L", (3000, 2000)).save(tmp_path / "a.png")
    one = memory.PROGRAM_BYTES + memory.PICTURES * 6e6 * 3 * np.dtype(np.float32).itemsize
    monkeypatch.setattr(memory, "free_bytes", lambda: 3.1 * one / memory.KEPT_SHARE)
    assert memory.jobs_that_fit([tmp_path / "a.png"], 2) == (2, "")
    count, said = memory.jobs_that_fit([tmp_path / "a.png"], 8)
    assert count == 3
    assert said.startswith("3 at a time, not one for each of 8 cores:")
    monkeypatch.setattr(memory, "free_bytes", lambda: 1e6)
    assert memory.jobs_that_fit([tmp_path / "a.png"], 8).at_once == 1


def test_a_wide_hole_takes_no_time_and_holds_the_light_around_it():
    light = np.ones((700, 700, 1), np.float32) * np.linspace(1, 2, 700, dtype="f4")[:, None]
    light[50:650, 50:650] = np.nan
    light[5, 5] = np.inf
    began = time.process_time()
    whole = mended(light)
    assert time.process_time() - began < 2  # Over a minute with ever wider windows.
    assert whole[5, 5, 0] == np.float32(2)
    assert 1 <= whole[300:400, 300:400].min() <= whole[300:400, 300:400].max() <= 2
    np.testing.assert_allclose(whole[50, 100:600, 0], light[49, 100:600, 0], rtol=1e-6)


def test_apply_leaves_what_appears_while_it_works(zeroed: Path, tmp_path: Path, monkeypatch):
    out, render = tmp_path / "out.jpg", still_files.render_picture

    def slow(*given: object, **how: object) -> object:
        out.write_bytes(b"somebody's")
        return render(*given, **how)

    monkeypatch.setattr(still_files, "render_picture", slow)
    recipe = fg.Recipe(looks=(fg.read_look("slate-roof").at("1/4"),))
    with pytest.raises(PictureFileError, match="has appeared meanwhile, and was left as it is"):
        fg.render_file(zeroed, out, recipe)
    assert out.read_bytes() == b"somebody's"
    assert not list(tmp_path.glob(".*"))


def test_patterns_follow_no_loop_and_take_nothing_that_was_made(zeroed: Path, tmp_path: Path):
    (tmp_path / "day").mkdir()
    (tmp_path / "day" / "again").symlink_to(tmp_path)
    made = tmp_path / "made"
    made.mkdir()
    (made / "frontglass-batch.json").write_text("{}")
    (made / "counter.jpg").write_bytes(b"x")
    for pattern in ("**/*.jpg", "**", "**/*er.jpg", "c**.jpg"):
        assert found_stills([tmp_path / pattern]).stills == (zeroed,)


def test_a_flaw_is_one_line_and_debug_shows_it(zeroed: Path, monkeypatch):
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("the till is\nopen")

    monkeypatch.setattr(still_files, "check_may_write", broken)
    words = ["apply", str(zeroed), "--look", "slate-roof:1/4"]
    said = CliRunner().invoke(app, words)
    assert said.exit_code == 1
    assert said.stderr.count("\n") == 1
    assert "RuntimeError: the till is\\nopen. This is a flaw of frontglass" in said.stderr
    assert isinstance(CliRunner().invoke(app, ["--debug", *words]).exception, RuntimeError)
