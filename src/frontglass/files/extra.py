"""Libraries that not everybody needs, and the line that says how to get them."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from frontglass.errors import PictureFileError

COMMAND = "pip install 'frontglass[files]'"


def needed(module: str, what: str) -> Any:
    """Return a library of the extra "files".

    Raises
    ------
    PictureFileError
        If it is not installed.
    """
    try:
        return import_module(module)
    except ImportError:
        raise PictureFileError(
            f"{what} need an extra: {COMMAND} (from a checkout: pip install '.[files]')."
        ) from None
