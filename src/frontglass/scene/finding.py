"""Which scene a still belongs to, and whether it is still the still that the scene knows."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from frontglass.errors import FrontglassError
from frontglass.files.plan import READABLE
from frontglass.scene.old_lamps import OLD_NAME, scene_from_old_lamps
from frontglass.scene.parts import SceneStill
from frontglass.scene.reading import read_scene, shown_name
from frontglass.scene.scene import FILE_NAME, Scene
from frontglass.strict_toml import document_of, text_of


class FoundScene(NamedTuple):
    """A scene that may hold a still, and whether it is meant even if it does not name it."""

    scene: Scene
    is_meant: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownStill:
    """A still, the scene it belongs to, what that says of it, and what is not as it says."""

    path: Path
    scene: Scene | None = None
    still: SceneStill | None = None
    notices: tuple[str, ...] = ()


def known_still(path: Path, scenes: Iterable[FoundScene]) -> KnownStill:
    """Return a still with its scene among these; if its file is gone, an error says where it is."""
    meant: Scene | None = None
    for scene, is_meant in scenes:
        still, notices = _in_scene(scene, path)
        if still is not None:
            return KnownStill(path=path, scene=scene, still=still, notices=notices)
        meant = scene if is_meant and meant is None else meant
    return KnownStill(path=path, scene=meant)


def scenes_for(folder: Path) -> Iterator[FoundScene]:
    """Yield scenes that may hold the stills of a folder, one read after the other.

    The one beside them; those in the folders above, which hold what they name; and where none lies
    beside them, `lamps.toml`.
    """
    beside = folder / FILE_NAME
    is_beside = beside.is_file()
    if is_beside:
        yield FoundScene(read_scene(beside), is_meant=True)
    for above in list(Path(os.path.abspath(folder)).parents):
        path = above / FILE_NAME
        # Far above, a file of that name may be anybody's.
        if path.is_file() and "format" in document_of(text_of(path, "a scene"), str(path)):
            yield FoundScene(read_scene(as_typed(path)), is_meant=False)
    old = folder / OLD_NAME
    if old.is_file() and not is_beside:
        yield FoundScene(scene_from_old_lamps(old), is_meant=True)


def scene_here(folder: Path) -> Scene | None:
    """Return the scene of a folder: the one in it, else the nearest above."""
    found = (one.scene for one in scenes_for(folder))
    return next((scene for scene in found if scene.path.name != OLD_NAME), None)


def as_typed(path: Path) -> Path:
    """Path as one would type it from here, if that is shorter."""
    try:
        relative = os.path.relpath(path)
    except ValueError:  # on another drive
        return path
    return min(path, Path(relative), key=lambda one: len(str(one)))


def _in_scene(scene: Scene, path: Path) -> tuple[SceneStill | None, tuple[str, ...]]:
    """Return what a scene says of a still, and what is not as it says."""
    still = scene.still_of(path)
    if still is None:
        moved = moved_still(scene, path)
        if moved is None:
            return None, ()
        old = shown_name(moved.file)
        said = f"{scene.path}: knows {path} as {old}, which is gone: it is taken as that."
        return moved, (said,)
    if not path.exists() and (now := found_again(scene).get(still.file)) is not None:
        raise FrontglassError(f"{path}: there is no such file; by its hash it lies at {now} now.")
    if still.sha256 is not None and path.is_file() and digest_of(path) != still.sha256:
        said = (
            f"{scene.path}: {shown_name(still.file)} has changed since; what is said of it is taken"
            " as it stands (frontglass scene takes it in anew)."
        )
        return still, (said,)
    return still, ()


def moved_still(scene: Scene, path: Path) -> SceneStill | None:
    """Still of a scene whose file is gone and which was, byte for byte, the one at `path`."""
    gone = [one for one in scene.stills if one.sha256 and not (scene.folder / one.file).exists()]
    if not gone or not path.is_file():
        return None
    digest = digest_of(path)
    return next((one for one in gone if one.sha256 == digest), None)


def found_again(scene: Scene) -> dict[str, Path | None]:
    """Stills of a scene whose files are gone, and where each lies now below the scene's folder."""
    gone = {one.file: one.sha256 for one in scene.stills if not (scene.folder / one.file).is_file()}
    if not gone:
        return {}
    known = {os.path.realpath(scene.folder / one.file) for one in scene.stills}
    found: dict[str, Path] = {}
    for path in _pictures_below(scene.folder):
        if os.path.realpath(path) not in known:
            found.setdefault(digest_of(path), path)
    return {file: found.get(digest or "") for file, digest in gone.items()}


def _pictures_below(folder: Path) -> Iterator[Path]:
    for top, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            path = Path(top, name)
            if path.suffix.lower() in READABLE and path.is_file():
                yield path


def digest_of(path: Path) -> str:
    """SHA-256 of a file, in hexadecimal; raises FrontglassError if it cannot be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise FrontglassError(f"{path}: cannot be read ({error.strerror}).") from None


def name_in_scene(folder: Path, path: Path) -> str:
    """Path of a file as a scene in a folder writes it: from there, with forward slashes."""
    try:
        relative = os.path.relpath(os.path.abspath(path), os.path.abspath(folder))
    except ValueError:  # on another drive
        relative = os.path.abspath(path)
    return Path(relative).as_posix()
