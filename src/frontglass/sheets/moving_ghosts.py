"""Ghosts of lamps while the camera pans: they swim against the lamps."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from frontglass.arrays import Float32
from frontglass.elements.ghost_light import with_ghosts
from frontglass.elements.ghosts import ghosts_in
from frontglass.elements.lamp_patches import lamps_found
from frontglass.elements.plate import glass_of
from frontglass.looks import Look
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import Conditions


class MovingGhosts:
    """Ghosts that the glass of looks throws of a still's lamps, wherever the camera points.

    The still is as the camera sees it at rest. Where the axis of the lens moves over the still by
    so much, ghosts move by twice that, and their lamps stay: in the frame lamps go one way and
    ghosts the other.
    """

    def __init__(
        self, still: Picture, looks: Sequence[Look], camera: Camera, conditions: Conditions
    ) -> None:
        self._still, self._camera, self._conditions = still, camera, conditions
        self._glass = glass_of(tuple(part for look in looks for part in look.light_path))
        self._front = [part for look in looks if (part := look.before_the_lens()) is not None]
        self._lamps = lamps_found(still.with_lamps) if self._glass else None
        self.seen = 0
        if self._glass is not None and self._lamps is not None:
            self.seen = len(ghosts_in(still.radiance, self._lamps, self._glass, camera).seen)

    def over(self, light: Float32, right_px: float, down_px: float) -> Float32:
        """Light of a frame, and over it that of ghosts, the camera panned so far."""
        if self._glass is None or self._lamps is None:
            return light
        dark = np.zeros_like(self._still.radiance)
        height, width = dark.shape[:2]
        axis = width / 2 + right_px, height / 2 + down_px
        ghosts = with_ghosts(dark, self._lamps, self._glass, self._camera, axis)
        if ghosts is dark or not self._front:
            return light + ghosts
        layer = Picture(radiance=ghosts, primaries=self._still.primaries)
        return light + self._conditions.seen(layer, self._front).radiance
