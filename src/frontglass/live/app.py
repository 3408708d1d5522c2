"""What the page may ask for, and what it is answered."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from frontglass.errors import FrontglassError, ParameterError
from frontglass.live.asked import (
    asked_of,
    codes_reply,
    floats_reply,
    number_in,
    raw_reply,
    share_of,
    text_in,
    texts_in,
)
from frontglass.live.blending import TRADE, nodes_of
from frontglass.live.desk import Desk
from frontglass.live.guard import Guard
from frontglass.live.kept import SceneKeeper
from frontglass.live.making import Making
from frontglass.live.marking import MarkDesk
from frontglass.live.marks import SceneMarker
from frontglass.live.open_still import problem
from frontglass.live.shown import keeps_codes, to_screen
from frontglass.live.table import LightTable
from frontglass.looks import Look
from frontglass.picture.dither import rank_tile
from frontglass.picture.lamp_kinds import KINDS
from frontglass.units import strength_text

TYPES = {
    ".html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


@dataclass(kw_only=True)
class Page:
    """A table of stills and a scene, answered for.

    Parameters
    ----------
    table : LightTable
        The stills.
    keeper : SceneKeeper
        Of the scene.
    files : mapping of str to bytes
        What the page is made of.
    making : Making, optional
        What makes sheets, boards and lists.
    fixed : sequence of str
        Settings that were typed at the start, and so cannot be changed.
    share : str
        Address of the view for others; empty if there is none.
    share_code : bytes
        The same as a QR code, an SVG picture.
    """

    table: LightTable
    keeper: SceneKeeper
    files: Mapping[str, bytes]
    session: str = field(default_factory=lambda: secrets.token_hex(8))
    desk: Desk = field(default_factory=Desk)
    from_scene: dict[str, Look] = field(default_factory=dict)
    making: Making | None = None
    fixed: Sequence[str] = ()
    share: str = ""
    share_code: bytes = b""

    def __post_init__(self) -> None:
        self.keeper.at_hand = self.table.at_hand

    @property
    def marker(self) -> SceneMarker:
        """What writes marks into the scene."""
        return SceneMarker(self.keeper)

    def routes(self) -> list[Route]:
        """Return every address there is."""
        get = {
            "/": self.index,
            "/page/{name}": self.file,
            "/alive": self.alive,
            "/state": self.state,
            "/noise": self.noise,
            "/share.svg": self.code,
            "/still/{number:int}": self.still,
            "/still/{number:int}/draft": self.draft,
            "/still/{number:int}/exact": self.exact,
            "/still/{number:int}/light": self.light,
            "/still/{number:int}/grain": self.grain,
            "/still/{number:int}/lost": self.lost,
            "/still/{number:int}/view": self.view,
            "/still/{number:int}/small": self.small,
            "/still/{number:int}/film": self.film,
            "/still/{number:int}/tile": self.tile,
        }
        post = {
            "/keep": self.keep,
            "/rename": self.rename,
            "/remove": self.remove,
            "/move": self.move,
        }
        return [
            *(Route(path, answer, methods=["GET"]) for path, answer in get.items()),
            *(Route(path, answer, methods=["POST"]) for path, answer in post.items()),
            *MarkDesk(self).routes(),
            *(self.making.routes() if self.making else ()),
        ]

    async def index(self, request: Request) -> Response:
        """Answer with the page."""
        del request
        return Response(self.files["index.html"], media_type=TYPES[".html"])

    async def file(self, request: Request) -> Response:
        """Answer with a file of the page, of which there is a fixed list."""
        name = request.path_params["name"]
        if name not in self.files:
            raise HTTPException(404)
        return Response(self.files[name], media_type=TYPES[Path(name).suffix])

    async def alive(self, request: Request) -> Response:
        """Say that the program is there, and whether the scene has changed."""
        del request
        return JSONResponse({"session": self.session, "scene": self.keeper.revision})

    async def state(self, request: Request) -> Response:
        """Say which stills and looks there are, and what is kept."""

        def work() -> dict[str, Any]:
            looks = [
                {
                    "name": look.name,
                    "summary": look.summary,
                    "watch": look.watch,
                    "nodes": nodes_of(look),
                }
                for look in self.table.looks.values()
            ]
            stills = [
                {"number": number, "name": path.name}
                for number, path in enumerate(self.table.stills)
            ]
            trade = [{"text": strength_text(one), "strength": one} for one in TRADE]
            return {
                "session": self.session,
                "stills": stills,
                "looks": looks,
                "trade": trade,
                "kinds": list(KINDS),
                "fixed": self.fixed,
                "share": self.share,
                "makes": list(self.making.names) if self.making else [],
                **self.kept(),
            }

        return JSONResponse(await self.desk.done(request, work))

    def kept(self) -> dict[str, Any]:
        """Return what is kept, as the scene says now."""
        said = {"scene": self.keeper.revision, "file": str(self.keeper.path)}
        try:
            scene = self.keeper.scene()
        except FrontglassError as error:
            return {**said, "kept": [], "problem": problem(error)}
        self.from_scene.update(self.keeper.looks_of(scene))
        kept = self.keeper.listed(self.table.stills, scene)
        return {**said, "kept": kept, "title": scene.title or "", "problem": ""}

    async def noise(self, request: Request) -> Response:
        """Answer with the noise that 8-bit codes are dithered with."""
        del request
        return floats_reply(rank_tile())

    async def code(self, request: Request) -> Response:
        """Answer with the QR code of the view for others."""
        del request
        if not self.share:
            raise HTTPException(404)
        return Response(self.share_code, media_type=TYPES[".svg"])

    async def still(self, request: Request) -> Response:
        """Say what there is to know of a still; a damaged one says what is wrong with it."""
        number = request.path_params["number"]
        return JSONResponse(await self.desk.done(request, lambda: self.told_of(number)))

    def told_of(self, number: int) -> dict[str, Any]:
        """Return what the page is told of a still, as it is shown now."""
        path = self.table.path(number)
        settings = self.marker.said(path)
        try:
            still = self.table.opened(number)
        except (FrontglassError, OSError, MemoryError) as error:
            return {"number": number, "problem": problem(error), "settings": settings}
        known = self.marker.marked(path)
        points = () if known is None else known.distances
        return {
            "number": number,
            "settings": settings,
            "points": [still.point_in_frame(*one.at_px, one.distance_m) for one in points],
            "camera": still.camera_text,
            "width": still.small.width_px,
            "height": still.small.height_px,
            "full": list(still.full_px),
            "lamps": still.lamps(),
            "notices": list(still.notices),
            "light": still.light,
            "grain": still.shown,
            "toScreen": to_screen(still.small),
            "keepsCodes": keeps_codes(still.small),
            "view": still.recipe.view or "",
            "problem": "",
        }

    async def draft(self, request: Request) -> Response:
        """Answer with the bare still before its lamps are found; with nothing if it is open."""
        number = request.path_params["number"]
        codes = await self.desk.done(request, lambda: self.table.draft(number))
        return Response() if codes is None else codes_reply(codes)

    async def exact(self, request: Request) -> Response:
        """Answer with the codes of the still through looks."""
        number, looks = request.path_params["number"], self.looks_asked(request)
        return codes_reply(await self.desk.done(request, lambda: self.table.codes(number, looks)))

    async def light(self, request: Request) -> Response:
        """Answer with linear light of the still through a look, for blending."""
        number, looks = request.path_params["number"], self.looks_asked(request)
        if not looks:
            raise ParameterError("look", "one at least", len(looks))
        return floats_reply(await self.desk.done(request, lambda: self.table.light(number, looks)))

    async def grain(self, request: Request) -> Response:
        """Answer with the grain over the root of light; with nothing if the still has none."""
        number = request.path_params["number"]
        found = await self.desk.done(request, lambda: self.table.grain(number))
        return Response() if found is None else floats_reply(found)

    async def lost(self, request: Request) -> Response:
        """Answer with the light that lamps had lost, and what is shown of them."""
        number = request.path_params["number"]
        return raw_reply(await self.desk.done(request, lambda: self.table.lost(number)))

    async def view(self, request: Request) -> Response:
        """Answer with what the still is looked at through: a display, or the show's LUT."""
        number = request.path_params["number"]
        return floats_reply(await self.desk.done(request, lambda: self.table.view(number)))

    async def small(self, request: Request) -> Response:
        """Answer with a small picture of the still through looks."""
        number, looks = request.path_params["number"], self.looks_asked(request)
        return codes_reply(await self.desk.done(request, lambda: self.table.small(number, looks)))

    async def film(self, request: Request) -> Response:
        """Answer with a small picture of a still as it is."""
        number = request.path_params["number"]
        return codes_reply(await self.desk.done(request, lambda: self.table.film(number)))

    async def tile(self, request: Request) -> Response:
        """Answer with pixels of the full still through looks."""
        number, looks = request.path_params["number"], self.looks_asked(request)
        x, y = (share_of(request.query_params.get(name, "")) for name in ("x", "y"))
        work = lambda: self.table.tile(number, looks, x, y)  # noqa: E731  # as the others
        return codes_reply(await self.desk.done(request, work))

    async def keep(self, request: Request) -> Response:
        """Keep what is on the screen."""
        asked = await asked_of(request)
        still = self.table.path(number_in(asked, "still"))
        looks = self._stack(asked)

        def work() -> dict[str, Any]:
            for_all = asked.get("all") is True
            self.keeper.keep(
                still,
                looks,
                for_all=for_all,
                why=text_in(asked, "why"),
                name=text_in(asked, "name"),
            )
            return self.kept()

        return JSONResponse(await self.desk.done(request, work))

    async def rename(self, request: Request) -> Response:
        """Call a choice something else."""
        asked = await asked_of(request)
        looks, stills = texts_in(asked, "looks"), texts_in(asked, "stills")

        def work() -> dict[str, Any]:
            why, name = text_in(asked, "why"), text_in(asked, "name")
            self.keeper.rename(looks, stills, why=why, name=name)
            return self.kept()

        return JSONResponse(await self.desk.done(request, work))

    async def move(self, request: Request) -> Response:
        """Move a choice up or down in the list."""
        asked = await asked_of(request)
        looks, stills = texts_in(asked, "looks"), texts_in(asked, "stills")
        by = number_in(asked, "by")

        def work() -> dict[str, Any]:
            self.keeper.move(looks, stills, by, self.table.stills)
            return self.kept()

        return JSONResponse(await self.desk.done(request, work))

    async def remove(self, request: Request) -> Response:
        """Keep a choice no longer."""
        asked = await asked_of(request)
        looks, stills = texts_in(asked, "looks"), texts_in(asked, "stills")

        def work() -> dict[str, Any]:
            self.keeper.remove(looks, stills)
            return self.kept()

        return JSONResponse(await self.desk.done(request, work))

    def looks_asked(self, request: Request) -> list[Look]:
        """Return the looks that a request names."""
        return self.table.stack(request.query_params.getlist("look"), self.from_scene)

    def _stack(self, asked: Mapping[str, Any]) -> list[Look]:
        looks = self.table.stack(texts_in(asked, "looks"), self.from_scene)
        if not looks:
            raise ParameterError("looks", "one at least", "none")
        return looks


def page_app(page: Page, *, token: str, hosts: tuple[str, ...]) -> Guard:
    """Return the guarded application that serves a page."""
    handlers = {FrontglassError: say_error, OSError: say_error}
    app = Starlette(routes=page.routes(), exception_handlers=handlers)
    return Guard(app, token=token, hosts=hosts)


def page_files() -> dict[str, bytes]:
    """Files that the page is made of, by their names."""
    folder = Path(__file__).parent / "page"
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


async def say_error(request: Request, error: Exception) -> Response:
    """Say what went wrong, in one line."""
    said = problem(error)
    if request.method == "GET":
        # A look that this still cannot be seen through is no fault: browsers would report one.
        return Response(headers={"x-problem": quote(said)})
    return JSONResponse({"problem": said}, status_code=422)
