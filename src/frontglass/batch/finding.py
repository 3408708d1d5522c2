"""Stills in files, folders and patterns, and what lies beside them that cannot be read."""

from __future__ import annotations

import glob
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from frontglass.errors import FrontglassError, ParameterError, PictureFileError
from frontglass.files.plan import READABLE
from frontglass.looks.catalogue import look_names

PICTURES_OF_OTHERS = {".webp", ".gif", ".bmp", ".jxl", ".jp2", ".psd"}
"""Endings of pictures that frontglass cannot read: each may be a still that is missed."""
OURS = {".toml", ".npy"}
"""Endings of what lies beside stills to be read with them: scenes, marks, looks, distances."""
MADE_BY_US = ("frontglass-batch.json", "board.html")
"""Files that tell a folder of what our commands made."""
AS_WHAT = "save it as JPEG, PNG or TIFF"


@dataclass(frozen=True, slots=True)
class Found:
    """What sources hold: stills, each once, in the order of the sources and by name in each."""

    stills: tuple[Path, ...]
    root: Path
    """The folder that all sources share."""
    unread: tuple[Path, ...]
    """Pictures of formats that frontglass cannot read."""
    others: tuple[Path, ...]
    """Files that are neither."""
    ours: tuple[Path, ...]
    """Pictures that our commands wrote beside a still that is there too, by their names."""
    told_apart: tuple[tuple[Path, Path], ...] = ()
    """Stills whose pictures would have another's name, and the name that they have instead."""

    def without(self, folder: Path) -> Found:
        """Return what does not lie in a folder below the one that all share."""
        below = folder.resolve()
        if self.root.resolve().is_relative_to(below):
            return self
        groups = (self.stills, self.unread, self.others, self.ours)
        stills, unread, others, ours = (
            tuple(path for path in group if not _real(path).is_relative_to(below))
            for group in groups
        )
        return Found(stills, self.root, unread, others, ours)


def found_stills(sources: Iterable[str | Path]) -> Found:
    """Return the stills in files, folders, their sub-folders, and patterns ("day*/*.jpg").

    A source that holds none raises FrontglassError.
    """
    named = [str(source) for source in sources]
    if "" in named:  # A variable without a value would mean all that lies below this folder.
        raise ParameterError("source", "a still, folder or pattern", "")
    groups = [_found(source) for source in named]
    # A file and its folder may both have been named.
    files = list({path.absolute(): path for _, group in groups for path in group}.values())
    # A file that is named is a still whatever it is called: reading it says what is wrong.
    stills = tuple(path for path in files if _is_readable(path) or str(path) in named)
    rest = [path for path in files if path not in set(stills)]
    unread = tuple(path for path in rest if path.suffix.lower() in PICTURES_OF_OTHERS)
    others = tuple(path for path in rest if path not in set(unread))
    ours = made_beside(stills)
    stills = tuple(path for path in stills if path not in set(ours))
    return Found(stills, _shared_root([top for top, _ in groups]), unread, others, ours)


def made_beside(stills: Iterable[Path]) -> tuple[Path, ...]:
    """Return what our commands wrote beside one of these stills: its name and what was done."""
    own = list(stills)
    stems = {(path.absolute().parent, path.stem) for path in own}
    looks = "|".join(map(re.escape, look_names()))
    ending = re.compile(rf"_(?:(?:{looks})_.+|compare(?:-\d+)?|sway|distance_sheet)")
    found = []
    for path in own:
        folder = path.absolute().parent
        ends = (match.start() for match in re.finditer("_", path.stem))
        if any((folder, path.stem[:n]) in stems and ending.fullmatch(path.stem[n:]) for n in ends):
            found.append(path)
    return tuple(found)


def _found(source: str) -> tuple[Path, list[Path]]:
    """Folder that a source hangs on, and the files in it; one still of them at least."""
    path, verb = Path(source), "matches"
    if path.is_dir():
        source, verb = str(path), "holds"
        top, files = path, sorted(_below(path))
    # A file whose name happens to hold brackets is a file, not a pattern.
    elif path.exists() or not glob.has_magic(source):
        if not path.is_file():
            raise PictureFileError(f"{path}: no such file or folder.")
        return path.parent, [path]
    else:
        top, files = _matches(path)
    if not any(map(_is_readable, files)):
        said = f"{source}: {verb} no still that frontglass can read{_but(files)}."
        raise PictureFileError(said)
    return top, files


def _matches(pattern: Path) -> tuple[Path, list[Path]]:
    """Folder that a pattern hangs on, and the files that match it."""
    parts = pattern.parts
    fixed = next(i for i, part in enumerate(parts) if glob.has_magic(part))
    top, rest = Path(*parts[:fixed]), list(parts[fixed:])
    if rest[-1] == "**":
        rest.append("*")
    # Within a name two stars are one; on its own `**` is folders of any depth. Path.glob, unlike
    # glob.glob, follows no link to a folder there, which may lead back to where it stands.
    names = [part if part == "**" else re.sub(r"\*+", "*", part) for part in rest]
    hidden = {part for part in parts if part.startswith(".")}
    files = []
    for match in sorted(top.glob("/".join(names))):
        folders = match.relative_to(top).parents
        inner = [top / folder for folder in folders if folder != Path()]
        if _is_shown(match) and all(f.name in hidden or _is_searched(f) for f in inner):
            files.append(match)
    return top, files


def _but(files: list[Path]) -> str:
    """Return what is there instead of stills, as the end of a sentence."""
    endings = sorted({path.suffix.lower() for path in files} & PICTURES_OF_OTHERS)
    return f" (it cannot read {', '.join(endings)}: {AS_WHAT})" if endings else ""


def _below(folder: Path) -> Iterator[Path]:
    for top, folders, names in os.walk(folder, onerror=_refuse_unreadable):
        folders[:] = [name for name in folders if _is_searched(Path(top, name))]
        yield from filter(_is_shown, (Path(top, name) for name in names))


def _is_searched(folder: Path) -> bool:
    """Whether a folder may hold stills: not a hidden one, nor what a batch or a board filled."""
    if folder.name.startswith("."):
        return False
    return not any((folder / name).is_file() for name in MADE_BY_US)


def _refuse_unreadable(error: OSError) -> None:
    raise PictureFileError(f"{error.filename}: cannot be searched ({error.strerror}).") from None


def _real(path: Path) -> Path:
    """Return where a file is; `Path.resolve` raises where a link leads to itself."""
    return Path(os.path.realpath(path))


def _is_shown(path: Path) -> bool:
    # A link to nowhere is a still that cannot be read, and is named then.
    is_file = path.is_file() or (path.is_symlink() and not path.exists())
    return is_file and not path.name.startswith(".") and path.suffix.lower() not in OURS


def _is_readable(path: Path) -> bool:
    return path.suffix.lower() in READABLE


def _shared_root(tops: list[Path]) -> Path:
    if not tops:
        raise ParameterError("sources", "at least one still, folder or pattern", tops)
    try:
        return Path(os.path.commonpath([top.absolute() for top in tops]))
    except ValueError:
        msg = "The stills lie on different drives; run one batch for each."
        raise FrontglassError(msg) from None
