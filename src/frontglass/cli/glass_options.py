"""Options that say how glass stands before the lens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from frontglass.looks.rig import OnGlass, Rig


@dataclass(frozen=True, kw_only=True)
class GlassOptions:
    """How the glass stands that looks are on, and what it mirrors."""

    tilt: Annotated[
        str | None,
        typer.Option(
            metavar="UP,RIGHT",
            help="Lean of the glass [degree]: its ghosts go up, and right, by twice that.",
        ),
    ] = None
    coated: Annotated[
        bool | None,
        typer.Option(
            "--coated/--uncoated",
            help="Its surfaces have a coating of several layers, or none.",
            show_default=False,
        ),
    ] = None
    returns: Annotated[
        str | None,
        typer.Option(metavar="SHARE", help="Light that sensor and lens send back; else 1%."),
    ] = None
    hood: Annotated[
        bool | None,
        typer.Option(
            "--hood/--no-hood",
            help="Keep the lamp of a look such as torch-wash off the lens, or let it on.",
            show_default=False,
        ),
    ] = None

    def rig(self) -> Rig:
        """Return what was typed."""
        from frontglass.looks.rig import Rig

        return Rig.from_texts(
            tilt=self.tilt, coated=self.coated, returns=self.returns, hood=self.hood
        )

    def on(self, look: OnGlass, kept: Rig | None = None) -> OnGlass:
        """Return a look with its glass as typed, else as a scene has it, if it has any."""
        from frontglass.cli.grouped import note_later
        from frontglass.elements import Place

        rig = self.rig()
        if rig.on_glass and not any(part.place is Place.PLATE for part in look.light_path):
            note_later(f"{look} stands on no glass, so nothing tilts or mirrors.")
        return (rig if kept is None else rig.over(kept)).on(look)
