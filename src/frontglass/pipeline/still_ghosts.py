"""Ghosts that the glass of looks throws of a still's lamps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from frontglass.elements import Element, Stack
from frontglass.elements.ghosts import Ghost, GhostsOfStill, ghosts_in
from frontglass.elements.lamp_patches import FoundLamps, lamps_found
from frontglass.elements.plate import glass_of
from frontglass.optics.camera import Camera
from frontglass.picture.last_light import LastLight
from frontglass.picture.picture import Picture

FAINT_ONES = 5


class FoundGhosts(NamedTuple):
    """Ghosts of a still, in the pixels of the whole of it, and where its frame begins there."""

    ghosts: GhostsOfStill
    corner_px: tuple[int, int]

    @property
    def told(self) -> tuple[Ghost, ...]:
        """Those in the frame, seen ones first."""
        return tuple(ghost for ghost in self.ghosts.ghosts if ghost.inside)

    @property
    def drawn(self) -> tuple[Ghost, ...]:
        """Those that a map shows: what will be seen, or a few if nothing will."""
        return self.ghosts.seen or self.told[:FAINT_ONES]


def ghosts_of(picture: Picture, looks: Sequence[Stack], camera: Camera) -> FoundGhosts | None:
    """Ghosts of a still's lamps, with the light that they had lost; None without glass.

    Parameters
    ----------
    picture : Picture
        The still, or a frame of it.
    looks : sequence of Look
        What light passes.
    camera : Camera
        What took the picture.

    Notes
    -----
    Of a frame, lamps inside it count: an untilted plate throws those of others beside it.
    """
    path: tuple[Element, ...] = tuple(part for look in looks for part in look.light_path)
    glass = glass_of(path)
    if glass is None:
        return None
    corner = (0, 0)
    if picture.wider is not None:
        corner = (picture.wider.region.x_px, picture.wider.region.y_px)
    lamps = _LAST.of(picture.radiance, picture.recovered, lambda: _lamps_of(picture))
    found = ghosts_in(picture.radiance, lamps, glass, camera)
    return FoundGhosts(_moved(found, corner), corner)


def _lamps_of(picture: Picture) -> FoundLamps | None:
    found = lamps_found(picture.with_lamps)
    if found is None:
        return None
    # Patches are parts of a frame, which they would hold.
    return found._replace(patches=tuple(p._replace(light=p.light.copy()) for p in found.patches))


# A sheet asks for the ghosts of one still for every look on it.
_LAST = LastLight[FoundLamps | None]()


def _moved(found: GhostsOfStill, corner_px: tuple[int, int]) -> GhostsOfStill:
    return GhostsOfStill(
        ghosts=tuple(ghost.moved(*corner_px) for ghost in found.ghosts), tilt_deg=found.tilt_deg
    )
