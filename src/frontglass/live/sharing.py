"""The view for people on the same network: kept choices to look at, and hearts for them."""

from __future__ import annotations

import hashlib
import io
import secrets
import socket
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import segno
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from frontglass.errors import FrontglassError
from frontglass.live.app import TYPES, Page, say_error
from frontglass.live.asked import asked_of, codes_reply, text_in
from frontglass.live.guard import Guard
from frontglass.looks.catalogue import name_and_strength

FILES = ("view.js", "view.css", "api.js", "parts.js", "icon.svg")
Result = TypeVar("Result")
AT_ONCE, A_SECOND = 120, 20
MOST_GUESTS = 6
"""Guests that wait at the desk at once, of the many that it takes."""
COOKIE, MOST_BROWSERS, MOST_KNOWN = "guest", 8, 256
"""Whose hearts are whose: so many browsers of one address, and of all, are told apart."""
NOWHERE = ("192.0.2.1", 9)  # RFC 5737: an address for documents, to which nothing is sent


@dataclass(kw_only=True)
class SharedView:
    """What others may see of a page, at an address that ends with the program.

    Parameters
    ----------
    page : Page
        The page; only its kept choices show.
    listener : socket
        What it is served on.
    token : str
        The secret part of its address, another one at every start.
    """

    page: Page
    listener: socket.socket
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    _hearts: set[tuple[str, str]] = field(default_factory=set)
    _browsers: dict[str, str] = field(default_factory=dict)
    _waiting: int = 0

    @property
    def address(self) -> str:
        """The address to hand on."""
        host, port = self.listener.getsockname()[:2]
        return f"http://{host}:{port}/{self.token}/"

    def app(self) -> Guard:
        """Return the guarded application that serves it: one thing can be changed, hearts."""
        routes = [
            Route("/", self.index, methods=["GET"]),
            Route("/page/{name}", self.file, methods=["GET"]),
            Route("/kept", self.kept, methods=["GET"]),
            Route("/picture/{key}/{number:int}", self.picture, methods=["GET"]),
            Route("/heart", self.heart, methods=["POST"]),
        ]
        handlers = {FrontglassError: say_error, OSError: say_error}
        inner = Starlette(routes=routes, exception_handlers=handlers)
        host, port = self.listener.getsockname()[:2]
        hosts = (f"{host}:{port}",)
        return Guard(inner, token=self.token, hosts=hosts, at_once=AT_ONCE, a_second=A_SECOND)

    async def index(self, request: Request) -> Response:
        """Answer with the view, and a cookie for a browser that has none."""
        reply = Response(self.page.files["view.html"], media_type=TYPES[".html"])
        address, known = _address(request), self._browsers
        is_new = request.cookies.get(COOKIE) not in known and len(known) < MOST_KNOWN
        if is_new and sum(one == address for one in known.values()) < MOST_BROWSERS:
            guest = secrets.token_urlsafe(16)
            known[guest] = address
            path = f"/{self.token}/"
            reply.set_cookie(COOKIE, guest, path=path, httponly=True, samesite="strict")
        return reply

    async def file(self, request: Request) -> Response:
        """Answer with a file of the view, of which there is a fixed list."""
        name = request.path_params["name"]
        if name not in FILES:
            raise HTTPException(404)
        return Response(self.page.files[name], media_type=TYPES[Path(name).suffix])

    async def kept(self, request: Request) -> Response:
        """Say what is kept: no command, no path, no name of a file's folder."""
        return JSONResponse(await self._done(request, lambda: self._kept(self._who(request))))

    async def picture(self, request: Request) -> Response:
        """Answer with a still through a kept choice; 0 is bare."""
        key, number = request.path_params["key"], request.path_params["number"]
        is_bare = request.query_params.get("bare") == "1"

        def work() -> Any:
            choice, stills = self._choices().get(key, ({}, []))
            if number not in stills:
                raise HTTPException(404)
            page = self.page
            looks = [] if is_bare else page.table.stack(choice["looks"], page.from_scene)
            page.table.opened(number)
            return page.table.codes(number, looks)

        return codes_reply(await self._done(request, work))

    async def heart(self, request: Request) -> Response:
        """Give a choice a heart, or take it back; a browser has one for each."""
        asked = await asked_of(request)
        key, is_given, who = text_in(asked, "key"), asked.get("given") is True, self._who(request)

        def work() -> dict[str, Any]:
            choice, _ = self._choices().get(key, ({}, []))
            if not choice:
                raise HTTPException(404)
            if is_given != ((who, key) in self._hearts):
                self.page.keeper.heart(choice["looks"], choice["stills"], 1 if is_given else -1)
                (self._hearts.add if is_given else self._hearts.discard)((who, key))
            return self._kept(who)

        return JSONResponse(await self._done(request, work))

    async def _done(self, request: Request, work: Callable[[], Result]) -> Result:
        """Do some work in its turn; guests leave room for the page itself."""
        if self._waiting >= MOST_GUESTS:
            raise HTTPException(503, "Too many look at once.")
        self._waiting += 1
        try:
            return await self.page.desk.done(request, work)
        finally:
            self._waiting -= 1

    def _choices(self) -> dict[str, tuple[dict[str, Any], list[int]]]:
        """Return what is kept and on which stills it shows, by keys that say nothing."""
        page = self.page
        every = list(range(len(page.table.stills)))
        found = {}
        for choice in page.kept()["kept"]:
            said = repr((self.token, choice["looks"], choice["stills"])).encode()
            found[hashlib.sha256(said).hexdigest()[:24]] = (choice, choice["on"] or every)
        return found

    def _who(self, request: Request) -> str:
        """Return who asks: a browser by its cookie, one without by its address.

        Whoever throws cookies away has no more hearts than an address has browsers.
        """
        guest = request.cookies.get(COOKIE, "")
        return guest if guest in self._browsers else _address(request)

    def _kept(self, who: str) -> dict[str, Any]:
        page = self.page
        names = [path.stem for path in page.table.stills]
        shown = [
            {
                "key": key,
                "name": choice["name"],
                "looks": [_look_words(text) for text in choice["looks"]],
                "why": choice["why"],
                "hearts": choice["hearts"],
                "given": (who, key) in self._hearts,
                "stills": [{"number": number, "name": names[number]} for number in stills],
            }
            for key, (choice, stills) in self._choices().items()
        ]
        return {"title": page.kept().get("title", ""), "kept": shown}


def network_listener() -> socket.socket:
    """Return a socket that listens to this machine's network, at a free port.

    Raises
    ------
    FrontglassError
        If this machine has no network that others could be on.
    """
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect(NOWHERE)  # chooses a way out, and sends nothing
            host = probe.getsockname()[0]
        return socket.create_server((host, 0))
    except OSError as error:
        reason = error.strerror or str(error)
        raise FrontglassError(
            f"share: this machine is on no network ({reason}); leave --share out."
        ) from None


def code_of(address: str) -> bytes:
    """Return an address as a QR code, an SVG picture."""
    out = io.BytesIO()
    segno.make(address, error="m").save(out, kind="svg", scale=4, border=4, light="#fff")
    return out.getvalue()


def code_in_terminal(address: str) -> str:
    """Return an address as a QR code of half blocks."""
    out = io.StringIO()
    segno.make(address, error="l").terminal(out, border=2, compact=True)
    return out.getvalue()


def _look_words(text: str) -> str:
    """Return a look at its strength, without the folder and ending of its file."""
    name, strength = name_and_strength(text)
    if name.lower().endswith(".toml"):
        name = Path(name).stem
    return " ".join(filter(None, (name, strength)))


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
