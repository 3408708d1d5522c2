"""Disks that are full, folders that cannot be used or vanish, clocks, odd names, loops of links.

    python -m tests.hostile.disk [WORD]

Each case prints what happened and what was wrong with that. Where root may mount one, a disk is a
tmpfs of its own; elsewhere a limit of file sizes stands for it, and a folder that may only be read
is left out.
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from tests.hostile.stills import (
    CAMERA,
    LOOKS,
    batch_words,
    digests,
    environment,
    hidden,
    shot,
    states,
    words,
)

NAMES = (
    *("-o.jpg", "--look.jpg", "a\nb.jpg", 'it\'s "late".jpg', "Counter.jpg"),
    *("caf\u00e9 ☕.jpg", "caf\udce9.jpg", "[night].jpg", "%s{}.jpg", " .jpg"),
)
LONGEST = "x" * 246 + ".jpg"
"""A name that leaves no room for a look's."""
JUMPING = """
import threading, time
real, back = time.time, [0.0]
time.time = lambda: real() - back[0]
threading.Timer(1.5, lambda: back.__setitem__(0, 3600.0)).start()
from frontglass.cli import main
main()
"""


class Ended(NamedTuple):
    """How a command ended: its status, what it said, and its errors."""

    status: int
    said: str
    errors: list[str]


def ran(command: list[str], limit: int | None = None) -> Ended:
    """Run a command, its files of `limit` bytes at most."""

    def limited() -> None:
        if limit is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    ended = subprocess.run(
        command, env=environment(), capture_output=True, check=False, preexec_fn=limited
    )
    errors = ended.stderr.decode(errors="replace").splitlines()
    said = ended.stdout.decode(errors="replace").strip().split("\n")[0]
    return Ended(ended.returncode, said, [line for line in errors if not line.startswith("note")])


def flaws(ended: Ended, status: int | None = None) -> list[str]:
    """Return what no command may say, and whether it ended otherwise than it should."""
    wrong = [line for line in ended.errors if "Traceback" in line or "flaw of" in line]
    if status is not None and ended.status != status:
        wrong.append(f"ended with {ended.status}: {ended.said} {ended.errors[:2]}")
    return wrong


def short(stills: Path, out: Path, *more: object) -> list[str]:
    """Return the command line of a batch in one process, without its sheet."""
    return batch_words(stills, out, "--no-contact", *(more or ("--jobs", 1)))


def resumed(stills: Path, out: Path, *more: object) -> list[str]:
    """Return what is wrong after a run that nothing disturbs: all is there, nothing left over."""
    wrong = flaws(ran(short(stills, out, *more)), 0)
    single = out.parent / f"{out.name}-single"
    ran(short(stills, single))
    wrong += [] if digests(out) == digests(single) else ["the resumed run differs from a single"]
    return wrong + [f"left over: {path.name}" for path in hidden(out)]


@contextmanager
def disk(folder: Path, size: str) -> Iterator[bool]:
    """Mount a disk of some size on a folder, if root may; tell whether it is there."""
    folder.mkdir(parents=True)
    options = ["-t", "tmpfs", "-o", f"size={size}", "none", str(folder)]
    is_there = subprocess.run(["mount", *options], check=False, capture_output=True).returncode == 0
    try:
        yield is_there
    finally:
        if is_there:
            subprocess.run(["umount", "-l", folder], check=True)


def full(folder: Path) -> tuple[str, list[str]]:
    """A disk that is full, and then is not."""
    stills = shot(folder / "in", 3)
    with disk(folder / "small", "48k") as is_there:
        out = folder / "small" / "out"
        first = ran(short(stills, out), None if is_there else 1024)
        wrong = flaws(first, 1)
        wrong += [f"left {path.name}" for path in hidden(out)] if out.exists() else []
        done = {name for name, state in states(out).items() if state == "done"}
        there = set(digests(out)) if out.exists() else set()
        wrong += [] if done <= there else ["recorded, and not there"]
        if is_there:
            subprocess.run(["mount", "-o", "remount,size=8m", folder / "small"], check=True)
        wrong += resumed(stills, out)
    how = "a tmpfs of 48 KB" if is_there else "files of 1 KB at most"
    return f"{how}: {first.said}; {first.errors[:1]}", wrong


def read_only(folder: Path) -> tuple[str, list[str]]:
    """A folder that may be read only."""
    stills = shot(folder / "in", 2)
    with disk(folder / "sealed", "8m") as is_there:
        if not is_there:
            return "left out: no disk can be mounted", []
        out = folder / "sealed"
        ran(short(stills, out))
        before = digests(out)
        subprocess.run(["mount", "-o", "remount,ro", out], check=True)
        again = ran(short(stills, out, "--jobs", 1, "--again"))
        still = next(stills.glob("*.jpg"))
        one = ran(words("apply", still, "--look", LOOKS[0], "-o", out / "a.jpg"))
        wrong = [*flaws(again, 1), *flaws(one, 1)]
        wrong += [] if "a.jpg: " in str(one.errors) else ["a.jpg is not named"]
        wrong += [] if digests(out) == before else ["something changed"]
    return f"{again.errors[:1]}; {one.errors[:1]}", wrong


def vanishing(folder: Path) -> tuple[str, list[str]]:
    """The folder goes while a batch writes into it."""
    stills, out = shot(folder / "in", 12), folder / "out"

    def take() -> None:
        until = time.monotonic() + 60
        while not list(out.glob("*.jpg")) and time.monotonic() < until:
            time.sleep(0.01)
        shutil.rmtree(out, ignore_errors=True)

    taking = threading.Thread(target=take)
    taking.start()
    first = ran(short(stills, out, "--jobs", 2))
    taking.join()
    wrong = flaws(first)
    left = len(digests(out)) if out.exists() else 0
    if first.status == 0 and left < len(LOOKS) * 12:
        wrong.append(f"status 0 with {left} pictures there")
    wrong += resumed(stills, out)
    return f"ended with {first.status}: {first.said}, {first.errors[:1]}", wrong


def changing(folder: Path) -> tuple[str, list[str]]:
    """Stills are cut short, and whole again, while they are read."""
    stills, out, over = shot(folder / "in", 6), folder / "out", threading.Event()
    whole = {path: path.read_bytes() for path in stills.glob("*.jpg")}

    def change() -> None:
        while not over.is_set():
            for path, data in whole.items():
                path.write_bytes(data[: len(data) // 3])
                time.sleep(0.01)
                path.write_bytes(data)

    other = threading.Thread(target=change)
    other.start()
    first = ran(short(stills, out))
    over.set()
    other.join()
    return f"{first.said}; {first.errors[:1]}", flaws(first) + resumed(stills, out)


def clock(folder: Path) -> tuple[str, list[str]]:
    """The clock jumps back an hour in the middle of a run, and stills are of tomorrow."""
    stills, out = shot(folder / "in", 4), folder / "out"
    tomorrow = time.time() + 86400
    os.utime(stills / "still0000.jpg", (tomorrow, tomorrow))
    command = [sys.executable, "-c", JUMPING, *short(stills, out)[3:]]
    first = ran(command)
    wrong = flaws(first, 0) + resumed(stills, out)
    again = ran(short(stills, out))
    wrong += [] if again.said.startswith("12 done before") else [f"again: {again.said}"]
    return f"{first.said}; then {again.said}", wrong


def two_at_once(folder: Path) -> tuple[str, list[str]]:
    """Two batches write into one folder at a time, with two strengths of a look."""
    stills, out = shot(folder / "in", 6), folder / "out"
    runs = [
        subprocess.Popen(
            words("batch", stills, "--look", f"tallow:{strength}", "-o", out, *CAMERA),
            env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        )
        for strength in ("1/4", "1/2")
    ]  # fmt: skip
    said = [run.communicate()[1].decode() for run in runs]
    wrong = [text[-200:] for text in said if "Traceback" in text]
    wrong += [f"ended with {run.returncode}" for run in runs if run.returncode]
    recorded = Counter(states(out).values())
    wrong += [] if recorded == {"done": 12} else [f"the record says {dict(recorded)}"]
    wrong += [] if set(states(out)) == set(digests(out)) else ["the record is of other files"]
    return f"{len(digests(out))} pictures, recorded {dict(recorded)}", wrong


def named(folder: Path) -> tuple[str, list[str]]:
    """Stills of odd names."""
    stills, source = folder / "in", shot(folder / "plain", 1) / "still0000.jpg"
    stills.mkdir()
    for name in (*NAMES, LONGEST):
        shutil.copy(source, os.fsencode(stills / name))
    out = folder / "out"
    first = ran(short(stills, out))
    wrong = flaws(first, 1)
    made, asked = len(list(out.glob("*.[jJ][pP][gG]"))), len(NAMES) * len(LOOKS)
    wrong += [] if made == asked else [f"{made} pictures of {asked}"]
    wrong += [line[:99] for line in first.errors if "xxx" not in line]
    shutil.copy(source, stills / "counter.JPG")
    same = ran(short(stills, folder / "same"))
    wrong += flaws(same, 1)
    board = ran(words("mood", stills, "--look", LOOKS[0], "-o", folder / "board", *CAMERA))
    wrong += flaws(board)
    for name in ("-o.jpg", "--look.jpg"):
        one = words("apply", "--look", LOOKS[0], "-o", folder / f"{name[1:]}.jpg", "--", name)
        ended = subprocess.run(one, env=environment(), cwd=stills, capture_output=True, check=False)
        wrong += [] if ended.returncode == 0 else [f"apply -- {name}: {ended.stderr!r}"]
    told = (first.errors or [""])[0].replace("x" * 200, "...")[-160:]
    said = f"{first.said}; 250 letters: {told}; names that differ in case: {same.errors}"
    return f"{said}; board ended with {board.status}", wrong


def looping(folder: Path) -> tuple[str, list[str]]:
    """Links that lead in a circle, or nowhere."""
    stills = shot(folder / "in", 2)
    (stills / "again").symlink_to(stills, target_is_directory=True)
    (stills / "itself.jpg").symlink_to(stills / "itself.jpg")
    (stills / "nowhere.jpg").symlink_to(folder / "gone.jpg")
    told, wrong = [], []
    for number, source in enumerate((stills, Path(f"{stills}/**/*.jpg"))):
        out = folder / f"out{number}"
        ended = ran(batch_words(source, out, "--no-contact", "--jobs", 1))
        told.append(f"{ended.said}, {ended.errors[:2]}")
        made = len(digests(out))
        wrong += flaws(ended, 1)
        wrong += [] if made == 2 * len(LOOKS) else [f"{made} pictures"]
        wrong += [] if "nowhere.jpg" in str(ended.errors) else ["nowhere.jpg is not named"]
    return "; ".join(told), wrong


CASES: tuple[Callable[[Path], tuple[str, list[str]]], ...] = (
    *(full, read_only, vanishing, changing, clock, two_at_once, named, looping),
)


def main(word: str) -> int:
    """Try all cases with a word in their names; 1 if anything was wrong."""
    found = 0
    for case in CASES:
        if word not in case.__name__:
            continue
        with TemporaryDirectory() as name:
            happened, wrong = case(Path(name))
        print(f"{case.__name__}: {happened.replace(name, '')}", flush=True)
        print(*(f"  WRONG: {text}" for text in wrong), sep="\n", end="\n" if wrong else "")
        found += bool(wrong)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main("".join(sys.argv[1:2])))
