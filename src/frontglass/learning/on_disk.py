"""Pairs of stills in files: single ones, brackets, and a list of pairs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.exif import camera_of
from frontglass.files.reading import read_picture
from frontglass.learning.pairs import StillPair
from frontglass.picture.bracket import merged_bracket
from frontglass.picture.clipped_lamps import ClippedLamp, with_recovered_light
from frontglass.picture.marks import marks_from_texts
from frontglass.picture.picture import Picture
from frontglass.picture.recovery import Recovery
from frontglass.strict_toml import check_keys, document_of, refuse, tables_of, text_of
from frontglass.units import strength_from_text

TYPED_STOPS = 0.3
"""How well somebody knows a lamp: by a meter, or a frame in which it does not clip."""
PAIR_KEYS = ("bare", "with", "strength", "stops", "lamps")


@dataclass(frozen=True, kw_only=True)
class PairOnDisk:
    """Where the stills of a pair lie: one file for each side, or the frames of a bracket."""

    bare: tuple[Path, ...]
    with_glass: tuple[Path, ...]
    strength: float = 1.0
    stops: tuple[float, ...] | None = None
    """How frames were exposed: as many as a bracket has, the same for both sides, or two numbers
    for two single stills, without and with the glass. None goes by the files."""
    recovery: Recovery = field(default_factory=Recovery)
    """What clipped lamps of the bare still are, where it is a single one."""

    def __post_init__(self) -> None:
        for other in self.with_glass:
            if any(_is_same(one, other) for one in self.bare):
                raise ParameterError("with", "another file than the bare still", str(other))
        if len(self.bare) > 1 and self.recovery.is_asked_for:
            hint = "A bracket holds the light of its lamps."
            raise ParameterError("lamp", "given for single stills", "a bracket", hint)

    @property
    def name(self) -> str:
        """What to call it."""
        return f"{self.bare[0].name} with {self.with_glass[0].name}"

    @property
    def files(self) -> list[Path]:
        """All of its files."""
        return [*self.bare, *self.with_glass]

    def read(self) -> StillPair:
        """Stills of the pair; a bracket is merged, and clipped lamps of a single still are lit."""
        single = self._single_stops()
        bare, cameras = _side(self.bare, single[0] if single else self.stops)
        other, others = _side(self.with_glass, single[1] if single else self.stops)
        doubt = TYPED_STOPS
        if len(self.bare) == 1:
            found = with_recovered_light(bare, self.recovery)
            bare, doubt = found.picture, _doubt_stops(found.lamps)
        if len(cameras | others) > 1:
            said = f"{self.name}: by different cameras: {', '.join(sorted(cameras | others))}."
            bare = bare.but(notices=(*bare.notices, said))
        return StillPair(
            bare=bare,
            with_glass=other,
            strength=self.strength,
            name=self.name,
            lamp_stops=doubt,
        )

    def _single_stops(self) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
        if self.stops is None or len(self.bare) > 1 or len(self.with_glass) > 1:
            return None
        if len(self.stops) != 2:
            rule = "two numbers, for the bare still and the one with glass"
            raise ParameterError("stops", rule, ",".join(f"{stop:g}" for stop in self.stops))
        return (self.stops[0],), (self.stops[1],)


def pairs_from_file(path: Path) -> tuple[PairOnDisk, ...]:
    """Pairs that a TOML file lists, one table ``[[pair]]`` for each.

    It has `bare` and `with`, a file or a list of them, from the folder of the list; `strength`,
    `stops` and `lamps`, a list of texts "X,Y,STOPS|KIND", if they are needed.
    """
    origin = str(path)
    document = document_of(text_of(path, "a list of pairs"), origin)
    check_keys(document, ("pair",), ("pair",), origin)
    tables = tables_of(document["pair"], "pair", origin)
    return tuple(
        _pair(table, path.parent, f"{origin}: pair[{number}]")
        for number, table in enumerate(tables)
    )


def stops_from_text(text: str) -> tuple[float, ...]:
    """Exposures such as "0,-4,-8"."""
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise ParameterError("stops", "numbers such as 0,-4,-8", text) from None


def _doubt_stops(lamps: Sequence[ClippedLamp]) -> float:
    """How sure the light of some lamps is, each by its share of it."""
    return math.hypot(*(lamp.share * max(lamp.uncertain_stops, TYPED_STOPS) for lamp in lamps))


def _is_same(one: Path, other: Path) -> bool:
    return one == other or (one.exists() and other.exists() and one.samefile(other))


def _pair(table: Mapping[str, Any], folder: Path, origin: str) -> PairOnDisk:
    check_keys(table, PAIR_KEYS, ("bare", "with"), origin)
    sides = []
    for key in ("bare", "with"):
        value = table[key]
        names = value if isinstance(value, list) else [value]
        if not names or not all(isinstance(name, str) and name for name in names):
            refuse(key, "a file or a list of files", value, origin)
        sides.append(tuple(folder / name for name in names))
    stops = table.get("stops")
    if stops is not None and (
        not isinstance(stops, list)
        or not all(isinstance(x, int | float) and not isinstance(x, bool) for x in stops)
    ):
        refuse("stops", "numbers such as [0, -4, -8]", stops, origin)
    lamps = table.get("lamps", [])
    if not isinstance(lamps, list) or not all(isinstance(lamp, str) for lamp in lamps):
        refuse("lamps", 'texts such as ["640,212,8"]', lamps, origin)
    try:
        return PairOnDisk(
            bare=sides[0],
            with_glass=sides[1],
            strength=strength_from_text(table.get("strength", 1.0)),
            stops=None if stops is None else tuple(float(stop) for stop in stops),
            recovery=Recovery(marks=marks_from_texts(lamps).levels),
        )
    except ParameterError as error:
        raise PictureFileError(f"{origin}: {error}") from None


def _side(files: Sequence[Path], stops: Sequence[float] | None) -> tuple[Picture, set[str]]:
    """Return one side of a pair, and which cameras its files name.

    Several frames are merged, the brightest's white being white.
    """
    pictures = [read_picture(path) for path in files]
    cameras = {camera_of(picture.encoding.metadata.exif) for picture in pictures} - {""}
    if len(files) == 1:
        (one,) = pictures
        if stops is not None:
            one = replace(one, shot=replace(one.shot, exposure_stops=stops[0]))
        return one, cameras
    exposures = list(stops or ())
    if stops is None:
        for path, picture in zip(files, pictures, strict=True):
            if picture.shot.exposure_stops is None:
                said = "does not say time, f-number and ISO; say the exposures with --stops."
                raise PictureFileError(f"{path}: {said}")
            exposures.append(picture.shot.exposure_stops)
    if len(exposures) != len(files):
        rule = f"one for each of the {len(files)} frames"
        raise ParameterError("stops", rule, ",".join(f"{stop:g}" for stop in exposures))
    merged = merged_bracket(pictures, exposures).picture
    brightest = pictures[exposures.index(max(exposures))].shot
    return replace(merged, shot=replace(brightest, exposure_stops=max(exposures))), cameras
