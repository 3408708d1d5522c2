"""Whether what was typed of a still's lens agrees with what its file says."""

from __future__ import annotations

import math
from typing import NamedTuple

from frontglass.errors import ParameterError
from frontglass.optics.camera import FULL_FRAME_DIAGONAL_MM, ShotData, known
from frontglass.optics.sensors import sensor_mm_from_text

SAME_LENS = 1.1
"""Lenses within this factor are one: files round, and lenses breathe."""
SAME_SENSOR = 1.2
"""Image areas within this factor are one: 35 mm equivalents are whole numbers, of phones small."""


class ShotAs(NamedTuple):
    """What a still was shot with, as far as it was typed, and what was understood."""

    lens_mm: float | None
    sensor: str | None
    notices: tuple[str, ...] = ()


def as_shot(
    shot: ShotData, size_px: tuple[int, int], *, lens_mm: float | None, sensor: str | None
) -> ShotAs:
    """Return what was typed of a still's lens and sensor, once it agrees with its file.

    Parameters
    ----------
    shot : ShotData
        What the file says.
    size_px : tuple of int
        Width and height of the still.
    lens_mm : float or None
        Focal length typed, or the 35 mm equivalent that the file names. [mm]
    sensor : str or None
        Sensor typed.

    Raises
    ------
    ParameterError
        If they contradict each other: most likely another lens was meant, for the film.
    """
    focal, equivalent = known(shot.focal_length_mm), known(shot.focal_length_35mm)
    typed_mm = None if sensor is None else _diagonal_mm(sensor_mm_from_text(sensor), size_px)
    if lens_mm is not None and (focal or equivalent):
        seen = lens_mm * FULL_FRAME_DIAGONAL_MM / (typed_mm or FULL_FRAME_DIAGONAL_MM)
        if focal is not None and _is_near(lens_mm, focal, SAME_LENS):
            pass
        elif equivalent is None or not _is_near(seen, equivalent, SAME_LENS):
            raise _other_lens(shot, lens_mm, sensor)
        elif focal is not None:
            understood = (
                f"{lens_mm:g} mm is taken for the {equivalent:g} mm equivalent that the file"
                f" names; the lens itself is {focal:.3g} mm."
            )
            return ShotAs(None, None, (understood,))
    file_mm = _file_diagonal_mm(shot, size_px)
    if (
        typed_mm is not None
        and file_mm is not None
        and not _is_near(typed_mm, file_mm, SAME_SENSOR)
    ):
        raise _other_sensor(shot, str(sensor), typed_mm, file_mm)
    return ShotAs(lens_mm, sensor)


def _is_near(one: float, other: float, factor: float) -> bool:
    return abs(math.log(one / other)) <= math.log(factor)


def _diagonal_mm(sensor_mm: tuple[float, float], size_px: tuple[int, int]) -> float:
    """Diagonal of what a still shows of a sensor [mm]."""
    long_mm, short_mm = sorted(sensor_mm, reverse=True)
    shape = min(size_px) / max(size_px)
    across = min(long_mm, short_mm / shape)
    return math.hypot(across, across * shape)


def _file_diagonal_mm(shot: ShotData, size_px: tuple[int, int]) -> float | None:
    """Diagonal of what the still shows of its sensor, as its file tells it [mm]."""
    focal, equivalent = known(shot.focal_length_mm), known(shot.focal_length_35mm)
    if focal is not None and equivalent is not None:
        return FULL_FRAME_DIAGONAL_MM * focal / equivalent
    long_mm = known(shot.sensor_width_mm)
    return None if long_mm is None else math.hypot(1, min(size_px) / max(size_px)) * long_mm


def _said(shot: ShotData) -> str:
    parts = []
    if shot.focal_length_mm is not None:
        parts.append(f"{shot.focal_length_mm:.3g} mm")
    if shot.focal_length_35mm is not None:
        parts.append(f"{shot.focal_length_35mm:g} mm equivalent")
    return ", ".join(parts)


def _other_lens(shot: ShotData, lens_mm: float, sensor: str | None) -> ParameterError:
    hint = (
        f"For the view of a {lens_mm:g} mm lens on the film's camera type --as"
        f" {lens_mm:g}mm,{sensor or 'super35'}; if the file is wrong, --no-exif."
    )
    rule = f"what the still was shot with, by its file {_said(shot)}"
    return ParameterError("lens", rule, f"{lens_mm:g} mm", hint)


def _other_sensor(shot: ShotData, sensor: str, typed_mm: float, file_mm: float) -> ParameterError:
    hint = (
        f"For the view of another camera type --as with its lens, such as --as 50mm,{sensor}; if"
        " the file is wrong, --no-exif."
    )
    said = ", ".join(filter(None, (_said(shot), f"{file_mm:.3g} mm across corners")))
    rule = f"what the still was shot with, by its file {said}"
    return ParameterError("sensor", rule, f"{sensor}, {typed_mm:.3g} mm across corners", hint)
