"""Disks that are full, folders that may not be written to or vanish, and odd names.

python -m tests.hostile.disk
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.hostile.stills import CAMERA, batch_words, digests, environment, hidden, shot, words

NAMES = (
    *("-o.jpg", "--look.jpg", "a\nb.jpg", 'it\'s "late".jpg', "Counter.jpg", "counter.JPG"),
    *("x" * 246 + ".jpg", "caf\u00e9 ☕.jpg", "caf\udce9.jpg", "[night].jpg", "%s{}.jpg", " .jpg"),
)


def ran(command: list[str], limit: int | None = None) -> tuple[int, list[str]]:
    """Return how a command ended, and its lines of errors; files of `limit` bytes at most."""

    def limited() -> None:
        if limit is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))

    ended = subprocess.run(
        command, env=environment(), capture_output=True, check=False, preexec_fn=limited
    )
    return ended.returncode, ended.stderr.decode(errors="replace").splitlines()


def full(folder: Path) -> list[str]:
    """Return what was wrong where files can have 1 KB, and then all they need."""
    stills, out = shot(folder / "in", 3), folder / "out"
    status, said = ran(batch_words(stills, out, "--no-contact", "--jobs", 1), 1024)
    wrong = [f"said {line}" for line in said if "Traceback" in line]
    wrong += [] if status == 1 else [f"full: ended with {status}"]
    wrong += [f"full: {name} is there" for name in digests(out)] if out.exists() else []
    wrong += [f"full: left {path.name}" for path in hidden(out)] if out.exists() else []
    status, _ = ran(batch_words(stills, out, "--no-contact", "--jobs", 1))
    return wrong if status == 0 and len(digests(out)) == 9 else [*wrong, "full: no resume"]


def vanishing(folder: Path) -> list[str]:
    """Return what was wrong where the folder goes while a batch writes into it."""
    stills, out = shot(folder / "gone-in", 12), folder / "gone"
    takes = threading.Timer(4.0, lambda: shutil.rmtree(out, ignore_errors=True))
    takes.start()
    _, said = ran(batch_words(stills, out, "--no-contact", "--jobs", 2))
    takes.join()
    return [f"vanishing: {line}" for line in said if "Traceback" in line]


def changing(folder: Path) -> list[str]:
    """Return what was wrong where stills are cut short while they are read."""
    stills, out, over = shot(folder / "moving", 6), folder / "moved", threading.Event()
    whole = {path: path.read_bytes() for path in stills.glob("*.jpg")}

    def change() -> None:
        while not over.is_set():
            for path, data in whole.items():
                path.write_bytes(data[: len(data) // 3])
                time.sleep(0.01)
                path.write_bytes(data)

    other = threading.Thread(target=change)
    other.start()
    _, said = ran(batch_words(stills, out, "--no-contact", "--jobs", 1))
    over.set()
    other.join()
    return [f"changing: {line}" for line in said if "Traceback" in line]


def named(folder: Path) -> list[str]:
    """Return what was wrong with stills of odd names."""
    stills, source, wrong = folder / "odd", shot(folder / "plain", 1) / "still0000.jpg", []
    stills.mkdir()
    for name in NAMES:
        shutil.copy(source, os.fsencode(stills / name))
    out = folder / "odd-out"
    for command in (
        batch_words(stills, out, "--no-contact", "--jobs", 1),
        words("mood", stills, "--look", "tallow:1/4", "-o", folder / "board", *CAMERA),
    ):
        _, said = ran(command)
        wrong += [f"odd names: {line}" for line in said if "Traceback" in line]
    return wrong


def main() -> int:
    """Try all; 1 if anything was wrong."""
    wrong = []
    with TemporaryDirectory() as name:
        for trial in (full, vanishing, changing, named):
            found = trial(Path(name))
            print(f"{trial.__name__}: {found or 'as it should be'}", flush=True)
            wrong += found
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
