"""Runs that are killed and resumed: nothing partial, nothing lost, no orphan, nothing left over.

    python -m tests.hostile.kills [COUNT] [SEED]

The parent, a worker or the whole group of `batch --jobs 2`, and of `mood`, `ladder` and
`scene`, is sent SIGKILL, SIGTERM or SIGINT at some moment, and the run is done again.
"""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from PIL import Image

from frontglass.errors import FrontglassError
from frontglass.scene.reading import read_scene
from tests.hostile.stills import batch_words, digests, environment, hidden, shot, states, words

SIGNALS = (signal.SIGKILL, signal.SIGTERM, signal.SIGINT)
ORPHAN_S = 5.0


def children_of(parent: int) -> list[int]:
    """Return the processes that a process has started, and those that they have."""
    found = []
    for task in Path(f"/proc/{parent}/task").glob("*/children"):
        with contextlib.suppress(OSError):
            for child in map(int, task.read_text().split()):
                found += [child, *children_of(child)]
    return found


def is_alive(process: int) -> bool:
    """Whether a process is there and is not merely waiting to be counted."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] not in "ZX"
    except OSError:
        return False


def killed(command: list[str], target: str, sent: signal.Signals, after_s: float) -> list[str]:
    """Run a command, kill what is named after a while, and say what was wrong with its end."""
    process = subprocess.Popen(
        command,
        env=environment(),
        start_new_session=True,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        # What a shell runs in the background ignores interrupts, and so would what it starts.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    time.sleep(after_s)
    children = children_of(process.pid)
    with contextlib.suppress(OSError):
        if target == "group":
            os.killpg(process.pid, sent)
        else:
            aimed = children[-1] if target == "worker" and children else process.pid
            os.kill(aimed, sent)
    wrong = []
    try:
        _, said = process.communicate(timeout=120)
        if b"Traceback" in said:
            wrong.append("traceback: " + said.decode(errors="replace")[-400:])
    except subprocess.TimeoutExpired:
        os.killpg(process.pid, signal.SIGKILL)
        wrong.append("did not end within 120 s")
    until = time.monotonic() + ORPHAN_S
    while any(map(is_alive, children)) and time.monotonic() < until:
        time.sleep(0.1)
    orphans = [child for child in children if is_alive(child)]
    if orphans:
        wrong.append(f"{len(orphans)} orphans after {ORPHAN_S:g} s")
        for child in orphans:
            os.kill(child, signal.SIGKILL)
    return wrong


def batch_trial(stills: Path, out: Path, whole: dict[str, str], aim: tuple) -> list[str]:
    """Kill a batch, look at what is there, resume it and compare with a run that was left alone."""
    command = batch_words(stills, out, "--jobs", 2, "--no-contact")
    wrong = killed(command, *aim)
    there = digests(out)
    wrong += [f"partial: {name}" for name, digest in there.items() if whole.get(name) != digest]
    done = {name for name, state in states(out).items() if state == "done"}
    wrong += [f"recorded and not there: {name}" for name in done - set(there)]
    ended = subprocess.run(command, env=environment(), capture_output=True, check=False)
    if ended.returncode:
        wrong.append(f"resume ended with {ended.returncode}: {ended.stderr[-300:]!r}")
    if digests(out) != whole:
        wrong.append("the resumed run differs from a single one")
    wrong += [f"left over: {path.name}" for path in hidden(out)]
    return wrong


def one_file_trial(command: list[str], out: Path, aim: tuple, *again: str) -> list[str]:
    """Kill a command that makes one file: it is whole or not there, and can be made again."""
    wrong = killed(command, *aim)
    if out.exists() and not is_whole(out):
        wrong.append(f"partial: {out.name}")
    ended = subprocess.run([*command, *again], env=environment(), capture_output=True, check=False)
    if ended.returncode or not is_whole(out):
        wrong.append(f"again ended with {ended.returncode}: {ended.stderr[-300:]!r}")
    wrong += [f"left over: {path.name}" for path in hidden(out.parent)]
    return wrong


def is_whole(path: Path) -> bool:
    """Whether a sheet, a page or a scene is all there."""
    if path.suffix == ".html":
        return path.read_bytes().rstrip().endswith(b"</html>")
    try:
        if path.suffix == ".toml":
            return len(read_scene(path).stills) > 0
        with Image.open(path) as sheet:
            sheet.load()
    except (OSError, FrontglassError):
        return False
    return True


def trial(kind: str, folder: Path, number: int, whole: dict[str, str], aim: tuple) -> list[str]:
    """Kill a command of some kind, and return what was wrong with it and with its resume."""
    stills, place = folder / "in", folder / f"out{number}"
    if kind == "batch":
        return batch_trial(stills, place, whole, aim)
    place.mkdir()
    still = next(stills.glob("*.jpg"))
    if kind == "ladder":
        command = words(kind, still, "--look", "slate-roof", "-o", place / "ladder.jpg")
        return one_file_trial(command, place / "ladder.jpg", aim, "--overwrite")
    if kind == "mood":
        command = words(kind, still, "--look", "tallow:1/4", "-o", place)
        return one_file_trial(command, place / "board.html", aim, "--overwrite")
    out, (target, sent, after_s) = place / "scene.toml", aim
    # It is over sooner than the others.
    return one_file_trial(words("scene", stills, "--scene", out), out, (target, sent, after_s / 2))


def main(count: int, seed: int) -> int:
    """Kill so many runs, and print what was wrong; 1 if anything was."""
    rng, wrong, tried = np.random.default_rng(seed), 0, Counter[str]()
    with TemporaryDirectory() as folder:
        stills = shot(Path(folder, "in"), 6)
        subprocess.run(
            batch_words(stills, Path(folder, "whole"), "--jobs", 1, "--no-contact"),
            env=environment(), capture_output=True, check=True,
        )  # fmt: skip
        whole = digests(Path(folder, "whole"))
        for number in range(count):
            sent = SIGNALS[int(rng.integers(3))]
            target = ("parent", "worker", "group")[int(rng.integers(3))]
            aim = (target, sent, float(rng.uniform(0.3, 6.0)))
            kind = ("batch", "ladder", "batch", "mood", "scene")[number % 5]
            found = trial(kind, Path(folder), number, whole, aim)
            tried[f"{kind} {target} {sent.name}"] += 1
            for text in found:
                print(f"{number}: {kind}, {target} {sent.name} after {aim[2]:.1f} s: {text}")
            wrong += bool(found)
            sys.stdout.flush()
    print(dict(sorted(tried.items())))
    print(f"{count} killed with seed {seed}, wrong {wrong}")
    return 1 if wrong else 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    raise SystemExit(main(*(numbers + [200, 18][len(numbers) :])))
