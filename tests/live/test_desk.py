"""Renders that nobody waits for any more end; changes are made whole."""

from __future__ import annotations

import asyncio
import gc
import math
import time
import weakref

import numpy as np
import pytest
from starlette.exceptions import HTTPException
from starlette.requests import Request

from frontglass.convolution.joint_orders import beside_the_arms
from frontglass.convolution.nets import streak
from frontglass.convolution.splat import MirrorKernel, Pixels
from frontglass.live.desk import Desk
from frontglass.optics.bands import CHANNEL_BANDS
from frontglass.optics.gratings import Grating
from frontglass.optics.masks import CrossedGratings
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


class Light(np.ndarray):
    """An array of which it can be told whether anybody holds it."""


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


def test_what_is_given_up_holds_no_light_any_more():
    held: list[weakref.ref[Light]] = []

    def render() -> None:
        light = Light((1000, 1000))
        held.append(weakref.ref(light))
        for _ in range(PIECES):
            for_each(lambda _: time.sleep(PIECE_S), range(2))
            light[0] = 1

    gc.collect()
    gc.disable()  # which would come some time, and after another render has begun
    try:
        with pytest.raises(HTTPException):
            asyncio.run(Desk().done(asked_by_one_who_leaves("GET"), render))
        assert [light() for light in held] == [None]
    finally:
        gc.enable()


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


def test_a_net_that_nobody_wants_any_more_is_given_up_between_its_parts():
    # Most of it is done in one thread: a streak for each channel, orders, pixels.
    grating, band = Grating(pitch_m=0.45e-3, width_m=0.03e-3), CHANNEL_BANDS[1]
    mask = CrossedGratings(gratings=(grating, grating), across_rad=(0.1, 0.1 + math.pi / 2))
    nothing = Pixels(np.zeros(1, np.int32), np.zeros(1, np.int32), np.zeros(1))
    for begin in (
        lambda: streak.__wrapped__(grating, band, 500.0),
        lambda: beside_the_arms.__wrapped__(mask, band, 500.0),
        lambda: MirrorKernel.of([nothing], (8, 8), has_mirrors=True),
    ):
        begin()
        with pytest.raises(GivenUp), while_wanted(lambda: False):
            begin()
