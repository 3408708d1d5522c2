"""A folder as it lies on a disk, through sources and patterns to names: what is found, what not."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import frontglass as fg
from frontglass.batch import cluster, memory, work
from frontglass.batch.finding import Found, found_stills, made_beside
from frontglass.batch.manifest import recipe_digest
from frontglass.batch.memory import Jobs
from frontglass.batch.plan import plan
from frontglass.batch.work import Job, Task
from frontglass.errors import FrontglassError

FILES = (
    "a.png",
    "a_tallow_1-4.png",
    "a_compare.png",
    "a_compare-2.png",
    "a_compares.png",
    "a_sway.png",
    "b.JPG",
    "notes.txt",
    "a.npy",
    "old.webp",
    "scene.toml",
    ".hidden.png",
    "day 1/c.exr",
    "day 1/c_distance_sheet.png",
    "day 1/night/d.tif",
    "day 1/night/b_tallow_1.png",
    "done/frontglass-batch.json",
    "done/a.png",
    ".trash/e.png",
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in FILES:
        path = tmp_path / "scouts" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")
    (tmp_path / "scouts" / "gone.png").symlink_to(tmp_path / "nowhere.png")
    (tmp_path / "scouts" / "loop").symlink_to(tmp_path / "scouts")
    return tmp_path / "scouts"


def told(found: Found) -> dict[str, list[str]]:
    groups = {
        "stills": found.stills, "unread": found.unread, "others": found.others, "ours": found.ours,
    }  # fmt: skip
    return {
        name: [path.relative_to(found.root).as_posix() for path in group]
        for name, group in groups.items()
    }


def test_a_folder_is_searched_to_its_ends_but_for_what_is_hidden_or_was_made(folder: Path):
    found = found_stills([folder])
    assert found.root == folder
    assert told(found) == {
        "stills": [
            "a.png",
            "a_compares.png",
            "b.JPG",
            "day 1/c.exr",
            "day 1/night/b_tallow_1.png",
            "day 1/night/d.tif",
            "gone.png",
        ],
        "unread": ["old.webp"],
        "others": ["notes.txt"],
        "ours": [
            "a_compare-2.png",
            "a_compare.png",
            "a_sway.png",
            "a_tallow_1-4.png",
            "day 1/c_distance_sheet.png",
        ],
    }


@pytest.mark.parametrize(
    ("pattern", "stills"),
    [
        ("*.png", ["a.png", "a_compares.png", "gone.png"]),
        ("day*/*.exr", ["day 1/c.exr"]),
        ("**/d.*", ["day 1/night/d.tif"]),
        ("day 1/**", ["day 1/c.exr", "day 1/night/b_tallow_1.png", "day 1/night/d.tif"]),
        (".trash/*.png", [".trash/e.png"]),
        ("[ab].*", ["a.png", "b.JPG"]),
        ("a**s.png", ["a_compares.png"]),
    ],
)
def test_patterns_find_what_their_folders_show(folder: Path, pattern: str, stills: list[str]):
    found = found_stills([str(folder / pattern)])
    got = [path.relative_to(folder).as_posix() for path in found.stills]
    assert sorted(got) == sorted(stills)


def test_sources_share_the_folder_above_them_and_none_is_taken_twice(folder: Path):
    found = found_stills([folder / "day 1", folder / "a.png", str(folder / "a.p*")])
    assert found.root == folder
    names = ["a.png", "day 1/c.exr", "day 1/night/b_tallow_1.png", "day 1/night/d.tif"]
    assert sorted(told(found)["stills"]) == names
    assert found_stills([folder / "day 1" / "night"]).root == folder / "day 1" / "night"


def test_a_file_that_is_named_is_a_still_whatever_it_is(folder: Path):
    found = found_stills([folder / "notes.txt", folder / "a.png"])
    assert told(found) == {"stills": ["notes.txt", "a.png"], "unread": [], "others": [], "ours": []}


def test_what_commands_wrote_stands_beside_its_still(folder: Path):
    made = folder / "a_tallow_1.png"
    assert made_beside([folder / "a.png", made]) == (made,)
    assert made_beside([made, folder / "b.png"]) == ()
    assert made_beside([folder / "a.png", folder / "day 1" / "a_tallow_1.png"]) == ()


def test_what_lies_below_the_folder_of_the_pictures_is_left_out(folder: Path):
    found = found_stills([folder]).without(folder / "day 1" / "night")
    assert "day 1/c.exr" in told(found)["stills"]
    assert not any("night" in name for group in told(found).values() for name in group)
    whole = found_stills([folder])
    assert whole.without(folder) == whole
    assert whole.without(folder.parent) == whole


def test_pictures_keep_folders_and_are_named_after_their_looks(folder: Path):
    look = fg.read_look("slate-roof")
    choices = [(look.at("1/4"),), (look, fg.read_look("late-tram").at(2)), ()]
    out = folder.parent / "out"

    def names(naming: str, suffix: str | None) -> list[str]:
        jobs, _ = plan([folder / "day 1"], out, lambda _: choices, suffix=suffix, naming=naming)
        assert all(job.out == out / job.name for job in jobs)
        return [f"{job.name} {job.choice}" for job in jobs if job.still.stem in "cd"]

    assert names("name", None) == [
        "c_bare.exr 2",
        "c_slate-roof_1-4.exr 0",
        "c_slate-roof_1_late-tram_2.exr 1",
        "night/d_bare.tif 2",
        "night/d_slate-roof_1-4.tif 0",
        "night/d_slate-roof_1_late-tram_2.tif 1",
    ]
    assert (
        names("folder", ".PNG")
        == names("folder", "png")
        == [
            "bare/c.png 2",
            "bare/night/d.png 2",
            "slate-roof_1-4/c.png 0",
            "slate-roof_1-4/night/d.png 0",
            "slate-roof_1_late-tram_2/c.png 1",
            "slate-roof_1_late-tram_2/night/d.png 1",
        ]
    )


def test_the_largest_of_each_ending_are_asked_for_their_size(monkeypatch, tmp_path):
    asked: list[str] = []

    def size(path: Path) -> tuple[int, int] | None:
        asked.append(path.name)
        return {"big.png": (100, 70), "wide.jpg": (900, 2)}.get(path.name)

    monkeypatch.setattr(memory, "claimed_size", size)
    stills = [tmp_path / f"{n}.png" for n in range(6)] + [tmp_path / "big.png"]
    stills += [tmp_path / "wide.JPG".lower(), tmp_path / "gone.tif"]
    for number, still in enumerate(stills[:-1]):
        still.write_bytes(bytes(10 * number))
    assert memory._largest(stills) == 7000
    assert sorted(asked) == ["3.png", "4.png", "5.png", "big.png", "wide.jpg"]
    assert memory._largest([]) == 0


@pytest.mark.parametrize(
    ("told_by", "free"),
    [((None, None, None), None), ((5e9, None, 9e9), 5e9), ((5e9, 3e9, None), 3e9), ((5, 0, 9), 0)],
)
def test_free_memory_is_the_least_that_anybody_tells(monkeypatch, told_by, free):
    for name, value in zip(("machine", "group", "process"), told_by, strict=True):
        monkeypatch.setattr(memory, f"_of_the_{name}", lambda value=value: value)
    assert memory.free_bytes() == free


def test_memory_of_the_machine_is_what_it_calls_available(monkeypatch, tmp_path):
    said = tmp_path / "meminfo"
    monkeypatch.setattr(memory, "Path", {"/proc/meminfo": said}.__getitem__)
    assert memory._of_the_machine() is None
    said.write_text("MemTotal:  9000 kB\nMemFree: 100 kB\nMemAvailable:    2048 kB\n")
    assert memory._of_the_machine() == 2048 * 1024
    said.write_text("MemTotal:  9000 kB\n")
    assert memory._of_the_machine() is None


RECIPE = fg.Recipe(looks=(fg.read_look("slate-roof"),))


class Worker:
    """A worker of a scheduler, and what it logs."""

    name = "3"
    address = "tcp://here:9"

    def __init__(self) -> None:
        self.logged: list[tuple[str, Any]] = []

    def get_current_task(self) -> str:
        return "key-7"

    def log_event(self, topic: str, words: Any) -> None:
        self.logged.append((topic, words))


def test_a_worker_tells_when_it_begins_and_how_large_a_still_is(monkeypatch, shoot, tmp_path):
    worker, shares = Worker(), []
    found = SimpleNamespace(get_worker=lambda: worker)
    monkeypatch.setattr(cluster, "_distributed", lambda: found)
    monkeypatch.setattr(cluster, "take_share", lambda *own: shares.append(own))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "out").mkdir()
    still = shoot("a.png", width=50, height=40)
    job = Job(Path(still.name), Path("out", "a.png"), "a.png")
    task = Task((job,), RECIPE, (RECIPE.looks,), ("",))
    sender = cluster.Sender(
        fg.__version__, (recipe_digest(RECIPE),), str(tmp_path), 8, "frontglass-7"
    )
    monkeypatch.chdir("/")
    ((_, made),) = cluster.done_there(task, sender)
    assert isinstance(made, work.Made)
    assert (made.small, made.bare) == (b"", b"")  # nobody asked for copies
    assert (tmp_path / "out" / "a.png").is_file()
    assert shares == [(3, 8)]
    begun, told_size = worker.logged
    assert begun == ("frontglass-7", ("key-7", "tcp://here:9", None))
    assert told_size == ("frontglass-7", ("key-7", "tcp://here:9", 0.002))


def test_a_worker_of_another_mind_says_which(monkeypatch, tmp_path):
    job = Job(tmp_path / "a.png", tmp_path / "b.png", "b.png")
    task = Task((job, job), RECIPE, (RECIPE.looks,), ("", ""))
    version, digests = fg.__version__, (recipe_digest(RECIPE),) * 2

    def said(*given: Any) -> str:
        ended = cluster.done_there(task, cluster.Sender(*given))
        assert len(ended) == 2
        assert len({str(why) for _, why in ended}) == 1
        return str(ended[0][1]).removeprefix(f"{job.still}: ")

    here = str(tmp_path)
    monkeypatch.chdir(tmp_path)
    assert said("0.0", digests, here) == f"its worker has frontglass {version}, not 0.0."
    assert said(version, ("x", "x"), here) == (
        "its worker reads the look otherwise: another state of the program."
    )
    gone = str(tmp_path / "gone")
    assert said(version, digests, gone) == (
        f"its worker has no folder {gone}; files must be shared."
    )
    assert said(version, digests, here) == ("its worker sees no such file; files must be shared.")


def test_a_client_is_asked_for_once_and_closed(monkeypatch):
    made: list[Any] = []

    class Client:
        def __init__(self, address: str, **how: Any) -> None:
            made.append((address, how))
            if address == "tcp://nobody":
                raise ValueError("no such\nhost")

        def close(self, *, timeout: float) -> None:
            made.append(timeout)

    monkeypatch.setattr(cluster, "_distributed", lambda: SimpleNamespace(Client=Client))
    with cluster._connected("tcp://render", 5.0) as client:
        assert isinstance(client, Client)
    assert made == [("tcp://render", {"timeout": 5.0, "set_as_default": False}), 2]
    with pytest.raises(FrontglassError) as error, cluster._connected("tcp://nobody", 1.0):
        pass
    assert str(error.value) == "tcp://nobody: no scheduler answers there (no such)."


def test_what_goes_wrong_with_a_still_is_one_line_each():
    still = Path("a.png")
    own = FrontglassError("a.png: is damaged.")
    assert work._one_line(still, own) is own
    assert str(work._one_line(still, MemoryError())) == (
        "a.png: not enough memory; try fewer --jobs."
    )
    assert str(work._one_line(still, KeyError("x"))) == "a.png: KeyError: 'x'"
    assert Jobs(3) == (3, "")


def test_a_folder_that_has_gone_and_a_picture_that_is_somebodys_are_left_with_a_line(
    shoot, tmp_path
):
    still, out = shoot("a.png"), tmp_path / "out"
    task = Task((Job(still, out / "a.png", "a.png"),), RECIPE, (RECIPE.looks,), ("",))

    def said() -> str:
        ((_, why),) = work.done(task)
        return str(why)

    assert said() == f"{out / 'a.png'}: the folder {out} has gone."
    out.mkdir()
    (out / "a.png").write_bytes(b"mine")
    assert said() == (
        f"{out / 'a.png'}: is not what an earlier run made, and was left as it is; move it away, or"
        " --overwrite replaces it."
    )
    assert [path.name for path in out.iterdir()] == ["a.png"]
    assert (out / "a.png").read_bytes() == b"mine"


def test_pictures_that_nobody_here_can_read_are_told_and_of_what_kind(tmp_path):
    shown = ("b.gif", "c.BMP", "d.jxl", "e.jp2", "f.psd", "g.webp")
    for name in (*shown, "a.png", "notes.md", "s.toml", "d.npy"):
        (tmp_path / name).write_bytes(b"")
    found = found_stills([tmp_path])
    assert [path.name for path in found.unread] == list(shown)
    assert [path.name for path in found.others] == ["notes.md"]
    (tmp_path / "a.png").unlink()
    said = r"holds no still that frontglass can read \(it cannot read .bmp, .gif, .jp2, .jxl, .psd,"
    with pytest.raises(FrontglassError, match=said):
        found_stills([tmp_path])
