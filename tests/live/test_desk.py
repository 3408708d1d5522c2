"""Renders that nobody waits for any more end; changes are made whole."""

from __future__ import annotations

import asyncio
import time

import pytest
from starlette.exceptions import HTTPException
from starlette.requests import Request

from frontglass.live.desk import Desk
from frontglass.threads import GivenUp, for_each, while_wanted

PIECES, PIECE_S = 400, 0.01


def asked_by_one_who_leaves(method: str) -> Request:
    """A request whose connection ends as soon as its work has begun."""
    messages = iter([{"type": "http.request", "body": b"", "more_body": False}])

    async def receive() -> dict[str, object]:
        for message in messages:
            return message
        await asyncio.sleep(5 * PIECE_S)  # longer than it takes to ask whether it has ended
        return {"type": "http.disconnect"}

    return Request({"type": "http", "method": method, "headers": []}, receive)


def work_on(done: list[int]) -> None:
    for number in range(PIECES):
        for_each(done.append, [number])
        time.sleep(PIECE_S)


def test_a_render_ends_when_nobody_waits_for_it():
    done: list[int] = []
    with pytest.raises(HTTPException) as ended:
        asyncio.run(Desk().done(asked_by_one_who_leaves("GET"), lambda: work_on(done)))
    assert ended.value.status_code == 408
    assert 1 <= len(done) < PIECES / 2


def test_a_change_is_made_whole():
    done: list[int] = []

    def change() -> str:
        for number in range(PIECES // 20):
            for_each(done.append, [number])
            time.sleep(PIECE_S)
        return "made"

    assert asyncio.run(Desk().done(asked_by_one_who_leaves("POST"), change)) == "made"
    assert len(done) == PIECES // 20


def test_work_is_wanted_unless_somebody_says_otherwise():
    with while_wanted(lambda: True):
        for_each(lambda _: None, range(3))
    with pytest.raises(GivenUp), while_wanted(lambda: False):
        for_each(lambda _: None, range(3))
    for_each(lambda _: None, range(3))
