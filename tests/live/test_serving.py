"""Where the page is served, and what the command says."""

from __future__ import annotations

import importlib.util
import os
import socket
from typing import Any

import pytest
from typer.testing import CliRunner

from frontglass.cli.app import app
from frontglass.cli.glass_options import GlassOptions
from frontglass.cli.live import _words
from frontglass.cli.options import CameraOptions, LightOptions
from frontglass.errors import FrontglassError
from frontglass.live.serving import (
    FIRST_PORT,
    LOOPBACK,
    address_of,
    kept_token,
    listening,
    state_folder,
)


def test_it_listens_on_this_machine_alone_and_at_another_port_where_one_is_taken():
    with listening(None) as first, listening(None) as second:
        hosts = {one.getsockname()[0] for one in (first, second)}
        ports = [one.getsockname()[1] for one in (first, second)]
        assert hosts == {LOOPBACK}
        assert ports[1] > ports[0] >= FIRST_PORT
        assert address_of(first, "secret") == f"http://127.0.0.1:{ports[0]}/secret/"
        with pytest.raises(FrontglassError, match=f"port {ports[0]}.*--port"):
            listening(ports[0])


def test_the_token_is_long_kept_and_for_its_owner_alone(tmp_path):
    token = kept_token(tmp_path / "state")
    assert len(token) >= 43  # 32 bytes
    assert kept_token(tmp_path / "state") == token
    file = tmp_path / "state" / "live-token"
    assert file.stat().st_mode & 0o077 == 0 or os.name == "nt"
    file.write_text("short")
    assert kept_token(tmp_path / "state") not in {token, "short"}


@pytest.mark.skipif(os.name == "nt", reason="rights are kept otherwise there")
def test_a_token_that_others_may_have_read_is_not_used_again(tmp_path):
    token = kept_token(tmp_path)
    (tmp_path / "live-token").chmod(0o644)
    assert kept_token(tmp_path) != token
    assert (tmp_path / "live-token").stat().st_mode & 0o077 == 0


def test_where_nothing_can_be_kept_the_token_is_for_this_run(tmp_path):
    (tmp_path / "file").write_text("")
    tokens = {kept_token(tmp_path / "file" / "below") for _ in range(2)}
    assert len(tokens) == 2


def test_state_lies_where_the_system_says(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert state_folder() == tmp_path / "frontglass"
    monkeypatch.setenv("XDG_STATE_HOME", "not/absolute")
    assert state_folder().parts[-2:] == ("state", "frontglass")


@pytest.fixture
def served(monkeypatch, tmp_path):
    """What would have been served and opened."""
    seen: dict[str, Any] = {}
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr("webbrowser.open", lambda address: seen.setdefault("opened", address))

    def serve(page, listener, token, shared):
        listener.close()
        seen.update(page=page, token=token, shared=shared)

    monkeypatch.setattr("frontglass.live.serving.serve", serve)
    return seen


def test_the_command_prints_the_address_and_opens_it(shoot, served):
    still = shoot()
    ended = CliRunner().invoke(app, ["live", str(still)])
    assert ended.exit_code == 0, ended.output
    address = ended.output.splitlines()[0]
    assert address == served["opened"]
    assert address.endswith(f"/{served['token']}/")
    assert served["page"].table.stills == (still,)


def test_options_show_on_the_page_and_in_its_commands(shoot, served):
    still = shoot()
    words = ["--lens", "50mm", "--sensor", "super35", "--lamp", "16,16,7", "--surround", "dark"]
    more = ["--no-browser", "--scene", str(still.parent / "other.toml")]
    ended = CliRunner().invoke(app, ["live", str(still.parent), *words, *more, "--no-compensate"])
    assert ended.exit_code == 0, ended.output
    assert "opened" not in served
    page = served["page"]
    opened = page.table.opened(0)
    assert opened.camera.focal_length_mm == 50
    assert opened.recipe.surround == "dark"
    command = page.keeper.command(still, "late-tram:1/2")
    for word in (*words, "--no-compensate", "--scene"):
        assert word in command.split()
    ended = CliRunner().invoke(app, ["apply", *command.split()[2:]])
    assert "other.toml" in ended.output  # which there is not yet


def test_options_are_told_by_the_names_they_were_typed_with():
    assert list(_words(CameraOptions(taking="50mm,super35"))) == ["--as", "50mm,super35"]
    glass = GlassOptions(coated=True, tilt="5,0", hood=False)
    assert list(_words(glass)) == ["--tilt", "5,0", "--coated", "--no-hood"]
    light = LightOptions(no_grain=True, lamp=["1,2", "3,4"])
    assert list(_words(light)) == ["--no-grain", "--lamp", "1,2", "--lamp", "3,4"]


def test_missing_packages_are_one_line_with_what_to_type(shoot, monkeypatch):
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "uvicorn" else find(name)
    )
    ended = CliRunner().invoke(app, ["live", str(shoot())])
    assert ended.exit_code == 1
    (line,) = ended.output.splitlines()
    assert line.startswith("error:")
    assert line.endswith("python -m pip install uvicorn")


def test_what_is_no_still_and_a_taken_port_are_one_line(shoot, served, tmp_path):
    ended = CliRunner().invoke(app, ["live", str(tmp_path / "nowhere.jpg")])
    assert (ended.exit_code, len(ended.output.splitlines())) == (1, 1)
    with socket.create_server((LOOPBACK, 0)) as taken:
        port = str(taken.getsockname()[1])
        ended = CliRunner().invoke(app, ["live", str(shoot()), "--port", port])
    assert ended.exit_code == 1
    assert port in ended.output
    assert not served
