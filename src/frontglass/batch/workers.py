"""Tasks one after the other, or side by side in processes of their own."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.sharedctypes import Synchronized

from frontglass.batch.job import Job
from frontglass.batch.work import Ended, Made, Task, done
from frontglass.errors import FrontglassError

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
            pool.shutdown(cancel_futures=True)
            for future in waiting:
                if not future.cancelled() and future.exception() is None:
                    yield from future.result()
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
    """Processes that share the cores among them; left early, they finish what is in hand."""

    def __init__(self, count: int) -> None:
        # Spawned, not forked: a fork copies the locks of threads that do not exist in the copy.
        context = multiprocessing.get_context("spawn")
        super().__init__(
            max_workers=count,
            mp_context=context,
            initializer=_share_cores,
            initargs=(count, context.Value("i", 0)),
        )

    def __exit__(self, *_: object) -> None:
        self.shutdown(wait=True, cancel_futures=True)


def _share_cores(count: int, started: Synchronized[int]) -> None:
    """Keep a worker to its share of the cores, and deaf to the terminal's interrupt."""
    import cv2

    # The interrupt is for the parent, which lets the stills in hand be finished.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with started.get_lock():
        number = started.value
        started.value += 1
    # Whoever asks how many cores there are (for threads of a transform, say) gets the share.
    share = max(1, cores() // count)
    if hasattr(os, "sched_setaffinity"):
        mine = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, mine[number % count :: count] or mine)
    cv2.setNumThreads(share)


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
