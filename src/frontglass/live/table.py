"""Stills that lie on the page, opened when they are looked at, and what they look like."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.convolution.blocks import single_precision
from frontglass.convolution.kept import keeping_nothing_new
from frontglass.errors import ParameterError
from frontglass.files.draft import draft
from frontglass.files.size import is_drafted
from frontglass.live.in_full import lean
from frontglass.live.open_still import OpenStill, watched_part
from frontglass.live.shown import BRIGHTEST, at_most, half_light, shown_codes, view_codes
from frontglass.live.smooth import Smooth, glass_depths
from frontglass.live.windows import Windows, can_be_parted, without_floor
from frontglass.looks import Look
from frontglass.looks.catalogue import name_and_strength
from frontglass.looks.rig import Rig
from frontglass.picture.noise_curve import NoiseCurve, noise_curve_of
from frontglass.picture.own_depth import with_own_distance
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.pipeline.recipe import ExposedStill, Recipe
from frontglass.scene.marks import SceneWatch
from frontglass.sheets.distance_page import shaded_distances
from frontglass.units import strength_from_text

LONGEST_PX, SMALL_PX, TILE_PX = 1280, 168, 320
"""Longest side of what is worked on, of a small picture, and of what the loupe shows."""
DRAFT_FINER = 2
"""A draft is read so much finer than it is shown: then light is averaged at hard edges, not codes,
and it differs from the still by more than a code in a hundredth of the pixels."""
MOST_OPEN = 6
"""Stills that stay open; the one looked at least lately is read anew when it is wanted."""
MOST_SEEN = 3
"""Renders that are at hand: both sides of the line and the one before."""

RecipeOf = Callable[[Path], Recipe]


class InFull(NamedTuple):
    """A full still through looks: its codes, and what is read in watched parts."""

    key: object
    codes: NDArray[np.uint8]
    parts: tuple[SceneWatch, ...]
    watched: list[dict[str, Any]]


class LightTable:
    """Stills, looks and what was rendered of them; one caller at a time.

    Parameters
    ----------
    stills : sequence of Path
        The stills; the page knows them by their numbers alone.
    looks : iterable of Look
        Looks of the strip.
    recipe_of : callable
        How a still is shown, as options and scene say now.
    rig_of : callable, optional
        How glass stands before the lens, as options and scene say now.
    """

    def __init__(
        self,
        stills: Sequence[Path],
        looks: Iterable[Look],
        recipe_of: RecipeOf,
        rig_of: Callable[[], Rig] = Rig,
    ) -> None:
        self.stills = tuple(stills)
        self.looks = {look.name: look for look in looks}
        self._recipe_of = recipe_of
        self._rig_of = rig_of
        self._open: dict[int, OpenStill] = {}
        self._opened = 0
        # Read files are large: only the last one is held.
        self._read: tuple[int, Recipe, ExposedStill] | None = None
        self._lit: tuple[int, Picture, NoiseCurve | None] | None = None
        self._full: InFull | None = None
        self._windows: tuple[object, Windows] | None = None
        self._seen: dict[object, Picture] = {}
        self._smooth: tuple[int, Smooth] | None = None

    def path(self, number: int) -> Path:
        """Return a still's file.

        Raises
        ------
        ParameterError
            If there is no still of that number.
        """
        if not 0 <= number < len(self.stills):
            raise ParameterError("still", f"from 0 to {len(self.stills) - 1}", number)
        return self.stills[number]

    def opened(self, number: int) -> OpenStill:
        """Return a still as it is shown now; read if need be.

        Raises
        ------
        FrontglassError
            If it cannot be read.
        """
        recipe = self._recipe_of(self.path(number))
        still = self._open.pop(number, None)
        if still is None or (still.recipe, still.rig) != (recipe, self._rig_of()):
            still = self._as_shown(number, recipe, still)
        self._open[number] = still
        while len(self._open) > MOST_OPEN:
            del self._open[next(iter(self._open))]
        return still

    def held(self, number: int) -> OpenStill:
        """Return a still that was opened, without asking whether it is shown otherwise by now."""
        return self._open[number] if number in self._open else self.opened(number)

    def stack(self, texts: Sequence[str], known: Mapping[str, Look] | None = None) -> list[Look]:
        """Return looks of texts such as "late-tram:1/2"; names that nobody handed out are refused.

        Raises
        ------
        ParameterError
            If a name is not known, or a strength is none.
        """
        names = {**(known or {}), **self.looks}
        found = []
        for text in texts:
            name, strength = name_and_strength(text)
            if name not in names:
                raise ParameterError("look", "one of this page", text)
            look = names[name].at(strength_from_text(strength or "1"))
            found.append(look)
        rig = self._rig_of()
        return [rig.on(look) for look in found]

    def codes(self, number: int, looks: Sequence[Look]) -> NDArray[np.uint8]:
        """Return what `frontglass apply` makes of the still at the page's size."""
        return shown_codes(self.seen(number, looks))

    def seen(self, number: int, looks: Sequence[Look]) -> Picture:
        """Return the still at the page's size through looks; the last few are at hand."""
        key = self._key(number, looks)
        if key not in self._seen:
            self._seen[key] = self.held(number).seen(looks)
        while len(self._seen) > MOST_SEEN:
            del self._seen[next(iter(self._seen))]
        return self._seen[key]

    def light(self, number: int, looks: Sequence[Look]) -> NDArray[np.float16]:
        """Return what the page blends: the still without its grain through looks, linear light."""
        still, seen = self.held(number), self._seen.get(self._key(number, looks))
        smooth = self._smooth_of(still)
        if seen is not None:
            seen = smooth.without_grain(seen)
        else:
            recipe = replace(still.recipe, looks=tuple(looks), grain=False)
            # Strengths of a net fill all room for planes: those of what is looked at are to stay.
            is_net = any(glass_depths(look) is None for look in looks)
            keeping = keeping_nothing_new() if is_net else nullcontext()
            with single_precision(), keeping:  # half floats hold less
                seen = recipe.rendered(smooth.picture, still.camera)
        light, lamps = half_light(seen), smooth.without_floor(seen, looks)
        if lamps is not None:
            light[lamps.at] = np.clip(lamps.light, -BRIGHTEST, BRIGHTEST)
        return light

    def grain(self, number: int) -> NDArray[np.float16] | None:
        """Return the grain over the root of light, which the page lays over a blend; or None."""
        return self._smooth_of(self.held(number)).laid()

    def lost(self, number: int) -> NDArray[np.uint16]:
        """Return what lamps had lost, as `Smooth.lost` has it."""
        return self._smooth_of(self.held(number)).lost()

    def _smooth_of(self, still: OpenStill) -> Smooth:
        if self._smooth is None or self._smooth[0] != still.light:
            smooth = Smooth.of(still.small) if still.recipe.grain else Smooth(still.small)
            self._smooth = still.light, smooth._replace(finds_floor=still.recipe.compensate)
        return self._smooth[1]

    def _key(self, number: int, looks: Sequence[Look]) -> object:
        return number, self.held(number).light, tuple(map(str, looks))

    def view(self, number: int) -> NDArray[np.float16]:
        """Return codes of what the still is looked at through, as `view_codes` has them.

        Raises
        ------
        ParameterError
            If it is looked at through nothing.
        """
        display = self.held(number).small.display
        if display is None:
            raise ParameterError("view", "there", "none")
        return view_codes(display)

    def watched(
        self, number: int, looks: Sequence[Look], parts: Iterable[SceneWatch], *, in_full: bool
    ) -> list[dict[str, Any]]:
        """Return what `frontglass compare` reads in watched parts, bare and through looks.

        Parameters
        ----------
        number : int
            The still.
        looks : sequence of Look
            The looks.
        parts : iterable of SceneWatch
            By the pixels of the whole file.
        in_full : bool
            Whether it is read in the full still, as `compare` does; else at the page's size.
        """
        still, parts = self.held(number), tuple(parts)
        if in_full:
            return self._in_full(number, looks, parts).watched
        return [watched_part(still, one, still.small, self.seen(number, looks)) for one in parts]

    def distances(self, number: int) -> NDArray[np.uint8] | None:
        """Return shades of how far everything is; None if nobody said."""
        metres = self._small_distance(number)
        if metres is None:
            return None
        return shaded_distances(metres, (metres.shape[1], metres.shape[0]))

    def metres_at(self, number: int, x: float, y: float) -> float | None:
        """Return how far a place is [m]; None if nobody said."""
        metres = self._small_distance(number)
        if metres is None:
            return None
        rows, columns = metres.shape
        return float(metres[min(int(y * rows), rows - 1), min(int(x * columns), columns - 1)])

    def _small_distance(self, number: int) -> NDArray[np.float32] | None:
        still = self.held(number)
        return with_own_distance(still.small, still.camera).distance_m

    def small(self, number: int, looks: Sequence[Look]) -> NDArray[np.uint8]:
        """Return a small picture of the still through looks."""
        still = self.held(number)
        camera = still.recipe.framing.camera_for(still.tiny).camera
        # Those of all looks have no room, and would throw out what is looked at.
        with keeping_nothing_new():
            seen = replace(still.recipe, looks=tuple(looks)).rendered(still.tiny, camera)
        return shown_codes(seen)

    def draft(self, number: int) -> NDArray[np.uint8] | None:
        """Return a still at the page's size before its lamps are found.

        None if it is open, or is no sooner read that way.
        """
        path = self.path(number)
        if number in self._open or not is_drafted(path, DRAFT_FINER * LONGEST_PX):
            return None
        return self._drafted(path, LONGEST_PX)

    def film(self, number: int) -> NDArray[np.uint8]:
        """Return a small picture of a still for the filmstrip; what is open stays so."""
        still = self._open.get(number)
        if still is None:
            return self._drafted(self.path(number), SMALL_PX)
        return shown_codes(still.tiny)

    def _drafted(self, path: Path, longest_px: int) -> NDArray[np.uint8]:
        """Return a bare still, read only as finely as it is shown."""
        recipe = self._recipe_of(path)
        with draft(DRAFT_FINER * longest_px):
            picture = recipe.exposed(path).picture
        return shown_codes(at_most(recipe.framing.framed(picture), longest_px))

    def tile(self, number: int, looks: Sequence[Look], x: float, y: float) -> NDArray[np.uint8]:
        """Return pixels of the full still through looks round a place.

        Parameters
        ----------
        number : int
            The still.
        looks : sequence of Look
            The looks.
        x, y : float
            The place, over width and height. [1], in [0, 1]
        """
        columns, rows = self.held(number).full_px
        top, left = (
            max(0, min(round(place * size - TILE_PX / 2), size - TILE_PX))
            for place, size in ((y, rows), (x, columns))
        )
        tile = Region(left, top, min(TILE_PX, columns), min(TILE_PX, rows))
        windows = self._windows_of(number, looks)
        if windows is not None:
            return windows.codes(tile)
        return np.ascontiguousarray(tile.cut(self._in_full(number, looks).codes))

    def _windows_of(self, number: int, looks: Sequence[Look]) -> Windows | None:
        """Return windows of the full still through looks, or None where it takes all of it."""
        still, key = self.held(number), self._key(number, looks)
        if self._full is not None and self._full.key == key:
            return None
        if self._windows is None or self._windows[0] != key:
            self._windows = None
            picture, curve = self._lit_in_full(number)
            recipe, smooth = replace(still.recipe, looks=tuple(looks)), self._smooth_of(still)
            if not looks or not can_be_parted(picture, smooth, recipe):
                return None
            seen = smooth.without_grain(self.seen(number, looks))
            light = without_floor(smooth, seen, looks)
            self._windows = key, Windows(picture, smooth, light, recipe, curve)
        return self._windows[1]

    def _lit_in_full(self, number: int) -> tuple[Picture, NoiseCurve | None]:
        """Return the full still with its lamps' light, and how noisy it is."""
        still = self.held(number)
        if self._lit is None or self._lit[0] != still.light:
            read = self._exposed(number, still.recipe)
            picture = still.recipe.lit(read, self.stills[number]).picture
            step = picture.encoding.code_step if still.recipe.grain else None
            curve = None if step is None else noise_curve_of(picture.radiance, step)
            self._lit = still.light, picture, curve
        return self._lit[1:]

    def at_hand(self, path: Path) -> Picture | None:
        """Return what a still's file holds, if that was read last and nothing else was asked."""
        if self._read is None:
            return None
        number, asked, read = self._read
        return read.picture if self.path(number) == path and asked == Recipe() else None

    def _in_full(
        self, number: int, looks: Sequence[Look], parts: Sequence[SceneWatch] = ()
    ) -> InFull:
        """Return the full still through looks; kept for the next tile of it, as codes alone."""
        still, key = self.held(number), self._key(number, looks)
        if self._full is None or self._full.key != key or not {*parts} <= {*self._full.parts}:
            self._full = self._windows = None
            picture, _ = self._lit_in_full(number)
            recipe = replace(still.recipe, looks=tuple(looks))
            with lean(picture, is_compared=bool(parts)) as again:
                camera = recipe.framing.camera_for(picture).camera
                seen = recipe.rendered(picture, camera, again)
                watched = [watched_part(still, part, picture, seen) for part in parts]
                self._full = InFull(key, shown_codes(seen), tuple(parts), watched)
        return self._full

    def _as_shown(self, number: int, recipe: Recipe, before: OpenStill | None) -> OpenStill:
        path = self.stills[number]
        found = recipe.lit(self._exposed(number, recipe), path)
        picture = found.picture
        small = at_most(picture, LONGEST_PX)
        is_same = before is not None and before.shows_as(small)
        if before is not None and is_same:  # its grain need not be found once more
            small = replace(small, radiance=before.small.radiance)
        choice = recipe.framing.camera_for(small)
        corner = (0, 0)
        if picture.wider is not None:
            corner = (picture.wider.region.x_px, picture.wider.region.y_px)
        self._opened += 1
        return OpenStill(
            recipe=recipe,
            small=small,
            tiny=at_most(small, SMALL_PX),
            camera=choice.camera,
            full_px=(picture.width_px, picture.height_px),
            areas=found.lamps,
            corner_px=corner,
            notices=tuple(dict.fromkeys((*picture.notices, *choice.notices))),
            light=self._opened,
            shown=before.shown if before is not None and is_same else self._opened,
            rig=self._rig_of(),
        )

    def _exposed(self, number: int, recipe: Recipe) -> ExposedStill:
        """Return a still as its file holds it; read anew if another was, or it is exposed anew."""
        plain = Recipe()
        # What is done to the light only once it has been read.
        asked = replace(
            recipe,
            recovery=plain.recovery,
            framing=plain.framing,
            space=plain.space,
            surround=plain.surround,
        )
        if self._read is None or self._read[:2] != (number, asked):
            # What was made of it goes as well, for it holds its light.
            self._read = self._lit = self._windows = None
            self._read = (number, asked, recipe.exposed(self.path(number)))
        return self._read[2]
