"""Workers that hang or are left behind, and two batches into one folder."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections import deque
from math import inf
from pathlib import Path
from types import SimpleNamespace

import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.batch import manifest, workers
from frontglass.batch.manifest import MANIFEST_NAME, Manifest
from frontglass.batch.run import planned_batch
from frontglass.batch.work import Job
from frontglass.batch.workers import Countdown, Limit, Workers, _Hand
from frontglass.cli.app import app
from frontglass.errors import FrontglassError, ParameterError
from frontglass.files.lock import held
from frontglass.files.whole import half_name, write_bytes_whole
from frontglass.pipeline.framing import Framing
from frontglass.pipeline.recipe import Recipe
from tests.batch import hands

HERE = {"processes": 1, "patience_s": inf}
FRAMING = Framing(lens_mm=50, f_number=2.8, sensor="super35")


def of(name: str, strength: str = "1/4") -> Recipe:
    return Recipe(looks=(fg.read_look(name).at(strength),), framing=FRAMING)


def seconds(_: object) -> Limit:
    return Limit(100.0)


def test_workers_can_be_left_twice_as_after_an_interrupt():
    pool = Workers(2, hands.work)
    pool.leave(0.0)
    pool.leave(0.0)
    assert list(pool.results([], None)) == []


def test_one_interrupt_ends_a_worker_that_hangs(monkeypatch):
    monkeypatch.setattr(workers, "PATIENCE_S", 0.1)
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt), Workers(1, hands.work) as pool:  # noqa: PT012
        for task, _ in pool.results(["name", "hang"], seconds):
            assert task == "name"
            raise KeyboardInterrupt
    assert time.monotonic() - began < 60


def test_what_hangs_or_dies_twice_is_named_and_the_rest_goes_on(tmp_path):
    tries = tmp_path / "tries"
    tasks = ["name", "hang", f"die {tries}", "name", "name"]
    with Workers(2, hands.work) as pool:
        ended = list(pool.results(tasks, lambda task: Limit(1.0 if task == "hang" else 100.0)))
    said = sorted(str(answer) for _, answer in ended)
    assert sum(text.isdecimal() for text in said) == 3
    assert any(text.startswith("took longer than 1 s and was left") for text in said)
    assert any(text.startswith("its process was ended from outside twice") for text in said)
    assert tries.read_text() == "once\n" * 2
    assert len(said) == 5


def test_a_limit_goes_by_pixels_once_they_are_known():
    with Workers(1, hands.work) as pool:
        (first,) = pool.results(["tell 0.2"], lambda _: Limit(100.0, 0.1, 1.0))
        (other,) = pool.results(["tell 50"], lambda _: Limit(100.0, 0.1, 1.0))
        pool._hands[0].take("name", Limit(100.0))
        began = time.monotonic()
    # What has answered is waited for no longer: patience alone would be 20 s.
    assert time.monotonic() - began < 15
    assert first[1].startswith("took longer than 0 s")
    assert other[1] == "slept"


ORPHAN = """
import os
from frontglass.batch.workers import Countdown, Limit, Workers, _Hand
from tests.batch import hands
if __name__ == "__main__":
    pool = Workers(1, hands.work)
    for task, answer in pool.results(["name", "hang"], lambda task: Limit(600.0)):
        print(answer, flush=True)
        pool._hands[0].take("hang", Limit(600.0))
        os.kill(os.getpid(), 9)
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="asks the system as only Unix answers")
def test_a_worker_ends_when_its_parent_is_killed(tmp_path):
    (tmp_path / "parent.py").write_text(ORPHAN)
    # Worker and parent hold the pipe: reading it to its end waits for both, or times out.
    said = subprocess.run(
        [sys.executable, tmp_path / "parent.py"],
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    assert said.returncode == -9
    assert int(said.stdout) > 0


@pytest.mark.skipif(sys.platform == "win32", reason="where files have no shared locks")
def test_what_a_killed_run_left_half_written_goes_at_the_resume(shoot, tmp_path):
    still, out = shoot("in/one.png"), tmp_path / "out"
    (job,) = planned_batch([still], out, of("slate-roof")).jobs
    out.mkdir()
    Manifest(out / MANIFEST_NAME).plan([job], lambda _: of("slate-roof"))
    half = [
        out / f".{job.out.stem}.0123456789abcdef.png",
        out / f"..{job.out.stem}.0123456789abcdef.fedcba9876543210.png",
        out / ".frontglass-batch.0123456789abcdef.json",
    ]
    theirs = [out / ".hidden.png", out / ".someone.0123456789abcdef.png"]
    for path in (*half, *theirs):
        path.write_bytes(b"half")
    running = planned_batch([still], out, of("slate-roof")).run(**HERE)
    assert [outcome.state for outcome in running] == ["rendered"]
    assert not any(path.exists() for path in half)
    assert sorted(out.glob(".*")) == sorted(theirs)


@pytest.mark.skipif(sys.platform == "win32", reason="where what is held cannot be written")
def test_what_a_killed_command_left_goes_when_the_file_is_made_again(tmp_path):
    place = tmp_path / "board.html"
    left, theirs = half_name(place), tmp_path / ".board.notes.html"
    for path in (left, theirs):
        path.write_bytes(b"half")
    in_hand = half_name(place)
    handle = held(in_hand)
    write_bytes_whole(place, b"whole")
    os.close(handle)
    assert place.read_bytes() == b"whole"
    assert sorted(tmp_path.glob(".*")) == sorted([theirs, in_hand])


def test_a_still_that_vanishes_is_named_and_the_rest_is_made(shoot, tmp_path):
    shoot("in/one.png")
    (tmp_path / "in" / "gone.png").symlink_to(tmp_path / "nowhere.png")
    running = planned_batch([tmp_path / "in"], tmp_path / "out", of("slate-roof")).run(**HERE)
    ended = {outcome.job.still.name: outcome for outcome in running}
    assert ended["one.png"].state == "rendered"
    assert "there is no such file" in str(ended["gone.png"].result)


def test_nothing_is_put_into_a_folder_that_has_gone(shoot, tmp_path):
    shoot("in/one.png"), shoot("in/two.png", seed=2)
    out = tmp_path / "out"
    running = planned_batch([tmp_path / "in"], out, of("slate-roof")).run(**HERE)
    assert next(running).state == "rendered"
    shutil.rmtree(out)
    with pytest.raises(FrontglassError, match="there is no folder"):
        list(running)
    assert not out.exists()


def test_what_another_run_is_writing_stays(shoot, tmp_path):
    shoot("in/one.png"), shoot("in/two.png")
    out = tmp_path / "out"
    first = planned_batch([tmp_path / "in"], out, of("slate-roof")).run(**HERE)
    next(first)
    half = out / ".two_slate-roof_1-4.0123456789abcdef.png"
    half.write_bytes(b"half")
    list(planned_batch([tmp_path / "in"], out, of("tallow")).run(**HERE))
    assert half.exists()
    list(first)


def test_two_batches_into_one_folder_lose_nothing(shoot, tmp_path):
    shoot("in/one.png"), shoot("in/two.png")
    out = tmp_path / "out"
    looks = ("slate-roof", "harbour-night")
    batches = [planned_batch([tmp_path / "in"], out, of(look)) for look in looks]
    running = [batch.run(**HERE) for batch in batches]
    for _ in range(2):  # by turns
        assert [next(run).state for run in running] == ["rendered", "rendered"]
    # On a busy machine a record takes long to write, and the last one is written at the end.
    assert [list(run) for run in running] == [[], []]
    kept = json.loads((out / MANIFEST_NAME).read_text(encoding="utf-8"))["pictures"]
    assert {entry["state"] for entry in kept.values()} == {"done"}
    assert set(kept) == {path.name for path in out.glob("*.png")}
    assert len(kept) == 4


def test_a_run_that_fails_hides_nothing_that_another_made(shoot, tmp_path):
    still, out = shoot("in/one.png"), tmp_path / "out"
    batch = planned_batch([still], out, of("slate-roof"))
    (job,) = batch.jobs
    out.mkdir()
    late = Manifest(out / MANIFEST_NAME)
    other = of("slate-roof", "1/2")
    late.plan([Job(still, job.out, job.name)], lambda _: other)
    list(batch.run(**HERE))
    late.record(job, other, FrontglassError("stands there already"))
    assert Manifest(out / MANIFEST_NAME).pictures[job.name]["state"] == "done"


@pytest.mark.parametrize("ending", ["", ".", "..", "1/0", "jpg/x", "\n", "xyz"])
def test_a_format_that_is_none_is_refused_before_anything_is_made(shoot, tmp_path, ending):
    with pytest.raises(ParameterError, match=r"^format must be one of"):
        planned_batch([shoot("in/a.png")], tmp_path / "out", of("slate-roof"), suffix=ending)


@pytest.mark.parametrize(
    "data", [b"\xff\xfe", b"[" * 100_000, b"{}", b"[]", b'{"format":2,"pictures":{"a":5}}']
)
def test_a_damaged_manifest_is_named_in_a_line(shoot, tmp_path, data):
    shoot("in/a.png")
    out = tmp_path / "out"
    out.mkdir()
    Path(out / MANIFEST_NAME).write_bytes(data)
    words = ["batch", str(tmp_path / "in"), "--look", "slate-roof:1/4", "-o", str(out)]
    said = CliRunner().invoke(app, words)
    assert said.exit_code == 1
    assert "is no manifest of this version; move it away" in said.stderr


def test_a_record_that_takes_long_to_write_is_written_the_more_seldom(tmp_path, monkeypatch):
    now, takes = [100.0], [0.04]
    record = Manifest(tmp_path / MANIFEST_NAME)
    job = Job(tmp_path / "a.png", tmp_path / "b.png", "b.png")
    record.plan([job], lambda _: of("slate-roof"))
    written = []

    def write(_: Manifest) -> None:
        written.append(now[0])
        now[0] += takes[0]

    monkeypatch.setattr(manifest.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(Manifest, "_write", write)

    def recorded() -> int:
        record.record(job, of("slate-roof"), FrontglassError("why"))
        return len(written)

    assert [recorded() for _ in range(3)] == [1, 2, 3]
    takes[0] = 0.1  # longer than a twentieth of a second: nine times as long until the next
    assert [recorded(), recorded()] == [4, 4]
    now[0] += 0.89
    assert recorded() == 4
    now[0] += 0.02
    assert recorded() == 5
    record.flush()
    assert len(written) == 5
    recorded()
    record.flush()
    assert len(written) == 6


@pytest.mark.parametrize(
    ("ends", "until", "waits"),
    [
        ([inf], None, None),
        ([inf, 107.0], None, 7.0),
        ([90.0], None, 0.0),
        ([inf], 103.0, 3.0),
        ([102.0], 103.0, 2.0),
        ([105.0], 90.0, 0.0),
    ],
)
def test_what_is_in_hand_is_listened_to_till_the_first_has_no_time_left(
    monkeypatch, ends, until, waits
):
    heard = []
    monkeypatch.setattr(workers.time, "monotonic", lambda: 100.0)
    listening = workers.multiprocessing.connection
    monkeypatch.setattr(listening, "wait", lambda pipes, left: heard.append((len(pipes), left)))
    pool = Workers(len(ends), hands.work)
    quiet = SimpleNamespace(poll=lambda: False, close=lambda: None)
    process = SimpleNamespace(kill=lambda: None, join=lambda: None)
    for number, end in enumerate(ends):
        left = Countdown(Limit(1.0), until=end)
        pool._hands[number] = _Hand(process, quiet, task=number, left=left)
    given_up = [task for task, _ in pool._heard(deque(), until)]
    assert heard == [(len(ends), waits)]
    assert given_up == [number for number, end in enumerate(ends) if end <= 100]


@pytest.mark.parametrize(
    ("patience_s", "answers", "waits"),
    [
        (5.0, [("megapixels", 3.0), ("answer", "done")], [5.0, 4.0]),
        (0.5, [("megapixels", 3.0), ("answer", "done")], [0.5]),
        (0.0, [("answer", "done")], []),
    ],
)
def test_what_is_in_hand_may_be_finished_as_long_as_patience_lasts(
    monkeypatch, patience_s, answers, waits
):
    now, heard, ended = [100.0], [], []

    def wait(_: object, left: float) -> None:
        heard.append(left)
        now[0] += 1

    def closed() -> None:
        ended.append("closed")

    monkeypatch.setattr(workers.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(workers.multiprocessing.connection, "wait", wait)
    pool = Workers(2, hands.work)
    process = SimpleNamespace(kill=lambda: ended.append("killed"), join=lambda: None)
    busy = SimpleNamespace(poll=lambda: True, recv=lambda: answers.pop(0), close=closed)
    idle = SimpleNamespace(close=closed)
    pool._hands = [_Hand(process, busy, task="name"), _Hand(process, idle)]
    pool.leave(patience_s)
    assert heard == waits
    # Who has nothing in hand ends by itself when its pipe is closed.
    assert ended[0] == "closed"
    assert ended.count("killed") == 2
    assert pool._hands == [None, None]
