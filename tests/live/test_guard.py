"""Nobody but the page gets in, and nothing it says reaches the file system."""

from __future__ import annotations

from typing import Any

import pytest

from tests.live.pages import HOST, TOKEN, client_of, page_of, scouts


@pytest.fixture(scope="module")
def client(tmp_path_factory, scout_codes):
    return client_of(page_of(scouts(tmp_path_factory.mktemp("scouts"), scout_codes)))


def test_the_page_comes_with_headers_that_keep_others_out(client):
    reply = client.get("")
    assert reply.status_code == 200
    policy = reply.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert reply.headers["referrer-policy"] == "no-referrer"  # the address holds the token
    assert reply.headers["cache-control"] == "no-store"
    assert "<script type" in reply.text
    assert "style=" not in reply.text
    assert "http" not in reply.text.replace("http-equiv", "")  # nothing from elsewhere


@pytest.mark.parametrize("path", ["", "state", "page/main.js", "still/0/exact", "nowhere"])
def test_without_the_token_nothing_is_there(client, path):
    for token in ("", "x" * len(TOKEN), TOKEN[:-1], TOKEN.upper(), TOKEN + "é"):
        assert client.get(f"http://{HOST}/{token}/{path}").status_code == 404
    assert client.get(f"http://{HOST}/{TOKEN}").status_code == 404


@pytest.mark.parametrize(
    "host", ["elsewhere.example", "127.0.0.1", "127.0.0.1:80", "", "0.0.0.0:8460"]
)
def test_another_host_is_refused(client, host):
    assert client.get("state", headers={"host": host}).status_code == 421
    assert client.get("state", headers={"host": "localhost:8460", "origin": ""}).status_code == 403


@pytest.mark.parametrize(
    "origin", ["https://elsewhere.example", "null", f"https://{HOST}", "http://127.0.0.1:1"]
)
def test_another_origin_is_refused(client, origin):
    assert client.get("state", headers={"origin": origin}).status_code == 403
    assert client.post("remove", json={}, headers={"origin": origin}).status_code == 403


def test_a_page_of_another_site_is_refused(client):
    for site in ("cross-site", "same-site"):
        assert client.get("state", headers={"sec-fetch-site": site}).status_code == 403


def test_posts_must_be_json_of_the_page_itself(client):
    body = '{"still": 0}'
    for kind in ("text/plain", "application/x-www-form-urlencoded", ""):
        assert client.post("keep", content=body, headers={"content-type": kind}).status_code == 403
    del client.headers["origin"]
    assert client.post("keep", json={"still": 0}).status_code == 403
    client.headers["origin"] = f"http://{HOST}"
    assert client.request("PUT", "keep", json={}).status_code == 405
    assert client.get("keep").status_code == 405


def test_a_long_body_is_refused_whatever_its_header_says(client):
    long = b'{"why": "' + b"x" * 20_000 + b'"}'
    kind = {"content-type": "application/json"}
    assert client.post("keep", content=long, headers=kind).status_code == 413

    def pieces():
        yield long[:9000]
        yield long[9000:]

    assert client.post("keep", content=pieces(), headers=kind).status_code == 413


@pytest.mark.parametrize("body", ["", "[]", "nonsense", "[" * 8000, '{"still": 0, "still": '])
def test_a_body_that_is_no_object_is_refused(client, body):
    kind = {"content-type": "application/json"}
    assert client.post("keep", content=body, headers=kind).status_code == 400


PATHS = (
    *("page/../app.py", "page/%2e%2e/app.py", "page/..%2fapp.py", "page//etc/hostname"),
    *("still/counter.png", "still/-1/exact", "still/../scene.toml", "page/%00"),
)
LOOKS = (
    *("../presets/late-tram:1", "/etc/hostname:1", "own.toml:1", "late-tram.toml"),
    *("late-tram:-1", "late-tram:65", ":1", "late-tram:nan"),
)


@pytest.mark.parametrize("path", PATHS)
def test_no_path_leads_to_a_file(client, path):
    assert client.get(path).status_code == 404


@pytest.mark.parametrize("look", LOOKS)
def test_looks_are_those_that_were_handed_out(client, look):
    reply = client.get("still/0/exact", params={"look": look})
    assert reply.content == b""
    assert reply.headers["x-problem"]
    told = client.post("keep", json={"still": 0, "looks": [look], "all": True})
    assert told.status_code == 422
    assert told.json()["problem"]


@pytest.mark.parametrize("still", [-1, 3, 1e3, "0", True, None, [0], "../x"])
def test_stills_are_those_that_were_handed_out(client, still):
    for name in ("keep", "lamp"):
        asked = {"still": still, "looks": ["late-tram:1"], "lamp": 0, "stops": 3}
        assert client.post(name, json=asked).status_code == 422
    assert client.get("still/3").headers["x-problem"]


def test_what_is_typed_has_its_kind_and_length(client):
    wrong: tuple[dict[str, Any], ...] = (
        {"why": 3},
        {"why": "x" * 3000},
        {"looks": "late-tram:1"},
        {"looks": []},
    )
    for more in wrong:
        asked = {"still": 0, "looks": ["late-tram:1"], **more}
        assert client.post("keep", json=asked).status_code == 422
    for stops in ("3", True, -1, 21, [3]):
        asked = {"still": 0, "lamp": 0, "stops": stops}
        assert client.post("lamp", json=asked).status_code == 422


def test_a_name_that_is_markup_is_told_as_it_is(client):
    state = client.get("state")
    assert state.headers["content-type"] == "application/json"
    assert [one["name"] for one in state.json()["stills"]][1] == "gate <b>2<b>.png"
    scripts = [
        client.get(f"page/{name}").text for name in ("main.js", "kept.js", "lamps.js", "parts.js")
    ]
    for text in scripts:
        assert "innerHTML" not in text
        assert "insertAdjacentHTML" not in text
