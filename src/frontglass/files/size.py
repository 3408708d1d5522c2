"""The size that a picture file claims, without its pixels."""

from __future__ import annotations

from pathlib import Path

from frontglass.errors import FrontglassError
from frontglass.files.limits import SizeTold, size_alone
from frontglass.files.reading import read_picture


def claimed_size(path: Path) -> tuple[int, int] | None:
    """Return width and height that a file claims [px]; None if it tells none.

    Every reader checks them before it decodes anything: here it gets no further.
    """
    try:
        with size_alone():
            read_picture(path)
    except SizeTold as told:
        return told.width, told.height
    except FrontglassError:
        return None
    return None
