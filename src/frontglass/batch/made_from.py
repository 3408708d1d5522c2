"""What decides the pixels of a picture, as a record can hold it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING

import frontglass
from frontglass.choices import Damage
from frontglass.elements.plate import RETURNED, Coating

if TYPE_CHECKING:
    from frontglass.pipeline.recipe import Recipe

AS_IT_COMES = {"tilt_deg": (0.0, 0.0), "coating": Coating.NONE, "returns": RETURNED}


def recipe_digest(recipe: Recipe) -> str:
    """Fingerprint of everything in a recipe that decides the pixels, and of the program's version.

    The words about a look (its summary, what to watch for) do not decide any pixel.
    """
    light_paths = [look.light_path for look in recipe.looks]
    text = f"{frontglass.__version__} {light_paths!r} {_pixels_of(recipe)!r}"
    return hashlib.sha256(text.encode()).hexdigest()


def _pixels_of(recipe: Recipe) -> Recipe:
    """Return a recipe without what decides only whether a file is read."""
    return replace(recipe, looks=(), damage=Damage.NOTE, max_megapixels=None)


def typed_digest(recipe: Recipe, typed: object) -> str:
    """Fingerprint of what somebody typed: options and looks, whatever a scene adds to them.

    How glass stands is among the options, or the scene's.
    """
    light_paths = [
        [part.without_stray_light().with_glass(**AS_IT_COMES) for part in look.light_path]
        for look in recipe.looks
    ]
    return hashlib.sha256(f"{light_paths!r} {typed!r}".encode()).hexdigest()
