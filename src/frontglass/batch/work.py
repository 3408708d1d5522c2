"""One still of a batch through its choices: read once, rendered, put where nothing is lost."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from frontglass.elements import LightPath
from frontglass.errors import FrontglassError, PictureFileError
from frontglass.files.whole import file_digest, half_name, put_in_place, told_of
from frontglass.picture.picture import Picture
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.still_files import RenderedStill, render_picture

Small = Callable[[Picture], bytes]
"""Makes a small copy of a picture, as a file's bytes."""


@dataclass(frozen=True, slots=True)
class Job:
    """One picture of a batch: a still through one choice of looks."""

    still: Path
    out: Path
    name: str
    """`out` as seen from the batch's folder, with forward slashes: its key in the manifest."""
    choice: int = 0


@dataclass(frozen=True, slots=True)
class Made:
    """A picture of a batch that has been made, with the fingerprint of its file."""

    rendered: RenderedStill
    digest: str
    small: bytes = b""
    bare: bytes = b""
    """Small copies of it and of the still without glass; empty where none were asked for."""


@dataclass(frozen=True, slots=True)
class Task:
    """What a process does at a time: pictures of one still, each through one of the choices."""

    jobs: tuple[Job, ...]
    recipe: Recipe
    choices: tuple[tuple[LightPath, ...], ...]
    replaceable: tuple[str | None, ...]
    """For each job, the fingerprint of the file that it may replace; "" for none, None for any."""
    small: Small | None = None

    def recipe_of(self, job: Job) -> Recipe:
        """Return all that decides a job's picture."""
        return replace(self.recipe, looks=self.choices[job.choice])


Ended = list[tuple[Job, Made | FrontglassError]]
Results = Iterator[tuple[Job, Made | FrontglassError]]


def done(task: Task, tell: Callable[[float], None] = lambda _: None) -> Ended:
    """Make the pictures of one still; whatever is wrong is returned, for the rest must go on.

    `tell` is told the still's megapixels once it is read.
    """
    still = task.jobs[0].still
    try:
        picture = task.recipe.picture_from(still)
        tell(picture.width_px * picture.height_px / 1e6)
        bare = b"" if task.small is None else task.small(picture)
    except Exception as error:
        found = _one_line(still, error)
        return [(job, found) for job in task.jobs]
    ended: Ended = []
    for job, replaceable in zip(task.jobs, task.replaceable, strict=True):
        try:
            ended.append((job, _made(job, picture, task, replaceable, bare)))
        except Exception as error:  # A flaw of ours in one picture must not cost the others.
            ended.append((job, _one_line(still, error)))
    return ended


def _one_line(still: Path, error: Exception) -> FrontglassError:
    if isinstance(error, FrontglassError):
        return error
    if isinstance(error, MemoryError):
        return FrontglassError(f"{still}: not enough memory; try fewer --jobs.")
    return FrontglassError(f"{still}: {type(error).__name__}: {error}")


def _made(job: Job, picture: Picture, task: Task, replaceable: str | None, bare: bytes) -> Made:
    if not job.out.parent.is_dir():  # Made before; what is put there now nobody would know of.
        raise PictureFileError(f"{job.out}: the folder {job.out.parent} has gone.")
    copies: list[bytes] = []
    small = task.small
    show = None if small is None else lambda seen: copies.append(small(seen))
    # Beside its place first: what stands there is looked at once more when the picture is ready.
    beside = half_name(job.out)
    try:
        with told_of(job.out, beside):
            is_last = job is task.jobs[-1]
            recipe = task.recipe_of(job)
            rendered = render_picture(picture, job.still, beside, recipe, show, is_last=is_last)
        digest = file_digest(beside)
        allowed = None if replaceable is None else {replaceable, digest}
        if not put_in_place(beside, job.out, allowed):
            raise PictureFileError(
                f"{job.out}: is not what an earlier run made, and was left as it is;"
                " move it away, or --overwrite replaces it."
            )
    except OSError as error:
        said = f"{job.out}: cannot be written: {error.strerror or error}."
        raise PictureFileError(said) from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink(missing_ok=True)
    return Made(replace(rendered, out=job.out), digest, b"".join(copies), bare)
