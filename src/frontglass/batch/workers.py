"""Tasks one after the other, or side by side in processes of their own."""

from __future__ import annotations

import multiprocessing
import multiprocessing.connection
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.process import BaseProcess
from multiprocessing.sharedctypes import Synchronized
from typing import Any, TypeVar

from frontglass.batch.job import Job
from frontglass.batch.work import Ended, Made, Task, done
from frontglass.convolution.blocks import available_cores
from frontglass.errors import FrontglassError

T = TypeVar("T")

PATIENCE_S = 20.0
"""How long a still in hand may take to be finished after an interrupt."""

Results = Iterator[tuple[Job, Made | FrontglassError]]


def one_by_one(tasks: Sequence[Task]) -> Results:
    """Yield what came of each job, done in this process."""
    for task in tasks:
        yield from done(task)


def side_by_side(tasks: Sequence[Task], count: int) -> Results:
    """Yield what came of each job, done in so many processes."""
    lost: list[Task] = []
    with _Workers(count) as pool:
        waiting = {pool.submit(done, task): task for task in tasks}
        try:
            for future in as_completed(list(waiting)):
                task = waiting.pop(future)
                try:
                    yield from future.result()
                except BrokenProcessPool:
                    lost.append(task)
        except KeyboardInterrupt:
            pool.shutdown(wait=False, cancel_futures=True)
            ended, late = wait(
                [future for future in waiting if not future.cancelled()], timeout=PATIENCE_S
            )
            for future in ended:
                if future.exception() is None:
                    yield from future.result()
            pool.leave(0.0 if late else PATIENCE_S)
            raise
    # A process that the system ends (mostly for want of memory) takes the whole pool with it:
    # the stills it left are tried each in a process of its own, which shows whose fault it was.
    for task in lost:
        with _Workers(1) as pool:
            yield from _ended_or_lost(pool.submit(done, task), task)


def _ended_or_lost(future: Future[Ended], task: Task) -> Ended:
    try:
        return future.result()
    except BrokenProcessPool:
        reason = FrontglassError(
            f"{task.jobs[0].still}: its process was ended from outside, mostly for want of memory;"
            " try --jobs 1."
        )
        return [(job, reason) for job in task.jobs]


class _Workers(ProcessPoolExecutor):
    """Processes that share the cores among them; left early, they finish what is in hand.

    What is not finished within `PATIENCE_S` is given up, and at another interrupt at once.
    """

    def __init__(self, count: int) -> None:
        # Spawned, not forked: a fork copies the locks of threads that do not exist in the copy.
        context = multiprocessing.get_context("spawn")
        self._started: dict[int, BaseProcess] = {}
        super().__init__(
            max_workers=count,
            mp_context=context,
            initializer=_share_cores,
            initargs=(count, context.Value("i", 0)),
        )

    def submit(self, fn: Callable[..., T], /, *args: Any, **kwargs: Any) -> Future[T]:
        """See `ProcessPoolExecutor`; remembers the processes, which a shutdown forgets."""
        future = super().submit(fn, *args, **kwargs)
        self._started.update(self._processes)
        return future

    def leave(self, patience_s: float) -> None:
        """Let what is in hand be finished, or end it when patience does."""
        self.shutdown(wait=False, cancel_futures=True)
        running: dict[object, BaseProcess] = {
            process.sentinel: process for process in self._started.values()
        }
        until = time.monotonic() + patience_s
        try:
            while running and (left := until - time.monotonic()) > 0:
                sentinels = [process.sentinel for process in running.values()]
                for sentinel in multiprocessing.connection.wait(sentinels, left):
                    running.pop(sentinel)
        finally:
            for process in running.values():
                process.kill()

    def __exit__(self, *_: object) -> None:
        self.leave(PATIENCE_S)


def _share_cores(count: int, started: Synchronized[int]) -> None:
    """Keep a worker to its share of the cores, and deaf to the terminal's interrupt."""
    import cv2

    threading.Thread(target=_end_with_parent, daemon=True).start()
    # The interrupt is for the parent, which lets the stills in hand be finished.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with started.get_lock():
        number = started.value
        started.value += 1
    # Whoever asks how many cores there are (for threads of a transform, say) gets the share.
    share = max(1, available_cores() // count)
    if hasattr(os, "sched_setaffinity"):
        mine = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, mine[number % count :: count] or mine)
    cv2.setNumThreads(share)


def _end_with_parent() -> None:
    """Wait for the parent's end, however it comes, and end as well."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        multiprocessing.connection.wait([parent.sentinel])
        os._exit(1)
