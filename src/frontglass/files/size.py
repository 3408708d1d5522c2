"""The size that a picture file claims, without its pixels."""

from __future__ import annotations

from pathlib import Path

from frontglass.errors import FrontglassError
from frontglass.files import jpeg
from frontglass.files.draft import draft, draft_parts
from frontglass.files.limits import SizeTold, size_alone
from frontglass.files.reading import read_picture


def is_drafted(path: Path, longest_px: int) -> bool:
    """Whether a file is read sooner within `draft`: a JPEG that is large enough."""
    try:
        with path.open("rb") as file:
            is_jpeg = file.read(len(jpeg.SIGNATURE)) == jpeg.SIGNATURE
    except OSError:
        return False
    size = claimed_size(path) if is_jpeg else None
    with draft(longest_px):
        return size is not None and draft_parts(size) > 1


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
