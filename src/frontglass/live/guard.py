"""Who may ask: only the page that was handed the token, from this machine, and only little."""

from __future__ import annotations

import hmac
import time

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY_BYTES = 16_384
MOST_AT_ONCE, MOST_A_SECOND = 400, 200
"""Requests of one address: a page that is dragged asks ten times less."""
MOST_ADDRESSES = 256
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:;"
        " connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}


class Guard:
    """Turns away whoever does not come from the page itself.

    Parameters
    ----------
    app : ASGI application
        What is guarded; it never sees the token.
    token : str
        The first part of every path.
    hosts : tuple of str
        Names under which the page is served, with the port. Another one in the Host header is a
        name on the network that was made to lead here.
    at_once, a_second : int
        Requests that one address may send at once, and every second from then on.
    """

    def __init__(
        self,
        app: ASGIApp,
        *,
        token: str,
        hosts: tuple[str, ...],
        at_once: int = MOST_AT_ONCE,
        a_second: int = MOST_A_SECOND,
    ) -> None:
        self._app, self._token, self._hosts = app, token, hosts
        self._at_once, self._a_second = at_once, a_second
        # Browsers take that from what they trust alone, and complain of it from elsewhere.
        is_trusted = all(host.startswith(("127.", "localhost:")) for host in hosts)
        self._more = {"cross-origin-opener-policy": "same-origin"} if is_trusted else {}
        self._left: dict[str, tuple[float, float]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            return
        status = self._refusal(scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS | self._more)
            await send(message)

        if status:
            reply = PlainTextResponse("Refused.\n", status_code=status)
            await reply(scope, receive, send_with_headers)
            return
        body = await _whole_body(receive)
        if body is None:
            reply = PlainTextResponse("Too long.\n", status_code=413)
            await reply(scope, receive, send_with_headers)
            return
        inner = dict(scope, path=scope["path"][len(self._token) + 1 :] or "/", raw_path=None)
        await self._app(inner, _replayed(body, receive), send_with_headers)

    def _refusal(self, scope: Scope) -> int:
        """Return the status of a refusal; 0 lets the request in."""
        headers = Headers(scope=scope)
        hosts, origin = headers.getlist("host"), headers.get("origin")
        is_post = scope["method"] == "POST"
        # A form of another site can send text, but never this type without being asked first.
        kind = headers.get("content-type", "").split(";")[0].strip().lower()
        length = headers.get("content-length", "0")
        given, slash, _ = scope["path"][1:].partition("/")
        refusals = (
            (429, self._is_too_much(scope)),
            (421, len(hosts) != 1 or hosts[0] not in self._hosts),
            (403, origin is not None and origin != f"http://{hosts[0] if hosts else ''}"),
            (403, headers.get("sec-fetch-site", "none") not in {"same-origin", "none"}),
            (404, not hmac.compare_digest(given.encode(), self._token.encode()) or not slash),
            (405, scope["method"] not in {"GET", "HEAD", "POST"}),
            (403, is_post and (origin is None or kind != "application/json")),
            (413, not length.isdigit() or int(length[:20]) > LARGEST_BODY_BYTES),
        )
        return next((status for status, is_refused in refusals if is_refused), 0)

    def _is_too_much(self, scope: Scope) -> bool:
        """Count a request; whether its address has sent more than it may."""
        address, now = (scope.get("client") or ("",))[0], time.monotonic()
        left, before = self._left.pop(address, (float(self._at_once), now))
        left = min(self._at_once, left + (now - before) * self._a_second)
        self._left[address] = (max(0.0, left - 1), now)
        while len(self._left) > MOST_ADDRESSES:
            del self._left[next(iter(self._left))]
        return left < 1


async def _whole_body(receive: Receive) -> bytes | None:
    """Return the body of a request; None if it is longer than any of ours."""
    body = b""
    while True:
        message = await receive()
        if message["type"] != "http.request":
            return body
        body += bytes(message.get("body", b""))
        if len(body) > LARGEST_BODY_BYTES:
            return None
        if not message.get("more_body", False):
            return body


def _replayed(body: bytes, receive: Receive) -> Receive:
    """Give a body that has been read once more, and then what the connection says."""
    is_told = False

    async def again() -> Message:
        nonlocal is_told
        if is_told:
            return await receive()
        is_told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again
