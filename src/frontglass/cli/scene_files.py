"""Which scene file a command means, and how it changes what is said of a still."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.errors import FrontglassError

if TYPE_CHECKING:
    from frontglass.scene.seeing import SeenStill

SceneFile = Annotated[
    Path | None,
    typer.Option(
        "--scene", metavar="FILE", help="The scene; else scene.toml beside the still, or here."
    ),
]


def scene_file(named: Path | None, still: Path | None = None) -> Path:
    """Return the scene file that is meant: the one named, the still's, or the one here."""
    from frontglass.scene.finding import known_still, scene_here, scenes_for
    from frontglass.scene.old_lamps import OLD_NAME
    from frontglass.scene.scene import FILE_NAME

    if named is not None:
        return named / FILE_NAME if named.is_dir() else named
    here = scene_here(Path() if still is None else still.parent)
    if still is None:
        return Path(FILE_NAME) if here is None else here.path
    known = known_still(still, scenes_for(still.parent))
    if known.scene is not None and known.scene.path.name != OLD_NAME:
        return known.scene.path
    # One above that has other stills of this folder would no longer be found for them.
    if here is not None and still.parent.resolve() in here.folders:
        return here.path
    return still.with_name(FILE_NAME)


def scene_at(path: Path) -> fg.Scene:
    """Return the scene of a file; an error says how one is started."""
    if not path.exists():
        raise FrontglassError(f"{path}: there is no scene; frontglass scene STILLS starts one.")
    return fg.read_scene(path)


def edited(
    path: Path,
    change: Callable[[fg.Scene], fg.Scene],
    *,
    about: Mapping[str, str] | None = None,
    folders: Iterable[Path] = (),
) -> fg.Scene:
    """Return a scene file after a change; says if that started it, and what it took over.

    `folders` are those of the stills that it takes in.
    """
    from frontglass.scene.editing import edit_scene
    from frontglass.scene.old_lamps import OLD_NAME
    from frontglass.scene.seeing import with_old_lamps

    is_new = not path.exists()
    before = fg.Scene(path=path) if is_new else scene_at(path)
    old = [folder / OLD_NAME for folder in folders if with_old_lamps(before, folder) != before]
    scene = edit_scene(path, change, about=about)
    if is_new:
        note(f"{path}: started.")
    note(*(f"{one}: taken over into {path}; it is not read any more." for one in sorted(old)))
    return scene


def told_of_still(
    still: Path,
    named: Path | None,
    change: Callable[[fg.SceneStill], fg.SceneStill],
    seen: SeenStill | None = None,
) -> tuple[Path, fg.SceneStill]:
    """Change what a scene says of a still, taken in if it is new; return its file, and that."""
    from frontglass.scene.changes import changed_still
    from frontglass.scene.seeing import seen_still, with_seen

    path = scene_file(named, still)
    known = scene_at(path).still_of(still) if path.exists() else None
    if known is None and seen is None:
        if not os.path.lexists(still) and path.exists():
            where = f"{still}: there is no such file, and {path} has no such still."
            raise FrontglassError(where)
        seen = seen_still(still)

    def changed(scene: fg.Scene) -> fg.Scene:
        if scene.still_of(still) is None:
            assert seen is not None
            scene = with_seen(scene, seen)
        return changed_still(scene, _known(scene, still).file, change)

    folders = [] if seen is None else [still.parent]
    return path, _known(edited(path, changed, folders=folders), still)


def _known(scene: fg.Scene, still: Path) -> fg.SceneStill:
    found = scene.still_of(still)
    assert found is not None
    return found
