"""What is handed to a scheduler's workers and when, with a client that does what a test says.

The real thing is tried in test_cluster.py; there nothing dies, and nothing takes too long.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import frontglass as fg
from frontglass.batch import cluster, memory, run, work, workers
from frontglass.batch.manifest import recipe_digest
from frontglass.batch.memory import Jobs, jobs_that_fit, pictures_taken
from frontglass.batch.run import planned_batch
from frontglass.batch.work import Job, Task
from frontglass.batch.workers import Countdown, Limit, limit_of
from frontglass.errors import FrontglassError

RECIPE = fg.Recipe(looks=(fg.read_look("slate-roof"),))


def task(name: str) -> Task:
    job = Job(Path(name), Path("out", name), name)
    return Task((job,), RECIPE, (RECIPE.looks,), ("",))


class KilledWorker(Exception):  # noqa: N818
    """As dask.distributed calls it."""


@dataclass
class Future:
    """A task on a worker: it ends with an answer, an error, or never."""

    key: str
    answer: Any
    is_done: bool
    is_cancelled: bool = False
    is_released: bool = False

    begun: Callable[[], None] | None = None
    """Called once when it is first asked for."""

    def done(self) -> bool:
        begun, self.begun = self.begun, None
        if begun is not None:
            begun()
        return self.is_done

    def result(self) -> Any:
        if isinstance(self.answer, Exception):
            raise self.answer
        return self.answer

    def cancel(self) -> None:
        self.is_cancelled = True

    def release(self) -> None:
        self.is_released = True


@dataclass
class Client:
    """A client whose tasks end as `answers` says by the name of their still; None hangs."""

    threads: dict[str, int]
    answers: dict[str, Any] = field(default_factory=dict)
    restarting: Callable[[list[str]], None] = lambda _: None
    id: str = "7"
    futures: list[Future] = field(default_factory=list)
    sent: list[tuple[str, Any, dict[str, Any]]] = field(default_factory=list)
    topics: list[str] = field(default_factory=list)
    told: Any = None
    restarted: list[tuple[list[str], dict[str, Any]]] = field(default_factory=list)
    most: int = 0

    def subscribe_topic(self, topic: str, handler: Any) -> None:
        self.topics.append(topic)
        self.told = handler

    def nthreads(self) -> dict[str, int]:
        return self.threads

    def submit(self, what: Any, given: Task, sender: Any, *, pure: bool, **only: Any) -> Future:
        assert what is cluster.done_there
        assert not pure  # else a still that has changed would not be done again
        name = given.jobs[0].name
        answer = self.answers.get(name, [(given.jobs[0], "made")])
        future = Future(f"key-{name}", answer, is_done=answer is not None, begun=self.begun)
        self.futures.append(future)
        self.sent.append((name, sender, only))
        self.most = max(self.most, sum(not own.is_released for own in self.futures))
        return future

    def begun(self) -> None:
        """Tell that workers have begun what hangs: the first worker has it."""
        for own in self.futures:
            if not own.is_done:
                self.told((0.0, (own.key, sorted(self.threads)[0], None)))

    def restart_workers(self, names: list[str], **how: Any) -> None:
        self.restarted.append((names, how))
        self.restarting(names)


def answers_of(client: Client, names: str, patience_s: float | None = None) -> dict[str, str]:
    left = {number: task(name) for number, name in enumerate(names)}
    own = cluster._Round(client, left, None, patience_s)
    found = {job.name: str(answer) for job, answer in own.results()}
    assert not own.running
    return found


def test_each_thread_has_one_still_in_hand_and_the_next_when_that_has_ended():
    client = Client({"one": 1, "two": 2})
    assert answers_of(client, "abcdefg") == dict.fromkeys("abcdefg", "made")
    assert client.most == 3
    assert [name for name, *_ in client.sent] == list("abcdefg")
    assert all(own.is_released for own in client.futures)
    name, sender, only = client.sent[0]
    assert (name, only) == ("a", {})
    digest = recipe_digest(RECIPE)
    assert sender == cluster.Sender(fg.__version__, (digest,), os.getcwd(), None, "frontglass-7")
    assert client.topics == ["frontglass-7"]


def test_without_any_worker_one_still_waits_for_the_first():
    client = Client({})
    assert answers_of(client, "ab") == {"a": "made", "b": "made"}
    assert client.most == 1


def test_errors_on_workers_are_told_still_by_still():
    client = Client({"one": 1}, {"a": KeyError("x"), "b": KilledWorker("b", "one")})
    assert answers_of(client, "abc") == {
        "a": "a: KeyError: 'x'",
        "b": "b: its worker was ended from outside each time, mostly for want of memory; it is set"
        " aside, try it alone.",
        "c": "made",
    }


@pytest.mark.parametrize("error", [CancelledError(), OSError("gone")])
def test_when_the_scheduler_goes_what_it_had_is_left_to_the_next(error):
    client = Client({"one": 1}, {"b": error})
    left = {number: task(name) for number, name in enumerate("abc")}
    found = [job.name for job, _ in cluster._Round(client, left, None, None).results()]
    assert found == ["a"]
    assert sorted(left) == [1, 2]


def test_what_takes_too_long_is_named_and_its_worker_begun_anew(monkeypatch):
    monkeypatch.setattr(cluster, "POLL_S", 0.01)
    client = Client({"one": 1, "two": 1}, {"a": None})
    found = answers_of(client, "abc", 0.05)
    assert found["a"] == "a: took longer than 0 s and was left; --patience gives it more."
    assert (found["b"], found["c"]) == ("made", "made")
    assert client.futures[0].is_cancelled
    assert [names for names, _ in client.restarted] == [["one"]]
    assert client.restarted[0][1] == {"timeout": 60.0, "raise_for_error": False}


def no_nanny(_: list[str]) -> None:
    raise ValueError("no nanny")


def gone(_: list[str]) -> None:
    raise KeyError("one")


def test_a_worker_that_cannot_be_ended_gets_no_more(monkeypatch):
    monkeypatch.setattr(cluster, "POLL_S", 0.01)
    client = Client({"one": 1, "two": 1}, {"a": None}, no_nanny)
    assert answers_of(client, "abcd", 0.05)["d"] == "made"
    assert [only for name, _, only in client.sent if name in "ab"] == [{}, {}]
    assert all(only in ({}, {"workers": ["two"]}) for *_, only in client.sent)
    alone = Client({"one": 1}, {"a": None}, no_nanny)
    said = pytest.raises(FrontglassError, match=r"^every worker has a still in hand that takes too")
    with said:
        answers_of(alone, "ab", 0.05)
    by_itself = Client({"one": 1}, {"a": None}, gone)
    assert answers_of(by_itself, "ab", 0.05)["b"] == "made"


def test_a_still_that_nobody_hands_out_any_more_tells_nothing():
    own = cluster._Round(Client({}), {}, None, None)
    own._told((0.0, ("key-z", "one", 12.0)))
    assert not own.running


def test_a_still_has_two_minutes_and_more_by_its_bytes_then_by_its_pixels(tmp_path, monkeypatch):
    now = [1000.0]
    monkeypatch.setattr(workers.time, "monotonic", lambda: now[0])
    still = tmp_path / "a.png"
    still.write_bytes(bytes(3_000_000))
    jobs = tuple(Job(still, tmp_path / name, name) for name in "ab")
    both = Task(jobs, RECIPE, (RECIPE.looks,), ("", ""))
    # Two minutes to read, two seconds more a megabyte; then two minutes and half a minute more a
    # megapixel and picture: README, "a still that takes too long".
    assert limit_of(both, None) == Limit(126.0, 120.0, 60.0)
    assert limit_of(task("nowhere.png"), None) == Limit(120.0, 120.0, 30.0)
    assert limit_of(both, 5.0) == Limit(5.0)
    left = Countdown(limit_of(both, None))
    assert not left.is_over()
    left.begin()
    for later, is_over in ((1125.9, False), (1126.0, True)):
        now[0] = later
        assert left.is_over() is is_over
    assert left.said() == "took longer than 126 s and was left; --patience gives it more."
    left.told(24.0)
    now[0] = 1126.0 + 120 + 24 * 60 - 0.1
    assert not left.is_over()
    assert left.said() == "took longer than 1560 s and was left; --patience gives it more."
    typed = Countdown(limit_of(both, 5.0))
    typed.begin()
    typed.told(24.0)
    assert typed.allowed_s == 5


def test_as_many_stills_at_a_time_as_memory_holds(monkeypatch, shoot):
    stills = [shoot(f"{n}.png", width=40 * (n + 1), height=30) for n in range(3)]
    monkeypatch.setattr(memory, "claimed_size", lambda path: (6000, 4000 if path in stills else 9))
    monkeypatch.setattr(memory, "available_cores", lambda: 8)

    def fitting(free: float | None, **how: Any) -> Jobs:
        monkeypatch.setattr(memory, "free_bytes", lambda: free)
        return jobs_that_fit(stills, **how)

    # A still takes 0.4 GB for the program and 12 bytes a pixel for each of 7 pictures: 2.4 GB.
    assert fitting(None) == Jobs(8)
    assert fitting(1e12) == Jobs(8)
    assert fitting(1e12, most=3) == Jobs(3)
    assert fitting(12e9) == Jobs(
        4,
        "4 at a time, not one for each of 8 cores: 12.0 GB are free, and a still of 24 megapixels"
        " takes 2.4 (--jobs N takes N).",
    )
    assert fitting(12e9, pictures=10).at_once == 3
    assert fitting(1e8).at_once == 1
    # 85 % of what is free: three stills and not four in 8.5 GB / 0.85.
    assert fitting(3 * 2.416e9 / 0.85 + 1e6).at_once == 3
    assert fitting(3 * 2.416e9 / 0.85 - 1e6).at_once == 2
    monkeypatch.setattr(memory, "claimed_size", lambda _: None)
    assert fitting(1e8) == Jobs(8)


def test_a_net_with_a_glow_takes_more_pictures_than_either():
    net, glow = fg.read_look("fine-net"), fg.read_look("late-tram")
    assert [pictures_taken([look]) for look in (net, glow)] == [7, 7]
    assert pictures_taken([fg.Look(elements=(*net.elements, *glow.elements))]) == 10
    assert pictures_taken([]) == 7


def test_a_batch_counts_the_pictures_that_its_own_looks_take(monkeypatch, shoot, tmp_path):
    asked = []

    def fits(stills: Any, *, pictures: int) -> Jobs:
        asked.append((list(stills), pictures))
        return Jobs(1)

    monkeypatch.setattr(run, "jobs_that_fit", fits)
    stills = [shoot("in/a.png"), shoot("in/b.png")]
    net, glow = fg.read_look("fine-net"), fg.read_look("late-tram")
    both = fg.Look(name="both", elements=(*net.elements, *glow.elements))
    for looks, pictures in ((glow,), 7), ((both,), 10):
        batch = planned_batch(stills, tmp_path / "out", fg.Recipe(looks=looks))
        assert batch.fitting_jobs() == Jobs(1)
        assert asked.pop() == (stills, pictures)


def test_a_scheduler_of_our_own_has_workers_of_one_thread_and_keeps_its_words(monkeypatch):
    begun: list[dict[str, Any]] = []
    said: list[dict[str, Any]] = []

    @contextmanager
    def local_cluster(**how: Any) -> Iterator[Any]:
        begun.append(how)
        yield SimpleNamespace(scheduler_address="tcp://here:1")

    @contextmanager
    def setting(words: dict[str, Any]) -> Iterator[None]:
        said.append(words)
        yield

    dask = SimpleNamespace(config=SimpleNamespace(set=setting))
    monkeypatch.setattr(cluster, "import_module", lambda name: {"dask": dask}[name])
    found = SimpleNamespace(LocalCluster=local_cluster)
    monkeypatch.setattr(cluster, "_distributed", lambda: found)
    with cluster._scheduler("local:12") as given:
        assert given == ("tcp://here:1", 12)
    (how,) = begun
    assert (how["n_workers"], how["threads_per_worker"], how["memory_limit"]) == (12, 1, 0)
    assert how["dashboard_address"].startswith("127.0.0.1:")  # nobody else's
    (words,) = said
    # A still that ends its worker is tried once more, and a worker is ended by nobody but us.
    assert words["distributed.scheduler.allowed-failures"] == 1
    assert words["distributed.worker.memory.terminate"] is False
    assert words["distributed.worker.memory.pause"] is False
    for wrong in ("local:", "local"):
        with pytest.raises(fg.ParameterError), cluster._scheduler(wrong):
            pass


def test_what_a_container_leaves_is_its_limit_less_what_it_holds(monkeypatch, tmp_path):
    # Where control groups of version 2 are mounted, by the kernel's own documents.
    monkeypatch.setattr(memory, "Path", {"/sys/fs/cgroup": tmp_path}.__getitem__)
    assert memory._of_the_group() is None
    (tmp_path / "memory.current").write_text("300\n")
    for limit, left in (("max\n", None), ("1000\n", 700.0), ("200\n", 0.0)):
        (tmp_path / "memory.max").write_text(limit)
        assert memory._of_the_group() == left


def test_what_a_process_may_take_is_its_own_limit(monkeypatch):
    resource = pytest.importorskip("resource")
    for soft, left in ((resource.RLIM_INFINITY, None), (7_000_000, 7e6)):
        monkeypatch.setattr(resource, "getrlimit", lambda _, soft=soft: (soft, soft))
        assert memory._of_the_process() == left


def test_what_a_scheduler_prints_of_itself_is_not_heard(monkeypatch):
    names = ("distributed", "distributed.worker", "tornado", "asyncio", "distributedly")
    loggers = [logging.getLogger(name) for name in names]
    for logger in loggers:
        monkeypatch.setattr(logger, "level", logging.WARNING)
    given: list[tuple[str, float]] = []

    @contextmanager
    def connected(where: str, patience_s: float) -> Iterator[Client]:
        given.append((where, patience_s))
        yield Client({"one": 1}, {"b": CancelledError()} if len(given) == 1 else {})

    monkeypatch.setattr(cluster, "_distributed", lambda: None)
    monkeypatch.setattr(cluster, "_connected", connected)
    ended = cluster.on_cluster([task(name) for name in "abc"], "tcp://render:8786")
    assert [job.name for job, _ in ended] == ["a", "b", "c"]
    # A scheduler that goes is waited for once more, and longer.
    assert given == [("tcp://render:8786", 20.0), ("tcp://render:8786", 60.0)]
    assert [logger.level > logging.CRITICAL for logger in loggers] == [True] * 4 + [False]


def test_a_still_is_written_over_for_its_last_picture_alone(monkeypatch, shoot, tmp_path):
    told = []

    def render(*_: Any, is_last: bool) -> None:
        told.append(is_last)
        raise FrontglassError("enough")

    monkeypatch.setattr(work, "render_picture", render)
    (tmp_path / "out").mkdir()
    still = shoot("a.png")
    jobs = tuple(Job(still, tmp_path / "out" / name, name, n) for n, name in enumerate("abc"))
    looks = tuple((fg.read_look("slate-roof").at(n / 4),) for n in (1, 2, 3))
    ended = work.done(Task(jobs, RECIPE, looks, ("", "", "")))
    assert [str(why) for _, why in ended] == ["enough"] * 3
    assert told == [False, False, True]
