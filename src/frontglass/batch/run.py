"""Run a batch: every picture of a plan, in several processes, and what came of each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from frontglass.batch.cluster import on_cluster
from frontglass.batch.finding import Found
from frontglass.batch.manifest import MANIFEST_NAME, Manifest, Standing
from frontglass.batch.memory import Jobs, jobs_that_fit, pictures_taken
from frontglass.batch.plan import Choices, ChoicesOf, Naming, plan
from frontglass.batch.work import Job, Made, Results, Small, Task
from frontglass.batch.workers import one_by_one, side_by_side
from frontglass.checks import check_positive
from frontglass.errors import FrontglassError, ParameterError, PictureFileError
from frontglass.files.lock import in_use
from frontglass.pipeline.recipe import Recipe

RecipeOf = Callable[[Path], Recipe]

KEPT = {
    Standing.OTHER_OPTIONS: "was made by an earlier run with other options (--again replaces it,"
    " another folder keeps both)",
    Standing.OTHER_STILL: "was made by an earlier run of another still (--again replaces it,"
    " another folder keeps both)",
    Standing.CHANGED: "was changed after an earlier run made it (move it away, or --overwrite"
    " replaces it)",
    Standing.STRANGER: "exists and was not written by a batch (move it away, or --overwrite"
    " replaces it)",
}
"""Why a file stays. What is unsure is made anew, and replaced only if nothing differs."""
TO_MAKE = {Standing.FREE, Standing.OURS, Standing.UNSURE}
TO_MAKE_AGAIN = {*TO_MAKE, Standing.DONE, Standing.OTHER_OPTIONS, Standing.OTHER_STILL}


@dataclass(frozen=True, slots=True)
class Outcome:
    """How one job of a batch ended: what was made, or why not; None if it was done before."""

    job: Job
    result: Made | FrontglassError | None
    is_kept: bool = False
    """Whether the file that stands there was left alone, for an earlier run or a person made it."""

    @property
    def state(self) -> str:
        """Return "rendered", "failed", "left alone" or "done before"."""
        if self.result is None:
            return "done before"
        if self.is_kept:
            return "left alone"
        return "failed" if isinstance(self.result, FrontglassError) else "rendered"

    @property
    def notices(self) -> tuple[str, ...]:
        """What was assumed for this picture."""
        return self.result.rendered.notices if isinstance(self.result, Made) else ()


@dataclass(frozen=True, slots=True)
class Batch:
    """A batch ready to run: nothing of it has been written yet."""

    jobs: tuple[Job, ...]
    done: tuple[Job, ...]
    """What an earlier run has rendered just so."""
    kept: tuple[Outcome, ...]
    """Files in the way that are left alone, each with the reason."""
    recipe_of_still: RecipeOf
    """What is done to a still, by its file, but for the looks."""
    choices_of: ChoicesOf
    typed: object
    """What of the recipes somebody typed; None is all of it."""
    folder: Path
    """Where the pictures and the manifest go."""
    found: Found
    replaceable: tuple[str | None, ...]
    """For each of `jobs`, the fingerprint of the file that it may replace; None for any."""

    def recipe_of(self, job: Job) -> Recipe:
        """Return all that decides a job's picture."""
        looks = self.choices_of(job.still)[job.choice]
        return replace(self.recipe_of_still(job.still), looks=looks)

    def run(
        self,
        *,
        processes: int | None = None,
        small: Small | None = None,
        patience_s: float | None = None,
        cluster: str | None = None,
    ) -> Iterator[Outcome]:
        """Yield the outcome of each job as it ends; those done before come first.

        Parameters
        ----------
        processes : int or None
            Stills worked on at a time, >= 1; None is one for each core that there is memory for.
        small : callable or None
            Makes the small copies that outcomes then hold; it must be known to other processes.
        patience_s : float or None
            How long a still may take before it is left [s], > 0; None goes by its pixels. One at a
            time, and inf, works in this process, which has none to end it.
        cluster : str or None
            Address of a scheduler whose workers do it, as in `on_cluster`, instead of processes.

        Notes
        -----
        Closing the iterator, or an interrupt, lets the stills in hand be finished and
        leaves the others for the next run.
        """
        if processes is not None and processes < 1:
            raise ParameterError("jobs", ">= 1", processes)
        if patience_s not in {None, math.inf}:
            check_positive("patience", patience_s)
        if cluster is not None and processes is not None:
            raise ParameterError("jobs", "left out beside a cluster", processes)
        yield from self.kept
        yield from (Outcome(job, None) for job in self.done)
        manifest = Manifest(self.folder / MANIFEST_NAME)
        if not self.jobs:
            if manifest.pictures:
                with suppress(FrontglassError), in_use(manifest.path, manifest.clear_away):
                    return
            return
        for folder in dict.fromkeys([self.folder, *(job.out.parent for job in self.jobs)]):
            try:
                folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                said = f"{folder}: cannot be made ({error.strerror})."
                raise PictureFileError(said) from None
        with in_use(manifest.path, manifest.clear_away):
            yield from self._run(manifest, self._results(processes, small, patience_s, cluster))

    def _run(self, manifest: Manifest, ended: Results) -> Iterator[Outcome]:
        """Yield the outcome of each job that is to be done."""
        manifest.plan(self.jobs, self.recipe_of, self.typed)
        try:
            for job, result in ended:
                yield Outcome(job, manifest.record(job, self.recipe_of(job), result))
        finally:
            manifest.flush()

    def _results(
        self,
        processes: int | None,
        small: Small | None,
        patience_s: float | None,
        cluster: str | None,
    ) -> Results:
        """Yield what comes of each job, wherever it is done."""
        if cluster is not None:
            yield from on_cluster(self._tasks(1, small), cluster, patience_s)
            return
        at_once = processes or self.fitting_jobs().at_once
        tasks = self._tasks(at_once, small)
        count = min(at_once, len(tasks))
        is_here = patience_s == math.inf and count == 1
        yield from one_by_one(tasks) if is_here else side_by_side(tasks, count, patience_s)

    def fitting_jobs(self) -> Jobs:
        """Return how many stills at a time there are cores and memory for."""
        stills = dict.fromkeys(job.still for job in self.jobs)
        looks = (look for job in self.jobs for look in self.choices_of(job.still)[job.choice])
        return jobs_that_fit(stills, pictures=pictures_taken(looks))

    def _tasks(self, processes: int, small: Small | None) -> list[Task]:
        """Return jobs still by still; one by one where that would leave processes idle."""
        grouped: dict[object, list[int]] = {}
        is_by_still = len({job.still for job in self.jobs}) >= processes
        for number, job in enumerate(self.jobs):
            grouped.setdefault(job.still if is_by_still else number, []).append(number)
        return [self._task(group, small) for group in grouped.values()]

    def _task(self, numbers: Sequence[int], small: Small | None) -> Task:
        """Return some jobs of one still as a process takes them."""
        jobs = tuple(self.jobs[number] for number in numbers)
        still = jobs[0].still
        return Task(
            jobs,
            self.recipe_of_still(still),
            tuple(tuple(looks) for looks in self.choices_of(still)),
            tuple(self.replaceable[number] for number in numbers),
            small,
        )


def planned_batch(
    sources: Sequence[str | Path],
    folder: Path,
    recipe: Recipe | RecipeOf,
    choices_of: ChoicesOf | None = None,
    *,
    typed: object = None,
    suffix: str | None = None,
    naming: Naming | str = Naming.NAME,
    again: bool = False,
    overwrite: bool = False,
) -> Batch:
    """Return a batch over `sources`, with what an earlier run has done set aside.

    What is done to each still, and the looks of its pictures, may be told by the still's file; else
    the looks are the recipe's own. A run in which what somebody `typed` differs leaves pictures
    alone. `again` replaces what earlier runs have done, or made otherwise; `overwrite` any file.

    Raises
    ------
    FrontglassError
        If the plan cannot be carried out without destroying something.
    """

    def recipe_of(still: Path) -> Recipe:
        return recipe if isinstance(recipe, Recipe) else recipe(still)

    choices_of = choices_of or (lambda still: (recipe_of(still).looks,))
    jobs, found = plan(sources, folder, choices_of, suffix=suffix, naming=naming)
    manifest = Manifest(folder / MANIFEST_NAME)
    wanted = TO_MAKE_AGAIN if again else TO_MAKE
    to_make: list[Job] = []
    done: list[Job] = []
    kept: list[Outcome] = []
    for job in jobs:
        looks = choices_of(job.still)[job.choice]
        standing = manifest.standing(job, replace(recipe_of(job.still), looks=looks), typed)
        if standing is Standing.DONE and not again:
            done.append(job)
        elif overwrite or standing in wanted:
            to_make.append(job)
        else:
            reason = PictureFileError(f"{job.out}: {KEPT[standing]}.")
            kept.append(Outcome(job, reason, is_kept=True))
    return Batch(
        jobs=tuple(to_make),
        done=tuple(done),
        kept=tuple(kept),
        recipe_of_still=recipe_of,
        choices_of=choices_of,
        typed=typed,
        folder=folder,
        found=found,
        replaceable=tuple(None if overwrite else manifest.digest_of(job) for job in to_make),
    )


def render_batch(
    sources: Sequence[str | Path],
    folder: Path,
    recipe: Recipe,
    choices: Choices | None = None,
    *,
    processes: int | None = None,
) -> list[Outcome]:
    """Render all stills of `sources` into `folder`; one bad file never stops the rest.

    Parameters
    ----------
    sources : sequence of str or Path
        Stills, folders and patterns.
    folder : Path
        Where the pictures go, with a manifest that lets the batch go on later.
    recipe : Recipe
        What is done to each still.
    choices : sequence of tuple of LightPath or None
        Looks of each picture of a still; None is the recipe's own, for one picture.
    processes : int or None
        Stills worked on at a time; None is one for each core. 1 works in this process, in which no
        still can be left for taking too long.

    Returns
    -------
    list of Outcome
        One for each picture.

    Examples
    --------
    >>> import tempfile, numpy as np, frontglass as fg
    >>> from pathlib import Path
    >>> recipe = fg.Recipe(looks=(fg.read_look("harbour-night"),))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     still = Path(folder, "scouts", "one.png")
    ...     still.parent.mkdir()
    ...     said = fg.write_picture(still, fg.Picture.from_array(np.full((30, 40), 90, np.uint8)))
    ...     for outcome in fg.render_batch([still.parent], Path(folder, "o"), recipe, processes=1):
    ...         print(outcome.job.name, outcome.state)
    one_harbour-night_1.png rendered
    """
    patience_s = math.inf if processes == 1 else None
    choices_of = None if choices is None else lambda _: choices
    batch = planned_batch(sources, folder, recipe, choices_of)
    return list(batch.run(processes=processes, patience_s=patience_s))
