"""Real stills, and damaged copies of them: each must end in a picture or in one line.

    python tests/benchmarks/damaged_stills.py FOLDER [COPIES]

FOLDER holds stills of phones and cameras (those that came with luvix, gainmap-audit and pillow-heif
as sources, in this project's notes). They are read whole, and then that many copies of the small
ones: cut short, with bytes flipped, with lengths that lie. All in a process with 2 GiB; what takes
more than 10 s, ends the process, or ends in anything but a picture or a line, is told.
"""

from __future__ import annotations

import resource
import sys
import time
from collections import Counter
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

MEMORY = 2 << 30
LONGEST_S = 10.0
SMALL = 600_000
ENDINGS = {".heic", ".heif", ".hif", ".avif", ".jpg", ".jpeg", ".dng", ".dpx"}


def reading(pipe: Connection) -> None:
    """Read what is sent, and answer what became of it."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    import frontglass as fg

    while True:
        path = pipe.recv()
        start = time.monotonic()
        try:
            picture: fg.Picture | None = fg.read_picture(path)
            assert picture is not None
            said = f"picture: {picture.width_px} x {picture.height_px}"
            said += (
                f"; gain map {picture.held_stops:.1f} stops" if picture.beyond is not None else ""
            )
            said += "; depth" if picture.own_depth is not None else ""
            said += "".join(f"; {note}" for note in picture.notices)
        except fg.FrontglassError as error:
            said = f"line: {error}" if "\n" not in str(error) else f"LINES: {error}"
        except BaseException as error:
            said = f"ESCAPED {type(error).__name__}: {error}"
        picture = None
        pipe.send((said, time.monotonic() - start))


def damaged(data: bytes, rng: np.random.Generator) -> bytes:
    """Return a copy of a file with damage of one kind or two."""
    out = bytearray(data)
    head = min(len(out), 6000)
    kind = rng.integers(4)
    if kind == 0:
        return bytes(out[: rng.integers(8, len(out))])
    for _ in range(int(rng.integers(1, 12))):
        place = int(rng.integers(head if kind < 3 else len(out)))
        if kind == 1:
            out[place] ^= 1 << int(rng.integers(8))
        elif kind == 2:
            lies = (b"\xff\xff\xff\xff", b"\0\0\0\0", b"\0\0\xea\x60", b"\x7f\xff\xff\xff")
            out[place : place + 4] = lies[int(rng.integers(4))]
        else:
            out[place] = int(rng.integers(256))
    return bytes(out)


class Reader:
    """A process that reads stills, and is made anew when it has ended."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=reading, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()

    def read(self, path: Path) -> tuple[str, float]:
        """Return what became of a file, and how long it took [s]."""
        self._pipe.send(str(path))
        try:
            if self._pipe.poll(6 * LONGEST_S):
                said, took = self._pipe.recv()
                return str(said), float(took)
            self._process.kill()
            said = "ENDLESS"
        except EOFError:
            self._process.join()
            said = f"CRASHED with {self._process.exitcode}"
        self._start()
        return said, 0.0


def main(folder: Path, copies: int) -> int:
    """Read all, print what real files gave and what went wrong; 1 if anything did."""
    files = sorted(path for path in folder.rglob("*") if path.suffix.lower() in ENDINGS)
    files = [path for path in files if path.stat().st_size]
    reader, wrong = Reader(), 0
    for path in files:
        said, took = reader.read(path)
        print(f"{path.name:38} {took:5.1f} s  {said.replace(str(path), '')}")
        wrong += not said.startswith(("picture", "line"))
    small = [path for path in files if path.stat().st_size < SMALL]
    rng, counts, slowest = np.random.default_rng(16), Counter[str](), 0.0
    scratch = folder / "damaged.bin"
    for number in range(copies):
        source = small[number % len(small)]
        scratch.write_bytes(damaged(source.read_bytes(), rng))
        said, took = reader.read(scratch)
        kind, slowest = said.split(":")[0], max(slowest, took)
        counts[kind] += 1
        if kind not in {"picture", "line"} or took > LONGEST_S:
            wrong += 1
            kept = folder / f"wrong-{number}{source.suffix}.bin"
            kept.write_bytes(scratch.read_bytes())
            print(f"{number} of {source.name}: {said} ({took:.1f} s), kept as {kept.name}")
    scratch.unlink(missing_ok=True)
    print(f"{copies} damaged copies: {dict(counts)}, slowest {slowest:.1f} s, wrong {wrong}")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 2000))
