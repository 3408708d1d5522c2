"""One thing at a time: renders and changes wait for their turn."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from typing import TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request

from frontglass.threads import GivenUp, while_wanted

Result = TypeVar("Result")
MOST_WAITING = 16


class _Nothing:
    """What work gives that was given up."""


class Desk:
    """Works on one thing at a time; what nobody waits for any more is not begun, or ended."""

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
                # What changes something is never left half done.
                return await (_looked_at if request.method == "GET" else _done)(request, work)
        finally:
            self._waiting -= 1


async def _done(request: Request, work: Callable[[], Result]) -> Result:
    del request
    return await run_in_threadpool(work)


async def _looked_at(request: Request, work: Callable[[], Result]) -> Result:
    """Return what `work` returns, which ends when nobody waits for it any more."""
    gone = threading.Event()

    async def listen() -> None:
        while (await request.receive())["type"] != "http.disconnect":
            pass
        gone.set()

    def wanted() -> Result | _Nothing:
        # An error that goes through the future of a thread stays with it, in a ring that holds all
        # frames it has passed, and their arrays, until rings are looked for.
        try:
            with while_wanted(lambda: not gone.is_set()):
                return work()
        except GivenUp:
            return _Nothing()

    listener = asyncio.create_task(listen())
    try:
        found = await run_in_threadpool(wanted)
    finally:
        listener.cancel()
    if isinstance(found, _Nothing):
        raise HTTPException(408)
    return found
