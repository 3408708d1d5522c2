"""``frontglass live``: the page on which a strength is chosen."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

import frontglass as fg
from frontglass.cli.batch_texts import say_left_out
from frontglass.cli.glass_options import GlassOptions
from frontglass.cli.options import CameraOptions, LightOptions, Stills
from frontglass.cli.scene_files import SceneFile, scene_file
from frontglass.cli.scene_options import SceneOptions
from frontglass.cli.space_options import SpaceOptions
from frontglass.errors import FrontglassError

if TYPE_CHECKING:
    from frontglass.live.app import Page
    from frontglass.live.sharing import SharedView
    from frontglass.looks.rig import Rig

PACKAGES, QR_PACKAGE = ("starlette", "uvicorn"), "segno"


@dataclass(frozen=True, kw_only=True)
class ServingOptions:
    """Where the page is served, and to whom."""

    port: Annotated[
        int | None, typer.Option(metavar="N", help="Port on this machine; else a free one.")
    ] = None
    no_browser: Annotated[
        bool, typer.Option("--no-browser", help="Print the address; open no browser.")
    ] = False
    share: Annotated[
        bool,
        typer.Option("--share", help="Show what is kept to people on this network, for hearts."),
    ] = False


def live(
    stills: Stills,
    *,
    look: Annotated[
        list[str] | None,
        typer.Option(metavar="FILE", help="A look of your own beside those that come along."),
    ] = None,
    serving: ServingOptions,
    glass: GlassOptions,
    camera: CameraOptions,
    space: SpaceOptions,
    light: LightOptions,
    scene: SceneFile = None,
) -> None:
    """Choose a look and its strength on a page in the browser.

    STILLS are seen through every look, with the strength under your finger.
    What is kept there goes into the scene beside the stills, where every command finds it. The page
    is served on this machine alone, until Ctrl-C; --share adds a view of what is kept for others,
    who can give hearts and change nothing else.
    """
    _check_packages((*PACKAGES, *([QR_PACKAGE] if serving.share else [])))
    from frontglass.live.serving import address_of, kept_token, listening, serve, state_folder

    if light.view is not None:
        from frontglass.files.view import view_named

        view_named(light.view, light.view_from, light.encoding)
    words = [*_words(camera), *_words(glass), *_words(space), *_words(light)]
    typed = light.typed(camera, space)
    page = page_for(
        stills,
        typed,
        look=look or (),
        scene=scene,
        words=words,
        camera_words=list(_words(camera)),
        rig=glass.rig(),
    )
    listener = listening(serving.port)
    token = kept_token(state_folder())
    address = address_of(listener, token)
    shared = shared_view(page) if serving.share else None
    typer.echo(f"{address}\nThe page is open to this machine alone; Ctrl-C ends it.")
    if shared is not None:
        _say_shared(shared)
    if not serving.no_browser:
        import webbrowser

        webbrowser.open(address)
    serve(page, listener, token, shared)


def shared_view(page: Page) -> SharedView:
    """Return the view of a page for others, which the page then shows the address of."""
    from frontglass.live.sharing import SharedView, code_of, network_listener

    shared = SharedView(page=page, listener=network_listener())
    page.share, page.share_code = shared.address, code_of(shared.address)
    return shared


def _say_shared(shared: SharedView) -> None:
    from frontglass.live.sharing import code_in_terminal

    typer.echo(f"{code_in_terminal(shared.address)}{shared.address}")
    typer.echo("Whoever has that address on this network sees what is kept, until Ctrl-C.")


def page_for(
    sources: list[str],
    typed: dict[str, Any],
    *,
    look: list[str] | tuple[str, ...] = (),
    scene: Path | None = None,
    words: list[str] | tuple[str, ...] = (),
    camera_words: list[str] | tuple[str, ...] = (),
    rig: Rig | None = None,
) -> Page:
    """Return the page of some stills: what it shows and where it keeps what is chosen."""
    from frontglass.batch.finding import found_stills
    from frontglass.live.app import Page, page_files
    from frontglass.live.kept import SceneKeeper
    from frontglass.live.making import Making
    from frontglass.live.marks import SETTINGS
    from frontglass.live.table import LightTable
    from frontglass.scene.scene import FILE_NAME

    found = found_stills(sources)
    say_left_out(found)
    path = scene_file(scene, found.stills[0])
    if scene is None and not path.exists() and len(found.stills) > 1:
        path = found.root / FILE_NAME

    def recipe_of(still: Path) -> fg.Recipe:
        options = SceneOptions(scene=path if path.exists() else None)
        return options.at_hand(**typed).recipe(still)

    own: dict[str, fg.Look] = {name: fg.read_look(name) for name in look}
    more = [] if scene is None else ["--scene", str(path)]
    files = {one.name: Path(name) for name, one in own.items() if name.lower().endswith(".toml")}
    keeper = SceneKeeper(path, words=[*words, *more], look_files=files)

    def rig_of() -> Rig:
        kept = keeper.scene().camera.rig
        return kept if rig is None else rig.over(kept)

    table = LightTable(found.stills, (*own.values(), *fg.catalogue()), recipe_of, rig_of)
    said = {word.removeprefix("--").replace("-", "_") for word in words}
    fixed = [name for name in SETTINGS if said & {name, f"no_{name}", f"un{name}"}]
    making = Making(found.stills, keeper, camera_words)
    return Page(table=table, keeper=keeper, files=page_files(), making=making, fixed=fixed)


def _words(options: Any) -> Iterator[str]:
    """Yield the words that a group of options was typed with."""
    hints = get_type_hints(type(options), include_extras=True)
    for field in dataclasses.fields(options):
        value = getattr(options, field.name)
        if value is None or (value is False and field.default is False):
            continue
        (option,) = (one for one in hints[field.name].__metadata__ if hasattr(one, "param_decls"))
        # Beside an annotation typer holds the name where the value would be that is taken else.
        said = str(option.default)
        name = said if said.startswith("--") else f"--{field.name.replace('_', '-')}"
        if isinstance(value, bool):
            yield name.split("/")[0 if value else 1]
            continue
        for one in value if isinstance(value, list) else [value]:
            yield from (name, str(one))


def _check_packages(names: tuple[str, ...]) -> None:
    """Say which packages the page needs, where they are not there."""
    from importlib.util import find_spec

    missing = [name for name in names if find_spec(name) is None]
    if missing:
        verb = "is" if len(missing) == 1 else "are"
        raise FrontglassError(
            f"the live page needs {' and '.join(missing)}, which {verb} not installed:"
            f" python -m pip install {' '.join(missing)}"
        )
