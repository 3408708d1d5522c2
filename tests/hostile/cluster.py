"""A batch on worker processes of a scheduler, which are killed all the while.

    python -m tests.hostile.cluster [STILLS] [WORKERS] [SECONDS BETWEEN KILLS]

A scheduler and its workers are started here. Every so often a worker is killed, and made anew by
its nanny; once the scheduler is killed and started again. What is there in the end must be all that
a single run makes, byte for byte. Then throughput with 1, 2, 4 and 8 workers, nobody killed.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tests.hostile.kills import children_of
from tests.hostile.stills import LOOKS, batch_words, digests, environment, shot, states

PORT = 18786
ADDRESS = f"tcp://127.0.0.1:{PORT}"


def started(*said: object) -> subprocess.Popen:
    """Start a program of dask."""
    nowhere = subprocess.DEVNULL
    env = {**environment(), "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1"}
    return subprocess.Popen(
        [sys.executable, *map(str, said)], env=env, stdout=nowhere, stderr=nowhere
    )


def scheduler() -> subprocess.Popen:
    """Start the scheduler."""
    return started("-m", "distributed.cli.dask_scheduler", "--port", PORT, "--no-dashboard")


def workers(count: int, scratch: Path) -> subprocess.Popen:
    """Start workers, each with a nanny."""
    return started(
        *("-m", "distributed.cli.dask_worker", ADDRESS, "--nworkers", count, "--nthreads", 1),
        *("--no-dashboard", "--memory-limit", 0, "--local-directory", scratch),
    )


class Killer(threading.Thread):
    """Kills one of the workers every so often, and the scheduler once."""

    def __init__(self, count: int, scratch: Path, pause_s: float) -> None:
        super().__init__(daemon=True)
        self.count, self.scratch, self.pause_s = count, scratch, pause_s
        self.head = scheduler()
        self.nannies = workers(count, scratch)
        self.killed, self.is_over = 0, threading.Event()

    def run(self) -> None:
        rng = np.random.default_rng(18)
        began = time.monotonic()
        while not self.is_over.wait(self.pause_s):
            there = children_of(self.nannies.pid)
            if there:
                os.kill(there[int(rng.integers(len(there)))], signal.SIGKILL)
                self.killed += 1
            if time.monotonic() - began > 6 * self.pause_s and self.head.poll() is None:
                self.head.kill()
                self.head.wait()
                self.head = scheduler()
                began = float("inf")
            if self.nannies.poll() is not None:  # They end with their scheduler.
                self.nannies = workers(self.count, self.scratch)


def killed_run(stills: Path, folder: Path, count: int, pause_s: float) -> int:
    """Run a batch while workers die; return how much was wrong."""
    out = folder / "cluster"
    killer = Killer(count, folder / "scratch", pause_s)
    killer.start()
    command = batch_words(stills, out, "--cluster", ADDRESS, "--no-contact")
    runs, wrong = 0, 0
    while runs < 8:
        ended = subprocess.run(
            command, env=environment(), capture_output=True, check=False, timeout=3600
        )
        runs += 1
        errors = [line for line in ended.stderr.decode().splitlines() if "error" in line]
        print(f"run {runs}: {ended.stdout.decode().strip()}; {errors[:3]}", flush=True)
        if ended.returncode == 0:
            break
    killer.is_over.set()
    killer.join()
    for process in (killer.nannies, killer.head):
        process.terminate()
        process.wait()
    single = folder / "single"
    subprocess.run(
        batch_words(stills, single, "--no-contact"),
        env=environment(), capture_output=True, check=True,
    )  # fmt: skip
    whole, there = digests(single), digests(out)
    wrong += whole != there
    wrong += set(states(out).values()) != {"done"} or set(states(out)) != set(whole)
    print(f"{killer.killed} workers killed, the scheduler once, {runs} runs; {len(there)} of")
    print(f"{len(whole)} pictures there, {'identical' if whole == there else 'NOT identical'}")
    return wrong


def throughput(stills: Path, folder: Path) -> None:
    """Print how long a batch takes with so many workers, beside a single process."""
    pictures = len(list(stills.glob("*.jpg"))) * len(LOOKS)
    for said in (
        ("--jobs", 1),
        ("--jobs", 2),
        *(("--cluster", f"local:{n}") for n in (1, 2, 4, 8)),
    ):
        out = folder / "-".join(map(str, said)).replace(":", "")
        began, cpu = time.monotonic(), os.times()
        subprocess.run(
            batch_words(stills, out, *said, "--no-contact"),
            env=environment(), capture_output=True, check=True,
        )  # fmt: skip
        took, now = time.monotonic() - began, os.times()
        spent = now.children_user + now.children_system - cpu.children_user - cpu.children_system
        print(f"{said}: {pictures / took:.1f} pictures/s, {spent / pictures:.2f} CPU s each")


def main(count: int, at_once: int, pause_s: float) -> int:
    """Try both; 1 if anything was wrong."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        wrong = killed_run(shot(folder / "in", count), folder, at_once, pause_s)
        throughput(shot(folder / "few", 24, width=640, height=400), folder)
    return 1 if wrong else 0


if __name__ == "__main__":
    given = sys.argv[1:]
    raise SystemExit(
        main(
            int(given[0]) if given else 500,
            int(given[1]) if len(given) > 1 else 4,
            float(given[2]) if len(given) > 2 else 5.0,
        )
    )
