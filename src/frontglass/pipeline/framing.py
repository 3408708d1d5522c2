"""Lens and sensor of stills, as far as they are known beyond the stills' own files."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from frontglass.choices import LensFrom
from frontglass.errors import ParameterError
from frontglass.optics.camera import (
    ASSUMED_F_NUMBER,
    ASSUMED_FILTER_DISTANCE_MM,
    FULL_FRAME_DIAGONAL_MM,
    CameraChoice,
    ShotData,
    choose_camera,
    known,
)
from frontglass.optics.sensors import sensor_mm_from_text
from frontglass.optics.taking import TakingLens
from frontglass.picture.region import Region
from frontglass.picture.wider import framed
from frontglass.pipeline.shot_as import as_shot

if TYPE_CHECKING:
    from frontglass.picture.picture import Picture

SMALL_FRAME_PX = 640
"""Narrower frames are told: halos are right there, and detail is coarse."""
STRETCH_TOLD = 1.03
"""Frames off the axis are told from this stretch on, a lean of some 14 degrees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """What is known of lens and sensor beyond the still's own file; None leaves it to the file.

    Parameters
    ----------
    lens_mm, f_number, filter_distance_mm : float or None
        As in `Camera`: what the still was shot with. [mm], [1], [mm], > 0.
    sensor : str or None
        A name such as "super35", or "WxH" in mm.
    lens_from : "file" or "typed"
        Whether the file's lens data hold, or only what is given here.
    taking : TakingLens or None
        What the film will be shot with: the still is cut to what that sees. Stop and filter
        distance are then those of the taking lens.
    aim : tuple of float or None
        Pixel of the still in the middle of that frame; None is the still's own middle.
    focus_m : float or None
        What the lens is focused on, as in `Camera`; the taking lens if there is one. [m]

    Raises
    ------
    ParameterError
        If these do not go together.

    Examples
    --------
    >>> import numpy as np, frontglass as fg
    >>> still = fg.Picture(radiance=np.zeros((90, 160, 3)))
    >>> fg.Framing(lens_mm=50, sensor="super35").camera_for(still).camera.focal_length_mm
    50.0
    >>> taking = fg.TakingLens.from_text("50mm,super35,2.39")
    >>> frame = fg.Framing(lens_mm=24, sensor="full-frame", taking=taking).framed(still)
    >>> frame.width_px, frame.height_px
    (53, 22)
    """

    lens_mm: float | None = None
    f_number: float | None = None
    sensor: str | None = None
    filter_distance_mm: float | None = None
    lens_from: LensFrom = LensFrom.FILE
    taking: TakingLens | None = None
    aim: tuple[float, float] | None = None
    focus_m: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "lens_from", LensFrom.of("lens_from", self.lens_from))
        if self.aim is not None and self.taking is None:
            aim = f"{self.aim[0]:g},{self.aim[1]:g}"
            raise ParameterError("aim", "given with a taking lens (--as)", aim)
        stops = {self.f_number, self.taking and self.taking.f_number} - {None}
        if len(stops) > 1 and self.taking is not None:
            hint = "Both are the stop of the taking lens; say it once."
            raise ParameterError("stop", f"that of --as {self.taking}", self.f_number, hint)

    def camera_for(self, picture: Picture) -> CameraChoice:
        """Camera of `picture`, and what had to be assumed.

        With a taking lens that is its camera, for the frame as for the whole still.

        Raises
        ------
        ParameterError
            If what is given contradicts the still's file, or a taking lens meets a still of which
            nobody says how wide it is.
        """
        if self.taking is None:
            size = picture.width_px, picture.height_px
            return self._of_still(picture.shot, size)
        whole = picture if picture.wider is None else picture.wider.picture
        scout, notices = self._scout(whole)
        focal_px = scout.camera.px_per_rad(whole.width_px)
        # The frame is a whole number of pixels, and its width on the sensor follows from that.
        width_mm = picture.width_px * self.taking.focal_length_mm / focal_px
        camera = self.taking.camera(
            f_number=self._taking_stop(notices),
            filter_distance_mm=self.filter_distance_mm or ASSUMED_FILTER_DISTANCE_MM,
            share=width_mm / self.taking.frame_mm[0],
        )
        camera = replace(camera, focus_m=self.focus_m)
        if picture.wider is not None:
            notices += _said_of_frame(picture.wider.region, whole, scout, self.taking)
        return CameraChoice(camera, tuple(notices))

    def framed(self, picture: Picture) -> Picture:
        """Return what the taking lens sees of a still; all of it if there is no such lens.

        Raises
        ------
        ParameterError
            If the still is not wide enough, or the frame would leave it.
        """
        if self.taking is None:
            return picture
        scout, _ = self._scout(picture)
        still_px = picture.width_px, picture.height_px
        size = self.taking.size_in(scout.camera, still_px)
        middle = self.aim or (still_px[0] / 2, still_px[1] / 2)
        corner = [place - side / 2 for place, side in zip(middle, size, strict=True)]
        spare = [have - side for have, side in zip(still_px, size, strict=True)]
        if any(not -0.5 <= c <= s + 0.5 for c, s in zip(corner, spare, strict=True)):
            low, high = (
                ",".join(
                    f"{side / 2 + part * more:.0f}" for side, more in zip(size, spare, strict=True)
                )
                for part in (0, 1)
            )
            rule = (
                f"from {low} to {high}, so that the frame of {size[0]} x {size[1]} px stays in"
                " the still"
            )
            raise ParameterError("aim", rule, f"{middle[0]:g},{middle[1]:g}")
        x, y = (min(max(0, round(c)), s) for c, s in zip(corner, spare, strict=True))
        return framed(picture, Region(x, y, *size), self._shot(picture.shot))

    def camera_for_width(self, width_px: int) -> CameraChoice:
        """Camera of a picture that fills the sensor, wider than high where none is named."""
        if self.taking is not None:
            told: list[str] = []
            stop = self._taking_stop(told)
            distance = self.filter_distance_mm or ASSUMED_FILTER_DISTANCE_MM
            camera = self.taking.camera(f_number=stop, filter_distance_mm=distance)
            return CameraChoice(replace(camera, focus_m=self.focus_m), tuple(told))
        across, down = (16.0, 9.0) if self.sensor is None else sensor_mm_from_text(self.sensor)
        # Rounded down: a row too many would make the picture narrower than the sensor.
        height_px = max(1, math.floor(width_px * down / across))
        return self._chosen(ShotData(), (width_px, height_px), self.lens_mm, self.sensor)

    def height_for_width(self, width_px: int) -> int:
        """Height of a picture that fills the frame, 16:9 where no sensor is named [px]."""
        sides = (16.0, 9.0) if self.sensor is None else sensor_mm_from_text(self.sensor)
        if self.taking is not None:
            return max(1, round(width_px * self.taking.frame_mm[1] / self.taking.frame_mm[0]))
        return max(1, round(width_px * min(sides) / max(sides)))

    def _of_still(self, shot: ShotData, size: tuple[int, int]) -> CameraChoice:
        """Camera that shot a still, by its file and by what is given."""
        if self.lens_from is LensFrom.TYPED:
            return self._chosen(ShotData(), size, self.lens_mm, self.sensor)
        said = as_shot(shot, size, lens_mm=self.lens_mm, sensor=self.sensor)
        choice = self._chosen(shot, size, said.lens_mm, said.sensor)
        return choice._replace(notices=(*said.notices, *choice.notices))

    def _scout(self, whole: Picture) -> tuple[CameraChoice, list[str]]:
        """Camera that shot the still from which a frame is cut; the field must be known."""
        assert self.taking is not None
        shot = whole.shot if self.lens_from is LensFrom.FILE else ShotData()
        lens = self.lens_mm or known(shot.focal_length_mm)
        is_sure = known(shot.focal_length_35mm) or (
            lens and (self.sensor or known(shot.sensor_width_mm))
        )
        if not is_sure and self.lens_mm is None:
            hint = (
                "Its file does not say lens and sensor; type what it was shot with, such as"
                " --lens 5.7mm --sensor 7.6x5.7 (within 8 %: the 35 mm equivalent on full-frame)."
            )
            raise ParameterError("as", "for a still whose field is known", str(self.taking), hint)
        choice = self._of_still(whole.shot, (whole.width_px, whole.height_px))
        # The stop of the still decides nothing here; what else was assumed of it is told.
        told = "The still is taken as shot on a full-frame sensor (else type --sensor)."
        return choice, [] if is_sure else [told]

    def _taking_stop(self, notices: list[str]) -> float:
        stop = self.f_number if self.taking is None else self.taking.f_number or self.f_number
        if stop is None:
            notices.append(
                f"The stop of the taking lens is not said: assumed f/{ASSUMED_F_NUMBER:g}."
            )
        return stop or ASSUMED_F_NUMBER

    def _shot(self, shot: ShotData) -> ShotData:
        """Lens data of the frame; stop, time and ISO of the still stay, for they tell its white."""
        assert self.taking is not None
        focal = self.taking.focal_length_mm
        return replace(
            shot,
            focal_length_mm=focal,
            focal_length_35mm=focal * FULL_FRAME_DIAGONAL_MM / math.hypot(*self.taking.frame_mm),
            sensor_width_mm=None,
        )

    def _chosen(
        self, shot: ShotData, size: tuple[int, int], lens_mm: float | None, sensor: str | None
    ) -> CameraChoice:
        return choose_camera(
            shot,
            width_px=size[0],
            height_px=size[1],
            lens_mm=lens_mm,
            f_number=self.f_number,
            sensor=sensor,
            filter_distance_mm=self.filter_distance_mm,
            focus_m=self.focus_m,
        )


def _said_of_frame(
    region: Region, whole: Picture, scout: CameraChoice, taking: TakingLens
) -> list[str]:
    """Say what a frame is of its still, and what is less exact than usual there."""
    focal_px = scout.camera.px_per_rad(whole.width_px)
    has = (2 * math.degrees(math.atan(s / 2 / focal_px)) for s in (whole.width_px, whole.height_px))
    has_text, sees = (" by ".join(f"{deg:.3g}" for deg in pair) for pair in (has, taking.field_deg))
    told = [
        f"Framed as {taking} sees it: {region.width_px} x {region.height_px} px from"
        f" {region.x_px},{region.y_px}, {sees} degrees of the still's {has_text}; light from round"
        " the frame counts."
    ]
    if region.width_px < SMALL_FRAME_PX:
        told.append(f"The frame is {region.width_px} px wide: halos are right, detail is coarse.")
    right = region.x_px + (region.width_px - whole.width_px) / 2
    down = region.y_px + (region.height_px - whole.height_px) / 2
    lean = math.hypot(right, down) / focal_px
    stretch = math.hypot(1, lean)
    if stretch > STRETCH_TOLD:
        told.append(
            f"The frame lies {math.degrees(math.atan(lean)):.0f} degrees off the axis, and keeps"
            f" the still's perspective; turned there, a camera sees it {stretch - 1:.0%} smaller."
        )
    return told
