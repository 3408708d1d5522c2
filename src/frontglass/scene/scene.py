"""A scene: what is known of its stills, and what was chosen for them."""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from frontglass.checks import check_line
from frontglass.choices import PastWhite, Surround
from frontglass.errors import ParameterError
from frontglass.scene.fields import check_fields, in_file
from frontglass.scene.parts import SceneCamera, SceneChoice, SceneStill

if TYPE_CHECKING:
    from frontglass.looks import Look, LookStack
    from frontglass.pipeline.recipe import Recipe

FILE_NAME = "scene.toml"
FORMAT = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is known of the stills of a scene, and what was chosen for them.

    Parameters
    ----------
    title : str or None
        What the scene is called.
    camera : SceneCamera
        What it will be taken with.
    surround : "lampless", "mirror", "dark" or None
        What lies outside the frame; None leaves it to the commands.
    view : "hue", "clip" or None
        How light above white is shown, as in `Picture`.
    encoding : str or None
        What the codes of its stills are, as --encoding takes it.
    lut, lut_from : str or None
        What pictures are looked at through, as --view takes it: a LUT's file, a path from the
        scene's folder, or DISPLAY/VIEW; and what that LUT expects, as --view-from.
    stills : tuple of SceneStill
        Its stills, each once.
    choices : tuple of SceneChoice
        What was chosen, each once.
    path : Path
        Its file: paths in it start from that folder.

    Raises
    ------
    ParameterError
        If two stills are one, two choices are, or a choice is for a still that is not there.

    Examples
    --------
    >>> import frontglass as fg
    >>> lamp = fg.SceneLamp(at_px=(147, 415), kind="globe")
    >>> still = fg.SceneStill(file="night1.jpg", white_cd_per_m2=20, lamps=(lamp,))
    >>> kept = fg.SceneChoice(looks=("harbour-night:1/4",), why="Lamps swell, faces stay.")
    >>> scene = fg.Scene(title="After the last ferry", stills=(still,), choices=(kept,))
    >>> fg.Scene.from_toml(scene.to_toml()) == scene
    True
    >>> scene.recipe("night1.jpg").recovery.white_cd_per_m2
    20
    """

    title: str | None = in_file("title", check_line)
    surround: Surround | None = in_file("surround", Surround.of)
    view: PastWhite | None = in_file("view", PastWhite.of)
    encoding: str | None = in_file("encoding", check_line)
    lut: str | None = in_file("lut", check_line)
    lut_from: str | None = in_file("lut_from", check_line)
    camera: SceneCamera = in_file("camera", of=SceneCamera, default=SceneCamera())
    stills: tuple[SceneStill, ...] = in_file("still", of=SceneStill, default=())
    choices: tuple[SceneChoice, ...] = in_file("choice", of=SceneChoice, default=())
    path: Path = field(default=Path(FILE_NAME), compare=False)

    def __post_init__(self) -> None:
        check_fields(self)
        if self.lut_from is not None and self.lut is None:
            raise ParameterError("lut_from", "given with a lut", self.lut_from)
        names = [os.path.normpath(still.file) for still in self.stills]
        for number, name in enumerate(names):
            if name in names[:number]:
                raise ParameterError("still file", "in the scene once", name)
        said = [(choice.looks, choice.stills) for choice in self.choices]
        for number, choice in enumerate(self.choices):
            if said[number] in said[:number]:
                raise ParameterError("choice", "kept once for the same stills", str(choice))
            for name in choice.stills:
                if os.path.normpath(name) not in names:
                    hint = "Add the still to the scene, or leave it out of the choice."
                    raise ParameterError("choice still", "a still of the scene", name, hint)

    @staticmethod
    def from_toml(text: str) -> Scene:
        """Scene that TOML text describes, as `read_scene` reads it from a file.

        Raises
        ------
        FrontglassError
            If the text says something that is not understood.
        """
        from frontglass.scene.reading import scene_from_toml

        return scene_from_toml(text, Path(FILE_NAME))

    def to_toml(self) -> str:
        """Text of a scene file, which `read_scene` and `from_toml` read as the same scene."""
        from frontglass.scene.writing import scene_as_toml

        return scene_as_toml(self)

    @property
    def folder(self) -> Path:
        """Where its paths start from."""
        return self.path.parent

    @property
    def folders(self) -> set[Path]:
        """Folders of its stills."""
        return {(self.folder / one.file).resolve().parent for one in self.stills}

    def named(self, file: str) -> SceneStill | None:
        """Still of that name in the file; None if there is none."""
        wanted = os.path.normpath(file)
        found = (one for one in self.stills if os.path.normpath(one.file) == wanted)
        return next(found, None)

    def still_of(self, path: str | os.PathLike[str]) -> SceneStill | None:
        """Return what the scene says of a still's file, by its path; None if nothing."""
        where = os.path.abspath(path)
        for one in self.stills:
            if os.path.abspath(self.folder / one.file) == where:
                return one
        # Through links, and letter case where the system does not tell it.
        real = os.path.normcase(os.path.realpath(path))
        for one in self.stills:
            if os.path.normcase(os.path.realpath(self.folder / one.file)) == real:
                return one
        return None

    def choices_for(self, still: SceneStill | None) -> tuple[SceneChoice, ...]:
        """Return what was chosen for a still: for it, or for all of them."""
        names = set() if still is None else {os.path.normpath(still.file)}
        return tuple(
            choice
            for choice in self.choices
            if not choice.stills or names & {os.path.normpath(name) for name in choice.stills}
        )

    def looks_of(self, choice: SceneChoice) -> tuple[Look, ...]:
        """Return the looks of a choice at their strengths; files are found from the scene's folder.

        Raises
        ------
        LookError
            If there is no such look.
        """
        from frontglass.looks.catalogue import look_from_text

        return tuple(look_from_text(self._look_text(text)) for text in choice.looks)

    def stack_of(self, choice: SceneChoice) -> LookStack:
        """Return a choice as commands take it: raises as `looks_of`."""
        from frontglass.looks import LookStack

        texts = (self._look_text(text) for text in choice.looks)
        sources = (text.rpartition(":")[0] or text for text in texts)
        return LookStack(self.looks_of(choice), tuple(sources))

    def _look_text(self, text: str) -> str:
        name, colon, strength = text.rpartition(":")
        if not colon:
            name = text
        if not name.lower().endswith(".toml"):
            return text
        return f"{self.folder / name}{colon}{strength if colon else ''}"

    def recipe(self, still: str | os.PathLike[str], **typed: Any) -> Recipe:
        """Recipe for one of its stills; what is typed wins over what the scene says.

        Parameters
        ----------
        still : path
            The still's file.
        **typed
            Parameters of `Recipe`; looks stand on their glass as the scene says.

        Raises
        ------
        ParameterError
            If a parameter is out of its range.
        """
        from frontglass.scene.taken import taken_from

        if "looks" in typed:
            typed["looks"] = tuple(self.camera.rig.on(look) for look in typed["looks"])
        return taken_from(self, self.still_of(still), typed)[0]

    def at(self, path: Path) -> Self:
        """Return the scene as the file at `path` holds it."""
        return replace(self, path=path)
