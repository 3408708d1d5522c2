"""One still of a batch through its choices: read once, rendered, put where nothing is lost."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from frontglass.batch.job import Job
from frontglass.elements import LightPath
from frontglass.errors import FrontglassError, PictureFileError
from frontglass.files.whole import file_digest, half_name, put_in_place, told_of
from frontglass.picture.picture import Picture
from frontglass.pipeline.recipe import Recipe
from frontglass.pipeline.still_files import RenderedStill, render_picture

Small = Callable[[Picture], bytes]
"""Makes a small copy of a picture, as a file's bytes."""


@dataclass(frozen=True, slots=True)
class Made:
    """A picture of a batch that has been made.

    Parameters
    ----------
    rendered : RenderedStill
        Where it came from and where it went.
    digest : str
        Fingerprint of its file.
    small, bare : bytes
        Small copies of it and of the still without glass; empty where none were asked for.
    """

    rendered: RenderedStill
    digest: str
    small: bytes = b""
    bare: bytes = b""


@dataclass(frozen=True, slots=True)
class Task:
    """What a process does at a time.

    Parameters
    ----------
    jobs : tuple of Job
        Pictures of one still.
    recipe : Recipe
        What is done to it, but for the looks.
    choices : tuple of tuple of LightPath
        The looks of each choice.
    replaceable : tuple of (str or None)
        For each job, the fingerprint of the file that it may replace; "" for none, None for any.
    small : callable or None
        Makes small copies for a contact sheet.
    """

    jobs: tuple[Job, ...]
    recipe: Recipe
    choices: tuple[tuple[LightPath, ...], ...]
    replaceable: tuple[str | None, ...]
    small: Small | None = None


Ended = list[tuple[Job, Made | FrontglassError]]


def _untold(megapixels: float) -> None:
    del megapixels


def done(task: Task, tell: Callable[[float], None] = _untold) -> Ended:
    """Make the pictures of one still; whatever is wrong is returned, for the rest must go on.

    Parameters
    ----------
    task : Task
        What is to be made.
    tell : callable
        Is told the still's megapixels once it is read.
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
    recipe = replace(task.recipe, looks=task.choices[job.choice])
    copies: list[bytes] = []
    small = task.small
    show = None if small is None else lambda seen: copies.append(small(seen))
    # Beside its place first: what stands there is looked at once more when the picture is ready.
    beside = half_name(job.out)
    try:
        with told_of(job.out, beside):
            rendered = render_picture(
                picture, job.still, beside, recipe, show, is_last=job is task.jobs[-1]
            )
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
    copy = copies[0] if copies else b""
    return Made(replace(rendered, out=job.out), digest, copy, bare)


def with_folder(folder: Path) -> None:
    """Make a folder where there is none."""
    try:
        os.makedirs(folder, exist_ok=True)
    except OSError as error:
        raise PictureFileError(f"{folder}: cannot be made ({error.strerror}).") from None
