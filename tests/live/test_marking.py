"""What is marked on the page is in the scene, and shows as commands show it."""

from __future__ import annotations

import json
import shlex

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from tests.live.pages import client_of, codes_in, page_of, scouts

LOOK = {"look": "harbour-night:1"}


@pytest.fixture
def folder(tmp_path, scout_codes):
    return scouts(tmp_path, scout_codes)


@pytest.fixture
def client(folder):
    return client_of(page_of(folder))


def told(client, what, **asked):
    reply = client.post(what, json={"still": 0, **asked})
    assert reply.status_code == 200, reply.text
    return reply.json()


def refused(client, what, **asked) -> str:
    reply = client.post(what, json={"still": 0, **asked})
    assert reply.status_code == 422
    return str(reply.json()["problem"])


def kept_still(folder):
    return fg.read_scene(folder / "scene.toml").still_of(folder / "counter.png")


def shown(client, **more):
    return codes_in(client.get("still/0/exact", params={**LOOK, **more}))


def test_watched_parts_have_the_numbers_of_compare(client, folder):
    told(client, "watch", name="lamp", place=[0.05, 0.4, 0.2, 0.4])
    told(client, "watch", name="black", place=[0.8, 0.6, 0.15, 0.3])
    parts = client.get("still/0/watched", params=LOOK).json()["parts"]
    assert [one["name"] for one in parts] == ["lamp", "black"]
    assert parts[0]["place"] == pytest.approx([0.05, 0.4, 0.2, 0.4], abs=0.02)
    out = folder / "sheet.png"
    words = ["compare", str(folder / "counter.png"), "--look", "harbour-night:1", "--json"]
    ended = CliRunner().invoke(app, [*words, "-o", str(out)])
    assert ended.exit_code == 0, ended.output
    numbers = json.loads(ended.stdout)["watched"]["lamp"]
    for name, seen in (("bare", "bare"), ("harbour-night:1", "seen")):
        found = numbers.get(name) or numbers[name.replace(":", " ")]
        said = f"radius {found['lamp_radius_px']:.3g} px, {found['lamp_radius_deg']:.2f} deg"
        assert parts[0][seen][0] == said
    told(client, "unwatch", name="lamp")
    assert [one.name for one in kept_still(folder).watched] == ["black"]


def test_a_large_still_has_numbers_at_the_pages_size_and_in_full(folder, monkeypatch):
    monkeypatch.setattr("frontglass.live.table.LONGEST_PX", 80)
    client = client_of(page_of(folder))
    told(client, "watch", name="lamp", place=[0.05, 0.4, 0.2, 0.4])
    small, full = (
        client.get("still/0/watched", params={**LOOK, "full": full}).json()["parts"][0]
        for full in "01"
    )
    px = [float(one["bare"][0].split()[1]) for one in (small, full)]
    assert px[1] == pytest.approx(2 * px[0], rel=0.3)
    assert full == client.get("still/0/watched", params={**LOOK, "full": "1"}).json()["parts"][0]


def test_marks_that_cannot_be_are_refused(client, folder):
    for place in ([0, 0, 2, 1], [0, 0, 1], "0,0,1,1", [0, 0, True, 1], [0, 0, 0.001, 0.5]):
        assert refused(client, "watch", name="face", place=place)
    assert "face" in refused(client, "watch", name="<b>", place=[0, 0, 0.5, 0.5])
    assert refused(client, "lamp", lamp=0, stops=None, kind="torch of mine")
    assert refused(client, "distance", place=[0.5, 0.5], metres=-1)
    assert refused(client, "setting", name="title", text="x")
    assert "inch" in refused(client, "setting", name="lens", text="9 inch")
    assert refused(client, "setting", name="hood", text="perhaps")
    known = kept_still(folder) if (folder / "scene.toml").exists() else None
    assert known is None or not (known.watched or known.distances or known.lens)


def test_a_lamps_kind_is_kept_and_one_handle_moves_all(client, folder, monkeypatch):
    still = client.get("still/0").json()
    before = still["lamps"]
    # What was read to show it need not be read again to mark it, and its own light stays.
    monkeypatch.setattr("frontglass.scene.seeing.read_picture", None)
    told(client, "lamp", lamp=before[0]["number"], kind="bulb")
    now = client.get("still/0").json()
    assert (now["light"] != still["light"], now["grain"]) == (True, still["grain"])
    (bulb,) = (one for one in client.get("still/0").json()["lamps"] if one["kind"])
    assert bulb["kind"] == "bulb"
    assert [one.kind for one in kept_still(folder).lamps if one.is_named] == ["bulb"]
    told(client, "lamps", by=None)
    assert client.get("still/0").json()["lamps"] == before
    told(client, "lamps", by=1.5)
    after = {one["number"]: one["stops"] for one in client.get("still/0").json()["lamps"]}
    for lamp in before:
        assert after[lamp["number"]] == pytest.approx(lamp["stops"] + 1.5, abs=0.11)


def test_distances_are_typed_read_and_forgotten(client, folder):
    assert client.get("still/0/distances").headers["x-problem"]
    assert client.get("still/0/metres", params={"x": 0.5, "y": 0.5}).json()["metres"] is None
    told(client, "distance", place=[0.2, 0.9], metres=2)
    told(client, "distance", place=[0.7, 0.2], metres=8)
    points = client.get("still/0").json()["points"]
    assert [one["metres"] for one in points] == [2, 8]
    assert codes_in(client.get("still/0/distances")).shape == (90, 160, 3)
    near = client.get("still/0/metres", params={"x": 0.2, "y": 0.9}).json()["metres"]
    assert near == pytest.approx(2, rel=0.05)
    told(client, "distance", place=[0.2, 0.9], metres=3)
    told(client, "distance", place=[0.7, 0.2], metres=None)
    assert [one.distance_m for one in kept_still(folder).distances] == [3]


SETTINGS = {
    "lens": "20mm",
    "stop": "8",
    "sensor": "super35",
    "filter_distance": "150mm",
    "focus": "1m",
    "exposure": "-1",
    "surround": "dark",
    "tilt": "4,0",
    "coated": "on",
}


def test_the_whole_light_path_shows_as_the_kept_command_makes_it(client, folder):
    before = shown(client)
    for name, text in SETTINGS.items():
        revision = client.get("alive").json()["scene"]
        assert told(client, "setting", name=name, text=text)["scene"] != revision, name
    still = client.get("still/0").json()
    assert {name: still["settings"][name] for name in SETTINGS} == SETTINGS
    assert still["camera"].startswith("20 mm, f/8, 24.9 mm wide, filter 150 mm")
    assert np.abs(shown(client).astype(int) - before).max() > 20
    (kept,) = told(client, "keep", looks=["late-tram:1/2", "harbour-night:1"], all=True)["kept"]
    out = folder.parent / "out.png"
    words = shlex.split(kept["command"])[1:]
    assert {"--filter-distance", "--focus", "--tilt", "--coated"}.isdisjoint(words)
    ended = CliRunner().invoke(app, [*words, "-o", str(out), "--overwrite"])
    assert ended.exit_code == 0, ended.output
    params = {"look": ["late-tram:1/2", "harbour-night:1"]}
    with Image.open(out) as read:
        codes = codes_in(client.get("still/0/exact", params=params))
        np.testing.assert_array_equal(codes, np.asarray(read))
    for name in SETTINGS:
        told(client, "setting", name=name, text="")
    client.get("still/0")
    np.testing.assert_array_equal(shown(client), before)


def test_a_lens_for_all_stills_stands_in_the_scene(client, folder):
    told(client, "setting", name="lens", text="28mm")
    told(client, "setting", name="lens", text="35mm", all=True)
    scene = fg.read_scene(folder / "scene.toml")
    assert (scene.camera.lens, kept_still(folder).lens) == ("35mm", None)
    assert client.get("still/1").json()["settings"]["lens"] == "35mm"


def test_what_was_typed_at_the_start_stays(folder):
    page = page_of(folder, words=["--lens", "36.9mm"])
    client = client_of(page)
    assert client.get("state").json()["fixed"] == ["lens"]
    assert "changed here" in refused(client, "setting", name="lens", text="50mm")


def test_kept_choices_move_up_and_down(client, folder):
    names = ["harbour-night:1", "late-tram:1", "wet-quay:1"]
    for name in names:
        told(client, "keep", looks=[name], all=True)
    kept = told(client, "move", looks=[names[2]], stills=[], by=-2)["kept"]
    assert [one["looks"][0] for one in kept] == [names[2], names[0], names[1]]
    kept = told(client, "move", looks=[names[2]], stills=[], by=9)["kept"]
    assert [str(one) for one in fg.read_scene(folder / "scene.toml").choices] == names
    assert refused(client, "move", looks=["late-tram:2"], stills=[], by=1)
