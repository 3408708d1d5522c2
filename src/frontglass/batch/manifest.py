"""The record beside a batch's stills: what was rendered how, so that a batch can go on later."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

import frontglass
from frontglass.errors import FrontglassError
from frontglass.files.whole import write_bytes_whole
from frontglass.units import strength_text

if TYPE_CHECKING:
    from frontglass.batch.job import Job
    from frontglass.pipeline.recipe import Recipe
    from frontglass.pipeline.still_files import RenderedStill

MANIFEST_NAME = "frontglass-batch.json"
FORMAT = 1


class Manifest:
    """Entries by the name of the rendered still; written after every change.

    Parameters
    ----------
    path : Path
        The manifest's file; read if it exists.

    Raises
    ------
    FrontglassError
        If the file is there and is no manifest of a batch.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.stills: dict[str, dict[str, object]] = {}
        try:
            text = path.read_text(encoding="utf-8")
        except (FileNotFoundError, NotADirectoryError):
            return
        except OSError as error:
            raise FrontglassError(f"{path}: cannot be read ({error.strerror}).") from None
        try:
            content = json.loads(text)
            if content["format"] != FORMAT:
                raise ValueError
            self.stills = {str(name): dict(entry) for name, entry in content["stills"].items()}
        except (ValueError, KeyError, TypeError, AttributeError):
            raise FrontglassError(
                f"{path}: is no manifest of this version; move it away to start afresh."
            ) from None

    def is_ours(self, job: Job) -> bool:
        """Whether a batch wrote, or was about to write, this job's file."""
        return job.name in self.stills

    def is_done(self, job: Job, recipe: Recipe) -> bool:
        """Whether the job's file stands there, whole, as this recipe would write it again."""
        entry = self.stills.get(job.name)
        if entry is None or entry["state"] != "done" or not job.out.is_file():
            return False
        expected = {**_made_from(job, recipe), "out_bytes": job.out.stat().st_size}
        # A folder may be moved, or named from elsewhere: its stills are the same.
        del expected["still"]
        return all(entry.get(key) == value for key, value in expected.items())

    def plan(self, jobs: Iterable[Job], recipe_of: Callable[[Path], Recipe]) -> None:
        """Record that these jobs are about to be done: what a killed batch leaves is ours."""
        for job in jobs:
            self.stills[job.name] = {"state": "planned", **_made_from(job, recipe_of(job.still))}
        self._write()

    def record(self, job: Job, recipe: Recipe, outcome: RenderedStill | FrontglassError) -> None:
        """Record how a planned job ended."""
        # What it was made from stays as planned: a still changed meanwhile is to be done again.
        entry = self.stills[job.name]
        if isinstance(outcome, FrontglassError):
            entry |= {"state": "failed", "reason": str(outcome)}
        else:
            entry |= {
                "state": "done",
                "out_bytes": job.out.stat().st_size,
                "camera": asdict(outcome.camera),
                "light_loss_stops": round(recipe.light_loss_stops, 4),
                "notices": list(outcome.notices),
            }
        self._write()

    def _write(self) -> None:
        content = {
            "format": FORMAT,
            "program": f"frontglass {frontglass.__version__}",
            "stills": dict(sorted(self.stills.items())),
        }
        text = json.dumps(content, indent=2, ensure_ascii=False) + "\n"
        write_bytes_whole(self.path, text.encode())


def recipe_digest(recipe: Recipe) -> str:
    """Fingerprint of everything in a recipe that decides the pixels, and of the program's version.

    The words about a look (its summary, what to watch for) do not decide any pixel.
    """
    light_paths = [look.light_path for look in recipe.looks]
    text = f"{frontglass.__version__} {light_paths!r} {replace(recipe, looks=())!r}"
    return hashlib.sha256(text.encode()).hexdigest()


def _made_from(job: Job, recipe: Recipe) -> dict[str, object]:
    """Return what a rendered still depends on."""
    try:
        found = job.still.stat()
    except OSError as error:
        raise FrontglassError(f"{job.still}: cannot be read ({error.strerror}).") from None
    return {
        "still": str(job.still),
        "still_bytes": found.st_size,
        "still_mtime_ns": found.st_mtime_ns,
        "looks": [f"{look.name}:{strength_text(look.strength)}" for look in recipe.looks],
        "recipe_sha256": recipe_digest(recipe),
    }
