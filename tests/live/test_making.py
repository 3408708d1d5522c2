"""What is kept goes out as sheets, boards, pictures and lists, under names of the program."""

from __future__ import annotations

import shlex
import time

import pytest
from PIL import Image
from typer.testing import CliRunner

from frontglass.cli.app import app
from frontglass.live.making import Making
from tests.live.pages import client_of, page_of, scouts


def run(words):
    """Run a command here, where it costs no new process."""
    more = ["--stand-ins", "0"] if words[0] == "list" else []
    more += ["--jobs", "1", "--patience", "inf"] if words[0] == "batch" else []
    ended = CliRunner().invoke(app, [*words, *more])
    return ended.exit_code, ended.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory, scout_codes):
    folder = scouts(tmp_path_factory.mktemp("scouts"), scout_codes)
    (folder / "torn.png").unlink()
    return folder


@pytest.fixture(scope="module")
def client(folder):
    page = page_of(folder)
    page.making = Making(page.table.stills, page.keeper, run=run)
    client = client_of(page)
    asked = {"still": 0, "looks": ["harbour-night:1/2"], "all": True}
    assert client.post("keep", json=asked).status_code == 200
    return client


def made(client, name):
    reply = client.post("make", json={"name": name, "still": 0})
    assert reply.status_code == 200, reply.text
    end = time.monotonic() + 60
    while (job := client.get("made").json()["made"][-1])["state"] == "working":
        assert time.monotonic() < end
        time.sleep(0.02)
    return job


@pytest.mark.parametrize(
    ("name", "place", "files"),
    [
        ("sheet", "counter_compare.png", {"counter_compare.png"}),
        ("board", "board", {"board.html", "board.pdf", "board_01.png", "board_02.png"}),
        ("list", "list.pdf", {"list.pdf"}),
    ],
)
def test_it_is_made_and_handed_out(client, folder, name, place, files):
    job = made(client, name)
    assert (job["state"], job["said"]) == ("done", "")
    assert job["place"] == str(folder / place)
    assert {*job["files"]} == files
    assert shlex.split(job["command"])[:1] == ["frontglass"]
    reply = client.get(f"made/{job['number']}/0")
    assert "attachment" in reply.headers["content-disposition"]
    path = folder / place
    first = path / job["files"][0] if path.is_dir() else path
    assert reply.content == first.read_bytes()
    # What lies there already is never written over.
    again = made(client, name)
    assert again["place"].removesuffix(".png").removesuffix(".pdf").endswith("-2")


def test_pictures_of_all_stills_go_on_where_they_are(client, folder):
    job = made(client, "pictures")
    assert job["state"] == "done"
    assert job["files"][0] == "contact.pdf"
    assert len(job["files"]) == 3
    with Image.open(folder / "pictures" / job["files"][1]) as picture:
        assert picture.size == (160, 90)
    assert made(client, "pictures")["place"] == job["place"]


def test_a_start_after_that_has_the_same_stills(folder, client):
    made(client, "sheet")
    assert [path.name for path in page_of(folder).table.stills] == [
        "counter.png",
        "gate <b>2<b>.png",
    ]


@pytest.mark.parametrize("asked", [{"name": "apply"}, {"name": "../x"}, {"still": 7}, {"name": 3}])
def test_nothing_else_is_made(client, asked):
    reply = client.post("make", json={"name": "list", "still": 0, **asked})
    assert reply.status_code == 422
    for path in ("made/99/0", "made/0/99", "made/0/x", "made/-1/0", "made/0/..%2fscene.toml"):
        assert client.get(path).status_code == 404


def test_what_cannot_be_made_is_said_in_a_line(tmp_path, scout_codes):
    page = page_of(scouts(tmp_path, scout_codes))
    page.making = Making(page.table.stills, page.keeper, run=run)
    job = made(client_of(page), "list")
    assert job["state"] == "failed"
    assert "\n" not in job["said"]
    assert job["said"]


def test_the_true_command_is_run_without_a_shell(tmp_path, scout_codes, monkeypatch):
    seen = []

    class Process:
        returncode = 0

        def __init__(self, command, **more):
            seen.append((command, more.get("shell", False)))

        def __enter__(self):
            return self

        def __exit__(self, *error):
            return None

        def communicate(self):
            return None, ""

        def poll(self):
            return 0

    monkeypatch.setattr("subprocess.Popen", Process)
    page = page_of(scouts(tmp_path, scout_codes))
    assert made(client_of(page), "board")["state"] == "failed"  # for nothing lies there
    ((command, has_shell),) = seen
    assert command[1:4] == ["-m", "frontglass", "mood"]
    assert str(tmp_path / "gate <b>2<b>.png") in command
    assert not has_shell
    page.making.stop()
