"""Where a frame is cropped: watched parts and faces stay inside, then what the eye goes to."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from frontglass.arrays import Float32
from frontglass.checks import check_positive, check_within
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.sheets.views import view

SMALL_PX = 192
"""Longer side on which it is judged where the eye goes."""
FACE_PX = 640
"""Longer side on which faces are looked for."""
ROOM_ROUND_A_FACE = 0.5
"""Room kept above, below and beside a face, in its heights: for hair and chin."""
SURROUND_SHARES = (0.05, 0.15)
"""Sizes of details and of what surrounds them, in longer sides."""
LAMPS_COUNT, LAMP_CODE = 1.0, 245
"""How much a lamp stands out, against the most that anything else does; and what is one."""
TAKEN_ABOVE, RELUCTANT = 1 / 3, 1.0
"""Of what is cut off a height in which nothing is known to matter, a third goes at the top, unless
what stands out is as unevenly spread as that; common practice, no source."""
CASCADE = "haarcascade_frontalface_default.xml"


@dataclass(frozen=True, slots=True)
class Crop:
    """What of a still is shown, and what did not fit in."""

    region: Region
    notices: tuple[str, ...] = ()


def crop_of(
    picture: Picture,
    aspect: float | None,
    *,
    share: float | None = None,
    within: Region | None = None,
    watched: Sequence[tuple[str, Region]] = (),
) -> Crop:
    """Return the largest part of a picture, the whole frame that glass acts on, in a shape.

    Parameters
    ----------
    aspect : float or None
        Width over height; None keeps the shape.
    share : float or None
        Where the part stands: 0 at the top (or left), 1 at the bottom (or right) [1]; None goes by
        watched parts, faces and what stands out.
    within : Region or None
        What of the picture there is to show; None is all of it.
    watched : sequence of (str, Region)
        Named parts that are to stay inside.
    """
    whole = within or Region(0, 0, picture.width_px, picture.height_px)
    whole.check_inside(picture)
    if aspect is None:
        return Crop(whole)
    check_positive("aspect", aspect)
    width, height = whole.size_px
    across = min(width, max(1, round(height * aspect)))
    down = min(height, max(1, round(width / aspect)))
    spare = (width - across, height - down)
    if spare == (0, 0):
        return Crop(whole)
    if share is not None:
        check_within("share", share, 0, 1)
        x, y = (whole.x_px + round(share * spare[0]), whole.y_px + round(share * spare[1]))
        return Crop(Region(x, y, across, down))
    return _placed(picture, whole, (across, down), watched)


def _placed(
    picture: Picture, whole: Region, size: tuple[int, int], watched: Sequence[tuple[str, Region]]
) -> Crop:
    """Return the part of a size that keeps most of what matters."""
    axis = 0 if size[0] < whole.width_px else 1
    start, length = (whole.x_px, whole.y_px)[axis], size[axis]
    spare = whole.size_px[axis] - length
    faces = [("a face", face) for face in faces_in(picture)]
    parts = [(name, _span(part, axis)) for name, part in (*watched, *faces)]
    low, high = start, start + spare
    notices = []
    for name, (first, last) in parts:
        # Between these starts the part is inside; watched parts come first, and win.
        fits = (max(low, last - length), min(high, first))
        if fits[0] <= fits[1]:
            low, high = fits
        else:
            notices.append(f"the crop cuts {name}: move it (--crop), or choose another --aspect.")
    if not faces:
        notices.append(NO_FACE if has_face_finder() else NO_FACE_FINDER)
    # Heads that nobody finds are most often high up: cut the foreground first.
    share, reluctance = (TAKEN_ABOVE, RELUCTANT) if axis == 1 and not parts else (0.5, 0.02)
    wanted = start + share * spare, reluctance
    place = _most_striking(picture, axis, (low, high), length, wanted)
    x, y = (place, whole.y_px) if axis == 0 else (whole.x_px, place)
    return Crop(Region(x, y, *size), tuple(notices))


NO_FACE_FINDER = (
    "cropped by what stands out, for this OpenCV brings no face finder: look whether anybody is"
    " cut, and name heads with scene watch, or move the crop (--crop)."
)

NO_FACE = (
    "cropped by what stands out; no face was found, nor would one turned away be: look whether"
    " anybody is cut, and name heads with scene watch, or move the crop (--crop)."
)


def _span(part: Region, axis: int) -> tuple[int, int]:
    first = (part.x_px, part.y_px)[axis]
    return first, first + part.size_px[axis]


def _most_striking(
    picture: Picture,
    axis: int,
    starts: tuple[int, int],
    length: int,
    wanted: tuple[float, float],
) -> int:
    """Return the start, of those allowed, of the stretch that holds most of what stands out.

    `wanted` is where it best starts, and how much more, of all that stands out, a stretch a whole
    frame away from there would have to hold.
    """
    low, high = starts
    if low == high:
        return low
    strip = saliency(picture).sum(axis=0 if axis == 0 else 1)
    full = (picture.width_px, picture.height_px)[axis]
    summed = np.concatenate([[0.0], np.cumsum(strip)])
    edges = np.linspace(0, full, len(summed))
    candidates = np.linspace(low, high, 65)
    held = np.interp(candidates + length, edges, summed) - np.interp(candidates, edges, summed)
    # Of stretches that hold the same, the one nearest to what is wanted.
    off = np.abs(candidates - wanted[0]) / full
    return round(float(candidates[np.argmax(held - wanted[1] * summed[-1] * off)]))


def saliency(picture: Picture) -> Float32:
    """How much each part of a picture stands out from what surrounds it, reduced. [1], sum 1.

    Notes
    -----
    Differences of lightness and colour between a detail and its surroundings, at two sizes, as the
    eye's own cells answer them. Common practice, no source; the constants are our own.
    """
    shares = (SMALL_PX / picture.width_px, SMALL_PX / picture.height_px)
    scale = min(1.0, *shares)
    size = tuple(max(1, round(side * scale)) for side in (picture.width_px, picture.height_px))
    codes = view(picture, (size[0], size[1]))
    lab = cv2.cvtColor(codes, cv2.COLOR_RGB2LAB).astype(np.float32)
    found = np.zeros(lab.shape[:2], dtype=np.float32)
    longer = max(size)
    for share in SURROUND_SHARES:
        near = cv2.GaussianBlur(lab, (0, 0), max(0.6, share * longer / 4))
        far = cv2.GaussianBlur(lab, (0, 0), max(1.2, share * longer))
        found += np.sqrt(((near - far) ** 2).sum(axis=2))
    # Lamps are what glass acts on most.
    found += LAMPS_COUNT * found.max() * (codes.min(axis=2) >= LAMP_CODE)
    found += 1e-3
    return np.asarray(found / found.sum(), dtype=np.float32)


def has_face_finder() -> bool:
    """Whether the OpenCV that is installed brings a face finder and its model."""
    return _cascade_file() is not None


def _cascade_file() -> str | None:
    folder = getattr(getattr(cv2, "data", None), "haarcascades", "")
    path = os.path.join(folder, CASCADE)
    return path if hasattr(cv2, "CascadeClassifier") and os.path.isfile(path) else None


def faces_in(picture: Picture) -> list[Region]:
    """Faces with room for hair and chin; nothing where OpenCV brings no face finder."""
    path = _cascade_file()
    if path is None:
        return []
    scale = min(1.0, FACE_PX / max(picture.width_px, picture.height_px))
    size = (
        max(1, round(picture.width_px * scale)),
        max(1, round(picture.height_px * scale)),
    )
    grey = cv2.cvtColor(view(picture, size), cv2.COLOR_RGB2GRAY)
    finder = getattr(cv2, "CascadeClassifier")(path)  # noqa: B009  # OpenCV 5 has none.
    found = finder.detectMultiScale(cv2.equalizeHist(grey), 1.1, 6, minSize=(24, 24))
    return [_with_room([float(v) / scale for v in box], picture) for box in found]


def _with_room(box: Sequence[float], picture: Picture) -> Region:
    x, y, width, height = box
    room = ROOM_ROUND_A_FACE * height
    left, top = max(0, int(x - room)), max(0, int(y - room))
    right = min(picture.width_px, int(x + width + room))
    bottom = min(picture.height_px, int(y + height + room))
    return Region(left, top, right - left, bottom - top)
