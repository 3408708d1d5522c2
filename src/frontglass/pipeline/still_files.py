"""One still from file to file, and what may be written over."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from frontglass.arrays import Float32
from frontglass.elements import LightPath
from frontglass.errors import PictureFileError
from frontglass.files.plan import container_of, written_suffix
from frontglass.files.whole import beside_its_place, copy_whole
from frontglass.files.writing import write_picture
from frontglass.optics.camera import Camera
from frontglass.picture.codes import StillInCodes
from frontglass.picture.encoding import Container
from frontglass.picture.non_finite import NonFinite
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.pipeline.recipe import Recipe
from frontglass.units import strength_text

ROWS_COMPARED = 61
"""Light as it was read is what its codes tell: a look at one in so many rows makes sure."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RenderedStill:
    """A still that has been rendered and written.

    Parameters
    ----------
    still, out : Path
        Where it came from and where it went.
    camera : Camera
        The camera it was rendered for.
    notices : tuple of str
        What was assumed or changed on the way, one sentence each.
    frame : Region or None
        Part of the still that the taking lens sees; None for all of it.

    Examples
    --------
    >>> import frontglass as fg
    >>> from pathlib import Path
    >>> camera = fg.Camera(focal_length_mm=50, sensor_width_mm=24.9)
    >>> rendered = fg.RenderedStill(
    ...     still=Path("one.png"), out=Path("two.png"), camera=camera, notices=()
    ... )
    >>> rendered.out.name, rendered.frame
    ('two.png', None)
    """

    still: Path
    out: Path
    camera: Camera
    notices: tuple[str, ...]
    frame: Region | None = None


def render_file(
    still: Path, out: Path | None, recipe: Recipe, *, overwrite: bool = False
) -> RenderedStill:
    """Render one still from file to file.

    Where nothing changes, neither light nor format, the file is copied byte for byte: a JPEG that
    is decoded and coded again is another.

    Parameters
    ----------
    still : Path
        The still. It is never written to.
    out : Path or None
        Where to write; the extension chooses the format. None is `out_beside`.
    recipe : Recipe
        What to do to it.
    overwrite : bool
        Whether a file at `out` may be replaced.

    Returns
    -------
    RenderedStill
        Where it went, for which camera, and what was assumed.

    Raises
    ------
    FrontglassError
        If the still cannot be read, rendered or written, or `out` may not be written to.

    Examples
    --------
    >>> import tempfile, numpy as np, frontglass as fg
    >>> from pathlib import Path
    >>> recipe = fg.Recipe(looks=(fg.read_look("harbour-night").at("1/4"),))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     still = Path(folder, "scout.png")
    ...     said = fg.write_picture(still, fg.Picture.from_array(np.full((30, 40), 90, np.uint8)))
    ...     fg.render_file(still, None, recipe).out.name
    'scout_harbour-night_1-4.png'
    """
    target = out_beside(still, recipe.looks) if out is None else out
    check_may_write(target, [still], overwrite=overwrite)
    picture = recipe.picture_from(still)
    return render_new(picture, still, target, recipe, overwrite=overwrite, is_last=True)


def render_new(
    picture: Picture,
    still: Path,
    target: Path,
    recipe: Recipe,
    *,
    overwrite: bool,
    is_last: bool,
) -> RenderedStill:
    """Render as `render_picture`, but leave alone a file that appears there meanwhile.

    Raises
    ------
    FrontglassError
        If it cannot be rendered or written, or another file stands there in the end.
    """
    if overwrite:
        return render_picture(picture, still, target, recipe, is_last=is_last)
    if not target.parent.is_dir():
        raise PictureFileError(f"{target}: there is no folder {target.parent}. Make it first.")
    with beside_its_place(target, ()) as beside:
        rendered = render_picture(picture, still, beside, recipe, is_last=is_last)
        return replace(rendered, out=target)


def render_picture(
    picture: Picture,
    still: Path,
    target: Path,
    recipe: Recipe,
    show: Callable[[Picture], None] | None = None,
    *,
    is_last: bool = False,
) -> RenderedStill:
    """Render what was read of a still to a file; several looks need it read only once.

    Parameters
    ----------
    picture : Picture
        What `recipe.picture_from` gave.
    still, target : Path
        Where it came from, and where it goes; whatever is there is replaced.
    recipe : Recipe
        What to do to it.
    show : callable or None
        Is handed what is written.
    is_last : bool
        Whether nobody needs the picture afterwards: its light may be written over, which spares a
        frame.

    Raises
    ------
    FrontglassError
        If it cannot be rendered or written.
    """
    camera, assumed = recipe.framing.camera_for(picture)
    frame = picture.wider.region if picture.wider else None
    again = None
    if is_last and frame is None:
        is_as_read = recipe.exposure_stops == 0 and picture.encoding.space is None
        every = ROWS_COMPARED if is_as_read else 1
        again = StillInCodes.of(picture.radiance, picture.encoding, every)
    seen = recipe.rendered(picture, camera, again)
    # Lamps' lost light is never written: two pictures less while codes are made.
    picture, seen = (one.but(recovered=None, wider=None) for one in (picture, seen))
    if show is not None:
        show(seen)
    written: tuple[str, ...] = ()
    light = picture.radiance if again is None else again
    if frame is None and _is_as_it_was(picture, light, seen, recipe, container_of(target)):
        copy_whole(still, target)
    else:
        written = write_picture(target, seen, quality=recipe.quality)
    if target.suffix != still.suffix and target.suffix == written_suffix(still.suffix):
        kind = container_of(target).value
        written += (f"The still is {picture.encoding.container.value}; written as {kind}.",)
    notices = tuple(dict.fromkeys((*picture.notices, *assumed, *seen.notices, *written)))
    return RenderedStill(still=still, out=target, camera=camera, notices=notices, frame=frame)


def _is_as_it_was(
    picture: Picture,
    light: Float32 | StillInCodes,
    seen: Picture,
    recipe: Recipe,
    container: Container,
) -> bool:
    """Whether the still's own file, and its light, already hold what is to be written."""
    encoding = picture.encoding
    is_asked = recipe.exposure_stops != 0 or recipe.quality is not None or recipe.view is not None
    is_mended = recipe.non_finite == NonFinite.MEND.value and not encoding.sample.is_integer
    if is_asked or is_mended or encoding.container is not container:
        return False
    # Row by row: most differ in the first.
    rows = (np.array_equal(own, light[row]) for row, own in enumerate(seen.radiance))
    return seen.radiance is light or all(rows)


def out_beside(still: Path, looks: tuple[LightPath, ...]) -> Path:
    """Path beside a still, named after its looks: scout_late-tram_1-4.jpg for late-tram at 1/4.

    A format that is only read, such as a phone's HEIC, goes out as JPEG.
    """
    suffix = written_suffix(still.suffix)
    return still.with_name(f"{still.stem}_{looks_in_a_name(looks)}{suffix}")


def looks_in_a_name(looks: tuple[LightPath, ...]) -> str:
    """Return looks and strengths as a file's name holds them: late-tram_1-4; bare for none."""
    parts = [part for look in looks for part in (look.name, strength_text(look.strength))]
    # A strength is written 1/4, which no file name may hold.
    return "_".join(part.replace("/", "-") for part in parts) or "bare"


def check_may_write(out: Path, inputs: list[Path], *, overwrite: bool) -> None:
    """Refuse an `out` that is one of the inputs, or that exists and may not be replaced.

    Raises
    ------
    PictureFileError
        If writing to `out` would destroy something.
    """
    for still in inputs:
        if same_file(out, still):
            msg = f"{out}: is the still itself, which is never overwritten; choose another file."
            raise PictureFileError(msg)
    if not overwrite and os.path.lexists(out):
        msg = f"{out}: exists already; choose another file or allow overwriting."
        raise PictureFileError(msg)


def same_file(one: Path, other: Path) -> bool:
    """Whether two paths lead to one file, through links and letter case."""
    try:
        return one.samefile(other)
    except OSError:  # One of them does not exist (yet).
        return False
