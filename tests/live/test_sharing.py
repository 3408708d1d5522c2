"""Others see what is kept, give hearts, and reach nothing else."""

from __future__ import annotations

import socket
import xml.etree.ElementTree as ET
from types import SimpleNamespace

import numpy as np
import pytest
from starlette.testclient import TestClient

import frontglass as fg
from frontglass.cli.live import shared_view
from frontglass.live.guard import Guard
from frontglass.live.serving import server_of
from frontglass.live.sharing import AT_ONCE, MOST_BROWSERS, code_in_terminal, network_listener
from tests.live.pages import HOST, TOKEN, client_of, codes_in, page_of, scouts


@pytest.fixture(scope="module")
def folder(tmp_path_factory, scout_codes):
    return scouts(tmp_path_factory.mktemp("scouts"), scout_codes)


@pytest.fixture(scope="module")
def page(folder):
    page = page_of(folder)
    asked = {"still": 0, "looks": ["harbour-night:1/2"], "why": "<i>Swell</i>", "all": False}
    assert client_of(page).post("keep", json=asked).status_code == 200
    return page


@pytest.fixture
def shared(page, monkeypatch):
    local = socket.create_server(("127.0.0.1", 0))
    monkeypatch.setattr("frontglass.live.sharing.network_listener", lambda: local)
    shared = shared_view(page)
    yield shared
    local.close()
    page.share, page.share_code = "", b""


@pytest.fixture
def guest(shared):
    origin = shared.address.removesuffix(f"/{shared.token}/")
    return TestClient(shared.app(), base_url=shared.address, headers={"origin": origin})


def test_what_is_kept_shows_as_the_page_shows_it(guest, page):
    (choice,) = guest.get("kept").json()["kept"]
    assert choice["looks"] == ["harbour-night 1/2"]
    assert choice["why"] == "<i>Swell</i>"
    assert choice["stills"] == [{"number": 0, "name": "counter"}]
    seen = codes_in(guest.get(f"picture/{choice['key']}/0"))
    owner = client_of(page).get("still/0/exact", params={"look": "harbour-night:1/2"})
    np.testing.assert_array_equal(seen, codes_in(owner))
    bare = codes_in(guest.get(f"picture/{choice['key']}/0", params={"bare": "1"}))
    assert np.abs(bare.astype(int) - seen).max() > 0


def test_it_tells_no_path_and_no_command(guest, folder):
    said = guest.get("kept").text
    assert str(folder) not in said
    assert "--look" not in said
    assert ".png" not in said


def test_browsers_of_one_address_have_a_heart_each_and_throwing_cookies_away_gives_few(
    guest, shared
):
    key = guest.get("kept").json()["kept"][0]["key"]
    hearts = []
    for _ in range(MOST_BROWSERS + 4):  # a browser that forgets everything is another one
        guest.cookies.clear()
        cookie = guest.get("").headers.get("set-cookie", "")
        assert all(word in cookie for word in ("HttpOnly", "SameSite=strict")) or not cookie
        reply = guest.post("heart", json={"key": key, "given": True}).json()["kept"][0]
        assert reply["given"]
        hearts.append(reply["hearts"])
    assert hearts[:MOST_BROWSERS] == [*range(1, MOST_BROWSERS + 1)]
    assert hearts[-1] == MOST_BROWSERS + 1  # the address' own
    guest.cookies.clear()
    guest.cookies.set("guest", "of its own making")
    reply = guest.post("heart", json={"key": key, "given": True}).json()["kept"][0]
    assert reply["hearts"] == max(hearts)
    choice = shared._choices()[key][0]
    shared.page.keeper.heart(choice["looks"], choice["stills"], -max(hearts))


def test_an_address_has_one_heart_for_each_choice(guest, folder):
    key = guest.get("kept").json()["kept"][0]["key"]
    for given, hearts in ((True, 1), (True, 1), (False, 0), (False, 0), (True, 1)):
        reply = guest.post("heart", json={"key": key, "given": given}).json()
        assert (reply["kept"][0]["hearts"], reply["kept"][0]["given"]) == (hearts, given)
    assert fg.read_scene(folder / "scene.toml").choices[0].hearts == 1
    guest.post("heart", json={"key": key, "given": False})
    assert guest.post("heart", json={"key": "of another", "given": True}).status_code == 404


POSTS = (
    "keep",
    "remove",
    "rename",
    "move",
    "lamp",
    "lamps",
    "watch",
    "setting",
    "distance",
    "make",
)


def test_it_is_read_only_but_for_hearts(guest, folder):
    before = (folder / "scene.toml").read_bytes()
    for name in POSTS:
        assert guest.post(name, json={"still": 0, "looks": ["wet-quay:1"]}).status_code == 404
    for path in ("state", "still/0", "still/0/exact", "made", "made/0/0", "share.svg", "noise"):
        assert guest.get(path).status_code == 404
    for name in ("main.js", "index.html", "..%2fapp.py", "kept.js"):
        assert guest.get(f"page/{name}").status_code == 404
    for where in ("picture/x/0", "picture/x/-1"):
        assert guest.get(where).status_code == 404
    assert (folder / "scene.toml").read_bytes() == before


def test_its_guards_are_those_of_the_page(guest, shared):
    base = shared.address.removesuffix(f"{shared.token}/")
    for token in (TOKEN, "", shared.token[:-1]):
        assert guest.get(f"{base}{token}/kept").status_code == 404
    assert guest.get("kept", headers={"host": "elsewhere.example"}).status_code == 421
    assert guest.get("kept", headers={"origin": "http://elsewhere.example"}).status_code == 403
    assert guest.post("heart", content="x" * 20_000).status_code in {403, 413}
    del guest.headers["origin"]
    assert guest.post("heart", json={}).status_code == 403
    page = guest.get("")
    assert "script-src 'self'" in page.headers["content-security-policy"]
    assert "innerHTML" not in guest.get("page/view.js").text


def test_the_token_is_long_and_another_one_every_time(page):
    tokens = set()
    for _ in range(2):
        shared = shared_view(page)
        shared.listener.close()
        tokens.add(shared.token)
    page.share, page.share_code = "", b""
    assert len(tokens) == 2
    assert min(map(len, tokens)) >= 43  # 32 bytes
    assert TOKEN not in tokens


def test_too_many_requests_of_one_address_are_refused(guest, monkeypatch):
    # The clock stands: on a slow machine some would be let in again.
    monkeypatch.setattr("frontglass.live.guard.time", SimpleNamespace(monotonic=lambda: 1.0))
    codes = [guest.get("page/icon.svg").status_code for _ in range(2 * AT_ONCE)]
    assert codes == [200] * AT_ONCE + [429] * AT_ONCE


def test_each_port_leads_to_its_own(page, shared):
    app = server_of(page, 8460, TOKEN, shared).config.app
    port = shared.listener.getsockname()[1]
    own = TestClient(app, base_url=f"http://{HOST}/{TOKEN}/")
    assert own.get("state").status_code == 200
    assert own.get(f"http://{HOST}/{shared.token}/kept").status_code == 404
    # A Host header that says otherwise changes nothing: the port is that of the connection.
    other = TestClient(app, base_url=f"http://127.0.0.1:{port}/{shared.token}/")
    assert other.get("kept").status_code == 200
    assert other.get("kept", headers={"host": HOST}).status_code == 421
    assert other.get(f"http://127.0.0.1:{port}/{TOKEN}/state").status_code == 404


def test_without_share_nothing_is_listened_at_or_shown(page):
    client = client_of(page)
    assert client.get("state").json()["share"] == ""
    assert client.get("share.svg").status_code == 404
    assert isinstance(server_of(page, 8460, TOKEN).config.app, Guard)


def test_the_code_is_a_picture_on_the_page_and_blocks_in_the_terminal(page, shared):
    client = client_of(page)
    assert client.get("state").json()["share"] == shared.address
    reply = client.get("share.svg")
    assert reply.headers["content-type"] == "image/svg+xml"
    assert ET.fromstring(reply.content).tag.endswith("svg")
    assert {*code_in_terminal(shared.address)} & {"▀", "▄", "█"}


def test_no_network_is_one_line(monkeypatch):
    # To nowhere without a way there: as where there is no network.
    monkeypatch.setattr("frontglass.live.sharing.NOWHERE", ("0.0.0.256", 9))
    with pytest.raises(fg.FrontglassError, match=r"share: .*leave --share out"):
        network_listener()
