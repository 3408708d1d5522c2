"""What a request asks in its body and words, checked, and how pictures are answered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from frontglass.errors import ParameterError
from frontglass.units import strength_from_text


async def asked_of(request: Request) -> dict[str, Any]:
    """Return the object that a request's body holds."""
    try:
        asked = await request.json()
    except (ValueError, RecursionError):
        asked = None
    if not isinstance(asked, dict):
        raise HTTPException(400)
    return asked


def number_in(asked: Mapping[str, Any], name: str) -> int:
    """Return a whole number of what was asked."""
    value = asked.get(name)
    if isinstance(value, bool) or not isinstance(value, int):
        raise ParameterError(name, "a whole number", value)
    return value


def text_in(asked: Mapping[str, Any], name: str) -> str:
    """Return a text of what was asked; none is empty."""
    value = asked.get(name, "")
    if not isinstance(value, str):
        raise ParameterError(name, "a text", value)
    return value.strip()


def texts_in(asked: Mapping[str, Any], name: str) -> list[str]:
    """Return a list of texts of what was asked."""
    value = asked.get(name)
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        raise ParameterError(name, "a list of texts", value)
    return value


def share_of(text: str) -> float:
    """Return a place over a width or height, in [0, 1]."""
    number = strength_from_text(text)
    if number > 1:
        raise ParameterError("place", "in [0, 1]", text)
    return number


def codes_reply(codes: np.ndarray[Any, Any]) -> Response:
    """Answer with codes as the page paints them: R, G, B and an opaque alpha."""
    return raw_reply(cv2.cvtColor(codes, cv2.COLOR_RGB2RGBA))


def floats_reply(values: np.ndarray[Any, Any]) -> Response:
    """Answer with light, or other numbers."""
    # In the order of bytes that every browser's machine has.
    order = values.dtype.newbyteorder("<")
    return raw_reply(np.ascontiguousarray(values.astype(order, copy=False)))


def raw_reply(values: np.ndarray[Any, Any]) -> Response:
    """Answer with values, and how many they are across and down."""
    headers = {"x-width": str(values.shape[1]), "x-height": str(values.shape[0])}
    body = values.reshape(-1).view(np.uint8).data  # of its own memory: nothing is copied
    return Response(body, media_type="application/octet-stream", headers=headers)


def numbers_in(asked: Mapping[str, Any], name: str, count: int) -> list[float]:
    """Return so many numbers in [0, 1] of what was asked: a place, or a part of the frame."""
    value = asked.get(name)
    is_list = isinstance(value, list) and len(value) == count
    if not is_list or not all(type(one) in {int, float} and 0 <= one <= 1 for one in value or ()):
        raise ParameterError(name, f"{count} numbers in [0, 1]", value)
    return [float(one) for one in value or ()]


def number_or_none_in(asked: Mapping[str, Any], name: str) -> float | None:
    """Return a number of what was asked; null is None."""
    value = asked.get(name)
    if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
        raise ParameterError(name, "a number or null", value)
    return value
