"""Options that name a scene, and what commands take from it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple

import typer

import frontglass as fg
from frontglass.cli.grouped import note
from frontglass.cli.options import CameraOptions, LightOptions
from frontglass.cli.space_options import SpaceOptions
from frontglass.errors import ParameterError

if TYPE_CHECKING:
    from frontglass.cli.glass_options import GlassOptions
    from frontglass.cli.options import LookOptions
    from frontglass.looks import LookStack
    from frontglass.looks.rig import OnGlass
    from frontglass.measurement.watch import WatchedRegion
    from frontglass.scene.finding import FoundScene, KnownStill
    from frontglass.scene.taken import Taken


@dataclass(frozen=True, kw_only=True)
class SceneOptions:
    """Which scene says what options leave open."""

    scene: Annotated[
        Path | None,
        typer.Option(
            "--scene",
            metavar="FILE",
            help="Scene that says what options leave open; else scene.toml beside the still.",
        ),
    ] = None
    no_scene: Annotated[bool, typer.Option("--no-scene", help="Take nothing from a scene.")] = False

    def at_hand(self, **typed: Any) -> SceneAtHand:
        """Return what these options let a command take beside the parameters that were typed."""
        return SceneAtHand(self, typed)


@dataclass(frozen=True, kw_only=True)
class StillOptions:
    """What took a still, how it is shown, and the scene that says what these leave open."""

    camera: CameraOptions
    space: SpaceOptions
    light: LightOptions
    kept: SceneOptions

    def at_hand(self) -> SceneAtHand:
        """Return what these options let a command take."""
        return self.kept.at_hand(**self.light.typed(self.camera, self.space))


def say_without_looks(without: Sequence[Path], total: int) -> None:
    """Name the stills that no look is kept for; refuse if that is all of them."""
    if len(without) == total:
        raise typer.BadParameter("name a look; no scene keeps one.", param_hint="'--look'")
    note(*(f"{still}: no look is kept for it; left out." for still in without))


class WatchedParts(NamedTuple):
    """Parts of a still to watch, and whether they were typed."""

    parts: tuple[WatchedRegion, ...]
    is_typed: bool = True

    def inside(self, picture: fg.Picture) -> list[WatchedRegion]:
        """Return them by the pixels of a frame; a scene's that it does not show are left out."""
        found = []
        for part in self.parts:
            try:
                found.append(part.in_frame_of(picture))
            except ParameterError:
                if self.is_typed or picture.wider is None:
                    raise
                note(f"{part.name} lies outside the frame of the taking lens: not watched.")
        return found


class SceneAtHand:
    """What was typed, what scenes say of stills beside it, and what of that a command took."""

    def __init__(self, options: SceneOptions, typed: Mapping[str, Any]) -> None:
        self.typed = typed
        self._options = options
        self._found: dict[Path, Iterable[FoundScene]] = {}
        self._named: list[FoundScene] = []
        self._known: dict[Path, KnownStill] = {}
        self._taken: dict[Path, dict[str, Taken]] = {}
        self._taken_here: list[Taken] = []
        if options.scene is not None and options.no_scene:
            raise ParameterError("scene", "given without --no-scene", str(options.scene))

    def known(self, still: Path) -> KnownStill:
        """Return a still with the scene it belongs to."""
        from frontglass.scene.finding import known_still

        if still not in self._known:
            self._known[still] = known_still(still, self._scenes(still.parent))
        return self._known[still]

    def recipe(self, still: Path) -> fg.Recipe:
        """Return the recipe for a still; what was typed wins over what the scene says."""
        from frontglass.scene.taken import taken_from

        known = self.known(still)
        if known.scene is None:
            return fg.Recipe(**self.typed)
        recipe, taken = taken_from(known.scene, known.still, self.typed)
        self._note(still, taken)
        return recipe

    def recovery(self, still: Path, typed: fg.Recovery) -> fg.Recovery:
        """Return what is done about a still's lamps."""
        from frontglass.scene.taken import recovery_from

        known, taken = self.known(still), list[Any]()
        if known.still is None:
            return typed
        recovery = recovery_from(known.still, typed, taken)
        self._note(still, taken)
        return recovery

    def encoding(self, still: Path, typed: str | None) -> str | None:
        """Return what a still's codes are."""
        from frontglass.scene.taken import encoding_from

        known, taken = self.known(still), list[Any]()
        if typed is not None or known.scene is None:
            return typed
        encoding = encoding_from(known.scene, known.still, taken)
        self._note(still, taken)
        return encoding

    def framing(self) -> fg.Framing:
        """Return lens and sensor where there is no still: by the scene named, or the one here."""
        from frontglass.scene.taken import framing_from

        here, typed = self.here(), self.typed["framing"]
        return typed if here is None else framing_from(here, None, typed, self._taken_here)

    def on_glass(
        self, still: Path | None, typed: GlassOptions, looks: Sequence[OnGlass]
    ) -> list[OnGlass]:
        """Return looks with their glass as typed, else as the scene of a still, or the one here."""
        from frontglass.scene.taken import rig_from

        scene = self.here() if still is None else self.known(still).scene
        if scene is None:
            return [typed.on(look) for look in looks]
        taken: list[Taken] = []
        rig = rig_from(scene, typed.rig(), looks, taken)
        if still is None:
            self._taken_here += taken
        else:
            self._note(still, taken)
        return [typed.on(look, rig) for look in looks]

    def here(self) -> fg.Scene | None:
        """Return the scene named, the one in this folder or above; None if there is none."""
        return next((scene for scene, _ in self._scenes(Path())), None)

    def watch(self, still: Path, typed: Sequence[str] | None) -> WatchedParts:
        """Return parts to watch: those that were typed, else those of the scene."""
        from frontglass.measurement.watch import WatchedRegion
        from frontglass.scene.taken import counted_as_taken

        parts = tuple(WatchedRegion.from_text(text) for text in typed or ())
        known = self.known(still)
        if parts or known.still is None or not known.still.watched:
            return WatchedParts(parts)
        self._note(still, [counted_as_taken("watched parts", len(known.still.watched))])
        kept = tuple(WatchedRegion.from_text(part.text) for part in known.still.watched)
        return WatchedParts(kept, is_typed=False)

    def crop(self, still: Path) -> fg.Region | None:
        """Return what is shown of a still on boards; None for all of it."""
        from frontglass.scene.taken import Taken

        known = self.known(still)
        if known.still is None or known.still.crop_px is None:
            return None
        self._note(still, [Taken("crop", "crop")])
        return fg.Region(*known.still.crop_px)

    def stacks(self, still: Path, typed: LookOptions) -> tuple[LookStack, ...]:
        """Return what a still is seen through: what was typed, else what is kept for it."""
        from frontglass.scene.taken import LOOKS, Taken

        kept = () if typed.look else self.choices(still)
        if kept:
            self._note(still, [Taken(LOOKS, ", ".join(stack.text for stack in kept))])
        return tuple(self.on_glass(still, typed, typed.stacks(kept)))

    def stacks_or_none(self, still: Path, typed: LookOptions) -> tuple[LookStack, ...]:
        """Return the same for one of many stills: nothing where nothing was typed or kept."""
        return self.stacks(still, typed) if typed.look or self.choices(still) else ()

    def choices(self, still: Path) -> tuple[LookStack, ...]:
        """Return what is kept for a still, each once."""
        known = self.known(still)
        if known.scene is None:
            return ()
        scene = known.scene
        return tuple(scene.stack_of(choice) for choice in scene.choices_for(known.still))

    def say(self) -> None:
        """Say in a line for each scene what was taken from it."""
        from frontglass.scene.old_lamps import OLD_NAME
        from frontglass.scene.taken import counted, taken_words

        here = self.here() if self._taken_here else None
        if here is not None:
            said = ", ".join(one.text for one in self._taken_here)
            typer.echo(f"{here.path}: {said}", err=True)
        by_scene: dict[Path, list[KnownStill]] = {}
        for known in self._known.values():
            if known.scene is not None:
                by_scene.setdefault(known.scene.path, []).append(known)
        for path, stills in by_scene.items():
            words = taken_words([tuple(self._taken.get(s.path, {}).values()) for s in stills])
            unknown = [one for one in stills if one.still is None]
            if unknown and path.name != OLD_NAME:
                one = unknown[0].path.name if len(unknown) == 1 else counted(len(unknown), "stills")
                verb = "is" if len(unknown) == 1 else "are"
                words = ", ".join(filter(None, (words, f"{one} {verb} not in it")))
            if words and path.name == OLD_NAME:
                words += " (frontglass scene takes that over)"
            if words:
                typer.echo(f"{path}: {' '.join(words.split())}", err=True)
        note(*dict.fromkeys(text for one in self._known.values() for text in one.notices))

    def _note(self, still: Path, taken: Sequence[Taken]) -> None:
        self._taken.setdefault(still, {}).update({one.what: one for one in taken})

    def _scenes(self, folder: Path) -> Iterable[FoundScene]:
        from frontglass.scene.finding import FoundScene, scenes_for

        if self._options.no_scene:
            return ()
        named = self._options.scene
        if named is not None:
            if not self._named:
                self._named.append(FoundScene(fg.read_scene(named), is_meant=True))
            return self._named
        if folder not in self._found:
            self._found[folder] = _ReadOnce(scenes_for(folder))
        return self._found[folder]


class _ReadOnce:
    """Scenes that are read when they are first asked for."""

    def __init__(self, source: Iterator[FoundScene]) -> None:
        self._source, self._read = source, list[Any]()

    def __iter__(self) -> Iterator[FoundScene]:
        yield from self._read
        for one in self._source:
            self._read.append(one)
            yield one
