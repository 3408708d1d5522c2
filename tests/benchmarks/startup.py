"""Start-up: ``frontglass --help`` against ``import typer`` alone, and against Python alone.

Each is the median of several runs, taken in turns so that a busy machine hits them all.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

RUNS = 15
COMMANDS = {
    "python": [sys.executable, "-c", "pass"],
    "import typer": [sys.executable, "-c", "import typer"],
    "frontglass --help": [sys.executable, "-m", "frontglass", "--help"],
}


def seconds(command: list[str]) -> float:
    """Wall time of a command [s]."""
    start = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=True)
    return time.perf_counter() - start


times: dict[str, list[float]] = {name: [] for name in COMMANDS}
for _ in range(RUNS):
    for name, command in COMMANDS.items():
        times[name].append(seconds(command))
medians = {name: statistics.median(taken) for name, taken in times.items()}
for name, median in medians.items():
    ratio = median / medians["import typer"]
    print(f"{name:20} {1000 * median:6.1f} ms  {ratio:5.2f} x import typer")
