"""Run a batch: every still of a plan, in several processes, and what came of each."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing.sharedctypes import Synchronized
from pathlib import Path

from frontglass.batch.job import Job
from frontglass.batch.manifest import MANIFEST_NAME, Manifest
from frontglass.batch.plan import plan
from frontglass.errors import FrontglassError, ParameterError, PictureFileError
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.still_files import RenderedStill, render_file

RecipeOf = Callable[[Path], Recipe]


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one job of a batch ended.

    Parameters
    ----------
    job : Job
        The job.
    result : RenderedStill, FrontglassError or None
        What was written, or why nothing was; None where it had been done before.
    """

    job: Job
    result: RenderedStill | FrontglassError | None

    @property
    def state(self) -> str:
        """Return "rendered", "failed" or "done before"."""
        if self.result is None:
            return "done before"
        return "failed" if isinstance(self.result, FrontglassError) else "rendered"

    @property
    def notices(self) -> tuple[str, ...]:
        """What was assumed for this still."""
        return self.result.notices if isinstance(self.result, RenderedStill) else ()


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch ready to run: nothing of it has been written yet.

    Parameters
    ----------
    jobs : tuple of Job
        What is to be rendered.
    done : tuple of Job
        What an earlier run has rendered just so.
    recipe_of : callable
        What is done to a still, by its file.
    folder : Path
        Where the rendered stills and the manifest go.
    """

    jobs: tuple[Job, ...]
    done: tuple[Job, ...]
    recipe_of: RecipeOf
    folder: Path

    def run(self, *, processes: int | None = None) -> Iterator[Outcome]:
        """Yield the outcome of each job as it ends; those done before come first.

        Parameters
        ----------
        processes : int or None
            Stills worked on at a time, >= 1; None is one for each core.

        Notes
        -----
        Closing the iterator, or an interrupt, lets the stills in hand be finished and
        leaves the others for the next run.
        """
        if processes is not None and processes < 1:
            raise ParameterError("jobs", ">= 1", processes)
        yield from (Outcome(job, None) for job in self.done)
        if not self.jobs:
            return
        manifest = Manifest(self.folder / MANIFEST_NAME)
        _with_folder(self.folder)
        manifest.plan(self.jobs, self.recipe_of)
        count = min(processes or _cores(), len(self.jobs))
        results = _one_by_one if count == 1 else _side_by_side
        for job, result in results(self.jobs, self.recipe_of, count):
            manifest.record(job, self.recipe_of(job.still), result)
            yield Outcome(job, result)


def planned_batch(
    sources: Sequence[str | Path],
    folder: Path,
    recipe: Recipe | RecipeOf,
    *,
    suffix: str | None = None,
    again: bool = False,
) -> Batch:
    """Return a batch over `sources`, with what an earlier run has done set aside.

    Parameters
    ----------
    sources, folder, suffix
        As in `plan`.
    recipe : Recipe or callable
        What is done to each still; or what says it of a still's file.
    again : bool
        Whether to render what is done already, and to replace files that no batch wrote.

    Raises
    ------
    FrontglassError
        If the plan cannot be carried out without destroying something.
    """
    jobs = plan(sources, folder, suffix=suffix)
    recipe_of = _same_for_all(recipe) if isinstance(recipe, Recipe) else recipe
    manifest = Manifest(folder / MANIFEST_NAME)
    if again:
        return Batch(tuple(jobs), (), recipe_of, folder)
    for job in jobs:
        if os.path.lexists(job.out) and not manifest.is_ours(job):
            raise PictureFileError(
                f"{job.out}: exists and was not written by a batch; choose another folder,"
                " or --again to replace it."
            )
    is_done = {job: manifest.is_done(job, recipe_of(job.still)) for job in jobs}
    todo = tuple(job for job in jobs if not is_done[job])
    return Batch(todo, tuple(job for job in jobs if is_done[job]), recipe_of, folder)


def _same_for_all(recipe: Recipe) -> RecipeOf:
    return lambda _: recipe


def render_batch(
    sources: Sequence[str | Path],
    folder: Path,
    recipe: Recipe,
    *,
    processes: int | None = None,
) -> list[Outcome]:
    """Render all stills of `sources` into `folder`; one bad file never stops the rest.

    Parameters
    ----------
    sources : sequence of str or Path
        Stills, folders and patterns.
    folder : Path
        Where the rendered stills go, with a manifest that lets the batch go on later.
    recipe : Recipe
        What is done to each still.
    processes : int or None
        Stills worked on at a time; None is one for each core.

    Returns
    -------
    list of Outcome
        One for each still.

    Examples
    --------
    >>> import tempfile, numpy as np, frontglass as fg
    >>> from pathlib import Path
    >>> recipe = fg.Recipe(looks=(fg.read_look("harbour-night"),))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     still = Path(folder, "scouts", "one.png")
    ...     still.parent.mkdir()
    ...     said = fg.write_picture(still, fg.Picture.from_array(np.full((30, 40), 90, np.uint8)))
    ...     for outcome in fg.render_batch([still.parent], Path(folder, "out"), recipe):
    ...         print(outcome.job.name, outcome.state)
    one.png rendered
    """
    return list(planned_batch(sources, folder, recipe).run(processes=processes))


def _finished(job: Job, recipe: Recipe) -> RenderedStill | FrontglassError:
    """Render one job; whatever is wrong with it is returned, for the rest must go on."""
    try:
        _with_folder(job.out.parent)
        return render_file(job.still, job.out, recipe, overwrite=True)
    except FrontglassError as error:
        return error
    except MemoryError:
        return FrontglassError(f"{job.still}: not enough memory; try fewer --jobs.")
    except Exception as error:  # A flaw of ours in one still must not cost the other nineteen.
        return FrontglassError(f"{job.still}: {type(error).__name__}: {error}")


def _with_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PictureFileError(f"{folder}: cannot be made ({error.strerror}).") from None


def _one_by_one(
    jobs: Sequence[Job], recipe_of: RecipeOf, _count: int
) -> Iterator[tuple[Job, RenderedStill | FrontglassError]]:
    for job in jobs:
        yield job, _finished(job, recipe_of(job.still))


def _side_by_side(
    jobs: Sequence[Job], recipe_of: RecipeOf, count: int
) -> Iterator[tuple[Job, RenderedStill | FrontglassError]]:
    lost: list[Job] = []
    with _Workers(count) as pool:
        waiting = {pool.submit(_finished, job, recipe_of(job.still)): job for job in jobs}
        try:
            for future in as_completed(list(waiting)):
                job = waiting.pop(future)
                try:
                    yield job, future.result()
                except BrokenProcessPool:
                    lost.append(job)
        except KeyboardInterrupt:
            pool.shutdown(cancel_futures=True)
            for future, job in waiting.items():
                if not future.cancelled() and future.exception() is None:
                    yield job, future.result()
            raise
    # A process that the system ends (mostly for want of memory) takes the whole pool with it:
    # the stills it left are tried each in a process of its own, which shows whose fault it was.
    for job in lost:
        with _Workers(1) as pool:
            future = pool.submit(_finished, job, recipe_of(job.still))
            yield job, _result_or_loss(future, job)


def _result_or_loss(
    future: Future[RenderedStill | FrontglassError], job: Job
) -> RenderedStill | FrontglassError:
    try:
        return future.result()
    except BrokenProcessPool:
        return FrontglassError(
            f"{job.still}: its process was ended from outside, mostly for want of memory;"
            " try --jobs 1."
        )


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
    share = max(1, _cores() // count)
    if hasattr(os, "sched_setaffinity"):
        cores = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, cores[number % count :: count] or cores)
    cv2.setNumThreads(share)


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
