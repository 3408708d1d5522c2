"""Pairs of stills as they come, and what of them can be compared."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from frontglass.accuracy import ACCURACY
from frontglass.arrays import Float32, Mask
from frontglass.checks import check_not_negative, check_positive
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera, choose_camera
from frontglass.picture.clipped import clipping_levels
from frontglass.picture.picture import Picture

NEAR_CLIPPING = 0.97
AROUND_CLIPPED_PX = 3
"""JPEG rings round what clips, and sensors bleed."""
LEAST_SIDE_PX = 64
DETAIL_PX = 2.0
COMPARED_AT = (0.02, 0.1, 0.5, 0.9, 0.98)
UNLIKE_STOPS = 1.0
"""Stills farther apart than this must say how they were exposed."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StillPair:
    """One view without and with a piece of glass.

    Parameters
    ----------
    bare, with_glass : Picture or ndarray
        The two stills, of one size. Arrays are read as by `Picture.from_array`.
    strength : float
        What the piece carries: it makes 1 of the look 1 of the series. [1], > 0.
    name : str
        What to call it in messages.
    lamp_stops : float
        How sure the light is that was recovered for clipped lamps of the bare still, where any was:
        a standard deviation. [stop], >= 0.

    Raises
    ------
    ParameterError
        If a still is none, the sizes differ, both are the same, or the strength is none.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> bare = np.random.default_rng(1).uniform(0, 1, (80, 120, 3))
    >>> fg.StillPair(bare=bare, with_glass=bare * 0.9 + 0.05, strength=0.25).strength
    0.25
    """

    bare: Picture
    with_glass: Picture
    strength: float = 1.0
    name: str = "pair"
    lamp_stops: float = 0.5

    def __post_init__(self) -> None:
        check_positive("strength", self.strength)
        check_not_negative("lamp_stops", self.lamp_stops)
        for side in ("bare", "with_glass"):
            still = getattr(self, side)
            if not isinstance(still, Picture):
                object.__setattr__(self, side, Picture.from_array(still))
        sizes = [(still.width_px, still.height_px) for still in (self.bare, self.with_glass)]
        if sizes[0] != sizes[1]:
            shown = " and ".join(f"{width} x {height}" for width, height in sizes)
            hint = "Shoot both alike, and crop neither."
            raise ParameterError(self.name, "two stills of one size", f"{shown} px", hint)
        if min(sizes[0]) < LEAST_SIDE_PX:
            rule = f"at least {LEAST_SIDE_PX} px high and wide"
            raise ParameterError(self.name, rule, f"{sizes[0][0]} x {sizes[0][1]} px")
        if np.array_equal(self.bare.radiance, self.with_glass.radiance):
            rule = "two different stills"
            hint = "One file was named twice."
            raise ParameterError(self.name, rule, "the same light twice", hint)


class Compared(NamedTuple):
    """A pair as the fit takes it: fewer pixels, at one exposure as far as the stills say theirs."""

    bare: Float32
    other: Float32
    """Linear light, shape (H, W, 3), as far as the stills hold it."""
    lost: Float32 | None
    """Light of the bare still's lamps beyond that. It spreads, and is nowhere compared."""
    clipped: Mask
    """Where a still does not hold its light."""
    camera: Camera
    notices: tuple[str, ...]
    is_exposed: bool
    """Whether both stills said how they were exposed."""
    is_coded: bool
    """Whether a still holds whole codes: noise and lost detail of the bare one look like blur."""
    lamp_stops: float
    """How sure lost light is: a standard deviation, 0 where there is none. [stop]"""

    @property
    def px_per_rad(self) -> float:
        """Scale."""
        return self.camera.px_per_rad(self.bare.shape[1])


def compared(pair: StillPair, camera: Camera | None) -> Compared:
    """Pair on as few pixels as the fit needs; exposures must be alike, or told by the stills."""
    notices: list[str] = []
    if camera is None:
        still = pair.bare
        camera, assumed = choose_camera(
            still.shot, width_px=still.width_px, height_px=still.height_px
        )
        notices += assumed
    one, two = pair.bare.shot, pair.with_glass.shot
    for key, unit in (("focal_length_mm", "mm"), ("f_number", "")):
        pair_of = getattr(one, key), getattr(two, key)
        if None not in pair_of and abs(pair_of[0] / pair_of[1] - 1) > 0.01:
            shown = " and ".join(f"{value:g} {unit}".strip() for value in pair_of)
            what = key.removesuffix("_mm").replace("_", " ")
            notices.append(f"{pair.name}: the two stills differ in {what}: {shown}.")
    lights = [np.maximum(still.scene, 0) for still in (pair.bare, pair.with_glass)]
    lost = None if pair.bare.recovered is None else np.asarray(pair.bare.recovered, np.float32)
    masks = [_clipped(pair.bare), _clipped(pair.with_glass)]
    stops = one.exposure_stops, two.exposure_stops
    is_exposed = None not in stops
    if stops[0] is not None and stops[1] is not None:
        lights[1] = lights[1] * np.float32(2.0 ** (stops[0] - stops[1]))
    clipped = masks[0] | masks[1]
    size_px = _fewer(lights[0].shape[:2])
    if size_px != lights[0].shape[:2]:
        shape = (size_px[1], size_px[0])
        lights = [_shrunk(light, shape) for light in lights]
        lost = None if lost is None else _shrunk(lost, shape)
        clipped = cv2.resize(clipped.astype(np.float32), shape, interpolation=cv2.INTER_AREA) > 0
    if not is_exposed:
        _check_alike(pair.name, lights, ~clipped)
    return Compared(
        bare=lights[0],
        other=lights[1],
        lost=lost,
        clipped=clipped,
        camera=camera,
        notices=tuple(notices),
        is_exposed=is_exposed,
        is_coded=any(s.encoding.sample.is_integer for s in (pair.bare, pair.with_glass)),
        lamp_stops=0.0 if lost is None else pair.lamp_stops,
    )


def _shrunk(light: Float32, shape: tuple[int, int]) -> Float32:
    return np.asarray(cv2.resize(light, shape, interpolation=cv2.INTER_AREA), dtype=np.float32)


def _check_alike(name: str, lights: list[Float32], held: Mask) -> None:
    means = [float(light[held].mean()) if held.any() else 0.0 for light in lights]
    if min(means) <= 0:
        raise ParameterError(name, "stills with light in them", "a black one")
    # Glass lifts what is dark, by many stops beside a lamp, and leaves what is bright.
    levels = [np.maximum(np.quantile(light[held], COMPARED_AT), 1e-9) for light in lights]
    ratios = [means[1] / means[0], *(levels[1] / levels[0])]
    # A halo over all of a dark room leaves its detail, which is as bright as the exposure.
    fine = [_detail(light, held) for light in lights]
    if min(fine) > 0:
        ratios.append(fine[1] / fine[0])
    check_exposed_alike(name, float(np.abs(np.log2(ratios)).min()))


def _detail(light: Float32, held: Mask) -> float:
    """How much a still varies within a few pixels, rms."""
    grey = np.where(held, light.mean(axis=2), np.float32(0)).astype(np.float32)
    share = held.astype(np.float32)
    low, near = (cv2.GaussianBlur(x, (0, 0), DETAIL_PX) for x in (grey, share))
    off = (grey - low / np.maximum(near, 1e-6))[held]
    return float(np.sqrt(np.mean(off**2)))


def check_exposed_alike(name: str, apart: float) -> None:
    """Refuse stills so many stops apart that do not say how they were exposed."""
    if abs(apart) > UNLIKE_STOPS:
        hint = "Say the exposures with --stops, such as --stops 0,-2 for bare and with."
        rule = "exposed alike, or by files that say how"
        raise ParameterError(name, rule, f"{abs(apart):.1f} stops apart", hint)


def _clipped(picture: Picture) -> Mask:
    """Where a still clips; floats hold all light there is."""
    shape = (picture.height_px, picture.width_px)
    if not picture.encoding.sample.is_integer:
        return np.zeros(shape, dtype=np.bool_)
    light = np.asarray(picture.scene / np.array(picture.encoding.ends, np.float32), np.float32)
    share = light / clipping_levels(light)
    lost = np.asarray((share >= NEAR_CLIPPING).any(axis=2), dtype=np.uint8)
    side = 2 * AROUND_CLIPPED_PX + 1
    around = cv2.dilate(lost, np.ones((side, side), np.uint8))
    return np.asarray(around > 0, dtype=np.bool_)


def _fewer(shape: tuple[int, int]) -> tuple[int, int]:
    """Size on which a frame is fitted."""
    times = min(1.0, (ACCURACY.learned_px / (shape[0] * shape[1])) ** 0.5)
    return max(1, round(shape[0] * times)), max(1, round(shape[1] * times))
