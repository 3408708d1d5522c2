"""Batches: what is planned, what is refused, what is resumed, what is recorded."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import re
from collections.abc import Sequence
from dataclasses import replace
from math import inf
from pathlib import Path, PosixPath

import numpy as np
import pytest

import frontglass as fg
from frontglass.batch import run, work
from frontglass.batch.plan import _check_no_clash, plan
from frontglass.batch.run import Outcome, planned_batch
from frontglass.batch.work import Job
from frontglass.batch.workers import side_by_side
from frontglass.errors import FrontglassError, ParameterError, PictureFileError
from frontglass.pipeline.framing import Framing
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.still_files import out_beside

LOOK = "_harbour-night_1-4"
"""What the recipe below adds to names."""


@pytest.fixture
def recipe() -> Recipe:
    look = fg.read_look("harbour-night").at("1/4")
    return Recipe(looks=(look,), framing=Framing(lens_mm=50, f_number=2.8, sensor="super35"))


HERE = {"processes": 1, "patience_s": inf}


def names(sources: Sequence[str | Path], folder: Path, **how) -> list[str]:
    jobs, _ = plan(sources, folder, **how)
    return [job.name.replace("_bare", "") for job in jobs]


def states(outcomes: Sequence[Outcome]) -> dict[str, str]:
    return {outcome.job.name.replace(LOOK, ""): outcome.state for outcome in outcomes}


def manifest_of(folder: Path) -> dict[str, dict]:
    text = (folder / "frontglass-batch.json").read_text(encoding="utf-8")
    return {name.replace(LOOK, ""): entry for name, entry in json.loads(text)["pictures"].items()}


def named(still: Path) -> str:
    return f"{still.stem}{LOOK}{still.suffix}"


def everything_below(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


class TestPlan:
    def test_a_folder_keeps_its_sub_folders(self, shoot, tmp_path):
        shoot("in/b.png"), shoot("in/night/a.jpg"), shoot("in/day/a.jpg")
        (tmp_path / "in" / "notes.txt").write_text("lamp is warm")
        shoot("in/.hidden.png"), shoot("in/.cache/a.png")
        assert names([tmp_path / "in"], tmp_path / "out") == ["b.png", "day/a.jpg", "night/a.jpg"]

    def test_files_keep_what_their_folders_do_not_share(self, shoot, tmp_path):
        sources = [shoot("in/1/a.jpg"), shoot("in/2/a.jpg")]
        assert names(sources, tmp_path / "out") == ["1/a.jpg", "2/a.jpg"]

    def test_two_folders_stay_apart(self, shoot, tmp_path):
        shoot("day/a.png"), shoot("night/a.png")
        sources = [tmp_path / "day", tmp_path / "night"]
        assert names(sources, tmp_path / "out") == ["day/a.png", "night/a.png"]

    def test_a_pattern_is_searched_and_brackets_in_a_name_are_not(self, shoot, tmp_path):
        shoot("in/a.png"), shoot("in/deep/b.png"), shoot("in/c.jpg")
        out = tmp_path / "out"
        assert names([f"{tmp_path}/in/**/*.png"], out) == ["a.png", "deep/b.png"]
        assert names([str(shoot("in/take [2].png"))], out) == ["take [2].png"]

    def test_a_still_named_twice_is_rendered_once(self, shoot, tmp_path):
        still = shoot("in/a.png")
        assert names([still, tmp_path / "in", still], tmp_path / "out") == ["a.png"]

    def test_what_commands_wrote_is_left_out_beside_its_still_only(self, shoot, tmp_path):
        shoot("in/a.png"), shoot("in/a_slate-roof_1.png"), shoot("in/b_slate-roof_1.png")
        left = ["a.png", "b_slate-roof_1.png"]
        assert names([tmp_path / "in"], tmp_path / "out") == left

    def test_another_format_changes_the_extension(self, shoot, tmp_path):
        sources = [shoot("in/a.png"), shoot("in/b.tar.jpg")]
        assert names(sources, tmp_path / "out", suffix="TIF") == ["a.tif", "b.tar.tif"]

    def test_spaces_and_letters_of_all_kinds(self, shoot, tmp_path):
        still = shoot("scout day/café 灯.png")
        assert names([still], tmp_path / "out dir") == ["café 灯.png"]

    def test_what_an_earlier_run_wrote_below_is_no_still(self, shoot, tmp_path):
        shoot("in/a.png"), shoot("in/out/a.png")
        assert names([tmp_path / "in"], tmp_path / "in" / "out") == ["a.png"]

    @pytest.mark.parametrize(
        ("files", "suffix", "expected"),
        [
            (("a.jpg", "a.png"), "png", {"a.jpg": "a-jpg.png", "a.png": "a.png"}),
            (("a.png", "A.png"), None, {"A.png": "A.png", "a.png": "a-2.png"}),
            (
                ("b/a.jpg", "b/a.heic", "b/A.JPG", "b/a-heic.jpg"),
                "jpg",
                {
                    "b/A.JPG": "A-2.jpg",
                    "b/a.heic": "a-3.jpg",
                    "b/a.jpg": "a.jpg",
                    "b/a-heic.jpg": "a-heic.jpg",
                },
            ),
        ],
    )
    def test_stills_of_one_name_are_told_apart(self, shoot, tmp_path, files, suffix, expected):
        made = shoot(f"in/made{Path(files[0]).suffix}")
        for name in files:
            (tmp_path / "in" / name).parent.mkdir(exist_ok=True)
            (tmp_path / "in" / name).write_bytes(made.read_bytes())
        made.unlink()
        jobs, found = plan([tmp_path / "in"], tmp_path / "out", suffix=suffix)
        called = {
            job.still.relative_to(tmp_path / "in").as_posix(): job.out.name.replace("_bare", "")
            for job in jobs
        }
        assert called == expected
        assert {(still.name, name.name) for still, name in found.told_apart} == {
            (Path(name).name, picture)
            for name, picture in expected.items()
            if Path(name).stem != Path(picture).stem
        }

    def test_two_stills_that_would_be_one_file_are_refused(self):
        one, other = (Job(Path(name), Path("out") / f"{name}.png", "x.png") for name in "ab")
        said = r"^out.b\.png: both a and b would be written there; rename one or run two batches\.$"
        with pytest.raises(PictureFileError, match=said):
            _check_no_clash([one, other])

    def test_the_manifest_is_never_written_over(self, shoot, tmp_path):
        still = shoot("in/a.png").rename(tmp_path / "in" / "frontglass-batch.png")
        with pytest.raises(ParameterError, match=r"^format must be "):
            plan([still], tmp_path / "out", suffix="json")

    def test_the_folder_of_the_stills_is_refused_through_a_link_too(self, shoot, tmp_path):
        shoot("in/a.png")
        (tmp_path / "link").symlink_to(tmp_path / "in")
        for folder in (tmp_path / "in", tmp_path / "link", tmp_path / "in" / ".." / "in"):
            with pytest.raises(PictureFileError, match="never overwritten"):
                plan([tmp_path / "in"], folder)

    def test_an_output_that_leads_to_a_still_is_refused(self, shoot, tmp_path):
        still = shoot("in/a.png")
        (tmp_path / "out").mkdir()
        (tmp_path / "out" / "a_bare.png").symlink_to(still)
        with pytest.raises(PictureFileError, match="is the still"):
            plan([still], tmp_path / "out")

    @pytest.mark.parametrize(
        ("source", "reason"),
        [("nothing.png", "no such file"), ("no*.png", "matches no still"), ("empty", "no still")],
    )
    def test_a_source_without_a_still_is_refused(self, tmp_path, source, reason):
        (tmp_path / "empty").mkdir()
        with pytest.raises(PictureFileError, match=reason):
            plan([str(tmp_path / source)], tmp_path / "out")

    def test_no_source_is_refused(self, tmp_path):
        with pytest.raises(ParameterError, match="at least one"):
            plan([], tmp_path / "out")


class TestRun:
    def test_a_batch_writes_what_the_library_writes(self, shoot, tmp_path, recipe):
        stills = [shoot(f"in/{n}.png", seed=n) for n in range(3)]
        for processes, name in ((1, "alone"), (2, "together")):
            outcomes = fg.render_batch(stills, tmp_path / name, recipe, processes=processes)
            assert set(states(outcomes).values()) == {"rendered"}
        for still in stills:
            picture = fg.with_recovered_light(fg.read_picture(still)).picture
            camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.89)
            fg.write_picture(tmp_path / "own.png", fg.render(picture, recipe.looks, camera=camera))
            own = (tmp_path / "own.png").read_bytes()
            assert (tmp_path / "alone" / named(still)).read_bytes() == own
            assert (tmp_path / "together" / named(still)).read_bytes() == own

    @pytest.mark.parametrize("processes", [1, 2])
    def test_one_bad_file_never_stops_the_rest(self, shoot, tmp_path, recipe, processes):
        shoot("in/a.png"), shoot("in/c.png")
        (tmp_path / "in" / "b.png").write_bytes(b"no picture at all")
        outcomes = fg.render_batch([tmp_path / "in"], tmp_path / "out", recipe, processes=processes)
        assert states(outcomes) == {"a.png": "rendered", "b.png": "failed", "c.png": "rendered"}
        bad = next(outcome for outcome in outcomes if outcome.state == "failed")
        assert "b.png" in str(bad.result)
        assert manifest_of(tmp_path / "out")["b.png"]["reason"] == str(bad.result)
        left = sorted(everything_below(tmp_path / "out"))
        assert left == [f"a{LOOK}.png", f"c{LOOK}.png", run.MANIFEST_NAME]

    def test_stills_are_left_as_they_were(self, shoot, tmp_path, recipe):
        shoot("in/a.png"), shoot("in/b/a.jpg")
        before = everything_below(tmp_path / "in")
        fg.render_batch([tmp_path / "in"], tmp_path / "in" / "out", recipe, processes=1)
        after = everything_below(tmp_path / "in")
        assert before.items() <= after.items()

    def test_a_folder_that_was_moved_is_not_done_again(self, shoot, tmp_path, recipe):
        shoot("in/a.png")
        fg.render_batch([tmp_path / "in"], tmp_path / "out", recipe, processes=1)
        (tmp_path / "in").rename(tmp_path / "archive")
        again = planned_batch([tmp_path / "archive"], tmp_path / "out", recipe)
        assert (len(again.jobs), len(again.done)) == (0, 1)

    def test_what_is_done_is_not_done_again(self, shoot, tmp_path, recipe):
        still, out = shoot("in/a.png"), tmp_path / "out"
        shoot("in/b.png")
        fg.render_batch([tmp_path / "in"], out, recipe, processes=1)
        shoot("in/c.png")
        again = fg.render_batch([tmp_path / "in"], out, recipe, processes=1)
        assert states(again) == {
            "a.png": "done before",
            "b.png": "done before",
            "c.png": "rendered",
        }
        assert set(manifest_of(out)) == {"a.png", "b.png", "c.png"}
        os.utime(still, ns=(1, 1))  # as if it had been graded anew
        (out / f"b{LOOK}.png").unlink()
        third = fg.render_batch([tmp_path / "in"], out, recipe, processes=1)
        assert states(third) == {"a.png": "rendered", "b.png": "rendered", "c.png": "done before"}

    @pytest.mark.parametrize(
        "change",
        [
            {"exposure_stops": 1.0},
            {"framing": Framing(lens_mm=85)},
            {"surround": fg.Surround.DARK},
            {"compensate": False},
            {"quality": 80},
            {"looks": (replace(fg.read_look("late-tram"), name="harbour-night").at("1/4"),)},
        ],
        ids=lambda change: next(iter(change)),
    )
    def test_another_recipe_leaves_what_stands_there(self, shoot, tmp_path, recipe, change):
        still, out = shoot("in/a.png"), tmp_path / "out"
        fg.render_batch([still], out, recipe, processes=1)
        before = (out / named(still)).read_bytes()
        assert planned_batch([still], out, recipe).jobs == ()
        other = replace(recipe, **change)
        (ended,) = fg.render_batch([still], out, other, processes=1)
        assert ended.state == "left alone"
        assert "other options" in str(ended.result)
        assert (out / named(still)).read_bytes() == before
        assert len(planned_batch([still], out, other, again=True).jobs) == 1

    def test_other_words_about_a_look_change_no_pixel(self, shoot, tmp_path, recipe):
        still, out = shoot("in/a.png"), tmp_path / "out"
        fg.render_batch([still], out, recipe, processes=1)
        reworded = replace(recipe.looks[0], summary="lamps glow", watch="the window")
        assert planned_batch([still], out, replace(recipe, looks=(reworded,))).jobs == ()

    def test_a_batch_broken_off_goes_on(self, shoot, tmp_path, recipe):
        for n in range(4):
            shoot(f"in/{n}.png", seed=n)
        first = planned_batch([tmp_path / "in"], tmp_path / "out", recipe).run(**HERE)
        assert next(first).state == "rendered"
        first.close()
        assert manifest_of(tmp_path / "out")["3.png"]["state"] == "planned"
        rest = list(planned_batch([tmp_path / "in"], tmp_path / "out", recipe).run(**HERE))
        assert states(rest) == {
            "0.png": "done before",
            **dict.fromkeys(("1.png", "2.png", "3.png"), "rendered"),
        }

    def test_a_manifest_says_what_was_rendered_how(self, shoot, tmp_path, recipe):
        still, out = shoot("in/a.png"), tmp_path / "out"
        fg.render_batch([still], out, recipe, processes=1)
        whole = json.loads((out / "frontglass-batch.json").read_text(encoding="utf-8"))
        (entry,) = whole.pop("pictures").values()
        program = f"frontglass {fg.__version__}"
        assert whole == {"format": 2, "program": program, "contact": {}}
        digests = [entry.pop(f"{name}_sha256") for name in ("recipe", "typed")]
        assert all(re.fullmatch("[0-9a-f]{64}", digest) for digest in digests)
        picture, found = out / named(still), fg.render_file(still, tmp_path / "b.png", recipe)
        assert entry == {
            "state": "done",
            "still": str(still),
            "still_bytes": still.stat().st_size,
            "still_mtime_ns": still.stat().st_mtime_ns,
            "looks": ["harbour-night:1/4"],
            "out_bytes": picture.stat().st_size,
            "out_mtime_ns": picture.stat().st_mtime_ns,
            "out_sha256": hashlib.sha256(picture.read_bytes()).hexdigest(),
            "camera": dataclasses.asdict(found.camera),
            "light_loss_stops": pytest.approx(recipe.light_loss_stops, abs=1e-4),
            "notices": list(found.notices),
        }

    @pytest.mark.parametrize("text", ["", "[]", '{"format": 99, "stills": {}}', '{"format": 1}'])
    def test_a_manifest_that_is_none_is_refused(self, shoot, tmp_path, recipe, text):
        still, out = shoot("in/a.png"), tmp_path / "out"
        out.mkdir()
        (out / "frontglass-batch.json").write_text(text)
        with pytest.raises(FrontglassError, match="is no manifest"):
            planned_batch([still], out, recipe)

    def test_jobs_below_one_are_refused(self, shoot, tmp_path, recipe):
        batch = planned_batch([shoot("in/a.png")], tmp_path / "out", recipe)
        with pytest.raises(ParameterError, match="jobs must be >= 1"):
            list(batch.run(processes=0))
        assert not (tmp_path / "out").exists()

    def test_a_folder_that_cannot_be_made_is_one_line(self, shoot, tmp_path, recipe):
        still = shoot("in/a.png")
        (tmp_path / "file").write_text("")
        with pytest.raises(PictureFileError, match="cannot be made"):
            fg.render_batch([still], tmp_path / "file" / "out", recipe, processes=1)

    def test_a_flaw_of_ours_costs_one_still_only(self, shoot, tmp_path, recipe, monkeypatch):
        shoot("in/a.png"), shoot("in/b.png")
        whole = work.render_picture

        def flawed(picture, still, *rest, **how):
            if still.name == "a.png":
                raise ZeroDivisionError("division by zero")
            return whole(picture, still, *rest, **how)

        monkeypatch.setattr(work, "render_picture", flawed)
        outcomes = fg.render_batch([tmp_path / "in"], tmp_path / "out", recipe, processes=1)
        assert states(outcomes) == {"a.png": "failed", "b.png": "rendered"}
        assert "ZeroDivisionError: division by zero" in str(outcomes[0].result)


class Deadly(PosixPath):
    """A path that ends the process which receives it, as a system short of memory would."""

    def __reduce__(self):
        return os._exit, (9,)


@pytest.mark.skipif(os.name == "nt", reason="a Posix path stands in for the still")
def test_a_process_ended_from_outside_costs_its_own_still_only(shoot, tmp_path, recipe):
    (tmp_path / "out").mkdir()
    jobs = [Job(shoot(f"in/{n}.png"), tmp_path / "out" / f"{n}.png", f"{n}.png") for n in range(4)]
    jobs[1] = replace(jobs[1], still=Deadly(jobs[1].still))
    tasks = [work.Task((job,), recipe, (recipe.looks,), ("",)) for job in jobs]
    ended = dict(side_by_side(tasks, 2))
    assert set(ended) == set(jobs)
    assert "ended from outside" in str(ended.pop(jobs[1]))
    assert all(isinstance(result, work.Made) for result in ended.values())


class TestOneStill:
    def test_a_name_beside_the_still(self, recipe):
        beside = out_beside(Path("day 1/scout.01.jpg"), recipe.looks)
        assert beside == Path("day 1/scout.01_harbour-night_1-4.jpg")
        assert out_beside(Path("a.png"), ()) == Path("a_bare.png")

    def test_the_still_is_never_overwritten(self, shoot, tmp_path, recipe):
        still = shoot()
        (tmp_path / "hard.png").hardlink_to(still)
        (tmp_path / "soft.png").symlink_to(still)
        before = still.read_bytes()
        for name in ("scout.png", "hard.png", "soft.png"):
            with pytest.raises(PictureFileError, match="is the still itself"):
                fg.render_file(still, tmp_path / name, recipe, overwrite=True)
        assert still.read_bytes() == before

    def test_another_file_is_replaced_only_when_allowed(self, shoot, tmp_path, recipe):
        still, other = shoot(), tmp_path / "other.png"
        other.write_text("the only copy")
        with pytest.raises(PictureFileError, match="exists already"):
            fg.render_file(still, other, recipe)
        assert other.read_text() == "the only copy"
        fg.render_file(still, other, recipe, overwrite=True)
        assert fg.read_picture(other).width_px == 48

    def test_nothing_in_front_of_the_lens_changes_no_code(self, shoot, tmp_path):
        still = shoot()
        fg.render_file(still, tmp_path / "bare.png", Recipe())
        one, other = fg.read_picture(still), fg.read_picture(tmp_path / "bare.png")
        assert np.array_equal(one.encoding.codes, other.encoding.codes)

    def test_what_was_assumed_is_told_once(self, shoot, tmp_path, recipe):
        result = fg.render_file(shoot(), tmp_path / "out.png", Recipe(looks=recipe.looks))
        assert any("40 degrees" in notice for notice in result.notices)
        assert len(set(result.notices)) == len(result.notices)
