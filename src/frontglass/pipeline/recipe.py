"""One still from file to file: what to do to it, doing it, and what came of it."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from frontglass.choices import Surround
from frontglass.elements import LightPath
from frontglass.errors import PictureFileError
from frontglass.files import NonFinite, read_picture, write_picture
from frontglass.optics.camera import (
    Camera,
    CameraChoice,
    ShotData,
    choose_camera,
    sensor_mm_from_text,
)
from frontglass.picture.lamps import Recovery, with_recovered_light
from frontglass.pipeline.light_path import render
from frontglass.pipeline.space import Space
from frontglass.units import ratio_from_stops, strength_text
from frontglass.warned import gathered_warnings

if TYPE_CHECKING:
    from frontglass.picture.picture import Picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Framing:
    """What is known of lens and sensor beyond the still's own file; None leaves it to the file.

    Parameters
    ----------
    lens_mm, f_number, filter_distance_mm : float or None
        As in `Camera`. [mm], [1], [mm], > 0.
    sensor : str or None
        A name such as "super35", or "WxH" in mm.
    """

    lens_mm: float | None = None
    f_number: float | None = None
    sensor: str | None = None
    filter_distance_mm: float | None = None

    def camera_for(self, picture: Picture) -> CameraChoice:
        """Camera that took `picture`, and what had to be assumed."""
        return self._chosen(picture.shot, picture.width_px, picture.height_px)

    def camera_for_width(self, width_px: int) -> CameraChoice:
        """Camera of a picture that fills the sensor, wider than high where none is named."""
        across, down = (16.0, 9.0) if self.sensor is None else sensor_mm_from_text(self.sensor)
        # Rounded down: a row too many would make the picture narrower than the sensor.
        height_px = max(1, math.floor(width_px * down / across))
        return self._chosen(ShotData(), width_px, height_px)

    def _chosen(self, shot: ShotData, width_px: int, height_px: int) -> CameraChoice:
        return choose_camera(
            shot,
            width_px=width_px,
            height_px=height_px,
            lens_mm=self.lens_mm,
            f_number=self.f_number,
            sensor=self.sensor,
            filter_distance_mm=self.filter_distance_mm,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """Everything that decides how a still is rendered, whichever still it is.

    Parameters
    ----------
    looks : tuple of LightPath
        Looks in the order in which light meets them, each at its strength; none leaves the
        still bare.
    framing : Framing
        Lens and sensor, where the still's file is not to be believed.
    space : Space
        How far things are, and which lamps glow in haze.
    exposure_stops : float
        Exposure of the shown still against its file [stop].
    surround : Surround
        What lies outside the frame.
    compensate : bool
        Whether the crew opens the stop for the light lost.
    non_finite : NonFinite
        What to do with pixels that are no number.
    quality : int or None
        Quality of a JPEG, 1 to 100; None leaves it to the writer.
    recovery : Recovery
        What is done about clipped lamps.
    """

    looks: tuple[LightPath, ...] = ()
    framing: Framing = field(default_factory=Framing)
    space: Space = field(default_factory=Space)
    exposure_stops: float = 0.0
    surround: Surround = Surround.MIRROR
    compensate: bool = True
    non_finite: NonFinite = NonFinite.REFUSE
    quality: int | None = None
    recovery: Recovery = field(default_factory=Recovery)

    @property
    def light_loss_stops(self) -> float:
        """Light that all looks together cost [stop]."""
        return sum(look.light_loss_stops for look in self.looks)

    def picture_from(self, still: Path) -> Picture:
        """Still read from its file and exposed, with its distances and its lamps' lost light."""
        picture = read_picture(
            still, exposure_stops=self.exposure_stops, non_finite=self.non_finite
        )
        white = ratio_from_stops(self.exposure_stops)
        picture = with_recovered_light(picture, self.recovery, white=white).picture
        if self.space == Space():
            return picture
        return self.space.around(picture, self.framing.camera_for(picture).camera, still)

    def rendered(self, picture: Picture, camera: Camera) -> Picture:
        """Return `picture` as the camera would see it through the looks.

        What made the answer less exact than usual is among its notices.
        """
        with gathered_warnings() as told:
            seen = render(
                picture,
                self.looks,
                camera=camera,
                surround=self.surround,
                compensate=self.compensate,
            )
        return replace(seen, notices=(*seen.notices, *told)) if told else seen


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedStill:
    """A still that has been rendered and written.

    Parameters
    ----------
    still, out : Path
        Where it came from and where it went.
    camera : Camera
        The camera it was rendered for.
    notices : tuple of str
        What was assumed or changed on the way, one sentence each.
    """

    still: Path
    out: Path
    camera: Camera
    notices: tuple[str, ...]


def render_file(
    still: Path, out: Path | None, recipe: Recipe, *, overwrite: bool = False
) -> RenderedStill:
    """Render one still from file to file.

    Parameters
    ----------
    still : Path
        The still. It is never written to.
    out : Path or None
        Where to write; the extension chooses the format. None is `out_beside`.
    recipe : Recipe
        What to do to it.
    overwrite : bool
        Whether a file at `out` may be replaced.

    Returns
    -------
    RenderedStill
        Where it went, for which camera, and what was assumed.

    Raises
    ------
    FrontglassError
        If the still cannot be read, rendered or written, or `out` may not be written to.
    """
    target = out_beside(still, recipe.looks) if out is None else out
    check_may_write(target, [still], overwrite=overwrite)
    picture = recipe.picture_from(still)
    camera, assumed = recipe.framing.camera_for(picture)
    seen = recipe.rendered(picture, camera)
    written = write_picture(target, seen, quality=recipe.quality)
    notices = tuple(dict.fromkeys((*picture.notices, *assumed, *seen.notices, *written)))
    return RenderedStill(still=still, out=target, camera=camera, notices=notices)


def out_beside(still: Path, looks: tuple[LightPath, ...]) -> Path:
    """Path beside a still, named after its looks: scout_late-tram_1-4.jpg for late-tram at 1/4."""
    parts = [part for look in looks for part in (look.name, strength_text(look.strength))]
    # A strength is written 1/4, which no file name may hold.
    name = "_".join([still.stem, *(part.replace("/", "-") for part in parts or ["bare"])])
    return still.with_name(name + still.suffix)


def check_may_write(out: Path, inputs: list[Path], *, overwrite: bool) -> None:
    """Refuse an `out` that is one of the inputs, or that exists and may not be replaced.

    Raises
    ------
    PictureFileError
        If writing to `out` would destroy something.
    """
    for still in inputs:
        if same_file(out, still):
            msg = f"{out}: is the still itself, which is never overwritten; choose another file."
            raise PictureFileError(msg)
    if not overwrite and os.path.lexists(out):
        msg = f"{out}: exists already; choose another file or allow overwriting."
        raise PictureFileError(msg)


def same_file(one: Path, other: Path) -> bool:
    """Whether two paths lead to one file, through links and letter case."""
    try:
        return one.samefile(other)
    except OSError:  # One of them does not exist (yet).
        return False
