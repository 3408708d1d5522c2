"""Several looks in a batch: each has its pictures, and no run costs another its own."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

import frontglass as fg
from frontglass.batch.finding import found_stills
from frontglass.batch.manifest import MANIFEST_NAME
from frontglass.batch.plan import plan
from frontglass.cli.app import app
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.whole import file_digest, put_in_place
from frontglass.looks import stack_from_text

LENS = ("--lens", "50mm", "--stop", "2.8", "--sensor", "super35")
CAMERA = (*LENS, "--jobs", "1", "--patience", "inf")  # in this process


def run(*words: object) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.fixture
def batch(shoot, tmp_path):
    shoot("in/one.png"), shoot("in/two.png", seed=2)

    def batch(*words: object) -> Result:
        out = ("-o", tmp_path / "out")
        return run("batch", tmp_path / "in", *words, *CAMERA, *out, "--no-contact")

    return batch


def pictures(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*.png"))
    }


LOOKS = ("--look", "slate-roof:1/4", "--look", "late-tram:1/2+powder-room")


class TestSeveralLooks:
    def test_every_still_gets_a_picture_of_each(self, batch, tmp_path):
        assert batch(*LOOKS).exit_code == 0
        made = pictures(tmp_path / "out")
        assert list(made) == [
            "one_late-tram_1-2_powder-room_1.png",
            "one_slate-roof_1-4.png",
            "two_late-tram_1-2_powder-room_1.png",
            "two_slate-roof_1-4.png",
        ]
        out = tmp_path / "stacked.png"
        words = ("--look", "late-tram:1/2+powder-room", *LENS, "-o", out)
        assert run("apply", tmp_path / "in" / "one.png", *words).exit_code == 0
        assert out.read_bytes() == made["one_late-tram_1-2_powder-room_1.png"]

    def test_a_folder_for_each_look(self, batch, tmp_path):
        assert batch(*LOOKS, "--folders").exit_code == 0
        assert list(pictures(tmp_path / "out")) == [
            "late-tram_1-2_powder-room_1/one.png",
            "late-tram_1-2_powder-room_1/two.png",
            "slate-roof_1-4/one.png",
            "slate-roof_1-4/two.png",
        ]

    def test_another_run_with_other_looks_keeps_the_earlier_ones(self, batch, tmp_path):
        batch("--look", "slate-roof:1/4")
        before = pictures(tmp_path / "out")
        assert batch("--look", "slate-roof:1/2").exit_code == 0
        after = pictures(tmp_path / "out")
        assert before.items() <= after.items()
        assert len(after) == 4
        assert batch(*LOOKS).stdout.startswith("2 done before, 2 rendered")

    def test_a_look_named_twice_is_one(self, batch, tmp_path):
        batch("--look", "slate-roof:1/4", "--look", "slate-roof:0.25")
        assert len(pictures(tmp_path / "out")) == 2

    def test_two_looks_of_one_name_are_refused(self, batch, tmp_path):
        other = tmp_path / "slate-roof.toml"
        other.write_text(fg.read_look("powder-room").to_toml().replace("powder-room", "slate-roof"))
        result = batch("--look", "slate-roof", "--look", other)
        assert "two looks of one name" in result.stderr


class TestWhatStandsThere:
    def test_a_retouched_picture_is_left_alone_and_named(self, batch, tmp_path):
        batch("--look", "slate-roof")
        touched = tmp_path / "out" / "one_slate-roof_1.png"
        mine = bytearray(touched.read_bytes())
        mine[-1] ^= 1  # as long as it was, and written in the same moment for all one knows
        touched.write_bytes(mine)
        for words in ((), ("--again",)):
            result = batch("--look", "slate-roof", *words)
            assert result.exit_code == 1
            assert f"error: {touched}: was changed" in result.stderr
            assert touched.read_bytes() == mine
        assert batch("--look", "slate-roof", "--overwrite").exit_code == 0
        assert touched.read_bytes() != mine
        assert batch("--look", "slate-roof").stdout.startswith("2 done before")

    def test_a_strangers_picture_is_left_alone_and_the_rest_is_made(self, batch, tmp_path):
        stranger = tmp_path / "out" / "two_slate-roof_1.png"
        stranger.parent.mkdir()
        stranger.write_text("the only copy")
        result = batch("--look", "slate-roof")
        assert result.exit_code == 1
        assert result.stdout.startswith("1 left alone, 1 rendered")
        assert stranger.read_text() == "the only copy"

    def test_another_still_of_the_same_name_is_another_picture(self, batch, shoot, tmp_path):
        batch("--look", "slate-roof")
        before = pictures(tmp_path / "out")
        shoot("other/one.png", seed=9, width=40)
        words = ("--look", "slate-roof", *CAMERA, "-o", tmp_path / "out")
        result = run("batch", tmp_path / "other", *words)
        assert result.exit_code == 1
        kept = "an earlier run of another still (--again replaces it, another folder keeps both)"
        assert kept in result.stderr
        assert pictures(tmp_path / "out") == before

    @pytest.mark.parametrize("is_same", [True, False])
    def test_what_a_killed_run_left_is_told_by_making_it_again(self, batch, tmp_path, is_same):
        batch("--look", "slate-roof")
        path = tmp_path / "out" / MANIFEST_NAME
        record = json.loads(path.read_text())
        entry = record["pictures"]["one_slate-roof_1.png"]
        entry["state"] = "planned"  # killed after the picture, before the record
        for key in ("out_sha256", "out_bytes", "out_mtime_ns"):
            del entry[key]
        path.write_text(json.dumps(record))
        picture = tmp_path / "out" / "one_slate-roof_1.png"
        if not is_same:
            picture.write_text("the only copy")
        result = batch("--look", "slate-roof")
        assert result.exit_code == (0 if is_same else 1)
        assert is_same or picture.read_text() == "the only copy"
        assert {p.name for p in (tmp_path / "out").iterdir()} == {
            *("one_slate-roof_1.png", "two_slate-roof_1.png", MANIFEST_NAME)
        }

    def test_a_file_that_appears_meanwhile_is_not_replaced(self, tmp_path):
        mine, theirs = tmp_path / "mine", tmp_path / "theirs"
        mine.write_text("new"), theirs.write_text("old")
        digest = file_digest(theirs)
        assert not put_in_place(mine, theirs, {"another"})
        assert theirs.read_text() == "old"
        assert put_in_place(mine, theirs, {digest})
        assert theirs.read_text() == "new"


class TestWhatCannotBeRead:
    def test_it_is_named_and_the_rest_is_made(self, batch, tmp_path):
        (tmp_path / "in" / "IMG 1.WEBP").write_bytes(b"RIFF")
        (tmp_path / "in" / "notes.txt").write_text("the lamp is warm")
        (tmp_path / "in" / "scene.toml").write_text("format = 1\n")
        result = batch("--look", "slate-roof")
        assert result.exit_code == 1
        assert result.stdout.startswith("2 rendered")
        said = result.stderr.splitlines()
        assert [line for line in said if "notes.txt" in line] == [
            "note: left out, no pictures: notes.txt."
        ]
        assert said[-1].startswith(f"error: {tmp_path / 'in' / 'IMG 1.WEBP'}: is WEBP")
        assert not any("scene.toml" in line for line in said if "left out" in line)

    def test_a_folder_of_nothing_else_says_what_is_there(self, tmp_path):
        (tmp_path / "a.webp").write_bytes(b"RIFF")
        with pytest.raises(PictureFileError, match=r"cannot read \.webp: save it as JPEG"):
            found_stills([tmp_path])

    def test_a_file_that_is_named_is_tried_whatever_it_is_called(self, tmp_path):
        (tmp_path / "a.webp").write_bytes(b"RIFF")
        jobs, _ = plan([tmp_path / "a.webp"], tmp_path / "out", suffix="png")
        assert [job.name for job in jobs] == ["a_bare.png"]


def test_notes_say_which_still_they_mean(shoot, tmp_path):
    shoot("in/one.png"), shoot("in/two.png")
    words = (
        "--look",
        "slate-roof",
        "--jobs",
        "1",
        "--patience",
        "inf",
        "-o",
        tmp_path / "out",
        "--no-contact",
    )
    said = run("batch", tmp_path / "in", *words).stderr
    assert "note: one.png, two.png: " in said


class TestContactSheet:
    def test_it_shows_what_earlier_runs_made_too(self, shoot, tmp_path, monkeypatch):
        from frontglass.cli import contact

        shoot("in/one.png"), shoot("in/tall.png", width=20, height=40)
        (tmp_path / "in" / "bad.png").write_bytes(b"")
        laid = []
        whole = contact._Sheet.row

        def heard(*words):
            laid.append(whole(*words))
            return laid[-1]

        monkeypatch.setattr(contact._Sheet, "row", heard)
        words = ("batch", tmp_path / "in", *CAMERA, "-o", tmp_path / "out")
        run(*words, "--look", "slate-roof")
        assert run(*words, "--look", "powder-room:1/2").exit_code == 1
        bad, one, tall = laid[-3:]
        assert [len(row.seen) for row in (bad, one, tall)] == [2, 2, 2]
        assert all(cell.small for row in (one, tall) for cell in (row.bare, *row.seen))
        assert not bad.bare.small
        assert bad.name == "bad.png"
        assert bad.bare.said.startswith("not made: ")

    def test_a_retouched_sheet_stays(self, shoot, tmp_path):
        shoot("in/one.png")
        words = ("batch", tmp_path / "in", "--look", "slate-roof", *CAMERA, "-o", tmp_path / "out")
        sheet = tmp_path / "out" / "contact.pdf"
        assert str(sheet) in run(*words).stdout
        assert str(sheet) in run(*words).stdout
        sheet.write_text("with my notes")
        result = run(*words)
        assert "left as it is" in result.stderr
        assert sheet.read_text() == "with my notes"


class TestStacks:
    def test_a_stack_is_read_again_from_its_text(self, tmp_path):
        own = tmp_path / "a+b.toml"
        own.write_text(fg.read_look("slate-roof").to_toml())
        stack = stack_from_text(f"late-tram + {own}:1/4", "1/2")
        assert str(stack) == "late-tram 1/2 + slate-roof 1/4"
        again = stack_from_text(stack.text)
        assert again.looks == stack.looks
        assert stack.light_loss_stops == pytest.approx(
            sum(look.light_loss_stops for look in stack.looks)
        )

    @pytest.mark.parametrize("text", ["+late-tram", "late-tram+", "late-tram++slate-roof", "+"])
    def test_nothing_beside_a_plus_is_refused(self, text):
        with pytest.raises(ParameterError, match="both sides"):
            stack_from_text(text)

    def test_apply_makes_a_picture_of_each_look(self, shoot, tmp_path):
        still = shoot()
        result = run("apply", still, *LOOKS, *LENS)
        assert result.exit_code == 0, result.output
        names = [Path(line).name for line in result.stdout.splitlines()]
        assert names == ["scout_slate-roof_1-4.png", "scout_late-tram_1-2_powder-room_1.png"]
        assert all(still.with_name(name).is_file() for name in names)
        refused = run("apply", still, *LOOKS, "-o", tmp_path / "out.png")
        assert refused.exit_code == 1
        assert "several looks" in refused.stderr

    def test_sway_makes_a_loop_of_each_look(self, shoot, tmp_path):
        still = shoot(width=64, height=48)
        words = ("--look", "fine-net", "--look", "slate-roof", *LENS)
        result = run("sway", still, *words, "--width", "64")
        assert result.exit_code == 0, result.output
        assert still.with_name("scout_fine-net_1_sway.webp").is_file()
        assert still.with_name("scout_slate-roof_1_sway.mp4").is_file()
        refused = run("sway", still, *words, "-o", tmp_path / "a.webp")
        assert "several looks" in refused.stderr


def test_a_batch_from_python_makes_a_picture_of_each_choice(shoot, tmp_path):
    glow, net = fg.read_look("slate-roof"), fg.read_look("late-tram")
    choices = [(glow.at(1),), (glow.at("1/4"), net.at(2)), ()]
    recipe = fg.Recipe(looks=(glow.at(2),))
    made = fg.render_batch([shoot("in/a.png")], tmp_path / "out", recipe, choices, processes=1)
    assert [outcome.state for outcome in made] == ["rendered"] * 3
    assert sorted(outcome.job.name for outcome in made) == [
        "a_bare.png", "a_slate-roof_1-4_late-tram_2.png", "a_slate-roof_1.png",
    ]  # fmt: skip
    (own,) = fg.render_batch([shoot("in/b.png")], tmp_path / "two", recipe, processes=1)
    assert own.job.name == "b_slate-roof_2.png"
