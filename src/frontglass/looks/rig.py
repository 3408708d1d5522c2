"""How glass stands before the lens on the day, whatever a look says of it."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

from frontglass.elements.plate import Coating, returns_from_text, tilt_from_text
from frontglass.looks.look import Look
from frontglass.looks.stack import LookStack

OnGlass = TypeVar("OnGlass", Look, LookStack)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rig:
    """Lean and coating of all glass, what comes back to it, a hood; None is as the look has it.

    Lean and what comes back are as in `Plate`.

    Examples
    --------
    >>> import frontglass as fg
    >>> leaning = Rig.from_texts(tilt="5", coated=True).on(fg.read_look("slate-roof"))
    >>> leaning.elements[0].tilt_deg, leaning.elements[0].coating == "multi"
    ((5.0, 0.0), True)
    """

    tilt_deg: tuple[float, float] | None = None
    coated: bool | None = None
    returns: float | None = None
    hood: bool | None = None

    @classmethod
    def from_texts(
        cls,
        *,
        tilt: str | None = None,
        coated: bool | None = None,
        returns: str | None = None,
        hood: bool | None = None,
    ) -> Rig:
        """Rig of what is typed, or kept in a scene."""
        return cls(
            tilt_deg=None if tilt is None else tilt_from_text(tilt),
            coated=coated,
            returns=None if returns is None else returns_from_text(returns),
            hood=hood,
        )

    @property
    def on_glass(self) -> dict[str, Any]:
        """What of it glass takes: the changes of `Look.with_glass`."""
        coating = {None: None, True: Coating.MULTI, False: Coating.NONE}[self.coated]
        changes = {"tilt_deg": self.tilt_deg, "coating": coating, "returns": self.returns}
        return {name: value for name, value in changes.items() if value is not None}

    def on(self, look: OnGlass) -> OnGlass:
        """Return a look, or a stack of them, that stands so."""
        stood = look.with_glass(**self.on_glass)
        return stood.hooded() if self.hood else stood

    def over(self, other: Rig) -> Rig:
        """Return both: what this one leaves open is as the other says."""
        said = {one.name: getattr(self, one.name) for one in fields(self)}
        return replace(other, **{name: value for name, value in said.items() if value is not None})
