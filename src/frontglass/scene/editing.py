"""Scene files changed in place: by one program at a time, whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from frontglass.errors import FrontglassError, ParameterError
from frontglass.files.lock import locked
from frontglass.files.whole import write_bytes_whole
from frontglass.scene.reading import scene_from_toml
from frontglass.scene.scene import Scene
from frontglass.strict_toml import text_from

Change = Callable[[Scene], Scene]
MOST_TRIES = 50
HEAD = """\
# What is known of these stills, and what was chosen. Written by frontglass; change it as you like.
"""


def edit_scene(path: Path, change: Change, *, about: Mapping[str, str] | None = None) -> Scene:
    """Return what a scene file says after a change; comments and order of what stays are kept.

    `change` may be called again, if an editor saved the file meanwhile; `about` has a line of
    comment for each still that is new, by its name.

    Raises
    ------
    FrontglassError
        If the file cannot be read or written, or the change breaks a rule. It is as it was then.
    """
    real = path.resolve()  # a link stays one
    with locked(real):
        for _ in range(MOST_TRIES):
            before = _bytes_of(real)
            old, text = _read(path, before)
            try:
                new = change(old)
            except ParameterError as error:
                raise FrontglassError(f"{path}: {error}") from None
            if new == old and before is not None:
                return old
            written = _checked(text, old, new, about)
            if _bytes_of(real) == before:  # an editor knows no lock
                write_bytes_whole(real, written.encode())
                return new
    raise FrontglassError(f"{path}: another program keeps changing it; try again.")


def _read(path: Path, before: bytes | None) -> tuple[Scene, str]:
    """Scene as it stands, or one that says nothing yet, with its text."""
    text = HEAD + "format = 1\n" if before is None else text_from(before, str(path), "a scene")
    return scene_from_toml(text, path), text


def _checked(text: str, old: Scene, new: Scene, about: Mapping[str, str] | None) -> str:
    """Text after a change, which says what it is to say."""
    from frontglass.scene.writing import changed_toml

    written = changed_toml(text, old, new, about)
    try:
        is_right = scene_from_toml(written, old.path) == new
    except FrontglassError:
        is_right = False
    if not is_right:
        raise FrontglassError(
            f"{old.path}: is laid out in a way that cannot be changed in place; change it by hand."
        )
    return written


def _bytes_of(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise FrontglassError(f"{path}: cannot be read ({error.strerror}).") from None
