"""Stills handed to the machines of a dask.distributed scheduler, one each at a time."""

from __future__ import annotations

import logging
import os
import re
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from typing import Any

import frontglass
from frontglass.batch.job import Job
from frontglass.batch.made_from import recipe_digest
from frontglass.batch.work import Ended, Made, Task, done
from frontglass.errors import FrontglassError, ParameterError
from frontglass.threads import available_cores

LOCAL = re.compile(r"local:([1-9][0-9]{0,2})")
CONNECTING_S = 20.0
ALLOWED_DEATHS = 1
"""How many workers a still may take with it before it is set aside at the next."""
RETURNING_S = 60.0
"""How long a scheduler may be away."""

Results = Iterator[tuple[Job, Made | FrontglassError]]


def on_cluster(tasks: Sequence[Task], address: str) -> Results:
    """Yield what came of each job, done by the workers of a scheduler.

    Parameters
    ----------
    tasks : sequence of Task
        What is to be done.
    address : str
        Of a scheduler, such as ``tcp://render:8786``; ``local:4`` starts one here, with four
        workers. All must see the same files in the same places.

    Raises
    ------
    FrontglassError
        If dask.distributed is not there, or the scheduler cannot be reached.
    """
    # Of connections that end it prints tracebacks; what matters comes as an error.
    _distributed()
    for name in ("distributed", "tornado", "asyncio", *logging.Logger.manager.loggerDict):
        if name.partition(".")[0] in {"distributed", "tornado", "asyncio"}:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
    left = dict(enumerate(tasks))
    with _scheduler(address) as (where, count):
        while left:
            with _connected(where) as client:
                yield from _round(client, left, count)


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
            dashboard_address=None,
            silence_logs=50,
            memory_limit=0,
        ) as cluster,
    ):
        yield cluster.scheduler_address, count


@contextmanager
def _connected(address: str) -> Iterator[Any]:
    try:
        client = _distributed().Client(address, timeout=CONNECTING_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        said = str(error).split("\n")[0]
        raise FrontglassError(f"{address}: no scheduler answers there ({said}).") from None
    try:
        yield client
    finally:
        client.close(timeout=2)


def _round(client: Any, left: dict[int, Task], count: int | None) -> Results:
    """Hand out what is left, and yield what comes back, until all is done or the scheduler goes."""
    waiting = list(left)
    ended: Any = _distributed().as_completed(loop=client.loop)
    running: dict[Any, int] = {}

    def hand_out() -> None:
        # One still a thread: a worker that dies then tells which still it was.
        threads = max(1, sum(client.nthreads().values()))
        while waiting and len(running) < threads:
            number = waiting.pop(0)
            task = left[number]
            digests = tuple(recipe_digest(_of_choice(task, job)) for job in task.jobs)
            future = client.submit(
                done_there, task, frontglass.__version__, digests, os.getcwd(), count, pure=False
            )
            running[future.key] = number
            ended.add(future)

    since = time.monotonic()
    while waiting or running:
        try:
            hand_out()
        except OSError as error:
            if time.monotonic() - since > RETURNING_S:
                raise FrontglassError(f"the scheduler is gone ({error}); run it again.") from None
            return
        future = next(ended)
        number = running.pop(future.key)
        try:
            answer = future.result()
        except (CancelledError, OSError):  # The scheduler has forgotten it.
            time.sleep(1)
            return
        except Exception as error:
            answer = _failed(left[number], _words(error))
        del left[number]
        future.release()
        yield from answer


def _words(error: Exception) -> str:
    if type(error).__name__ == "KilledWorker":
        return (
            "its worker was ended from outside each time, mostly for want of memory; it is set"
            " aside, try it alone."
        )
    return f"{type(error).__name__}: {error}"


def _failed(task: Task, why: str) -> Ended:
    reason = FrontglassError(f"{task.jobs[0].still}: {why}")
    return [(job, reason) for job in task.jobs]


def _of_choice(task: Task, job: Job) -> Any:
    return replace(task.recipe, looks=task.choices[job.choice])


def done_there(
    task: Task, version: str, digests: tuple[str, ...], folder: str, count: int | None
) -> Ended:
    """Do a task on a worker, if that is of the same mind as who sent it.

    Parameters
    ----------
    task : Task
        What is to be done.
    version : str
        The sender's version of this program.
    digests : tuple of str
        Fingerprints of the recipe of each job, as the sender sees it: of looks and everything else.
    folder : str
        The sender's working folder, which names of files go by.
    count : int or None
        How many workers share this machine's cores, where that is known.
    """
    if frontglass.__version__ != version:
        return _failed(task, f"its worker has frontglass {frontglass.__version__}, not {version}.")
    if digests != tuple(recipe_digest(_of_choice(task, job)) for job in task.jobs):
        return _failed(task, "its worker reads the look otherwise: another state of the program.")
    try:
        os.chdir(folder)
    except OSError:
        return _failed(task, f"its worker has no folder {folder}; files must be shared.")
    if not Path(task.jobs[0].still).exists():
        return _failed(task, "its worker sees no such file; files must be shared.")
    if count is not None:
        _share(count)
    return done(task)


def _share(count: int) -> None:
    """Keep this thread, and those that it starts, to its share of the machine's cores."""
    import cv2

    cores = available_cores()
    if cores > 1 and hasattr(os, "sched_setaffinity"):
        mine, number = sorted(os.sched_getaffinity(0)), int(_distributed().get_worker().name)
        os.sched_setaffinity(0, mine[number % count :: count] or [mine[number % len(mine)]])
    cv2.setNumThreads(max(1, cores // count))
