"""A still read from its file, as several commands need it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import frontglass as fg
from frontglass.cli.progress import shown, working
from frontglass.heap import keep_freed_memory

if TYPE_CHECKING:
    from frontglass.cli.options import LightOptions


class StillRead(NamedTuple):
    """A still, what took it, what was assumed of both, and how it is shown."""

    path: Path
    picture: fg.Picture
    camera: fg.Camera
    notices: tuple[str, ...]
    recipe: fg.Recipe

    @property
    def conditions(self) -> dict[str, Any]:
        """How it is rendered, as sheets take it."""
        how = self.recipe
        return {
            "camera": self.camera,
            "surround": how.surround,
            "compensate": how.compensate,
            "grain": how.grain,
        }

    @property
    def on_a_sheet(self) -> dict[str, Any]:
        """How a sheet of several looks shows it, and says so."""
        from frontglass.sheets.ladder import still_facts

        return {
            **self.conditions,
            "facts": still_facts(self.path.name, self.recipe.exposure_stops),
            "notices": self.notices,
            "progress": shown,
        }


@contextmanager
def reading_meanwhile(still: Path, light: LightOptions) -> Iterator[None]:
    """Let a still be read while what renders it is loaded; nothing may be printed within.

    It ends when that is done, whether the still could be read or not: `still_read` tells.
    """
    from frontglass.files.jpeg_ahead import decoding_ahead

    keep_freed_memory()
    with working(f"reading {still.name}"), decoding_ahead(still):
        from frontglass.files.ahead import reading_ahead

        with reading_ahead(still, **light.reading()):
            yield
            from frontglass.convolution.blocks import load_transforms

            load_transforms()


def still_read(recipe: fg.Recipe, still: Path) -> StillRead:
    """Return a still read from its file; on a terminal it is said if that takes its time."""
    from frontglass.convolution.blocks import load_transforms_meanwhile

    keep_freed_memory()
    load_transforms_meanwhile()  # if nothing has; they are needed once all has been read
    with working(f"reading {still.name}"):
        picture = recipe.picture_from(still)
    choice = recipe.framing.camera_for(picture)
    return StillRead(still, picture, choice.camera, (*picture.notices, *choice.notices), recipe)


def check_sheet(target: Path, still: Path, *, overwrite: bool) -> None:
    """Refuse a file that no sheet of a still may be written to."""
    from frontglass.pipeline.still_files import check_may_write
    from frontglass.sheets.sheet import check_suffix

    check_may_write(target, [still], overwrite=overwrite)
    check_suffix(target)
