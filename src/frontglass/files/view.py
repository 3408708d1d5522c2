"""The show's LUT, and displays of a configuration: how light is looked at, put on last."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from frontglass.arrays import Float32
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.spaces import (
    LIGHT,
    Space,
    applied,
    configuration,
    in_ap1,
    ocio,
    one_line,
    space_named,
)
from frontglass.picture.primaries import Primaries

SUFFIXES = {
    *(".cube", ".clf", ".ctf", ".cdl", ".cc", ".ccc", ".3dl", ".csp", ".spi1d", ".spi3d"),
    *(".lut", ".mga", ".m3d", ".vf", ".icc", ".icm", ".hdl", ".look", ".itx"),
}
_MOST_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class View:
    """A LUT with the encoding that it expects, or a display and its view.

    Parameters
    ----------
    name : str
        File, or DISPLAY/VIEW.
    space : Space or None
        Encoding of the numbers that a file expects; None for a display.
    """

    name: str
    space: Space | None = None

    def codes(self, light: Float32, primaries: Primaries) -> Float32:
        """Codes of a display for linear light, shape (H, W, 3), in [0, 1]."""
        if self.space is None:
            out = in_ap1(light, primaries)
        else:
            out = self.space.encoded(light, primaries)
        applied(self._processor(), out)
        return np.clip(np.nan_to_num(out, copy=False), 0, 1, out=out)

    def check(self) -> None:
        """Raise an error unless light can be sent through.

        Raises
        ------
        PictureFileError
            If the file is missing or no LUT.
        ParameterError
            If the configuration has no such display and view.
        """
        self.codes(np.full((1, 1, 3), 0.18, np.float32), Space(LIGHT).primaries)

    def _processor(self) -> Any:
        library = ocio()
        if self.space is None:
            return self._of_display(library)
        try:
            transform = library.FileTransform(
                src=str(Path(self.name).absolute()), interpolation=library.INTERP_BEST
            )
            # As the list of decisions is defined: it clips before saturation.
            transform.setCDLStyle(library.CDL_ASC)
            return library.Config.CreateRaw().getProcessor(transform)
        except library.Exception as error:
            raise PictureFileError(f"{self.name}: is no LUT: {one_line(error)}.") from None

    def _of_display(self, library: Any) -> Any:
        display, _, view = self.name.partition("/")
        try:
            transform = library.DisplayViewTransform(src=LIGHT, display=display, view=view)
            return configuration().getProcessor(transform)
        except library.Exception:
            config = configuration()
            known = [f"{one}/{v}" for one in config.getDisplays() for v in config.getViews(one)]
            hint = f"The configuration has {'; '.join(known[:40])}."
            rule = "a LUT file, or DISPLAY/VIEW of the configuration"
            raise ParameterError("view", rule, self.name, hint) from None


def is_lut_file(text: str) -> bool:
    """Whether a text names a LUT's file, by its ending; else DISPLAY/VIEW."""
    return Path(text).suffix.lower() in SUFFIXES


def view_named(text: str, encoding: str | None, still: str | None = None) -> View:
    """Return a view that was typed.

    Parameters
    ----------
    text : str
        Path of a LUT, or DISPLAY/VIEW.
    encoding : str or None
        What a LUT expects.
    still : str or None
        Encoding of the still, which a LUT expects where nothing else is said.

    Raises
    ------
    ParameterError
        If it is neither, or the LUT's encoding is not known.
    PictureFileError
        If the file is missing or no LUT.
    """
    path = Path(text)
    if is_lut_file(text) or path.is_file():
        if not path.is_file():
            raise PictureFileError(f"{text}: there is no such file.")
        if path.stat().st_size > _MOST_BYTES:
            raise PictureFileError(f"{text}: is larger than a LUT is.")
        expects = encoding or still
        if expects is None:
            hint = "A LUT takes numbers of one encoding, often the camera's log."
            raise ParameterError("view-from", "given with a LUT", None, hint)
        view = View(text, space_named(expects))
    else:
        if encoding is not None:
            raise ParameterError("view-from", "left out beside DISPLAY/VIEW", encoding)
        view = View(text)
    view.check()
    return view
