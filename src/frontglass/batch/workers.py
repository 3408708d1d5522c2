"""Tasks one after the other, or side by side in processes of their own."""

from __future__ import annotations

import math
import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from frontglass.batch.work import Ended, Results, Task, done
from frontglass.errors import FrontglassError
from frontglass.threads import available_cores

PATIENCE_S = 20.0
"""How long a still in hand may take to be finished after an interrupt."""
TRIES = 2
"""How often a still may end the process that works on it."""
READING_S, RENDERING_S = 120.0, 120.0
READING_S_PER_MB, RENDERING_S_PER_MEGAPIXEL = 2.0, 30.0
"""How long a still may take, far more than any does: its file in MB, each picture by its size."""
KILLED = (
    "its process was ended from outside twice, mostly for want of memory; it is set aside,"
    " try --jobs 1."
)

Work = Callable[[Any, Callable[[float], None]], Any]
"""Does a task, and tells the megapixels of its still as soon as they are known."""
Waiting = deque[tuple[Any, int]]
"""Tasks to be begun, each for the so many-th time."""


def one_by_one(tasks: Sequence[Task]) -> Results:
    """Yield what came of each job, done in this process."""
    for task in tasks:
        yield from done(task)


def side_by_side(tasks: Sequence[Task], count: int, patience_s: float | None = None) -> Results:
    """Yield what came of each job, done in so many processes.

    `patience_s` is how long a still may take; None goes by its file, and then by its pixels.
    """
    with Workers(count, done) as workers:
        for task, answer in workers.results(tasks, lambda task: limit_of(task, patience_s)):
            yield from answer if not isinstance(answer, str) else failed(task, answer)


def limit_of(task: Task, patience_s: float | None) -> Limit:
    """Return how long a still may take."""
    if patience_s is not None:
        return Limit(patience_s)
    try:
        megabytes = task.jobs[0].still.stat().st_size / 1e6
    except OSError:
        megabytes = 0.0
    reading_s = READING_S + READING_S_PER_MB * megabytes
    return Limit(reading_s, RENDERING_S, RENDERING_S_PER_MEGAPIXEL * len(task.jobs))


def failed(task: Task, why: str) -> Ended:
    """Return that there is nothing of a task's pictures, and why."""
    reason = FrontglassError(f"{task.jobs[0].still}: {why}")
    return [(job, reason) for job in task.jobs]


@dataclass(frozen=True, slots=True)
class Limit:
    """How long a task may take [s]; once its megapixels are known, by these, if that is said."""

    start_s: float
    later_s: float | None = None
    per_megapixel_s: float = 0.0


@dataclass(slots=True)
class Countdown:
    """Time that a task has left, from when it is begun."""

    limit: Limit
    until: float = math.inf
    allowed_s: float = 0.0

    def begin(self) -> None:
        """Begin, or begin anew."""
        self._allow(self.limit.start_s)

    def told(self, megapixels: float) -> None:
        """Go by the megapixels from now on, where they count."""
        if self.limit.later_s is not None:
            self._allow(self.limit.later_s + self.limit.per_megapixel_s * megapixels)

    def is_over(self) -> bool:
        """Whether no time is left."""
        return time.monotonic() >= self.until

    def said(self) -> str:
        """Return why the task was left."""
        return f"took longer than {self.allowed_s:.0f} s and was left; --patience gives it more."

    def _allow(self, seconds: float) -> None:
        self.until, self.allowed_s = time.monotonic() + seconds, seconds


@dataclass(slots=True, eq=False)
class _Hand:
    """A process, and what it has in hand."""

    process: BaseProcess
    pipe: Connection
    task: Any = None
    tried: int = 0
    """How often the task has been begun."""
    left: Countdown = field(default_factory=lambda: Countdown(Limit(0.0)))

    def take(self, task: Any, limit: Limit, tried: int = 1) -> None:
        self.task, self.tried, self.left = task, tried, Countdown(limit)
        self.left.begin()
        try:
            self.pipe.send(task)
        except OSError:  # It has ended; whoever listens finds that out.
            return


class Workers:
    """Processes that share the cores among them; left early, they finish what is in hand.

    What is not finished within `PATIENCE_S` is given up, and at another interrupt at once. A task
    that ends its process is tried once more; what takes too long is given up. Tasks and `work` must
    be known to other processes.
    """

    def __init__(self, count: int, work: Work) -> None:
        # Spawned, not forked: a fork copies the locks of threads that do not exist in the copy.
        self._context = multiprocessing.get_context("spawn")
        self._count, self._work = count, work
        self._hands: list[_Hand | None] = [None] * count

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        self.leave(PATIENCE_S)

    def results(
        self, tasks: Sequence[Any], limit_of: Callable[[Any], Limit]
    ) -> Iterator[tuple[Any, Any]]:
        """Yield each task with its answer, or with a text that says why there is none."""
        waiting: Waiting = deque((task, 1) for task in tasks)
        try:
            while waiting or self._busy():
                self._hand_out(waiting, limit_of)
                yield from self._heard(waiting)
        except KeyboardInterrupt:
            waiting.clear()
            until = time.monotonic() + PATIENCE_S
            while self._busy() and time.monotonic() < until:
                yield from self._heard(deque(), until)
            self.leave(0.0)
            raise

    def _busy(self) -> list[_Hand]:
        return [hand for hand in self._hands if hand is not None and hand.task is not None]

    def _hand_out(self, waiting: Waiting, limit_of: Callable[[Any], Limit]) -> None:
        for number, hand in enumerate(self._hands):
            if not waiting:
                return
            free = hand or self._started(number)
            if free.task is None:
                task, tried = waiting.popleft()
                free.take(task, limit_of(task), tried)

    def _started(self, number: int) -> _Hand:
        ours, theirs = self._context.Pipe()
        arguments = (theirs, self._work, number, self._count)
        process = self._context.Process(target=_working, args=arguments, daemon=True)
        with _interrupts_held():
            process.start()
            theirs.close()
            # In here, so that no interrupt comes between a process and whoever ends it.
            self._hands[number] = started = _Hand(process, ours)
        return started

    def _heard(self, waiting: Waiting, until: float | None = None) -> Iterator[tuple[Any, Any]]:
        """Wait for something to happen, and yield what has ended."""
        busy = self._busy()
        first = min(hand.left.until for hand in busy)
        left = max(0.0, (first if until is None else min(first, until)) - time.monotonic())
        pipes = [hand.pipe for hand in busy]
        multiprocessing.connection.wait(pipes, None if math.isinf(left) else left)
        for hand in busy:
            task = hand.task
            try:
                while hand.task is not None and hand.pipe.poll():
                    kind, answer = hand.pipe.recv()
                    if kind == "megapixels":
                        hand.left.told(answer)
                    else:
                        hand.task = None
                        yield task, answer
            except (EOFError, OSError):
                self._drop(hand)
                if hand.tried < TRIES:
                    waiting.append((task, hand.tried + 1))
                else:
                    yield task, KILLED
            else:
                if hand.task is not None and hand.left.is_over():
                    self._drop(hand)
                    yield task, hand.left.said()

    def _drop(self, hand: _Hand) -> None:
        hand.process.kill()
        hand.process.join()
        hand.pipe.close()
        hand.task = None
        self._hands[self._hands.index(hand)] = None

    def leave(self, patience_s: float) -> None:
        """Let what is in hand be finished, or end it when patience does."""
        hands = [hand for hand in self._hands if hand is not None]
        try:
            for hand in hands:
                if hand.task is None:
                    hand.pipe.close()
            until = time.monotonic() + patience_s
            busy = self._busy()
            while busy and (left := until - time.monotonic()) > 0:
                multiprocessing.connection.wait([hand.pipe for hand in busy], left)
                busy = [hand for hand in busy if not _has_ended(hand)]
        finally:
            for hand in hands:
                hand.process.kill()
                hand.process.join()
                hand.pipe.close()
            self._hands = [None] * self._count


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Hold interrupts back: processes started meanwhile never get any, and this one does later.

    A worker would be deaf to them only after its imports, and end in a traceback until then.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # What multiprocessing starts beside the first worker; it lets interrupts through again.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _has_ended(hand: _Hand) -> bool:
    try:
        return bool(hand.pipe.poll() and hand.pipe.recv()[0] != "megapixels")
    except (EOFError, OSError):
        return True


def _working(pipe: Connection, work: Work, number: int, count: int) -> None:
    """Do tasks as they come, until the pipe ends."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    # The terminal's interrupt is for the parent, which lets the stills in hand be finished.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    take_share(number, count)
    while True:
        try:
            task = pipe.recv()
        except EOFError:
            return
        answer = work(task, lambda megapixels: pipe.send(("megapixels", megapixels)))
        pipe.send(("answer", answer))


def take_share(number: int, count: int) -> None:
    """Keep this thread, and those that it starts, to its share of the machine's cores."""
    import cv2

    cores = available_cores()
    if hasattr(os, "sched_setaffinity"):
        mine = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, mine[number % count :: count] or [mine[number % cores]])
    cv2.setNumThreads(max(1, cores // count))


def _end_with_parent() -> None:
    """Wait for the parent's end, however it comes, and end as well."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        multiprocessing.connection.wait([parent.sentinel])
        os._exit(1)
