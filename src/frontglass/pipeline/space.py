"""What is known of the space in front of the lens: how far everything is, and which lamps glow."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.distance import DistanceKind, read_distance
from frontglass.picture.distance import (
    DistancePoint,
    distance_from_points,
    fitted_distance,
    ray_distance,
)
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.own_depth import with_own_distance
from frontglass.picture.room import Room

if TYPE_CHECKING:
    from frontglass.optics.camera import Camera
    from frontglass.picture.picture import Picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Space:
    """Distances and lamps of stills, where haze needs them; all of it may be left out.

    Parameters
    ----------
    depth : Path or None
        A distance map, or a folder with one for each still: of the same name, or that and
        "_distance" or "_depth".
    depth_scale_m : float or None
        What one of its numbers is worth [m].
    depth_kind : "ray", "depth" or None
        What its numbers are; None goes by the file, else takes them for depth.
    room : Room or None
        A simple room instead of a map.
    points : tuple of DistancePoint
        Typed distances: alone, or to correct a room.
    lamps : tuple of LampPlace or None
        Lamps that glow; None finds them.
    always : bool
        Whether distances that the still's own file holds are worked out though no haze may ask.

    Raises
    ------
    ParameterError
        If a map and a room, or a map and points, are given together.

    Examples
    --------
    >>> import frontglass as fg
    >>> fg.Space(points=(fg.DistancePoint.from_text("640,150,9.6"),)).has_distance
    True
    """

    depth: Path | None = None
    depth_scale_m: float | None = None
    depth_kind: DistanceKind | str | None = None
    room: Room | None = None
    points: tuple[DistancePoint, ...] = ()
    lamps: tuple[LampPlace, ...] | None = None
    always: bool = False

    def __post_init__(self) -> None:
        if self.depth_kind is not None:
            kind = DistanceKind.of("depth_kind", self.depth_kind)
            object.__setattr__(self, "depth_kind", kind)
        if self.depth is not None and (self.room is not None or self.points):
            hint = "A map says how far everything is; leave out the room and typed distances."
            raise ParameterError("depth", "given alone", str(self.depth), hint)

    @property
    def has_distance(self) -> bool:
        """Whether it says how far anything is."""
        return self.depth is not None or self.room is not None or bool(self.points)

    def around(self, picture: Picture, camera: Camera, still: Path) -> Picture:
        """Picture with its distances and lamps.

        Parameters
        ----------
        picture : Picture
            The still.
        camera : Camera
            What took it.
        still : Path
            Its file, after which a map in a folder is named.
        """
        notices: tuple[str, ...] = ()
        distance = picture.distance_m
        shape = picture.radiance.shape[:2]
        if self.depth is not None:
            found = map_of(self.depth, still)
            metres, kind = read_distance(found, scale_m=self.depth_scale_m)
            if self.depth_kind is not None:
                kind = DistanceKind.of("depth_kind", self.depth_kind)
            else:
                notices = (_taken_for(found.name, kind, self.depth_scale_m),)
                kind = kind or DistanceKind.DEPTH
            if kind is DistanceKind.DEPTH:
                metres = ray_distance(metres, camera.px_per_rad(metres.shape[1]))
            distance = fitted_distance(metres, picture.radiance)
        elif picture.own_depth is not None and self.room is None and self.points:
            distance = picture.own_depth.distance_m(picture, camera, self.points)
        elif self.has_distance:
            base = None
            if self.room is not None:
                base = self.room.distance_m((shape[0], shape[1]), camera.px_per_rad(shape[1]))
            distance = base
            if self.points:
                distance = distance_from_points(self.points, picture.radiance, base)
        known = replace(
            picture,
            distance_m=distance,
            lamps=self.lamps,
            notices=(*picture.notices, *notices),
        )
        return with_own_distance(known, camera) if self.always else known


def _taken_for(name: str, kind: DistanceKind | None, scale_m: float | None) -> str:
    """Say what the numbers of a map are taken for; whole numbers come with a scale."""
    unit = ", in metres" if scale_m is None else ""
    if kind is DistanceKind.RAY:
        return (
            f"{name} is taken for distance along each ray{unit}, by the name of its channel; say "
            "--depth-is depth if it is depth along the axis of the lens."
        )
    by = ", by the name of its channel" if kind is DistanceKind.DEPTH else ""
    return (
        f"{name} is taken for depth along the axis of the lens{unit}{by}; say "
        "--depth-is ray if it is distance along each ray."
    )


def map_of(depth: Path, still: Path) -> Path:
    """Distance map of a still: the file itself, or the one named after it in a folder.

    Raises
    ------
    PictureFileError
        If the folder has none, or several.
    """
    if not depth.is_dir():
        return depth
    names = {still.stem, f"{still.stem}_distance", f"{still.stem}_depth"}
    found = sorted(path for path in depth.iterdir() if path.stem in names and path.is_file())
    found = [path for path in found if path.resolve() != still.resolve()]
    if len(found) != 1:
        many = "several distance maps" if found else "no distance map"
        raise PictureFileError(f"{depth}: holds {many} for {still.name}.")
    return found[0]
