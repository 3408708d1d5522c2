"""How many stills at a time there is memory for."""

from __future__ import annotations

import contextlib
import heapq
import re
from collections.abc import Iterable
from pathlib import Path
from typing import NamedTuple

from frontglass.elements import LightPath
from frontglass.files.size import claimed_size
from frontglass.threads import available_cores

PICTURES, PICTURES_BOTH = 7, 10
"""Float pictures that a still takes at its peak beside the program, and where nets and glows go
through one filter. Of three stills one after the other (nets are kept from the second on) 2.2 were
measured for a glow, 3.9 for grease on floats, 4.7 for a net, 5.7 for grease and then a net, 7.9 for
a net with a glow (tests/benchmarks/memory.py). What is added is a margin: for what a gain map tells
of a still, and for another look after a net with a glow."""
BYTES_PER_PIXEL = 12
GREEN = 1
PROGRAM_BYTES = 400e6
"""What a process takes before it has read anything, measured."""
KEPT_SHARE = 0.85
"""Of the memory that is free, so much is taken."""
LOOKED_AT = 4
"""Of the files of each ending the largest are asked for their size: reading all takes too long."""


class Jobs(NamedTuple):
    """How many stills are worked on at a time, and what is to be said of it."""

    at_once: int
    said: str = ""


def pictures_taken(looks: Iterable[LightPath]) -> int:
    """Return how many float pictures a still takes that light passes through any of these."""
    for look in looks:
        is_round = all(element.is_round for element in look.light_path)
        if not is_round and any(element.scatter(GREEN) for element in look.light_path):
            return PICTURES_BOTH
    return PICTURES


def jobs_that_fit(
    stills: Iterable[Path], most: int | None = None, pictures: int = PICTURES
) -> Jobs:
    """Return how many stills at a time there are cores and memory for.

    Parameters
    ----------
    stills : iterable of Path
        The stills.
    most : int or None
        As many as that at most; None is one for each core.
    pictures : int
        Float pictures that one takes, as `pictures_taken` says.
    """
    cores = available_cores() if most is None else most
    free = free_bytes()
    pixels = _largest(stills)
    if free is None or pixels == 0:
        return Jobs(cores)
    one = PROGRAM_BYTES + pictures * BYTES_PER_PIXEL * pixels
    count = max(1, min(cores, int(KEPT_SHARE * free / one)))
    if count == cores:
        return Jobs(count)
    return Jobs(
        count,
        f"{count} at a time, not one for each of {cores} cores: {free / 1e9:.1f} GB are free, and a"
        f" still of {pixels / 1e6:.0f} megapixels takes {one / 1e9:.1f} (--jobs N takes N).",
    )


def _largest(stills: Iterable[Path]) -> int:
    by_ending: dict[str, list[tuple[int, str]]] = {}
    for still in stills:
        with contextlib.suppress(OSError):
            entry = (still.stat().st_size, str(still))
            by_ending.setdefault(still.suffix.lower(), []).append(entry)
    asked = [entry for found in by_ending.values() for entry in heapq.nlargest(LOOKED_AT, found)]
    sizes = [claimed_size(Path(name)) for _, name in asked]
    return max((size[0] * size[1] for size in sizes if size is not None), default=0)


def free_bytes() -> float | None:
    """Memory that this process may still take [byte]; None where the system does not tell."""
    found = [
        value
        for value in (_of_the_machine(), _of_the_group(), _of_the_process())
        if value is not None
    ]
    return min(found) if found else None


def _of_the_machine() -> float | None:
    try:
        text = Path("/proc/meminfo").read_text(encoding="ascii")
    except OSError:
        return None
    match = re.search(r"^MemAvailable:\s+(\d+) kB", text, re.MULTILINE)
    return 1024.0 * int(match[1]) if match else None


def _of_the_group() -> float | None:
    """Return what a container leaves (control groups, version 2)."""
    folder = Path("/sys/fs/cgroup")
    try:
        most, used = (float((folder / f"memory.{n}").read_text()) for n in ("max", "current"))
    except (OSError, ValueError):  # "max" is no limit
        return None
    return max(0.0, most - used)


def _of_the_process() -> float | None:
    try:
        import resource
    except ImportError:
        return None
    soft, _ = resource.getrlimit(resource.RLIMIT_AS)
    return None if soft == resource.RLIM_INFINITY else float(soft)
