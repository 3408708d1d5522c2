"""What is handed out, heard and given up, hand by hand, without a process or a scheduler."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from math import inf
from pathlib import Path
from typing import Any

import pytest

import frontglass as fg
from frontglass.batch import cluster, finding, run, work, workers
from frontglass.batch.manifest import Standing, recipe_digest
from frontglass.batch.memory import Jobs
from frontglass.batch.run import planned_batch
from frontglass.batch.work import Job, Made, Task
from frontglass.batch.workers import KILLED, Countdown, Limit, Workers, _Hand
from frontglass.errors import FrontglassError
from tests.batch.test_rounds import RECIPE, Client, task


class Pipe:
    """A pipe that gives what a test says; an error ends it."""

    def __init__(self, *given: Any) -> None:
        self.given = deque(given)
        self.sent: list[Any] = []
        self.is_closed = False

    def poll(self) -> bool:
        return bool(self.given)

    def recv(self) -> Any:
        one = self.given.popleft()
        if isinstance(one, Exception):
            raise one
        return one

    def send(self, what: Any) -> None:
        if self.is_closed:
            raise BrokenPipeError
        self.sent.append(what)

    def close(self) -> None:
        self.is_closed = True


class Process:
    """A process that notes how it ends."""

    def __init__(self) -> None:
        self.ends: list[str] = []

    def kill(self) -> None:
        self.ends.append("killed")

    def join(self) -> None:
        self.ends.append("joined")


def pool_of(*pipes: Pipe, tried: int = 1, until: float = inf) -> Workers:
    pool = Workers(len(pipes), lambda *_: None)
    for number, pipe in enumerate(pipes):
        left = Countdown(Limit(1.0, 5.0, 2.0), until=until)
        hand = _Hand(Process(), pipe, task=f"task {number}", tried=tried, left=left)  # type: ignore[arg-type]
        pool._hands[number] = hand
    return pool


@pytest.fixture(autouse=True)
def now(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    clock = [100.0]
    monkeypatch.setattr(workers.time, "monotonic", lambda: clock[0])
    monkeypatch.setattr(workers.multiprocessing.connection, "wait", lambda *_: None)
    return clock


@pytest.mark.parametrize("error", [EOFError(), OSError("gone")])
def test_one_worker_that_dies_keeps_nobody_from_being_heard(error: Exception):
    pool = pool_of(Pipe(error), Pipe(("answer", "made")), Pipe())
    dead, done, _ = pool._hands
    assert dead is not None
    assert done is not None
    waiting: workers.Waiting = deque()
    assert list(pool._heard(waiting)) == [("task 1", "made")]
    # What it had is begun once more, by a process that is new.
    assert list(waiting) == [("task 0", 2)]
    assert pool._hands[0] is None
    assert dead.process.ends == ["killed", "joined"]  # type: ignore[attr-defined]
    assert dead.pipe.is_closed  # type: ignore[attr-defined]
    assert done.task is None
    assert [hand.task for hand in pool._busy()] == ["task 2"]


def test_what_has_ended_two_processes_is_set_aside():
    pool = pool_of(Pipe(EOFError()), tried=2)
    waiting: workers.Waiting = deque()
    assert list(pool._heard(waiting)) == [("task 0", KILLED)]
    assert not waiting
    assert pool._hands == [None]
    assert not pool._busy()


def test_megapixels_and_the_answer_may_come_at_once():
    pool = pool_of(Pipe(("megapixels", 12.0), ("answer", "made")), until=99.0)
    assert list(pool._heard(deque())) == [("task 0", "made")]
    pool = pool_of(Pipe(("megapixels", 12.0)), until=99.0)
    (hand,) = pool._hands
    assert hand is not None
    # Its time had run out, but from now on it has 5 s and 2 s more a megapixel.
    assert list(pool._heard(deque())) == []
    assert hand.left.until == 100 + 5 + 24
    assert hand.task == "task 0"


def test_what_takes_too_long_is_given_up_and_its_process_ended():
    pool = pool_of(Pipe(), Pipe(("answer", "made")), until=100.0)
    late, _ = pool._hands
    assert late is not None
    heard = list(pool._heard(deque()))
    said = "took longer than 0 s and was left; --patience gives it more."
    assert heard == [("task 0", said), ("task 1", "made")]
    assert late.process.ends == ["killed", "joined"]  # type: ignore[attr-defined]
    assert pool._hands[0] is None


def test_those_who_are_free_get_what_waits_in_turn(monkeypatch):
    pool = pool_of(Pipe(), Pipe(), Pipe())
    for hand in pool._hands[1:]:
        assert hand is not None
        hand.task = None
    waiting: workers.Waiting = deque([("a", 2), ("b", 1), ("c", 1)])
    pool._hand_out(waiting, lambda name: Limit({"a": 7.0, "b": 8.0}[name]))
    assert list(waiting) == [("c", 1)]
    told = [(hand.task, hand.tried, hand.left.until) for hand in pool._hands if hand is not None]
    assert told == [("task 0", 1, inf), ("a", 2, 107.0), ("b", 1, 108.0)]
    assert [hand.pipe.sent for hand in pool._hands if hand is not None] == [[], ["a"], ["b"]]
    # A place without a process gets one, and only if there is something to do.
    begun: list[int] = []

    def started(number: int) -> _Hand:
        begun.append(number)
        return _Hand(Process(), Pipe())  # type: ignore[arg-type]

    monkeypatch.setattr(pool, "_started", started)
    pool._hands = [None, None, None]
    pool._hand_out(waiting, lambda _: Limit(1.0))
    assert begun == [0]


def test_a_process_that_has_ended_takes_nothing_and_harms_nobody():
    pipe = Pipe()
    pipe.close()
    hand = _Hand(Process(), pipe)  # type: ignore[arg-type]
    hand.take("a", Limit(3.0))
    assert (hand.task, hand.tried, hand.left.until) == ("a", 1, 103.0)


@pytest.mark.parametrize(
    ("cores", "number", "count", "mine", "threads"),
    [
        (8, 0, 3, {0, 3, 6}, 2),
        (8, 2, 3, {2, 5}, 2),
        (8, 7, 8, {7}, 1),
        (2, 3, 4, {1}, 1),
        (2, 4, 5, {0}, 1),
        (4, 0, 1, {0, 1, 2, 3}, 4),
        (6, 4, 4, {0, 4}, 1),
    ],
)
def test_workers_share_the_cores_among_them(monkeypatch, cores, number, count, mine, threads):
    import cv2

    taken: list[Any] = []
    monkeypatch.setattr(workers, "available_cores", lambda: cores)
    monkeypatch.setattr(workers.os, "sched_getaffinity", lambda _: set(range(cores)), raising=False)
    monkeypatch.setattr(
        workers.os, "sched_setaffinity", lambda _, own: taken.append(set(own)), raising=False
    )
    monkeypatch.setattr(cv2, "setNumThreads", taken.append)
    workers.take_share(number, count)
    assert taken == [mine, threads]


def test_what_hangs_on_a_worker_that_cannot_be_ended_leaves_it_out():
    client = Client({"one": 2, "two": 1, "three": 1}, dict.fromkeys("abcde"))
    left = {number: task(name) for number, name in enumerate("abcde")}
    own = cluster._Round(client, left, None, None, stuck={"one"})
    waiting = list(left)
    own._hand_out(waiting, "topic")
    assert waiting == [2, 3, 4]
    assert [only for *_, only in client.sent] == [{"workers": ["two", "three"]}] * 2
    assert sorted(own.running) == ["key-a", "key-b"]
    free = cluster._Round(Client({"one": 2, "two": 1}), left, None, None)
    waiting = list(left)
    free._hand_out(waiting, "topic")
    assert waiting == [3, 4]
    assert [only for *_, only in free.client.sent] == [{}] * 3


def test_time_runs_from_when_a_worker_begins_and_anew_when_it_tells_pixels():
    client = Client({"one": 1}, {"a": None})
    own = cluster._Round(client, {0: task("a")}, None, None)
    own._hand_out([0], "topic")
    (hand,) = own.running.values()
    assert (hand.worker, hand.left.until) == ("", inf)
    own._told((0.0, ("key-a", "tcp://one", None)))
    assert (hand.worker, hand.left.until) == ("tcp://one", 100 + 120)
    own._told((0.0, ("key-a", "tcp://one", 10.0)))
    assert hand.left.until == 100 + 120 + 300


def test_a_round_waits_half_a_second_for_an_answer_and_no_longer(monkeypatch, now):
    client = Client({"one": 2}, {"a": None, "b": None})
    own = cluster._Round(client, {0: task("a"), 1: task("b")}, None, None)
    client.told = own._told
    own._hand_out([0, 1], "topic")
    slept: list[float] = []

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        now[0] += seconds

    monkeypatch.setattr(cluster.time, "sleep", sleep)
    assert own._ended() == []
    # Looked at every fiftieth of a second.
    assert sum(slept) == pytest.approx(0.5, abs=0.03)
    assert len(slept) in {25, 26}
    slept.clear()
    client.futures[1].is_done = True
    assert [hand.number for hand in own._ended()] == [1]
    assert slept == []


@pytest.fixture
def one_task(shoot: Any, tmp_path: Path) -> Task:
    (tmp_path / "out").mkdir()
    job = Job(shoot("a.png"), tmp_path / "out" / "a.png", "a.png")
    return Task((job,), RECIPE, (RECIPE.looks,), ("",))


def test_a_half_written_file_that_cannot_be_taken_away_costs_no_picture(monkeypatch, one_task):
    def refused(*_: Any, **__: Any) -> None:
        raise PermissionError("not yours")

    monkeypatch.setattr(work.Path, "unlink", refused)
    ((job, made),) = work.done(one_task)
    assert isinstance(made, Made)
    assert job.out.is_file()


def test_a_disk_that_is_full_is_one_line_and_leaves_nothing(monkeypatch, one_task):
    def full(*_: Any, **__: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(work, "render_picture", full)
    ((job, why),) = work.done(one_task)
    assert str(why) == f"{job.out}: cannot be written: No space left on device."
    monkeypatch.setattr(work, "file_digest", lambda _: (_ for _ in ()).throw(OSError("odd")))
    monkeypatch.setattr(work, "render_picture", lambda *_, **__: None)
    ((_, why),) = work.done(one_task)
    assert str(why) == f"{job.out}: cannot be written: odd."
    assert list(job.out.parent.iterdir()) == []


def test_small_copies_are_made_of_the_bare_still_and_of_each_picture(one_task, tmp_path):
    seen: list[fg.Picture] = []

    def small(picture: fg.Picture) -> bytes:
        seen.append(picture)
        return f"copy {len(seen)}".encode()

    job = one_task.jobs[0]
    second = Job(job.still, tmp_path / "out" / "b.png", "b.png", 1)
    looks = (fg.read_look("slate-roof").at(1),), (fg.read_look("late-tram").at(2),)
    both = Task((job, second), RECIPE, looks, ("", ""), small)
    first, other = (made for _, made in work.done(both))
    assert isinstance(first, Made)
    assert isinstance(other, Made)
    assert [(made.bare, made.small) for made in (first, other)] == [
        (b"copy 1", b"copy 2"),
        (b"copy 1", b"copy 3"),
    ]
    bare, through, more = (picture.radiance for picture in seen)
    assert not (bare == through).all()
    assert not (through == more).all()
    assert first.rendered.out == job.out
    assert first.digest == work.file_digest(job.out)

    def broken(_: fg.Picture) -> bytes:
        raise FrontglassError("no copy")

    failed = work.done(Task((job, second), RECIPE, looks, ("", ""), broken))
    assert [str(why) for _, why in failed] == ["no copy"] * 2


def test_looks_of_a_batch_may_be_told_by_the_still(monkeypatch, shoot, tmp_path):
    net, glow = fg.read_look("fine-net"), fg.read_look("late-tram")
    both = fg.Look(name="both", elements=(*net.elements, *glow.elements))
    stills = [shoot("in/a.png"), shoot("in/b.png")]
    choices = {stills[0]: ((glow.at(1),),), stills[1]: ((glow.at(1),), (both,))}
    batch = planned_batch([tmp_path / "in"], tmp_path / "out", RECIPE, choices.__getitem__)
    assert [(job.still.stem, job.choice) for job in batch.jobs] == [("a", 0), ("b", 1), ("b", 0)]
    asked: list[int] = []

    def fits(_: object, *, pictures: int) -> Jobs:
        asked.append(pictures)
        return Jobs(1)

    monkeypatch.setattr(run, "jobs_that_fit", fits)
    batch.fitting_jobs()
    assert asked == [10]  # of a net with a glow, as in test_rounds.py


def test_a_still_is_read_once_unless_a_process_would_have_nothing_to_do(shoot, tmp_path):
    stills = [shoot("in/a.png"), shoot("in/b.png")]
    looks = [(fg.read_look("late-tram").at(n),) for n in (1, 2)]
    batch = planned_batch(stills, tmp_path / "out", RECIPE, lambda _: looks)

    def shared(processes: int) -> list[int]:
        tasks = batch._tasks(processes, None)
        assert sorted(job.name for own in tasks for job in own.jobs) == [
            job.name for job in batch.jobs
        ]
        assert all(len({job.still for job in own.jobs}) == 1 for own in tasks)
        return [len(own.jobs) for own in tasks]

    assert shared(1) == shared(2) == [2, 2]
    assert shared(3) == [1] * 4


def test_what_decides_only_whether_a_file_is_read_makes_no_other_picture():
    plain = recipe_digest(RECIPE)
    for same in ({"damage": "refuse"}, {"max_megapixels": 3.0}):
        assert recipe_digest(replace(RECIPE, **same)) == plain
    for other in ({"compensate": False}, {"exposure_stops": 1.0}, {"quality": 80}, {"looks": ()}):
        assert recipe_digest(replace(RECIPE, **other)) != plain


def test_stills_on_two_drives_are_two_batches(monkeypatch, shoot):
    def drives(_: object) -> str:
        raise ValueError

    still = shoot("a.png")
    monkeypatch.setattr(finding.os.path, "commonpath", drives)
    with pytest.raises(FrontglassError, match="lie on different drives; run one batch for each"):
        finding.found_stills([still])


@pytest.mark.parametrize(
    ("standing", "why"),
    [
        (Standing.OTHER_OPTIONS, "was made by an earlier run with other options (--again replaces"
         " it, another folder keeps both)."),
        (Standing.OTHER_STILL, "was made by an earlier run of another still (--again replaces it,"
         " another folder keeps both)."),
        (Standing.CHANGED, "was changed after an earlier run made it (move it away, or --overwrite"
         " replaces it)."),
        (Standing.STRANGER, "exists and was not written by a batch (move it away, or --overwrite"
         " replaces it)."),
    ],
)  # fmt: skip
def test_what_stays_is_told_in_one_line_with_what_would_replace_it(
    monkeypatch, shoot, tmp_path, standing, why
):
    monkeypatch.setattr(run.Manifest, "standing", lambda *_: standing)
    still = shoot("a.png")

    def planned(**how: bool) -> run.Batch:
        return planned_batch([still], tmp_path / "out", RECIPE, **how)

    (kept,) = planned().kept
    assert kept.state == "left alone"
    assert str(kept.result) == f"{kept.job.out}: {why}"
    # And that does.
    assert len(planned(overwrite=True).jobs) == 1
    assert len(planned(again=True).jobs) == ("--again" in why)
