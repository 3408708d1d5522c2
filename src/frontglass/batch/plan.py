"""Which pictures a batch makes and where each one goes, settled before anything is rendered."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import count
from pathlib import Path

from frontglass.batch.finding import Found, found_stills
from frontglass.batch.manifest import CONTACT_NAME, MANIFEST_NAME
from frontglass.batch.work import Job
from frontglass.choices import Choice
from frontglass.elements import LightPath
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.plan import EXTENSIONS, written_suffix
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
        As `found_stills` takes them.
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
    own_names, found = _own_names(found, ending)
    for still, own_name in own_names.items():
        for number, looks in enumerate(choices_of(still)):
            name = _named(own_name, looks, naming)
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


def _own_names(found: Found, ending: str | None) -> tuple[dict[Path, Path], Found]:
    """Return the name of each still's pictures before looks are added, and what had to give way.

    Half of all file systems do not tell upper from lower case, and a camera may leave two files
    of one name. The one that keeps its ending keeps its name: it may have been rendered before
    the other came.
    """
    relative = {
        still: Path(os.path.relpath(still.absolute(), found.root.absolute()))
        for still in found.stills
    }
    plain = {
        still: path.with_suffix(ending or written_suffix(path.suffix))
        for still, path in relative.items()
    }
    owners: dict[str, Path] = {}
    for still in sorted(found.stills, key=lambda still: (plain[still] != relative[still], still)):
        owners.setdefault(str(plain[still]).casefold(), still)
    named, apart = dict(plain), []
    for still in found.stills:
        if owners[str(plain[still]).casefold()] == still:
            continue
        for stem in _other_stems(relative[still], plain[still]):
            named[still] = plain[still].with_stem(stem)
            if owners.setdefault(str(named[still]).casefold(), still) == still:
                break
        apart.append((still, named[still]))
    return named, replace(found, told_apart=tuple(apart))


def _other_stems(still: Path, picture: Path) -> Iterator[str]:
    """Stems for a picture whose name is taken: with what its still is, then with a number."""
    if still.suffix.lower() != picture.suffix.lower():
        yield f"{picture.stem}-{still.suffix.removeprefix('.').lower()}"
    yield from (f"{picture.stem}-{number}" for number in count(2))


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
