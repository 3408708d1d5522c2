"""A small circular camera move as a loop: halos of lamps boil, dots of nets turn, haze does not."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from frontglass.arrays import Codes, Float32
from frontglass.checks import check_positive, check_within
from frontglass.choices import Surround
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.whole import write_whole
from frontglass.looks import Look
from frontglass.optics.camera import Camera
from frontglass.optics.speckle import halo_correlation
from frontglass.picture.picture import Picture
from frontglass.picture.reduced import reduced
from frontglass.pipeline.rendering import Conditions
from frontglass.sheets.boiling import LAMP_FROM, Boiling, BoilingLamp, lamps_of
from frontglass.sheets.lettering import fitted
from frontglass.sheets.moving_ghosts import MovingGhosts
from frontglass.sheets.sheet import Page, Sizes
from frontglass.sheets.views import view
from frontglass.units import deg_from_rad, percent_text, rad_from_deg

LOOP_SUFFIXES = (".webp", ".gif", ".mp4")
LOOP_WIDTH_PX = 640
FRAMES, FRAMES_PER_S = 24, 12
DRAPE_DEG_PER_MM = 0.2
"""How fast the threads of stretched fabric change direction. Common practice, no source."""
BESIDE_GAP_PX = 6
VERDICT_AT_DEG = 0.5
WORDS = ((0.02, "not to be seen"), (0.05, "faint"), (0.15, "visible"), (math.inf, "plain"))
"""Contrast under which needles deserve a word; the eye's threshold for fine detail is near 2 %.
From memory; common practice, no source."""


@dataclass(frozen=True, slots=True, eq=False)
class Loop:
    """A finished loop: sRGB codes, and in a line how visible the structure will be."""

    frames: tuple[Codes, ...]
    verdict: str


def sway(
    picture: Picture,
    looks: Sequence[Look],
    *,
    camera: Camera,
    pan_deg: float = 1.0,
    exaggerate: float = 1.0,
    width_px: int = LOOP_WIDTH_PX,
    surround: Surround | str = Surround.LAMPLESS,
    compensate: bool = True,
    grain: bool = True,
    progress: Callable[[Sequence[int]], Iterable[int]] = iter,
) -> Loop:
    """Loop of a still while the camera pans and tilts round a small circle.

    Parameters
    ----------
    picture, looks, surround, compensate, grain
        As in `render`.
    camera : Camera
        What took it; its pupil and filter distance decide how fast halos change.
    pan_deg : float
        Radius of the circle. [degree], in (0, 5].
    exaggerate : float
        How many times too strong structure and turning are shown. [1], > 0.
    width_px : int
        Width of the loop at most. [px], 64 to 1920.
    progress : callable
        Hands on the numbers of the frames, and may show meanwhile how far it is.

    Notes
    -----
    A lamp's halo follows the lamp; what changes is its structure, as the footprint slides by
    ``filter distance x tan(pan)`` over the filter. Needles have the contrast of `needle_contrast`,
    two pixels wide at least. Threads turn by a fifth of a degree in a millimetre. Ghosts go
    against their lamps. Air and veils have no structure.
    """
    conditions = Conditions(camera=camera, surround=surround, compensate=compensate, grain=grain)
    check_within("pan_deg", pan_deg, 0.01, 5)
    check_positive("exaggerate", exaggerate)
    check_within("width_px", width_px, 64, 1920)
    small = reduced(picture, width_px)
    ghosts = MovingGhosts(small, looks, camera, conditions)
    looks = [look.without_ghosts() for look in looks]
    seen, lamps = conditions.seen(small, looks), lamps_of(small)
    boiling = Boiling.of(
        small=small, full=picture, looks=looks, camera=camera, lamps=lamps, exaggerate=exaggerate
    )
    moving = _MovingLight(small, looks, conditions, boiling)
    pan = math.tan(rad_from_deg(pan_deg))
    slide_mm, shift_px = camera.filter_distance_mm * pan, camera.px_per_rad(small.width_px) * pan
    frames = []
    for number in progress(range(FRAMES)):
        right, down = _on_circle(number / FRAMES)
        light = moving.over(seen.radiance, slide_mm * right, slide_mm * down)
        light = ghosts.over(light, shift_px * right, shift_px * down)
        frames.append(_panned(seen.with_radiance(light), shift_px, right, down))
    said = _verdict(boiling, camera, lamps, slide_mm * moving.has_threads, exaggerate)
    return Loop(tuple(frames), said + _ghosts_said(ghosts.seen, pan_deg))


def _ghosts_said(seen: int, pan_deg: float) -> str:
    if not seen:
        return ""
    twice = f"{2 * pan_deg:g} against"
    if seen == 1:
        return f" The ghost of a lamp is seen, and in a pan of {pan_deg:g} degrees goes {twice} it."
    return f" {seen} ghosts of lamps are seen, and in a pan of {pan_deg:g} degrees go {twice} them."


def side_by_side(loops: Sequence[Loop], names: Sequence[str]) -> Loop:
    """Return loops of one still beside one another as one, a name over each."""
    height, width, _ = loops[0].frames[0].shape
    across = len(loops) * (width + BESIDE_GAP_PX) - BESIDE_GAP_PX
    page = Page(across, Sizes.of(across))
    lines = fitted(list(names), width - BESIDE_GAP_PX, max(14, width // 32))
    for number, text in enumerate(lines):
        page.say(number * (width + BESIDE_GAP_PX) + BESIDE_GAP_PX, 0, text)
    band = max(text.height_px for text in lines) + BESIDE_GAP_PX
    paper = page.painted(band + height)
    frames = []
    for some in zip(*(loop.frames for loop in loops), strict=True):
        frame = paper.copy()
        for number, codes in enumerate(some):
            left = number * (width + BESIDE_GAP_PX)
            frame[band:, left : left + width] = codes
        frames.append(frame)
    said = [f"{name}: {loop.verdict}" for name, loop in zip(names, loops, strict=True)]
    return Loop(tuple(frames), "\n".join(said))


def _on_circle(turn: float) -> tuple[float, float]:
    """How far right and down a pan round a unit circle is after a part of it."""
    return math.cos(2 * math.pi * turn), math.sin(2 * math.pi * turn)


class _MovingLight:
    """What moves in a loop while the camera pans: the structure of halos, and the dots of nets."""

    def __init__(
        self, still: Picture, looks: Sequence[Look], conditions: Conditions, boiling: Boiling
    ) -> None:
        self.has_threads = any(look.draped(1.0) != look for look in looks)
        self._lamps = still.with_radiance(_lamps_only(still.radiance))
        self._front = [part for look in looks if (part := look.before_the_lens()) is not None]
        self._conditions = conditions
        self._boiling = boiling
        self._at_rest = self._draped(0.0)
        self._halo = np.maximum(self._at_rest - self._lamps.radiance, 0)
        self._by_turn: dict[float, Float32] = {}

    def _draped(self, turn_deg: float) -> Float32:
        """Light of the lamps alone through what is before the lens, its threads turned."""
        draped = [look.draped(turn_deg) for look in self._front]
        return self._conditions.seen(self._lamps, draped).radiance

    def over(self, light: Float32, right_mm: float, down_mm: float) -> Float32:
        """Light of a frame when footprints have slid so far over the filter."""
        boiling = self._boiling
        if not boiling.lamps:
            return light
        if boiling.structured:
            light = light + self._halo * (boiling.at(right_mm, down_mm) - 1)
        if self.has_threads:
            light = light + self._turned(round(DRAPE_DEG_PER_MM * down_mm * boiling.exaggerate, 6))
        return light

    def _turned(self, turn_deg: float) -> Float32:
        """Light that turning its threads adds to the lamps'; the loop passes each turn twice."""
        if turn_deg not in self._by_turn:
            self._by_turn[turn_deg] = self._draped(turn_deg) - self._at_rest
        return self._by_turn[turn_deg]


def write_loop(path: Path, loop: Loop) -> None:
    """Write a loop as animated WebP, GIF or MP4, by its extension; whole or not at all."""
    suffix = path.suffix.lower()
    check_loop_suffix(path)
    if suffix == ".mp4":
        write_whole(path, lambda beside: _write_mp4(beside, loop.frames))
        return
    images = [Image.fromarray(codes) for codes in loop.frames]
    how: dict[str, object] = {"quality": 82, "method": 4} if suffix == ".webp" else {}
    format_name = "WEBP" if suffix == ".webp" else "GIF"
    write_whole(
        path,
        lambda beside: images[0].save(
            beside,
            format_name,
            save_all=True,
            append_images=images[1:],
            duration=round(1000 / FRAMES_PER_S),
            loop=0,
            **how,
        ),
    )


def check_loop_suffix(path: Path) -> None:
    """Refuse a name that is no loop's."""
    if path.suffix.lower() not in LOOP_SUFFIXES:
        msg = f"{path}: a loop is WebP, GIF or MP4; end its name with .webp, .gif or .mp4."
        raise PictureFileError(msg)


def _write_mp4(path: str, frames: Sequence[Codes]) -> None:
    height, width = (side - side % 2 for side in frames[0].shape[:2])
    code = cv2.VideoWriter.fourcc(*"mp4v")
    writer = cv2.VideoWriter(path, code, FRAMES_PER_S, (width, height))
    if not writer.isOpened():
        msg = f"{path}: this OpenCV cannot write MP4; choose .webp or .gif."
        raise PictureFileError(msg)
    for codes in frames:
        writer.write(np.ascontiguousarray(codes[:height, :width, ::-1]))
    writer.release()


def _lamps_only(light: Float32) -> Float32:
    return np.where(light.max(axis=2, keepdims=True) >= LAMP_FROM, light, np.float32(0))


def _panned(picture: Picture, shift_px: float, right: float, down: float) -> Codes:
    """Frame of the camera turned right and down: the picture moves the other way."""
    margin = math.ceil(shift_px)
    width, height = picture.width_px - 2 * margin, picture.height_px - 2 * margin
    if min(width, height) < 16:
        raise ParameterError("pan_deg", "small enough to leave a frame", round(shift_px, 1))
    x, y = margin + shift_px * right, margin + shift_px * down
    move = np.array([[1, 0, -x], [0, 1, -y]], dtype=np.float64)
    # A LUT shows more than white; a plain display does not.
    shown = np.clip(picture.radiance, 0, 1) if picture.display is None else picture.scene
    light = cv2.warpAffine(shown, move, (width, height))
    moved = np.asarray(light, np.float32)
    frame = replace(picture, radiance=moved, recovered=None, beyond=None, distance_m=None)
    return view(frame, (width, height))


def _verdict(
    boiling: Boiling,
    camera: Camera,
    lamps: list[BoilingLamp],
    net_slide_mm: float,
    exaggerate: float,
) -> str:
    said = [f"At {camera.focal_length_mm:.3g} mm and f/{camera.f_number:.3g}"]
    if not lamps:
        return f"{said[0]}: no lamp brighter than white, so nothing to boil."
    if boiling.structured:
        smallest = min(lamps, key=lambda lamp: lamp.radius_px)
        at = np.array([rad_from_deg(VERDICT_AT_DEG)])
        contrast = float(boiling.contrast(smallest, at, 1)[0])
        word = next(word for limit, word in WORDS if contrast < limit)
        said.append(
            f"needles in the halo of the smallest lamp have a contrast of {percent_text(contrast)} "
            f"half a degree out ({word}); a pan of {half_pan_deg(camera):.2g} degrees changes half "
            "of them"
        )
    if net_slide_mm:
        turn = 2 * DRAPE_DEG_PER_MM * net_slide_mm
        said.append(f"dots of the net turn by some {turn:.2g} degrees as its threads are draped")
    if len(said) == 1:
        return f"{said[0]}: no structure before the lens, so nothing boils or turns."
    shown = f"; shown {exaggerate:g} times too strong" if exaggerate != 1 else ""
    return f"{said[0]}: {'; '.join(said[1:])}{shown}."


def half_pan_deg(camera: Camera) -> float:
    """Pan after which half of the structure of a halo has changed [degree]."""
    shifts = np.linspace(0, 1, 1001)
    correlation = halo_correlation(shifts)
    shift = float(np.interp(-0.5, -correlation, shifts))
    return deg_from_rad(math.atan(shift * camera.entrance_pupil_mm / camera.filter_distance_mm))
