"""Watched parts, lamps, distances and the light path: what the page may ask to mark."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from frontglass.errors import ParameterError
from frontglass.live.asked import (
    asked_of,
    codes_reply,
    number_in,
    number_or_none_in,
    numbers_in,
    share_of,
    text_in,
)
from frontglass.live.marks import SETTINGS
from frontglass.live.open_still import OpenStill
from frontglass.measurement.watch import KINDS
from frontglass.picture.clipped_lamps import ClippedLamp

if TYPE_CHECKING:
    from frontglass.live.app import Page

LEAST_PART_PX = 3


class MarkDesk:
    """What of a page's still is marked, and what is read there.

    Parameters
    ----------
    page : Page
        The page.
    """

    def __init__(self, page: Page) -> None:
        self._page = page

    def routes(self) -> list[Route]:
        """Return every address there is."""
        get = {
            "/still/{number:int}/watched": self.watched,
            "/still/{number:int}/distances": self.distances,
            "/still/{number:int}/metres": self.metres,
        }
        post = {
            "/lamp": self.lamp,
            "/lamps": self.lamps,
            "/watch": self.watch,
            "/unwatch": self.unwatch,
            "/distance": self.distance,
            "/setting": self.setting,
        }
        return [
            *(Route(path, answer, methods=["GET"]) for path, answer in get.items()),
            *(Route(path, answer, methods=["POST"]) for path, answer in post.items()),
        ]

    async def watched(self, request: Request) -> Response:
        """Say what is read in watched parts."""
        page, number = self._page, request.path_params["number"]
        looks, in_full = page.looks_asked(request), request.query_params.get("full") == "1"

        def work() -> dict[str, Any]:
            known = page.marker.marked(page.table.path(number))
            parts = () if known is None else known.watched
            found = page.table.watched(number, looks, parts, in_full=in_full)
            return {"parts": found}

        return JSONResponse(await page.desk.done(request, work))

    async def distances(self, request: Request) -> Response:
        """Answer with shades of how far everything is; with nothing if nobody said."""
        number = request.path_params["number"]
        shades = await self._page.desk.done(request, lambda: self._page.table.distances(number))
        if shades is None:
            raise ParameterError("distance", "known; click a place and type its metres", "none")
        return codes_reply(shades)

    async def metres(self, request: Request) -> Response:
        """Say how far a place is."""
        number = request.path_params["number"]
        x, y = (share_of(request.query_params.get(name, "")) for name in ("x", "y"))
        work = lambda: self._page.table.metres_at(number, x, y)  # noqa: E731  # as the others
        metres = await self._page.desk.done(request, work)
        is_said = metres is not None and math.isfinite(metres)
        return JSONResponse({"metres": metres if is_said else None, "sky": metres == math.inf})

    async def lamp(self, request: Request) -> Response:
        """Set how bright a lamp is, or what it is."""
        asked = await asked_of(request)
        number, stops = number_in(asked, "lamp"), number_or_none_in(asked, "stops")
        kind = text_in(asked, "kind") or None

        def mark(path: Path, still: OpenStill) -> None:
            if not 0 <= number < len(still.areas):
                raise ParameterError("lamp", "one of the still's", number)
            lamp = still.areas[number]
            self._page.marker.lamp(path, lamp, still.areas, stops=stops, kind=kind)

        return await self._marked(request, asked, mark)

    async def lamps(self, request: Request) -> Response:
        """Make all lamps brighter or dimmer at once."""
        asked = await asked_of(request)
        by = number_or_none_in(asked, "by")

        def mark(path: Path, still: OpenStill) -> None:
            shown = [still.areas[one["number"]] for one in still.lamps()]
            self._page.marker.all_lamps(path, _or_refuse(shown), still.areas, by)

        return await self._marked(request, asked, mark)

    async def watch(self, request: Request) -> Response:
        """Watch a part of the still."""
        asked = await asked_of(request)
        name, place = text_in(asked, "name"), numbers_in(asked, "place", 4)
        if name not in KINDS:
            raise ParameterError("name", f"one of {', '.join(KINDS)}", name)

        def mark(path: Path, still: OpenStill) -> None:
            left, top = still.in_file(place[0], place[1])
            right, bottom = still.in_file(place[0] + place[2], place[1] + place[3])
            size = (right - left + 1, bottom - top + 1)
            if min(size) < LEAST_PART_PX:
                raise ParameterError("part", f"{LEAST_PART_PX} px a side at least", size)
            self._page.marker.watch(path, name, (left, top, *size))

        return await self._marked(request, asked, mark)

    async def unwatch(self, request: Request) -> Response:
        """Watch a part no longer."""
        asked = await asked_of(request)
        name = text_in(asked, "name")
        return await self._marked(
            request, asked, lambda path, _: self._page.marker.unwatch(path, name)
        )

    async def distance(self, request: Request) -> Response:
        """Say how far a place is."""
        asked = await asked_of(request)
        (x, y), metres = numbers_in(asked, "place", 2), number_or_none_in(asked, "metres")

        def mark(path: Path, still: OpenStill) -> None:
            at, width = still.in_file(x, y), still.full_px[0]
            self._page.marker.distance(path, at, width, metres)

        return await self._marked(request, asked, mark)

    async def setting(self, request: Request) -> Response:
        """Set something of the light path."""
        asked, page = await asked_of(request), self._page
        name, text = text_in(asked, "name"), text_in(asked, "text")
        number = number_in(asked, "still")
        path = page.table.path(number)
        for_all = asked.get("all") is True
        if name not in SETTINGS or name in page.fixed:
            raise ParameterError("setting", "one that can be changed here", name)

        def work() -> dict[str, Any]:
            page.marker.setting(path, name, text, for_all=for_all)
            return self._told(number)

        return JSONResponse(await page.desk.done(request, work))

    async def _marked(
        self, request: Request, asked: dict[str, Any], mark: Callable[[Path, OpenStill], None]
    ) -> Response:
        """Mark something in the still that is asked for, and say how the scene stands."""
        page, number = self._page, number_in(asked, "still")
        path = page.table.path(number)

        def work() -> dict[str, Any]:
            mark(path, page.table.held(number))
            return self._told(number)

        return JSONResponse(await page.desk.done(request, work))

    def _told(self, number: int) -> dict[str, Any]:
        """Return how the scene and a still stand now: then the page need not ask once more."""
        return {**self._page.kept(), "now": self._page.told_of(number)}


def _or_refuse(lamps: list[ClippedLamp]) -> list[ClippedLamp]:
    if not lamps:
        raise ParameterError("lamps", "clipped ones", "none")
    return lamps
