"""What the page may ask for, and what it is answered."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import quote

import numpy as np
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from frontglass.errors import FrontglassError, ParameterError
from frontglass.live.blending import TRADE, nodes_of
from frontglass.live.guard import Guard
from frontglass.live.kept import SceneKeeper
from frontglass.live.table import LightTable, problem
from frontglass.looks import Look
from frontglass.picture.dither import rank_tile
from frontglass.units import strength_from_text, strength_text

Result = TypeVar("Result")
MOST_WAITING = 16
TYPES = {
    "index.html": "text/html; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
}


class Desk:
    """Works on one thing at a time; what nobody waits for any more is not begun."""

    def __init__(self) -> None:
        self._lock, self._waiting = asyncio.Lock(), 0

    async def done(self, request: Request, work: Callable[[], Result]) -> Result:
        """Return what `work` returns, once it is its turn."""
        await request.body()  # so that only the end of the connection is left to hear of
        if self._waiting >= MOST_WAITING:
            raise HTTPException(503, "Too much is asked at once.")
        self._waiting += 1
        try:
            async with self._lock:
                if await request.is_disconnected():
                    raise HTTPException(408)
                return await run_in_threadpool(work)
        finally:
            self._waiting -= 1


@dataclass(kw_only=True)
class Page:
    """A table of stills and a scene, answered for."""

    table: LightTable
    keeper: SceneKeeper
    files: Mapping[str, bytes]
    session: str = field(default_factory=lambda: secrets.token_hex(8))
    desk: Desk = field(default_factory=Desk)
    from_scene: dict[str, Look] = field(default_factory=dict)

    def routes(self) -> list[Route]:
        """Return every address there is."""
        get = {
            "/": self.index,
            "/page/{name}": self.file,
            "/alive": self.alive,
            "/state": self.state,
            "/noise": self.noise,
            "/still/{number:int}": self.still,
            "/still/{number:int}/exact": self.exact,
            "/still/{number:int}/light": self.light,
            "/still/{number:int}/small": self.small,
            "/still/{number:int}/film": self.film,
            "/still/{number:int}/tile": self.tile,
        }
        post = {
            "/keep": self.keep,
            "/rename": self.rename,
            "/remove": self.remove,
            "/lamp": self.lamp,
        }
        return [
            *(Route(path, answer, methods=["GET"]) for path, answer in get.items()),
            *(Route(path, answer, methods=["POST"]) for path, answer in post.items()),
        ]

    async def index(self, request: Request) -> Response:
        """Answer with the page."""
        del request
        return Response(self.files["index.html"], media_type=TYPES["index.html"])

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
                **self._kept(),
            }

        return JSONResponse(await self.desk.done(request, work))

    def _kept(self) -> dict[str, Any]:
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
        return _floats(rank_tile())

    async def still(self, request: Request) -> Response:
        """Say what there is to know of a still; a damaged one says what is wrong with it."""
        number = request.path_params["number"]

        def work() -> dict[str, Any]:
            self.table.path(number)
            try:
                still = self.table.opened(number)
            except (FrontglassError, OSError, MemoryError) as error:
                return {"problem": problem(error)}
            return {
                "width": still.small.width_px,
                "height": still.small.height_px,
                "full": list(still.full_px),
                "lamps": still.lamps(),
                "notices": list(still.notices),
                "light": still.light,
                "problem": "",
            }

        return JSONResponse(await self.desk.done(request, work))

    async def exact(self, request: Request) -> Response:
        """Answer with the codes of the still through looks."""
        number, looks = request.path_params["number"], self._looks(request)
        return _codes(await self.desk.done(request, lambda: self.table.codes(number, looks)))

    async def light(self, request: Request) -> Response:
        """Answer with linear light of the still through a look, for blending."""
        number, looks = request.path_params["number"], self._looks(request)
        if len(looks) != 1:
            raise ParameterError("look", "one", len(looks))
        return _floats(await self.desk.done(request, lambda: self.table.light(number, looks[0])))

    async def small(self, request: Request) -> Response:
        """Answer with a small picture of the still through looks."""
        number, looks = request.path_params["number"], self._looks(request)
        return _codes(await self.desk.done(request, lambda: self.table.small(number, looks)))

    async def film(self, request: Request) -> Response:
        """Answer with a small picture of a still as it is."""
        number = request.path_params["number"]
        return _codes(await self.desk.done(request, lambda: self.table.film(number)))

    async def tile(self, request: Request) -> Response:
        """Answer with pixels of the full still through looks."""
        number, looks = request.path_params["number"], self._looks(request)
        x, y = (_share(request.query_params.get(name, "")) for name in ("x", "y"))
        work = lambda: self.table.tile(number, looks, x, y)  # noqa: E731  # as the others
        return _codes(await self.desk.done(request, work))

    async def keep(self, request: Request) -> Response:
        """Keep what is on the screen."""
        asked = await _asked(request)
        still = self.table.path(_number(asked, "still"))
        looks = self._stack(asked)

        def work() -> dict[str, Any]:
            for_all = asked.get("all") is True
            self.keeper.keep(
                still, looks, for_all=for_all, why=_text(asked, "why"), name=_text(asked, "name")
            )
            return self._kept()

        return JSONResponse(await self.desk.done(request, work))

    async def rename(self, request: Request) -> Response:
        """Call a choice something else."""
        asked = await _asked(request)
        looks, stills = _texts(asked, "looks"), _texts(asked, "stills")

        def work() -> dict[str, Any]:
            why, name = _text(asked, "why"), _text(asked, "name")
            self.keeper.rename(looks, stills, why=why, name=name)
            return self._kept()

        return JSONResponse(await self.desk.done(request, work))

    async def remove(self, request: Request) -> Response:
        """Keep a choice no longer."""
        asked = await _asked(request)
        looks, stills = _texts(asked, "looks"), _texts(asked, "stills")

        def work() -> dict[str, Any]:
            self.keeper.remove(looks, stills)
            return self._kept()

        return JSONResponse(await self.desk.done(request, work))

    async def lamp(self, request: Request) -> Response:
        """Set how bright a lamp is."""
        asked = await _asked(request)
        number, lamp = _number(asked, "still"), _number(asked, "lamp")
        path, stops = self.table.path(number), asked.get("stops")
        if stops is not None and (isinstance(stops, bool) or not isinstance(stops, int | float)):
            raise ParameterError("stops", "a number or null", stops)

        def work() -> dict[str, Any]:
            areas = self.table.held(number).areas
            if not 0 <= lamp < len(areas):
                raise ParameterError("lamp", "one of the still's", lamp)
            self.keeper.set_lamp(path, areas[lamp], stops, areas)
            return self._kept()

        return JSONResponse(await self.desk.done(request, work))

    def _looks(self, request: Request) -> list[Look]:
        return self.table.stack(request.query_params.getlist("look"), self.from_scene)

    def _stack(self, asked: Mapping[str, Any]) -> list[Look]:
        looks = self.table.stack(_texts(asked, "looks"), self.from_scene)
        if not looks:
            raise ParameterError("looks", "one at least", "none")
        return looks


def page_app(page: Page, *, token: str, hosts: tuple[str, ...]) -> Guard:
    """Return the guarded application that serves a page."""
    handlers = {FrontglassError: _say_error, OSError: _say_error}
    app = Starlette(routes=page.routes(), exception_handlers=handlers)
    return Guard(app, token=token, hosts=hosts)


def page_files() -> dict[str, bytes]:
    """Files that the page is made of, by their names."""
    folder = Path(__file__).parent / "page"
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}


async def _say_error(request: Request, error: Exception) -> Response:
    said = problem(error)
    if request.method == "GET":
        # A look that this still cannot be seen through is no fault: browsers would report one.
        return Response(headers={"x-problem": quote(said)})
    return JSONResponse({"problem": said}, status_code=422)


async def _asked(request: Request) -> dict[str, Any]:
    try:
        asked = await request.json()
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise HTTPException(400)
    return asked


def _number(asked: Mapping[str, Any], name: str) -> int:
    value = asked.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        raise ParameterError(name, "a whole number", value)
    return value


def _text(asked: Mapping[str, Any], name: str) -> str:
    value = asked.get(name, "")
    if not isinstance(value, str):
        raise ParameterError(name, "a text", value)
    return value.strip()


def _texts(asked: Mapping[str, Any], name: str) -> list[str]:
    value = asked.get(name)
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise ParameterError(name, "a list of texts", value)
    return value


def _share(text: str) -> float:
    number = strength_from_text(text)
    if number > 1:
        raise ParameterError("place", "in [0, 1]", text)
    return number


def _codes(codes: np.ndarray[Any, Any]) -> Response:
    """Answer with codes as the page paints them: R, G, B and an opaque alpha."""
    painted = np.full((*codes.shape[:2], 4), 255, np.uint8)
    painted[..., :3] = codes
    return _raw(painted)


def _floats(values: np.ndarray[Any, Any]) -> Response:
    # In the order of bytes that every browser's machine has.
    return _raw(np.ascontiguousarray(values.astype(values.dtype.newbyteorder("<"))))


def _raw(values: np.ndarray[Any, Any]) -> Response:
    headers = {"x-width": str(values.shape[1]), "x-height": str(values.shape[0])}
    return Response(values.tobytes(), media_type="application/octet-stream", headers=headers)
