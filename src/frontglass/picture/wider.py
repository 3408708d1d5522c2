"""A frame within a wider still: the still round it is kept, for its light reaches the frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from frontglass.errors import ParameterError
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region

if TYPE_CHECKING:
    from frontglass.optics.camera import ShotData
    from frontglass.picture.encoding import Codes, Encoding
    from frontglass.picture.lamp_place import LampPlace


@dataclass(frozen=True, slots=True, eq=False)
class Wider:
    """The still that a frame was cut from, and where.

    Parameters
    ----------
    picture : Picture
        The whole still.
    region : Region
        The frame in it.
    """

    picture: Picture
    region: Region

    def share(self) -> float:
        """How many times as wide as the frame the still is."""
        return self.picture.width_px / self.region.width_px


def framed(picture: Picture, region: Region, shot: ShotData | None = None) -> Picture:
    """Frame within a picture; what lies round it is kept as `Picture.wider`.

    Parameters
    ----------
    picture : Picture
        The whole still, with its distances and recovered light.
    region : Region
        The frame.
    shot : ShotData or None
        Lens and sensor of the frame; None keeps what the still says.

    Raises
    ------
    ParameterError
        If the frame reaches outside of the still.
    """
    region.check_inside(picture)
    lost = picture.recovered
    return replace(
        picture,
        radiance=region.cut(picture.radiance),
        distance_m=_cut(picture.distance_m, region),
        recovered=None if lost is None else lost.within(*region.slices),
        beyond=_cut(picture.beyond, region),
        own_depth=None,  # it is the whole still's
        lamps=_moved(picture.lamps, region),
        encoding=_cut_encoding(picture.encoding, region),
        shot=picture.shot if shot is None else shot,
        wider=Wider(picture, region),
    )


def region_in(region: Region, picture: Picture) -> Region:
    """Return where a region of the still, as it was typed, lies in the frame.

    Raises
    ------
    ParameterError
        If it reaches outside of the frame, or of a still that is whole.
    """
    if picture.wider is None:
        region.check_inside(picture)
        return region
    frame = picture.wider.region
    region.check_inside(picture.wider.picture)
    inside = replace(region, x_px=region.x_px - frame.x_px, y_px=region.y_px - frame.y_px)
    try:
        inside.check_inside(picture)
    except ParameterError as error:
        rule = (
            f"inside the frame of the taking lens, {frame.width_px} x {frame.height_px} px from"
            f" {frame.x_px},{frame.y_px} of the still"
        )
        got = f"{region.x_px},{region.y_px},{region.width_px},{region.height_px}"
        raise ParameterError(error.name, rule, got) from None
    return inside


def _moved(lamps: tuple[LampPlace, ...] | None, region: Region) -> tuple[LampPlace, ...] | None:
    """Lamps that stand in the frame, by its own pixels."""
    if lamps is None:
        return None
    return tuple(
        replace(lamp, x_px=lamp.x_px - region.x_px, y_px=lamp.y_px - region.y_px)
        for lamp in lamps
        if region.holds(lamp.x_px, lamp.y_px)
    )


def _cut(values: Codes | None, region: Region) -> Codes | None:
    return None if values is None else region.cut(values)


def _cut_encoding(encoding: Encoding, region: Region) -> Encoding:
    alpha, native, carried = encoding.alpha, encoding.native, dict(encoding.carried)
    if alpha is not None:
        alpha = replace(alpha, codes=region.cut(alpha.codes))
    if native is not None:
        native = replace(native, codes=region.cut(native.codes))
    planes = carried.get("exr_channels")
    if planes:
        carried["exr_channels"] = {name: region.cut(np.asarray(p)) for name, p in planes.items()}
    return replace(
        encoding, codes=_cut(encoding.codes, region), alpha=alpha, native=native, carried=carried
    )
