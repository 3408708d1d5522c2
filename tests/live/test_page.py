"""What the page is told and shown, and what it keeps."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.cli.live import page_for
from tests.live.pages import client_of, codes_in, page_of, scouts


@pytest.fixture
def folder(tmp_path, scout_codes):
    return scouts(tmp_path, scout_codes)


@pytest.fixture
def client(folder):
    return client_of(page_of(folder))


def applied(folder, *words):
    out = folder.parent / f"{folder.name}_out.png"
    command = ["apply", str(folder / "counter.png"), *words, "-o", str(out), "--overwrite"]
    ended = CliRunner().invoke(app, command)
    assert ended.exit_code == 0, ended.output
    with Image.open(out) as read:
        return np.asarray(read)


@pytest.mark.parametrize("text", ["harbour-night:1/4", "wet-quay:0.37", "torch-wash:2"])
def test_what_is_shown_is_what_apply_writes(client, folder, text):
    shown = codes_in(client.get("still/0/exact", params={"look": text}))
    np.testing.assert_array_equal(shown, applied(folder, "--look", text))


def test_a_stack_and_bare_are_shown_as_well(client, folder):
    stack = ["late-tram:1/2", "powder-room:1/2"]
    shown = codes_in(client.get("still/0/exact", params={"look": stack}))
    np.testing.assert_array_equal(shown, applied(folder, "--look", "+".join(stack)))
    asked = {"still": 0, "looks": stack, "all": True}
    (kept,) = kept_of(client.post("keep", json=asked))
    assert "--look late-tram:1/2+powder-room:1/2" in kept["command"]
    bare = codes_in(client.get("still/0/exact"))
    with Image.open(folder / "counter.png") as read:
        np.testing.assert_array_equal(bare, np.asarray(read))


def test_the_loupe_shows_the_full_still(folder, monkeypatch):
    monkeypatch.setattr("frontglass.live.table.LONGEST_PX", 80)
    monkeypatch.setattr("frontglass.live.table.TILE_PX", 32)
    client = client_of(page_of(folder))
    still = client.get("still/0").json()
    assert (still["width"], still["height"], still["full"]) == (80, 45, [160, 90])
    tile = codes_in(client.get("still/0/tile", params={"look": "late-tram:1", "x": 0.5, "y": 1}))
    whole = applied(folder, "--look", "late-tram:1")
    np.testing.assert_array_equal(tile, whole[58:90, 64:96])
    # Its frame was written over; another look is seen through as ever.
    tile = codes_in(client.get("still/0/tile", params={"look": "powder-room:1", "x": 0, "y": 0}))
    np.testing.assert_array_equal(tile, applied(folder, "--look", "powder-room:1")[:32, :32])
    for wrong in ("2", "-1", "", "x"):
        assert client.get("still/0/tile", params={"x": wrong, "y": 0}).headers["x-problem"]


def test_planes_are_light_in_half_floats_and_small_pictures_are_small(client, scout_codes):
    reply = client.get("still/0/light", params={"look": "late-tram:0"})
    light = np.frombuffer(reply.content, "<f2").reshape(90, 160, 3)
    expected = fg.Picture.from_array(scout_codes).radiance
    np.testing.assert_allclose(light, expected, rtol=1e-3, atol=1e-6)
    assert client.get("still/0/light").headers["x-problem"]
    assert codes_in(client.get("still/0/small")).shape == (90, 160, 3)
    assert len(client.get("noise").content) == 4 * 128 * 128


def test_a_damaged_still_and_a_look_that_will_not_do_are_one_line(client):
    torn = client.get("still/2").json()
    assert "torn.png" in torn["problem"]
    assert "\n" not in torn["problem"]
    haze = client.get("still/0/exact", params={"look": "wharf-morning:1"})
    assert haze.status_code == 200  # no fault that a browser would report
    assert "far" in haze.headers["x-problem"]


def test_the_filmstrip_has_every_still_and_opens_none(folder):
    page = page_of(folder)
    client = client_of(page)
    assert codes_in(client.get("still/0/film")).shape == (90, 160, 3)
    assert codes_in(client.get("still/1/film")).shape == (90, 120, 3)
    assert "torn.png" in client.get("still/2/film").headers["x-problem"]
    light = client.get("still/0").json()["light"]
    client.get("still/1/film")
    assert client.get("still/0").json()["light"] == light


def kept_of(reply):
    assert reply.status_code == 200, reply.text
    return reply.json()["kept"]


def test_what_is_kept_is_in_the_scene_and_commands_take_it(client, folder):
    asked = {"still": 0, "looks": ["harbour-night:1/4"], "all": False, "why": "Faces <stay>."}
    (kept,) = kept_of(client.post("keep", json=asked))
    assert (kept["looks"], kept["on"], kept["why"]) == (["harbour-night:1/4"], [0], "Faces <stay>.")
    scene = fg.read_scene(folder / "scene.toml")
    assert [str(one) for one in scene.choices] == ["harbour-night:1/4"]
    assert applied(folder).shape == (90, 160, 3)  # no --look typed
    words = kept["command"].split()
    assert words[:2] == ["frontglass", "apply"]
    ended = CliRunner().invoke(app, [*words[1:], "-o", str(folder.parent / "again.png")])
    assert ended.exit_code == 0, ended.output
    named = {"looks": kept["looks"], "stills": kept["stills"], "name": "A", "why": "Halo."}
    (kept,) = kept_of(client.post("rename", json=named))
    assert (kept["name"], kept["why"]) == ("A", "Halo.")
    assert kept_of(client.get("state")) == [kept]
    assert kept_of(client_of(page_of(folder)).get("state")) == [kept]  # started anew
    assert kept_of(client.post("remove", json=named)) == []
    gone = client.post("remove", json=named)
    assert gone.status_code == 422
    assert "still kept" in gone.json()["problem"]


def test_tabs_and_programs_do_not_overwrite_each_other(folder):
    clients = [client_of(page_of(folder)) for _ in range(2)]
    looks = ["harbour-night", "late-tram", "slate-roof", "wet-quay"]

    def keep(client, some):
        for name in some:
            asked = {"still": 0, "looks": [f"{name}:1/2"], "all": True}
            assert client.post("keep", json=asked).status_code == 200

    threads = [
        threading.Thread(target=keep, args=(client, looks[k::2]))
        for k, client in enumerate(clients)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    kept = {one["looks"][0] for one in kept_of(clients[0].get("state"))}
    assert kept == {f"{name}:1/2" for name in looks}


def test_a_lamp_that_is_set_shows_and_can_be_left_to_the_estimate(client, folder):
    before = client.get("still/0").json()
    lamp = before["lamps"][0]
    asked = {"still": 0, "lamp": lamp["number"], "stops": 9.5}
    before_codes = codes_in(client.get("still/0/exact", params={"look": "harbour-night:1"}))
    revision = client.get("alive").json()["scene"]
    assert client.post("lamp", json=asked).json()["scene"] != revision
    after = client.get("still/0").json()
    assert after["light"] != before["light"]
    (set_one,) = (one for one in after["lamps"] if one["marked"])
    assert (set_one["stops"], round(set_one["x"], 3)) == (9.5, round(lamp["x"], 3))
    shown = codes_in(client.get("still/0/exact", params={"look": "harbour-night:1"}))
    assert shown.astype(int).sum() > before_codes.astype(int).sum() + 1000
    np.testing.assert_array_equal(shown, applied(folder, "--look", "harbour-night:1"))
    again = {**asked, "lamp": set_one["number"], "stops": None}
    assert client.post("lamp", json=again).status_code == 200
    left = client.get("still/0").json()["lamps"]
    assert not any(one["marked"] for one in left)
    assert left[0]["stops"] == lamp["stops"]


def test_a_scene_that_is_damaged_or_cannot_be_written_is_said(client, folder):
    (folder / "scene.toml").write_text("format = 1\nnonsense = 3\n", encoding="utf-8")
    state = client.get("state").json()
    assert "nonsense" in state["problem"]
    asked = {"still": 0, "looks": ["late-tram:1"], "all": True}
    refused = client.post("keep", json=asked)
    assert refused.status_code == 422
    assert "nonsense" in refused.json()["problem"]
    assert (folder / "scene.toml").read_text(encoding="utf-8") == "format = 1\nnonsense = 3\n"


def test_looks_of_ones_own_and_typed_options_are_in_the_command(folder, tmp_path):
    own = tmp_path / "quiet-pier.toml"
    own.write_text(fg.read_look("late-tram").to_toml().replace("late-tram", "quiet-pier"))
    client = client_of(
        page_for([str(folder)], {}, look=[str(own)], words=["--clipped", "off", "--hood"])
    )
    assert client.get("state").json()["looks"][0]["name"] == "quiet-pier"
    asked = {"still": 0, "looks": ["quiet-pier:1/2"], "all": True}
    (kept,) = kept_of(client.post("keep", json=asked))
    assert kept["looks"] == ["quiet-pier.toml:1/2"]
    assert f"{own}:1/2" in kept["command"]
    assert kept["command"].endswith("--clipped off --hood")
    assert codes_in(client.get("still/0/small", params={"look": kept["looks"]})).any()
