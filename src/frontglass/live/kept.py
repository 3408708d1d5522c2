"""Choices that the page keeps, and lamps that it sets: changes to the scene's file."""

from __future__ import annotations

import contextlib
import os
import shlex
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from frontglass.errors import FrontglassError, ParameterError
from frontglass.looks import Look
from frontglass.looks.catalogue import name_and_strength
from frontglass.looks.stack import BEHIND
from frontglass.picture.picture import Picture
from frontglass.scene.changes import changed_still, with_choice, without_choice
from frontglass.scene.editing import edit_scene
from frontglass.scene.finding import name_in_scene
from frontglass.scene.parts import SceneChoice, SceneStill
from frontglass.scene.reading import read_scene
from frontglass.scene.scene import Scene
from frontglass.scene.seeing import SeenStill, found_lamps, seen_still, with_seen
from frontglass.units import strength_text

LONGEST_TEXT = 2000


class SceneKeeper:
    """What the page writes into the scene, and reads from it.

    Parameters
    ----------
    path : Path
        The scene's file; the first change starts it.
    words : sequence of str
        Options that the page was started with: they make the same picture on the command line.
    look_files : mapping of str to Path, optional
        Files of looks that do not come along, by name.
    """

    def __init__(
        self,
        path: Path,
        words: Sequence[str] = (),
        look_files: Mapping[str, Path] | None = None,
    ) -> None:
        self.path, self.words = path, tuple(words)
        self._look_files = dict(look_files or {})
        self.at_hand: Callable[[Path], Picture | None] | None = None
        """Returns what a still's file holds, if that has been read already."""

    @property
    def revision(self) -> str:
        """Another text whenever the file may say something else."""
        try:
            said = self.path.stat()
        except OSError:
            return "none"
        return f"{said.st_mtime_ns}-{said.st_size}"

    def scene(self) -> Scene:
        """Scene as it stands; one that says nothing if there is none yet.

        Raises
        ------
        FrontglassError
            If the file is not understood.
        """
        return read_scene(self.path) if self.path.exists() else Scene(path=self.path)

    def keep(
        self, still: Path, looks: Sequence[Look], *, for_all: bool, why: str, name: str
    ) -> None:
        """Keep a choice for a still, or for all of them.

        Raises
        ------
        FrontglassError
            If the file cannot be written, or a text breaks a rule.
        """
        _check_texts(why, name)
        seen = self._seen_if_new(still)

        def change(scene: Scene) -> Scene:
            scene, file = _with(scene, still, seen)
            stills = () if for_all else (file,)
            texts = tuple(self._text(scene, look) for look in looks)
            choice = SceneChoice(looks=texts, stills=stills, why=why or None, name=name or None)
            return with_choice(scene, choice)

        edit_scene(self.path, change)

    def rename(self, looks: Sequence[str], stills: Sequence[str], *, why: str, name: str) -> None:
        """Call a choice something else; raises as `keep`."""
        _check_texts(why, name)

        def change(scene: Scene) -> Scene:
            meant = _meant(scene, looks, stills)
            told = replace(meant, why=why or None, name=name or None)
            choices = tuple(told if one is meant else one for one in scene.choices)
            return replace(scene, choices=choices)

        edit_scene(self.path, change)

    def remove(self, looks: Sequence[str], stills: Sequence[str]) -> None:
        """Keep a choice no longer; raises as `keep`."""
        edit_scene(self.path, lambda scene: without_choice(scene, _meant(scene, looks, stills)))

    def move(
        self, looks: Sequence[str], stills: Sequence[str], by: int, shown: Sequence[Path]
    ) -> None:
        """Move a choice up or down among those that are listed for some stills; as `keep`."""

        def change(scene: Scene) -> Scene:
            order = list(scene.choices)
            places = [order.index(choice) for choice, _ in _listed_choices(scene, shown)]
            here = places.index(order.index(_meant(scene, looks, stills)))
            to = min(max(here + by, 0), len(places) - 1)
            order.insert(places[to], order.pop(places[here]))
            return replace(scene, choices=tuple(order))

        edit_scene(self.path, change)

    def heart(self, looks: Sequence[str], stills: Sequence[str], by: int) -> None:
        """Add to the hearts of a choice; raises as `keep`."""

        def change(scene: Scene) -> Scene:
            meant = _meant(scene, looks, stills)
            told = replace(meant, hearts=max(0, (meant.hearts or 0) + by) or None)
            choices = tuple(told if one is meant else one for one in scene.choices)
            return replace(scene, choices=choices)

        edit_scene(self.path, change)

    def change(self, still: Path, change: Callable[[Scene, str], Scene]) -> None:
        """Change a scene that has a still, by what it calls it; raises as `keep`."""
        seen = self._seen_if_new(still)
        edit_scene(self.path, lambda scene: change(*_with(scene, still, seen)))

    def change_still(self, still: Path, told: Callable[[SceneStill], SceneStill]) -> None:
        """Change what the scene says of a still; raises as `keep`."""
        self.change(still, lambda scene, file: changed_still(scene, file, told))

    def listed(self, stills: Sequence[Path], scene: Scene | None = None) -> list[dict[str, Any]]:
        """Return what is kept for these stills, with the command that makes each picture."""
        scene = self.scene() if scene is None else scene
        kept = []
        for choice, on in _listed_choices(scene, stills):
            still = stills[on[0] if on else 0]
            kept.append(
                {
                    "looks": list(choice.looks),
                    "stills": list(choice.stills),
                    "on": on,
                    "why": choice.why or "",
                    "name": choice.name or "",
                    "hearts": choice.hearts or 0,
                    "command": self.command(
                        still, BEHIND.join(_from_here(scene, text) for text in choice.looks)
                    ),
                }
            )
        return kept

    def command(self, still: Path, looks: str) -> str:
        """Return the command line that makes a picture of the page."""
        return shlex.join(["frontglass", "apply", str(still), "--look", looks, *self.words])

    def looks_of(self, scene: Scene) -> Mapping[str, Look]:
        """Return looks in files that choices name, by what they are called there."""
        found = {}
        for choice in scene.choices:
            # A look that is not there is said where its picture would be.
            with contextlib.suppress(FrontglassError):
                for text, look in zip(choice.looks, scene.looks_of(choice), strict=True):
                    name, _ = name_and_strength(text)
                    if name.lower().endswith(".toml"):
                        found[name] = look
        return found

    def _text(self, scene: Scene, look: Look) -> str:
        """Return a look at its strength, as the scene writes it."""
        file = self._look_files.get(look.name)
        name = look.name if file is None else name_in_scene(scene, file)
        return f"{name}:{strength_text(look.strength)}"

    def _seen_if_new(self, still: Path) -> SeenStill | None:
        """Look at a still that the scene does not have; that takes a while, so not in the lock."""
        if self.scene().still_of(still) is not None:
            return None
        return seen_still(still, picture=self.at_hand(still) if self.at_hand else None)


def _with(scene: Scene, still: Path, seen: SeenStill | None) -> tuple[Scene, str]:
    """Return a scene that has a still, and what it calls it."""
    if scene.still_of(still) is None:
        seen = seen_still(still) if seen is None else seen
        scene = with_seen(scene, seen, lamps=found_lamps(seen))
    known = scene.still_of(still)
    assert known is not None
    return scene, known.file


def _listed_choices(scene: Scene, stills: Sequence[Path]) -> list[tuple[SceneChoice, list[int]]]:
    """Return the choices for some of these stills or for all, and for which, by their numbers."""
    numbers = {}
    for number, path in enumerate(stills):
        known = scene.still_of(path)
        if known is not None:
            numbers[os.path.normpath(known.file)] = number
    found = []
    for choice in scene.choices:
        on = [numbers[name] for name in map(os.path.normpath, choice.stills) if name in numbers]
        if on or not choice.stills:
            found.append((choice, on))
    return found


def _meant(scene: Scene, looks: Sequence[str], stills: Sequence[str]) -> SceneChoice:
    """Return the choice of these looks for these stills."""
    for choice in scene.choices:
        if (choice.looks, choice.stills) == (tuple(looks), tuple(stills)):
            return choice
    raise ParameterError("choice", "one that is still kept", "+".join(map(str, looks)))


def _from_here(scene: Scene, text: str) -> str:
    """Return a look of a choice as one would type it here: files lie in the scene's folder."""
    name, strength = name_and_strength(text)
    if not name.lower().endswith(".toml"):
        return text
    return ":".join(filter(None, (str(scene.folder / name), strength)))


def _check_texts(*texts: str) -> None:
    for text in texts:
        if len(text) > LONGEST_TEXT:
            raise ParameterError("text", f"of {LONGEST_TEXT} letters at most", len(text))
