"""Stills that lie on the page, opened when they are looked at, and what they look like."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from frontglass.errors import FrontglassError, ParameterError
from frontglass.live.shown import at_most, half_light, shown_codes
from frontglass.looks import Look
from frontglass.looks.catalogue import name_and_strength
from frontglass.optics.camera import Camera
from frontglass.picture.clipped_lamps import ClippedLamp
from frontglass.picture.picture import Picture
from frontglass.pipeline.recipe import ExposedStill, Recipe
from frontglass.units import strength_from_text

LONGEST_PX, SMALL_PX, TILE_PX = 1280, 168, 320
"""Longest side of what is worked on, of a small picture, and of what the loupe shows."""
MOST_OPEN = 6
"""Stills that stay open; the one looked at least lately is read anew when it is wanted."""
TOLD_SHARE, MOST_LAMPS = 0.95, 12
"""Lamps are circled until they send that much of the light given back, and no more than so many."""

RecipeOf = Callable[[Path], Recipe]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenStill:
    """A still that is being looked at.

    Parameters
    ----------
    recipe : Recipe
        How it is shown, without looks.
    small, tiny : Picture
        The still as the page works on it, and for small pictures.
    camera : Camera
        What it is rendered for.
    full_px : (int, int)
        Width and height of it in full. [px]
    areas : tuple of ClippedLamp
        Its clipped areas by the pixels of the whole file, most light first.
    corner_px : (int, int)
        Where the taking lens' frame begins in the file. [px]
    notices : tuple of str
        What was assumed.
    light : int
        Another number whenever it is shown otherwise.
    """

    recipe: Recipe
    small: Picture
    tiny: Picture
    camera: Camera
    full_px: tuple[int, int]
    areas: tuple[ClippedLamp, ...]
    corner_px: tuple[int, int]
    notices: tuple[str, ...]
    light: int

    def seen(self, looks: Sequence[Look]) -> Picture:
        """Return it through looks."""
        return replace(self.recipe, looks=tuple(looks)).rendered(self.small, self.camera)

    def lamps(self) -> list[dict[str, Any]]:
        """Return the lamps that matter and lie in the frame, by the frame's own pixels."""
        shown: list[dict[str, Any]] = []
        before = 0.0
        for number, lamp in enumerate(self.areas):
            x, y = lamp.x_px - self.corner_px[0], lamp.y_px - self.corner_px[1]
            is_inside = 0 <= x < self.full_px[0] and 0 <= y < self.full_px[1]
            matters = lamp.marked or (before < TOLD_SHARE and lamp.stops > 0)
            before += lamp.share
            if is_inside and matters and len(shown) < MOST_LAMPS:
                shown.append(
                    {
                        "number": number,
                        "x": x / self.full_px[0],
                        "y": y / self.full_px[1],
                        "radius": max(lamp.box_px[2:]) / 2 / self.full_px[0],
                        "stops": round(lamp.stops, 1),
                        "unsure": round(lamp.uncertain_stops, 1),
                        "marked": lamp.marked,
                    }
                )
        return shown


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
    """

    def __init__(self, stills: Sequence[Path], looks: Iterable[Look], recipe_of: RecipeOf) -> None:
        self.stills = tuple(stills)
        self.looks = {look.name: look for look in looks}
        self._recipe_of = recipe_of
        self._open: dict[int, OpenStill] = {}
        self._opened = 0
        # Read files are large: only the last one is held.
        self._read: tuple[int, Recipe, ExposedStill] | None = None
        self._full: tuple[object, NDArray[np.uint8]] | None = None

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
        if still is None or still.recipe != recipe:
            still = self._as_shown(number, recipe)
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
            found.append(names[name].at(strength_from_text(strength or "1")))
        return found

    def codes(self, number: int, looks: Sequence[Look]) -> NDArray[np.uint8]:
        """Return what `frontglass apply` makes of the still at the page's size."""
        return shown_codes(self.held(number).seen(looks))

    def light(self, number: int, look: Look) -> NDArray[np.float16]:
        """Return what the page blends: the still through a look, in linear light."""
        return half_light(self.held(number).seen([look]))

    def small(self, number: int, looks: Sequence[Look]) -> NDArray[np.uint8]:
        """Return a small picture of the still through looks."""
        still = self.held(number)
        camera = still.recipe.framing.camera_for(still.tiny).camera
        return shown_codes(replace(still.recipe, looks=tuple(looks)).rendered(still.tiny, camera))

    def film(self, number: int) -> NDArray[np.uint8]:
        """Return a small picture of a still for the filmstrip; what is open stays so."""
        still, read = self._open.get(number), self._read
        if still is None:
            still = self._as_shown(number, self._recipe_of(self.path(number)))
            self._read = read
        return shown_codes(still.tiny)

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
        codes = self._in_full(number, looks)
        rows, columns = codes.shape[:2]
        top, left = (
            max(0, min(round(place * size - TILE_PX / 2), size - TILE_PX))
            for place, size in ((y, rows), (x, columns))
        )
        return np.ascontiguousarray(codes[top : top + TILE_PX, left : left + TILE_PX])

    def _in_full(self, number: int, looks: Sequence[Look]) -> NDArray[np.uint8]:
        """Return the full still through looks; kept for the next tile of it."""
        still = self.held(number)
        key = (number, still.light, tuple(map(str, looks)))
        if self._full is None or self._full[0] != key:
            self._full = None
            picture = still.recipe.lit(
                self._exposed(number, still.recipe), self.stills[number]
            ).picture
            camera = still.recipe.framing.camera_for(picture).camera
            seen = replace(still.recipe, looks=tuple(looks)).rendered(picture, camera)
            self._full = (key, shown_codes(seen))
        return self._full[1]

    def _as_shown(self, number: int, recipe: Recipe) -> OpenStill:
        path = self.stills[number]
        found = recipe.lit(self._exposed(number, recipe), path)
        picture = found.picture
        small = at_most(picture, LONGEST_PX)
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
        )

    def _exposed(self, number: int, recipe: Recipe) -> ExposedStill:
        """Return a still as its file holds it; read anew if another was, or it is exposed anew."""
        asked = replace(recipe, recovery=Recipe().recovery)
        if self._read is None or self._read[:2] != (number, asked):
            self._read = None
            self._read = (number, asked, recipe.exposed(self.path(number)))
        return self._read[2]


def problem(error: Exception) -> str:
    """Return what went wrong with a still, in one line."""
    if isinstance(error, FrontglassError):
        return " ".join(str(error).split())
    if isinstance(error, MemoryError):
        return "Not enough memory for a still of this size."
    said = getattr(error, "strerror", None)
    return f"Cannot be read ({said})." if said else "Cannot be shown."
