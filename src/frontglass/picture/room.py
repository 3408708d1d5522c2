"""A simple room: floor, walls and ceiling, seen by a camera that stands in it."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from frontglass.arrays import Float32
from frontglass.checks import check_number, check_positive
from frontglass.errors import ParameterError

CAMERA_HEIGHT_M = 1.5
SHORT_NAMES = {
    "camera": "camera_m",
    "back": "back_m",
    "left": "left_m",
    "right": "right_m",
    "ceiling": "ceiling_m",
    "horizon": "horizon_px",
    "vanishing": "vanishing_px",
}
"""What the numbers of a room are called when they are typed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """A box with a level floor, in metres from the camera.

    Parameters
    ----------
    camera_m : float
        Height of the lens over the floor. [m], > 0.
    back_m : float or None
        To the back wall, straight along the room. [m], > 0; None leaves the room open.
    left_m, right_m, ceiling_m : float or None
        To the left and right walls; height of the ceiling over the floor, above the lens. [m], > 0
    horizon_px : float or None
        Row in which a level line far away would be seen, at the lens's height. [px]; None is
        the middle row.
    vanishing_px : float or None
        Column in which lines along the room would meet. [px]; None is the middle column.

    Raises
    ------
    ParameterError
        If a value is out of its range.

    Examples
    --------
    >>> import frontglass as fg
    >>> room = fg.Room.from_text("camera=1.6,back=9.5,left=3.6,right=3.6,ceiling=3.2")
    >>> distance = room.distance_m((60, 90), px_per_rad=100)
    >>> round(float(distance.min()), 1)
    5.7
    """

    camera_m: float = CAMERA_HEIGHT_M
    back_m: float | None = None
    left_m: float | None = None
    right_m: float | None = None
    ceiling_m: float | None = None
    horizon_px: float | None = None
    vanishing_px: float | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if value is not None:
                check = check_number if field.name.endswith("_px") else check_positive
                check(field.name, value)
        if self.ceiling_m is not None and self.ceiling_m <= self.camera_m:
            raise ParameterError(
                "ceiling_m", f"above the lens ({self.camera_m:g} m)", self.ceiling_m
            )

    @classmethod
    def from_text(cls, text: str) -> Room:
        """Room of "back=9,left=3,right=3,ceiling=3,camera=1.5,horizon=320", in any order.

        Examples
        --------
        >>> Room.from_text("back=9.5, camera=1.6").back_m
        9.5
        """
        rule = f"NAME=NUMBER,... with names among {', '.join(SHORT_NAMES)}"
        numbers = {}
        for part in text.split(","):
            name, _, number = (piece.strip() for piece in part.partition("="))
            try:
                numbers[SHORT_NAMES[name]] = float(number)
            except (KeyError, ValueError):
                raise ParameterError("room", rule, text) from None
        return cls(**numbers)

    def distance_m(self, shape: tuple[int, int], px_per_rad: float) -> Float32:
        """Distance along the ray through each pixel [m]; inf where the room is open.

        Parameters
        ----------
        shape : (int, int)
            Rows and columns of the picture.
        px_per_rad : float
            Scale at its middle.
        """
        height, width = shape
        middle = height / 2, width / 2
        horizon = middle[0] if self.horizon_px is None else self.horizon_px
        vanishing = middle[1] if self.vanishing_px is None else self.vanishing_px
        slope = (horizon - middle[0]) / px_per_rad
        # Axes of the room in those of the picture (right, down, forward). The camera is not
        # rolled; level directions are seen on the horizon.
        down = np.array([0.0, 1.0, -slope]) / math.hypot(1, slope)
        along = np.array([(vanishing - middle[1]) / px_per_rad, slope, 1.0])
        along /= np.linalg.norm(along)
        right = np.cross(down, along)
        x = (np.arange(width) + 0.5 - middle[1])[np.newaxis, :] / px_per_rad
        y = (np.arange(height) + 0.5 - middle[0])[:, np.newaxis] / px_per_rad
        ray = np.sqrt(1 + x**2 + y**2)
        nearest = np.full(shape, np.inf)
        above = None if self.ceiling_m is None else self.ceiling_m - self.camera_m
        for axis, away in (
            (down, self.camera_m),
            (-down, above),
            (along, self.back_m),
            (right, self.right_m),
            (-right, self.left_m),
        ):
            if away is None:
                continue
            towards = x * axis[0] + y * axis[1] + axis[2]
            with np.errstate(divide="ignore"):
                met = np.where(towards > 0, away / towards, np.inf)
            nearest = np.minimum(nearest, met)
        return np.asarray(nearest * ray, dtype=np.float32)
