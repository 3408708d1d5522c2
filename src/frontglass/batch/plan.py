"""Which stills a batch reads and where each one goes, settled before anything is rendered."""

from __future__ import annotations

import glob
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from frontglass.batch.job import Job
from frontglass.batch.manifest import MANIFEST_NAME
from frontglass.errors import FrontglassError, ParameterError, PictureFileError
from frontglass.files import EXTENSIONS
from frontglass.pipeline.still_files import same_file


def plan(sources: Iterable[str | Path], folder: Path, *, suffix: str | None = None) -> list[Job]:
    """Return the jobs of a batch, sorted by name.

    Parameters
    ----------
    sources : iterable of str or Path
        Stills, folders (searched with their sub-folders) and patterns such as ``"day*/*.jpg"``.
    folder : Path
        Where the rendered stills go. Sub-folders below what all sources share are kept.
    suffix : str or None
        Extension of the rendered stills, "png" or ".png"; None keeps each still's own.

    Raises
    ------
    FrontglassError
        If a source holds no still, two stills would go to one file, or one would be
        written over a still. Nothing has been written then.
    """
    found = [_found(source) for source in sources]
    stills = _without_repeats(still for _, group in found for still in group)
    root = _shared_root([top for top, _ in found])
    if same_file(folder, root):
        raise PictureFileError(
            f"{folder}: is the folder of the stills, which are never overwritten;"
            " choose another with --out."
        )
    # A second run over the same folder must not take up what the first one wrote below it.
    target = folder.resolve()
    if target.is_relative_to(root.resolve()):
        stills = [still for still in stills if not still.resolve().is_relative_to(target)]
        if not stills:
            raise PictureFileError(f"{folder}: holds every still given; choose another with --out.")
    ending = None if suffix is None else "." + suffix.lstrip(".").lower()
    jobs = []
    for still in stills:
        relative = Path(os.path.relpath(still.absolute(), root.absolute()))
        relative = relative if ending is None else relative.with_suffix(ending)
        jobs.append(Job(still, folder / relative, relative.as_posix()))
    jobs.sort(key=lambda job: job.name)
    _check_no_clash(jobs)
    _check_no_still_is_written_over(jobs)
    return jobs


def _found(source: str | Path) -> tuple[Path, list[Path]]:
    """Folder that a source hangs on, and the stills in it."""
    path = Path(source)
    if path.is_dir():
        stills = sorted(_readable_below(path))
        if not stills:
            raise PictureFileError(f"{path}: holds no still that frontglass can read.")
        return path, stills
    # A file whose name happens to hold brackets is a file, not a pattern.
    if path.exists() or not glob.has_magic(str(source)):
        if not path.is_file():
            raise PictureFileError(f"{path}: no such file or folder.")
        return path.parent, [path]
    matches = (Path(name) for name in glob.glob(str(source), recursive=True))
    stills = sorted(match for match in matches if _is_readable(match))
    if not stills:
        raise PictureFileError(f"{source}: matches no still that frontglass can read.")
    parts = path.parts
    fixed = next(i for i, part in enumerate(parts) if glob.has_magic(part))
    return Path(*parts[:fixed]), stills


def _readable_below(folder: Path) -> Iterator[Path]:
    for top, folders, names in os.walk(folder, onerror=_refuse_unreadable):
        folders[:] = [name for name in folders if not name.startswith(".")]
        yield from filter(_is_readable, (Path(top, name) for name in names))


def _refuse_unreadable(error: OSError) -> None:
    raise PictureFileError(f"{error.filename}: cannot be searched ({error.strerror}).") from None


def _is_readable(path: Path) -> bool:
    hidden = path.name.startswith(".")
    return not hidden and path.suffix.lower() in EXTENSIONS and path.is_file()


def _without_repeats(stills: Iterable[Path]) -> list[Path]:
    """Return each still once, though a file and its folder may both have been named."""
    return list({still.absolute(): still for still in stills}.values())


def _shared_root(tops: list[Path]) -> Path:
    if not tops:
        raise ParameterError("sources", "at least one still, folder or pattern", tops)
    try:
        return Path(os.path.commonpath([top.absolute() for top in tops]))
    except ValueError:
        msg = "The stills lie on different drives; run one batch for each."
        raise FrontglassError(msg) from None


def _check_no_clash(jobs: list[Job]) -> None:
    taken: dict[str, Job] = {MANIFEST_NAME.casefold(): Job(Path(), Path(), MANIFEST_NAME)}
    for job in jobs:
        # Half of all file systems do not tell upper from lower case.
        other = taken.setdefault(job.name.casefold(), job)
        if other is not job:
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
