"""One scene, several writers: nobody's entry is lost, and the file is whole at any moment."""

from __future__ import annotations

import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

import frontglass as fg
from frontglass.errors import FrontglassError
from frontglass.files import lock
from frontglass.scene.changes import with_still
from frontglass.scene.editing import edit_scene

ADDING = """\
import sys
from pathlib import Path
import frontglass as fg
from frontglass.scene.changes import with_still
from frontglass.scene.editing import edit_scene
for n in range(8):
    still = fg.SceneStill(file=f"{sys.argv[2]} {n}.jpg")
    edit_scene(Path(sys.argv[1]), lambda scene: with_still(scene, still))
"""


def files(path: Path) -> set[str]:
    return {one.file for one in fg.read_scene(path).stills}


def add(path: Path, name: str) -> None:
    edit_scene(path, lambda scene: with_still(scene, fg.SceneStill(file=name)))


def test_a_scene_is_started_with_its_format_and_a_word_on_what_it_is(tmp_path):
    path = tmp_path / "scene.toml"
    add(path, "caf\u00e9 \u706f.jpg")
    assert path.read_text(encoding="utf-8").startswith("# What is known of these stills")
    assert files(path) == {"caf\u00e9 \u706f.jpg"}
    assert os.listdir(tmp_path) == ["scene.toml"]


def test_processes_that_write_at_once_lose_nothing(tmp_path):
    path = tmp_path / "scene.toml"
    words = [sys.executable, "-c", ADDING, str(path)]
    runs = [subprocess.Popen([*words, name]) for name in ("a", "b")]
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda n: add(path, f"c {n}.jpg"), range(24)))
    assert [run.wait(timeout=60) for run in runs] == [0, 0]
    expected = {f"{name} {n}.jpg" for name in "ab" for n in range(8)}
    assert files(path) == expected | {f"c {n}.jpg" for n in range(24)}
    assert os.listdir(tmp_path) == ["scene.toml"]


def test_an_editor_that_knows_no_lock_loses_nothing(tmp_path):
    path = tmp_path / "scene.toml"
    add(path, "a.jpg")
    calls: list[fg.Scene] = []

    def change(scene: fg.Scene) -> fg.Scene:
        if not calls:
            path.write_text(path.read_text() + '\n[[still]]\nfile = "typed.jpg"\n')
        calls.append(scene)
        return replace(scene, title="Gate 2")

    assert edit_scene(path, change).title == "Gate 2"
    assert len(calls) == 2
    assert files(path) == {"a.jpg", "typed.jpg"}


def test_an_editor_that_never_rests_is_said(tmp_path):
    path = tmp_path / "scene.toml"
    add(path, "a.jpg")

    def change(scene: fg.Scene) -> fg.Scene:
        path.write_text(path.read_text() + "# more\n")
        return replace(scene, title="Gate 2")

    with pytest.raises(FrontglassError, match="keeps changing it"):
        edit_scene(path, change)
    assert fg.read_scene(path).title is None


def test_a_lock_that_a_dead_program_left_holds_nobody_up(tmp_path):
    path = tmp_path / "scene.toml"
    (tmp_path / ".scene.toml.lock").write_text("")
    add(path, "a.jpg")
    assert files(path) == {"a.jpg"}


def test_a_lock_that_is_held_is_waited_for_and_then_said(tmp_path, monkeypatch):
    path = tmp_path / "scene.toml"
    monkeypatch.setattr(lock, "LONGEST_WAIT_S", 0.1)
    with lock.locked(path), pytest.raises(FrontglassError, match="another program has been"):
        add(path, "a.jpg")
    assert not path.exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [("format = 2\n", "format 2"), ("[", "not valid TOML"), ("format = 1\nx = 1\n", "key 'x'")],
)
def test_what_is_not_understood_is_not_changed(tmp_path, text, said):
    path = tmp_path / "scene.toml"
    path.write_text(text)
    with pytest.raises(FrontglassError, match=said):
        add(path, "a.jpg")
    assert path.read_text() == text
    assert os.listdir(tmp_path) == ["scene.toml"]


def test_a_change_that_breaks_a_rule_changes_nothing(tmp_path):
    path = tmp_path / "scene.toml"
    add(path, "a.jpg")
    before = path.read_bytes()
    choice = fg.SceneChoice(looks=("fine-net:1",), stills=("b.jpg",))
    with pytest.raises(FrontglassError, match=r"scene\.toml: choice still must be a still of"):
        edit_scene(path, lambda scene: replace(scene, choices=(choice,)))
    assert path.read_bytes() == before


def test_a_folder_that_is_not_there_is_said(tmp_path):
    with pytest.raises(FrontglassError, match="there is no folder"):
        add(tmp_path / "none" / "scene.toml", "a.jpg")


def test_a_full_disk_leaves_the_scene_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "scene.toml"
    add(path, "a.jpg")
    before = path.read_bytes()

    def full(self: Path, data: bytes) -> int:
        with self.open("wb") as file:
            file.write(data[:5])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(FrontglassError, match="No space left on device"):
        add(path, "b.jpg")
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["scene.toml"]
