"""One thing at a time: renders and changes wait for their turn."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request

Result = TypeVar("Result")
MOST_WAITING = 16


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
