"""What decides the pixels of a picture, as a record can hold it."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import frontglass
from frontglass.pipeline.kept_lamps import KeptLamps, kept_lamps

if TYPE_CHECKING:
    from frontglass.pipeline.recipe import Recipe


def recipe_digest(recipe: Recipe) -> str:
    """Fingerprint of everything in a recipe that decides the pixels, and of the program's version.

    The words about a look (its summary, what to watch for) do not decide any pixel.
    """
    light_paths = [look.light_path for look in recipe.looks]
    text = f"{frontglass.__version__} {light_paths!r} {replace(recipe, looks=())!r}"
    return hashlib.sha256(text.encode()).hexdigest()


def lamps_said_of(still: Path) -> str | None:
    """Return what the file beside a still says of its lamps; None if nothing."""
    kept = kept_lamps(still)
    return None if kept == KeptLamps() else repr(kept)
