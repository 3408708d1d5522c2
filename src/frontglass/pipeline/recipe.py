"""What is done to stills, whichever still it is: looks, camera, space, exposure."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

from frontglass.checks import check_bool, check_number
from frontglass.choices import Damage, GainMapUse, PastWhite, Surround
from frontglass.elements import LightPath
from frontglass.errors import ParameterError
from frontglass.files.ahead import read_once
from frontglass.files.view import view_named
from frontglass.optics.camera import Camera
from frontglass.picture.clipped_lamps import RecoveredStill, with_recovered_light
from frontglass.picture.codes import StillInCodes
from frontglass.picture.exposure import exposed, fitting_exposure_stops, with_exposure_told
from frontglass.picture.non_finite import NonFinite
from frontglass.picture.picture import Picture
from frontglass.picture.recovery import LampRange, Recovery
from frontglass.pipeline.framing import Framing
from frontglass.pipeline.kept_grain import begin_grain
from frontglass.pipeline.rendering import Conditions
from frontglass.pipeline.space import Space
from frontglass.units import ratio_from_stops
from frontglass.warned import gathered_warnings

AUTO_EXPOSURE = "auto"


class ExposedStill(NamedTuple):
    """A still as its file holds it, shown so many stops brighter."""

    picture: Picture
    stops: float


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
    exposure_stops : float or "auto"
        Exposure of the shown still against its file [stop]; "auto" finds one for each still.
    surround : "lampless", "mirror" or "dark"
        What lies outside the frame.
    compensate : bool
        Whether the crew opens the stop for the light lost.
    grain : bool
        Whether the sensor's noise stays as it is, as in `render`.
    non_finite : "refuse" or "mend"
        What to do with pixels that are no number.
    quality : int or None
        Quality of a JPEG, 1 to 100; None leaves it to the writer.
    recovery : Recovery
        What is done about clipped lamps.
    past_white : "hue" or "clip"
        How light above white is shown, as in `Picture`.
    gain_map : "on" or "off"
        What is done with a gain map in the still's file, as in `read_picture`.
    encoding : str or None
        What the codes of stills are, as in `read_picture`.
    view : str or None
        What pictures are looked at through: the path of a LUT, or DISPLAY/VIEW of the
        configuration of OpenColorIO. Put on last; numbers are those of linear light.
    view_from : str or None
        Encoding of the numbers that a LUT expects; None is that of the stills.
    damage, max_megapixels : "note" or "refuse", float or None
        What is done with files that seem damaged, and how large they may be, as in `read_picture`.

    Raises
    ------
    ParameterError
        If a choice is unknown.

    Examples
    --------
    >>> import frontglass as fg
    >>> recipe = fg.Recipe(looks=(fg.read_look("fine-net"),), surround="dark")
    >>> round(recipe.light_loss_stops, 2)
    0.16
    """

    looks: tuple[LightPath, ...] = ()
    framing: Framing = field(default_factory=Framing)
    space: Space = field(default_factory=Space)
    exposure_stops: float | str = 0.0
    surround: Surround = Surround.LAMPLESS
    compensate: bool = True
    grain: bool = True
    non_finite: NonFinite = NonFinite.REFUSE
    quality: int | None = None
    recovery: Recovery = field(default_factory=Recovery)
    past_white: PastWhite = PastWhite.HUE
    gain_map: GainMapUse = GainMapUse.ON
    encoding: str | None = None
    view: str | None = None
    view_from: str | None = None
    damage: Damage = Damage.NOTE
    max_megapixels: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "surround", Surround.of("surround", self.surround))
        object.__setattr__(self, "non_finite", NonFinite.of("non_finite", self.non_finite))
        object.__setattr__(self, "past_white", PastWhite.of("past_white", self.past_white))
        object.__setattr__(self, "gain_map", GainMapUse.of("gain_map", self.gain_map))
        object.__setattr__(self, "damage", Damage.of("damage", self.damage))
        object.__setattr__(self, "looks", tuple(self.looks))
        check_bool("compensate", self.compensate)
        check_bool("grain", self.grain)
        if self.exposure_stops != AUTO_EXPOSURE:
            check_number("exposure_stops", self.exposure_stops)

    @property
    def light_loss_stops(self) -> float:
        """Light that all looks together cost [stop]."""
        return sum(look.light_loss_stops for look in self.looks)

    def picture_from(self, still: Path) -> Picture:
        """Still read from its file and exposed, with its distances and its lamps' lost light.

        With a taking lens it is cut to what that sees.
        """
        exposed = self.exposed(still)
        if self.grain and any(look.light_path for look in self.looks):
            # Most of it is arithmetic for all cores, and looking for lamps hardly any.
            begin_grain(exposed.picture)
        return self.lit(exposed, still, is_last=True).picture

    def exposed(self, still: Path) -> ExposedStill:
        """Return a still as its file holds it, exposed."""
        read = partial(
            read_once,
            still,
            non_finite=self.non_finite,
            gain_map=self.gain_map,
            encoding=self.encoding,
            damage=self.damage,
            max_megapixels=self.max_megapixels,
        )
        if isinstance(self.exposure_stops, str):
            picture = read()
            stops = fitting_exposure_stops(picture)
            picture = exposed(picture, stops)
            said = f"Exposed by {stops:+.1f} stops (--exposure auto)."
            picture = picture.but(notices=(*picture.notices, said))
        else:
            stops = self.exposure_stops
            picture = read(exposure_stops=stops)
            picture = with_exposure_told(picture, stops)
        if self.view is not None:
            display = view_named(self.view, self.view_from, self.encoding)
            picture = picture.but(display=display)
        return ExposedStill(picture.but(past_white=self.past_white), stops)

    def lit(self, exposed: ExposedStill, still: Path, *, is_last: bool = False) -> RecoveredStill:
        """Return what was read of a still as `picture_from` has it, and its clipped lamps.

        Who asks again with other lamps need not read the file again.
        """
        white = ratio_from_stops(exposed.stops)
        camera = self.framing.camera_for(exposed.picture).camera
        found = with_recovered_light(
            exposed.picture, self.recovery, white=white, camera=camera, is_last=is_last
        )
        picture, space = found.picture, self.space
        if space != Space():
            picture = space.around(picture, camera, still)
        return found._replace(picture=self.framing.framed(picture))

    def lamp_range_from(self, still: Path) -> tuple[tuple[str, Picture], ...]:
        """Still with its clipped lamps as dim as is likely, as they are likely, and as bright."""
        exposed = self.exposed(still)
        recoveries = ((end, replace(self.recovery, lamp_range=end)) for end in LampRange)
        return tuple(
            (
                f"lamps {end.value}",
                replace(self, recovery=recovery).lit(exposed, still).picture,
            )
            for end, recovery in recoveries
        )

    def rendered(
        self, picture: Picture, camera: Camera, again: StillInCodes | None = None
    ) -> Picture:
        """Return `picture` as the camera would see it through the looks.

        What made the answer less exact than usual is among its notices. If something tells its
        light again, the frame of that is written over.
        """
        how = Conditions(
            camera=camera,
            surround=self.surround,
            compensate=self.compensate,
            grain=self.grain,
            again=again,
        )
        with gathered_warnings() as told:
            seen = how.seen(picture, self.looks)
        return seen.but(notices=(*seen.notices, *told)) if told else seen


def exposure_from_text(text: str) -> float | str:
    """Exposure [stop] of a text such as "2.5", "-1,5" or "auto".

    Raises
    ------
    ParameterError
        If it is no such text.
    """
    if text.strip().lower() == AUTO_EXPOSURE:
        return AUTO_EXPOSURE
    try:
        return check_number("exposure", float(text.replace(",", ".")))
    except ValueError:
        raise ParameterError("exposure", "stops such as 2.5 or -1, or auto", text) from None
