"""What of the light path the page holds itself, for a scene has no place for it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from frontglass.elements.plate import Coating, returns_from_text, tilt_from_text
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.optics.camera import filter_distance_mm_from_text, focus_m_from_text
from frontglass.pipeline.framing import Framing

ON = "on"


def _is_on(text: str) -> bool:
    if text != ON:
        raise ParameterError("switch", f"{ON} or nothing", text)
    return True


PARSERS: dict[str, Callable[[str], Any]] = {
    "filter_distance": filter_distance_mm_from_text,
    "focus": focus_m_from_text,
    "tilt": tilt_from_text,
    "coated": _is_on,
    "returns": returns_from_text,
    "hood": _is_on,
}
OF_LENS = ("filter_distance", "focus")
"""What of it is of the lens, and not of the glass."""


class HeldPath:
    """Filter distance, focus, and how the glass stands: options of every command, as typed.

    Parameters
    ----------
    texts : mapping of str to str, optional
        What is typed of each; "on" switches a switch on.

    Examples
    --------
    >>> held = HeldPath({"tilt": "5,0"})
    >>> held.put("hood", "on")
    >>> held.words()
    ['--tilt', '5,0', '--hood']
    """

    def __init__(self, texts: Mapping[str, str] | None = None) -> None:
        self.texts: dict[str, str] = {}
        for name, text in (texts or {}).items():
            self.put(name, text)

    def put(self, name: str, text: str) -> None:
        """Hold what is typed of one thing; nothing leaves it to the file again.

        Raises
        ------
        ParameterError
            If there is no such thing, or the text says nothing of it.
        """
        if name not in PARSERS:
            raise ParameterError("setting", f"one of {', '.join(PARSERS)}", name)
        if text:
            PARSERS[name](text)
            self.texts[name] = text
        else:
            self.texts.pop(name, None)

    def framing(self, framing: Framing) -> Framing:
        """Return lens and sensor with what is held of them."""
        names = {"filter_distance": "filter_distance_mm", "focus": "focus_m"}
        said = {field: self._said(name) for name, field in names.items() if name in self.texts}
        return replace(framing, **said) if said else framing

    def on(self, look: Look) -> Look:
        """Return a look as its glass stands, and with its lamp flagged under a hood."""
        changes = {}
        if "tilt" in self.texts:
            changes["tilt_deg"] = self._said("tilt")
        if "coated" in self.texts:
            changes["coating"] = Coating.MULTI
        if "returns" in self.texts:
            changes["returns"] = self._said("returns")
        stood = look.with_glass(**changes)
        return stood.hooded() if "hood" in self.texts else stood

    def words(self, names: Iterable[str] = PARSERS) -> list[str]:
        """Return the options that say the same on a command line, or some of them."""
        return list(self._words({*names}))

    def _words(self, names: set[str]) -> Iterator[str]:
        for name, text in self.texts.items():
            if name not in names:
                continue
            yield f"--{name.replace('_', '-')}"
            if PARSERS[name] is not _is_on:
                yield text

    def _said(self, name: str) -> Any:
        return PARSERS[name](self.texts[name])
