"""Which pictures a batch makes and where each one goes, settled before anything is rendered."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from frontglass.batch.finding import Found, found_stills
from frontglass.batch.job import Job
from frontglass.batch.manifest import CONTACT_NAME, MANIFEST_NAME
from frontglass.choices import Choice
from frontglass.elements import LightPath
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files import EXTENSIONS
from frontglass.files.plan import written_suffix
from frontglass.pipeline.still_files import looks_in_a_name, same_file

Choices = Sequence[tuple[LightPath, ...]]
ChoicesOf = Callable[[Path], Choices]


class Naming(Choice):
    """Where the looks stand in the pictures' paths: in each name, or as a folder for each."""

    NAME = "name"
    FOLDER = "folder"


def plan(
    sources: Iterable[str | Path],
    folder: Path,
    choices_of: ChoicesOf = lambda _: ((),),
    *,
    suffix: str | None = None,
    naming: Naming | str = Naming.NAME,
) -> tuple[list[Job], Found]:
    """Return the jobs of a batch, sorted by name, and what was found.

    Parameters
    ----------
    sources : iterable of str or Path
        Stills, folders (searched with their sub-folders) and patterns such as ``"day*/*.jpg"``.
    folder : Path
        Where the pictures go. Sub-folders below what all sources share are kept.
    choices_of : callable
        Looks that light passes one after the other, for each picture of a still, by its file.
    suffix : str or None
        Extension of the pictures, "png" or ".png"; None keeps each still's own.
    naming : "name" or "folder"
        Where looks and strengths stand.

    Raises
    ------
    FrontglassError
        If a source holds no still, two pictures would go to one file, or one would be
        written over a still. Nothing has been written then.
    """
    naming = Naming.of("naming", naming)
    found = found_stills(sources)
    if same_file(folder, found.root):
        raise PictureFileError(
            f"{folder}: is the folder of the stills, which are never overwritten;"
            " choose another with --out."
        )
    # A second run over the same folder must not take up what the first one wrote below it.
    if folder.resolve().is_relative_to(found.root.resolve()):
        found = found.without(folder)
        if not found.stills:
            raise PictureFileError(f"{folder}: holds every still given; choose another with --out.")
    ending = None if suffix is None else _ending(suffix)
    jobs = []
    for still in found.stills:
        relative = Path(os.path.relpath(still.absolute(), found.root.absolute()))
        relative = relative.with_suffix(ending or written_suffix(relative.suffix))
        for number, looks in enumerate(choices_of(still)):
            name = _named(relative, looks, naming)
            jobs.append(Job(still, folder / name, name.as_posix(), number))
    jobs.sort(key=lambda job: job.name)
    _check_no_clash(jobs)
    _check_no_still_is_written_over(jobs)
    return jobs, found


def _ending(suffix: str) -> str:
    """Return an extension that can be written, with its dot."""
    ending = "." + suffix.removeprefix(".").lower()
    if ending not in EXTENSIONS:
        raise ParameterError("format", f"one of {', '.join(EXTENSIONS)}", suffix)
    return ending


def _named(relative: Path, looks: tuple[LightPath, ...], naming: Naming) -> Path:
    said = looks_in_a_name(looks)
    if naming is Naming.FOLDER:
        return said / relative
    return relative.with_name(f"{relative.stem}_{said}{relative.suffix}")


def _check_no_clash(jobs: list[Job]) -> None:
    ours = (MANIFEST_NAME, CONTACT_NAME)
    taken = {name.casefold(): Job(Path(), Path(), name) for name in ours}
    for job in jobs:
        # Half of all file systems do not tell upper from lower case.
        other = taken.setdefault(job.name.casefold(), job)
        if other is job:
            continue
        if other.still == job.still:
            raise PictureFileError(
                f"{job.out}: two looks of one name and strength would be written there;"
                " give one of them another name."
            )
        raise PictureFileError(
            f"{job.out}: both {other.still} and {job.still} would be written there;"
            " rename one or run two batches."
        )


def _check_no_still_is_written_over(jobs: list[Job]) -> None:
    stills = {os.path.realpath(job.still).casefold(): job.still for job in jobs}
    for job in jobs:
        still = stills.get(os.path.realpath(job.out).casefold())
        if still is not None:
            raise PictureFileError(
                f"{job.out}: is the still {still}, which is never overwritten;"
                " choose another folder with --out."
            )
