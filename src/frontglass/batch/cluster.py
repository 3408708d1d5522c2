"""Stills handed to the machines of a dask.distributed scheduler, one each at a time."""

from __future__ import annotations

import logging
import os
import re
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path
from typing import Any

import frontglass
from frontglass.batch.manifest import recipe_digest
from frontglass.batch.work import Ended, Results, Task, done
from frontglass.batch.workers import Countdown, failed, limit_of, take_share
from frontglass.errors import FrontglassError, ParameterError

LOCAL = re.compile(r"local:([1-9][0-9]{0,2})")
CONNECTING_S = 20.0
ALLOWED_DEATHS = 1
"""How many workers a still may take with it before it is set aside at the next."""
RETURNING_S = 60.0
"""How long a scheduler, or a worker that is started anew, may be away."""
POLL_S, PAUSE_S = 0.5, 0.02


def on_cluster(tasks: Sequence[Task], address: str, patience_s: float | None = None) -> Results:
    """Yield what came of each job, done by the workers of a scheduler.

    The address is such as ``tcp://render:8786``; ``local:4`` starts a scheduler here, with four
    workers. All must see the same files in the same places. `patience_s` is how long a still may
    take from when its worker begins; None goes by its pixels.

    Raises
    ------
    FrontglassError
        If dask.distributed is not there, or the scheduler cannot be reached.
    """
    # Of connections that end it prints tracebacks; what matters comes as an error.
    _distributed()
    for name in tuple(logging.Logger.manager.loggerDict):
        if name.partition(".")[0] in {"distributed", "tornado", "asyncio"}:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    left, patience = dict(enumerate(tasks)), CONNECTING_S
    with _scheduler(address) as (where, count):
        while left:
            with _connected(where, patience) as client:
                patience = RETURNING_S
                yield from _Round(client, left, count, patience_s).results()


def _distributed() -> Any:
    """Return dask.distributed, which most have no use for."""
    try:
        return import_module("distributed")
    except ImportError:
        msg = "--cluster needs dask.distributed: pip install 'frontglass[cluster]'."
        raise FrontglassError(msg) from None


@contextmanager
def _scheduler(address: str) -> Iterator[tuple[str, int | None]]:
    """Give the address of a scheduler, and how many workers of it are on this machine's cores."""
    distributed = _distributed()
    local = LOCAL.fullmatch(address)
    if not local:
        if "://" not in address and not re.fullmatch(r"[^\s:]+:[0-9]+", address):
            raise ParameterError("cluster", "an address such as tcp://render:8786", address)
        yield address, None
        return
    count = int(local[1])
    quiet = {
        "distributed.scheduler.allowed-failures": ALLOWED_DEATHS,
        "distributed.admin.log-format": "",
        "distributed.worker.memory.terminate": False,
        "distributed.worker.memory.pause": False,
    }
    with (
        import_module("dask").config.set(quiet),
        distributed.LocalCluster(
            n_workers=count,
            threads_per_worker=1,
            dashboard_address="127.0.0.1:0",  # any port: a taken one is warned of
            silence_logs=50,
            memory_limit=0,
        ) as cluster,
    ):
        yield cluster.scheduler_address, count


@contextmanager
def _connected(address: str, patience_s: float) -> Iterator[Any]:
    try:
        client = _distributed().Client(address, timeout=patience_s, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        said = str(error).split("\n")[0]
        raise FrontglassError(f"{address}: no scheduler answers there ({said}).") from None
    try:
        yield client
    finally:
        client.close(timeout=2)


@dataclass(slots=True)
class _InHand:
    """A task that a worker has, or will have as soon as one is free."""

    number: int
    future: Any
    left: Countdown
    worker: str = ""


@dataclass(slots=True)
class _Round:
    """Hands out what is left, until all is done or the scheduler goes."""

    client: Any
    left: dict[int, Task]
    count: int | None
    patience_s: float | None
    running: dict[str, _InHand] = field(default_factory=dict)
    stuck: set[str] = field(default_factory=set)
    """Workers with a still in hand that was left, and no nanny that could end them."""

    def results(self) -> Results:
        """Yield what comes back."""
        waiting = list(self.left)
        topic = f"frontglass-{self.client.id}"
        self.client.subscribe_topic(topic, self._told)
        is_there = True
        while is_there and (waiting or self.running):
            answers: Ended = []
            try:
                self._hand_out(waiting, topic)
                for own in self._ended():
                    answers += self._answer(own)
            except (CancelledError, OSError):  # The scheduler has gone, or has forgotten it.
                is_there = False
            yield from answers
            over = [own for own in self.running.values() if own.left.is_over()]
            for own in over:
                yield from self._leave(own)

    def _hand_out(self, waiting: list[int], topic: str) -> None:
        # One still a thread: a worker that dies then tells which still it was.
        threads = {at: n for at, n in self.client.nthreads().items() if at not in self.stuck}
        if self.stuck and not threads:
            raise FrontglassError("every worker has a still in hand that takes too long.")
        while waiting and len(self.running) < max(1, sum(threads.values())):
            number = waiting.pop(0)
            task = self.left[number]
            sender = Sender(frontglass.__version__, _digests(task), os.getcwd(), self.count, topic)
            only = {"workers": list(threads)} if self.stuck else {}
            future = self.client.submit(done_there, task, sender, pure=False, **only)
            limit = limit_of(task, self.patience_s)
            self.running[future.key] = _InHand(number, future, Countdown(limit))

    def _told(self, event: tuple[float, Any]) -> None:
        """Hear from a worker that it has begun with a still, and how large that is."""
        _, (key, worker, megapixels) = event
        own = self.running.get(key)
        if own is None:
            return
        own.worker = worker
        if megapixels is None:
            own.left.begin()
        else:
            own.left.told(megapixels)

    def _ended(self) -> list[_InHand]:
        """Wait a little, and return what has ended."""
        until = time.monotonic() + POLL_S
        while True:
            ended = [own for own in self.running.values() if own.future.done()]
            if ended or time.monotonic() > until:
                return ended
            time.sleep(PAUSE_S)

    def _answer(self, own: _InHand) -> Ended:
        try:
            answer = own.future.result()
        except (CancelledError, OSError):
            raise
        except Exception as error:
            answer = failed(self.left[own.number], _words(error))
        self._drop(own)
        return list(answer)

    def _leave(self, own: _InHand) -> Ended:
        """Name what takes too long, and end its worker."""
        answer = failed(self.left[own.number], own.left.said())
        # Forgotten first: else it would be tried once more when its worker goes.
        own.future.cancel()
        self._drop(own)
        try:
            self.client.restart_workers([own.worker], timeout=RETURNING_S, raise_for_error=False)
        except ValueError:  # It has no nanny.
            self.stuck.add(own.worker)
        except (OSError, KeyError):  # It has gone by itself.
            pass
        return answer

    def _drop(self, own: _InHand) -> None:
        del self.left[own.number], self.running[own.future.key]
        own.future.release()


def _words(error: Exception) -> str:
    if type(error).__name__ == "KilledWorker":
        return (
            "its worker was ended from outside each time, mostly for want of memory; it is set"
            " aside, try it alone."
        )
    return f"{type(error).__name__}: {error}"


def _digests(task: Task) -> tuple[str, ...]:
    """Fingerprints of the recipe of each job: of looks and everything else."""
    return tuple(recipe_digest(task.recipe_of(job)) for job in task.jobs)


@dataclass(frozen=True, slots=True)
class Sender:
    """What a worker must agree with before it does a task, as whoever sends it sees it."""

    version: str
    digests: tuple[str, ...]
    folder: str
    """The working folder, which names of files go by."""
    count: int | None = None
    """How many workers share this machine's cores, where that is known."""
    topic: str = ""
    """Under which the sender hears that a still is begun; "" if it does not listen."""


def done_there(task: Task, sender: Sender) -> Ended:
    """Do a task on a worker, if that is of the same mind as who sent it."""
    if frontglass.__version__ != sender.version:
        own = frontglass.__version__
        return failed(task, f"its worker has frontglass {own}, not {sender.version}.")
    if sender.digests != _digests(task):
        return failed(task, "its worker reads the look otherwise: another state of the program.")
    try:
        os.chdir(sender.folder)
    except OSError:
        return failed(task, f"its worker has no folder {sender.folder}; files must be shared.")
    if not Path(task.jobs[0].still).exists():
        return failed(task, "its worker sees no such file; files must be shared.")
    if sender.count is not None:
        take_share(int(_distributed().get_worker().name), sender.count)
    if not sender.topic:
        return done(task)
    worker = _distributed().get_worker()
    key = worker.get_current_task()

    def tell(megapixels: float | None) -> None:
        worker.log_event(sender.topic, (key, worker.address, megapixels))

    tell(None)
    return done(task, tell)
