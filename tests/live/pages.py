"""A page of small stills, and somebody who asks it as a browser would."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image
from starlette.testclient import TestClient

from frontglass.cli.live import page_for
from frontglass.live.app import page_app

HOST = "127.0.0.1:8460"
TOKEN = "a-token-of-this-test-that-is-long-enough-to-be-one"
LENS = {"lens": "36.9mm", "sensor": "36x20.25"}


def scouts(folder: Path, codes: np.ndarray) -> Path:
    """Two stills, one cut short, and a name that is markup."""
    Image.fromarray(codes).save(folder / "counter.png")
    Image.fromarray(codes[::-1, :120]).save(folder / "gate <b>2<b>.png")
    whole = (folder / "counter.png").read_bytes()
    (folder / "torn.png").write_bytes(whole[: len(whole) // 3])
    return folder


def page_of(folder: Path, **more):
    return page_for([str(folder)], {}, **more)


def client_of(page) -> TestClient:
    app = page_app(page, token=TOKEN, hosts=(HOST, "localhost:8460"))
    origin = {"origin": f"http://{HOST}"}
    return TestClient(app, base_url=f"http://{HOST}/{TOKEN}/", headers=origin)


def codes_in(reply) -> np.ndarray:
    """Codes of an answer, without the alpha that a canvas wants."""
    shape = int(reply.headers["x-height"]), int(reply.headers["x-width"]), 4
    painted = np.frombuffer(reply.content, np.uint8).reshape(shape)
    assert (painted[..., 3] == 255).all()
    return painted[..., :3]
