"""Serving the page: on this machine alone, at an address that nobody else knows."""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import socket
from pathlib import Path
from typing import TYPE_CHECKING

import uvicorn
from starlette.types import ASGIApp, Receive, Scope, Send

from frontglass.errors import FrontglassError
from frontglass.live.app import Page, page_app

if TYPE_CHECKING:
    from frontglass.live.sharing import SharedView

LOOPBACK = "127.0.0.1"
FIRST_PORT, MOST_TRIED = 8460, 20
TOKEN_BYTES = 32


def listening(port: int | None) -> socket.socket:
    """Return a socket that listens on this machine: at that port, else at the first free one.

    Raises
    ------
    FrontglassError
        If the port is taken or none can be.
    """
    ports = range(FIRST_PORT, FIRST_PORT + MOST_TRIED) if port is None else (port,)
    for one in (*ports, *((0,) if port is None else ())):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name != "nt":  # there it would let two programs listen at one port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, one))
            listener.listen(64)
        except OSError as error:
            listener.close()
            reason = error.strerror or str(error)
        else:
            return listener
    raise FrontglassError(f"port {port}: cannot be listened at ({reason}); leave --port out.")


def kept_token(folder: Path) -> str:
    """Return the secret part of the address, the same at the next start.

    A page that lost the program then finds it again. Only the owner may read the file; where none
    can be kept, the token is good for this run.
    """
    path = folder / "live-token"
    with contextlib.suppress(OSError):
        is_private = os.name == "nt" or path.stat().st_mode & 0o077 == 0
        token = path.read_text(encoding="ascii", errors="replace").strip()
        if is_private and re.fullmatch(r"[\w-]{40,}", token, re.ASCII):
            return token
    token = secrets.token_urlsafe(TOKEN_BYTES)
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(token + "\n")
    return token


def state_folder() -> Path:
    """Where programs of this user keep what is theirs from one start to the next."""
    named = os.environ.get("XDG_STATE_HOME", "")
    return (Path(named) if os.path.isabs(named) else Path.home() / ".local/state") / "frontglass"


def address_of(listener: socket.socket, token: str) -> str:
    """Return the address of the page."""
    return f"http://{LOOPBACK}:{listener.getsockname()[1]}/{token}/"


def server_of(
    page: Page, port: int, token: str, shared: SharedView | None = None
) -> uvicorn.Server:
    """Return what serves a page at a port of this machine, and a view of it to others."""
    hosts = tuple(f"{name}:{port}" for name in (LOOPBACK, "localhost"))
    app: ASGIApp = page_app(page, token=token, hosts=hosts)
    if shared is not None:
        app = _by_port(app, shared.app(), shared.listener.getsockname()[1])
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        lifespan="off",
        ws="none",
        http="h11",
        timeout_graceful_shutdown=1,
        limit_concurrency=100,
    )
    return uvicorn.Server(config)


def _by_port(own: ASGIApp, shared: ASGIApp, port: int) -> ASGIApp:
    """Return what answers at one port with the view for others, and else with the page."""

    async def either(scope: Scope, receive: Receive, send: Send) -> None:
        # Of the connection itself, whatever its headers say.
        is_shared = (scope.get("server") or ("", 0))[1] == port
        await (shared if is_shared else own)(scope, receive, send)

    return either


def serve(
    page: Page, listener: socket.socket, token: str, shared: SharedView | None = None
) -> None:
    """Serve the page, and the view for others, until the program is interrupted."""
    server = server_of(page, listener.getsockname()[1], token, shared)
    sockets = [listener] if shared is None else [listener, shared.listener]
    try:
        with contextlib.suppress(KeyboardInterrupt):  # handed on once all is closed
            server.run(sockets=sockets)
    finally:
        if page.making is not None:
            page.making.stop()
