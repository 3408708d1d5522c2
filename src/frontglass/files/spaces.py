"""Encodings by name through OpenColorIO: log, and whatever else a configuration names."""

from __future__ import annotations

import difflib
import os
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float32
from frontglass.errors import ParameterError
from frontglass.files.extra import needed
from frontglass.picture.primaries import AP1, Primaries
from frontglass.threads import over_strips

LIGHT = "ACEScg"
"""Linear light with the primaries AP1, by the name that the studio configuration gives it."""
STUDIO = "ocio://studio-config-latest"
_WHAT = "Encodings by name and LUTs"


class NamedSpace(NamedTuple):
    """An encoding of a configuration."""

    name: str
    kind: str
    """What it is for: "log", "scene-linear", "sdr-video", "hdr-video", "data" or nothing."""
    aliases: tuple[str, ...]


def ocio() -> Any:
    """Return the library OpenColorIO.

    Raises
    ------
    PictureFileError
        If it is not installed.
    """
    return needed("PyOpenColorIO", _WHAT)


def configuration() -> Any:
    """Return the configuration of $OCIO, else the studio configuration that OpenColorIO carries.

    Raises
    ------
    ParameterError
        If that of $OCIO cannot be read.
    """
    library, said = ocio(), os.environ.get("OCIO")
    library.SetLoggingLevel(library.LOGGING_LEVEL_NONE)
    if not said:
        return library.Config.CreateFromFile(STUDIO)
    try:
        return library.Config.CreateFromFile(said)
    except library.Exception as error:
        hint = f"OpenColorIO says: {one_line(error)}."
        raise ParameterError("$OCIO", "a configuration of OpenColorIO", said, hint) from None


def one_line(error: Exception) -> str:
    """Return what the library says, on one line."""
    return " ".join(str(error).split()).rstrip(".")[:200]


def named_spaces() -> list[NamedSpace]:
    """Return all encodings of the configuration."""
    found = configuration().getColorSpaces()
    return [NamedSpace(one.getName(), one.getEncoding(), tuple(one.getAliases())) for one in found]


@dataclass(frozen=True, slots=True)
class Space:
    """An encoding: codes of a file to light, and back.

    Parameters
    ----------
    name : str
        As the configuration has it.
    """

    name: str

    @property
    def primaries(self) -> Primaries:
        """Of its light."""
        return AP1

    def check(self) -> None:
        """Raise a ParameterError unless there is a way to light and back."""
        self._processor(to_light=True)
        self._processor(to_light=False)

    def decoded(self, codes: NDArray[Any]) -> Float32:
        """Linear light of codes, shape (H, W, 3); whole numbers go from 0 to 1 first."""
        light = np.empty((*codes.shape[:2], 3), np.float32)
        whole = codes.dtype.kind == "u"
        top = np.float32(np.iinfo(codes.dtype).max if whole else 1)
        light[...] = codes / top if whole else codes
        applied(self._processor(to_light=True), light)
        return light

    def encoded(self, light: Float32, primaries: Primaries) -> Float32:
        """Codes of linear light, as numbers of which 1 is the highest."""
        codes = in_ap1(light, primaries)
        applied(self._processor(to_light=False), codes)
        return codes

    def _processor(self, *, to_light: bool) -> Any:
        library, config = ocio(), configuration()
        ends = (self.name, LIGHT) if to_light else (LIGHT, self.name)
        try:
            if config.getColorSpace(LIGHT) is not None:
                return config.getProcessor(*ends)
            studio = library.Config.CreateFromFile(STUDIO)
            configs = (config, studio) if to_light else (studio, config)
            pairs = [part for pair in zip(configs, ends, strict=True) for part in pair]
            return library.Config.GetProcessorFromConfigs(*pairs)
        except library.Exception as error:
            hint = f"OpenColorIO says: {one_line(error)}."
            raise ParameterError("encoding", "one with a way to light", self.name, hint) from None


def in_ap1(light: Float32, primaries: Primaries) -> Float32:
    """Return a copy of light in the primaries AP1."""
    if primaries.is_close_to(AP1):
        return np.ascontiguousarray(light).copy()
    return np.ascontiguousarray(light @ primaries.matrix_to(AP1).T.astype(np.float32))


def applied(processor: Any, values: Float32) -> None:
    """Send values, shape (H, W, 3), through a processor in place, without its shortcuts."""
    cpu = processor.getOptimizedCPUProcessor(ocio().OPTIMIZATION_LOSSLESS)

    def work(rows: slice) -> None:
        cpu.applyRGB(values[rows])

    over_strips(work, values.shape[0], values.shape[1] * 3)


def space_named(name: str) -> Space:
    """Return the encoding of a name, alias or role.

    Raises
    ------
    ParameterError
        If the configuration has none of that name.
    PictureFileError
        If OpenColorIO is not installed.
    """
    found = configuration().getColorSpace(name)
    if found is None:
        names = [one.name for one in named_spaces()]
        lower = {known.lower(): known for known in names}
        close = difflib.get_close_matches(name.lower(), list(lower), 3, 0.3)
        near = "; ".join(lower[one] for one in close)
        hint = f"Near it: {near}. " if near else ""
        hint += "frontglass encodings lists them all."
        raise ParameterError("encoding", "the name of one", name, hint)
    space = Space(found.getName())
    space.check()
    return space
