"""A process with little memory and time that reads what it is told, and what became of that."""

from __future__ import annotations

import contextlib
import resource
import time
from collections.abc import Callable
from dataclasses import replace
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

FINDS = Path(__file__).parent / "finds"
"""Where files are kept that something went wrong with, named by what they were read as."""
MEMORY = 2 << 30
LONGEST_S = 20.0


def as_picture(path: Path) -> None:
    """Read a still, take it through its own format and a TIFF, and look for its camera."""
    import frontglass as fg

    picture = fg.read_picture(path, non_finite="mend")
    with TemporaryDirectory() as folder:
        for name in (f"again{path.suffix}", "again.tif"):
            with contextlib.suppress(fg.FrontglassError):
                fg.write_picture(Path(folder, name), picture)


def as_distance(path: Path) -> None:
    """Read a map of distances."""
    from frontglass.files.distance import read_distance

    read_distance(path, scale_m=None if path.suffix in {".npy", ".exr"} else 0.001)


def as_look(path: Path) -> None:
    """Read a look and render with it; what it makes must be finite."""
    import numpy as np

    import frontglass as fg

    look = fg.read_look(path)
    light = np.full((24, 33, 3), 0.2, np.float32)
    light[12, 16] = 1e4
    metres = np.full((24, 33), 8, np.float32)
    picture = replace(fg.Picture.from_array(light), distance_m=metres)
    camera = fg.Camera(focal_length_mm=35, sensor_width_mm=24.9)
    seen = fg.render(picture, (look,), camera=camera).radiance
    if not (np.isfinite(seen).all() and seen.min() >= 0):
        raise AssertionError("light that is no light")


def as_scene(path: Path) -> None:
    """Read a scene."""
    from frontglass.scene.reading import read_scene

    read_scene(path)


def as_answers(path: Path) -> None:
    """Read answers to a board."""
    from frontglass.sheets.answers import Board, BoardFrame, read_answers

    names = len(BoardFrame.__dataclass_fields__)
    frames = tuple(BoardFrame(*(name,) * names) for name in ("1A", "1B", "2B"))
    read_answers(path, Board("1a2b3c4d", "Terminal", frames))


def as_manifest(path: Path) -> None:
    """Read a batch's record."""
    from frontglass.batch.manifest import Manifest

    Manifest(path)


READ: dict[str, Callable[[Path], None]] = {
    "picture": as_picture,
    "distance": as_distance,
    "look": as_look,
    "scene": as_scene,
    "answers": as_answers,
    "manifest": as_manifest,
}


def outcome(kind: str, path: Path) -> str:
    """Return what reading a file comes to: read, a line, or what must not be."""
    from frontglass.errors import FrontglassError

    try:
        READ[kind](path)
    except FrontglassError as error:
        return f"line: {error}" if "\n" not in str(error) else f"LINES: {error}"
    except Exception as error:
        return f"ESCAPED {type(error).__name__}: {error}"
    return "read"


def _reading(pipe: Connection, memory: int, noise: str) -> None:
    import os

    handle = os.open(noise, os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    while True:
        kind, path = pipe.recv()
        start = time.process_time()
        said = outcome(kind, Path(path))
        pipe.send((said, time.process_time() - start))


class Reader:
    """A process that reads files, and is made anew when it has ended."""

    def __init__(self, noise: Path, memory: int = MEMORY) -> None:
        self._noise, self._memory = noise, memory
        self._start()

    def _start(self) -> None:
        context = get_context("spawn")
        self._pipe, theirs = context.Pipe()
        arguments: tuple[Any, ...] = (theirs, self._memory, str(self._noise))
        self._process = context.Process(target=_reading, args=arguments, daemon=True)
        self._process.start()
        theirs.close()

    def read(self, kind: str, path: Path) -> tuple[str, float]:
        """Return what became of a file, and how much of a processor it took [s]."""
        self._pipe.send((kind, str(path)))
        try:
            # The first one waits for the imports, and others run on this machine too.
            if self._pipe.poll(9 * LONGEST_S):
                said, took = self._pipe.recv()
                return (str(said), float(took))
            self._process.kill()
            said = "ENDLESS"
        except EOFError:
            self._process.join()
            said = f"CRASHED with {self._process.exitcode}"
        self._start()
        return said, 0.0

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()
