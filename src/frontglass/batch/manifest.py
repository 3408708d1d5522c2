"""The record beside a batch's pictures: what was rendered how, so that a batch can go on later."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, replace
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING

import frontglass
from frontglass.choices import Damage
from frontglass.elements.plate import RETURNED, Coating
from frontglass.errors import FrontglassError
from frontglass.files.lock import locked
from frontglass.files.whole import file_digest, half_written, replace_whole
from frontglass.units import strength_text

if TYPE_CHECKING:
    from frontglass.batch.work import Job, Made
    from frontglass.pipeline.recipe import Recipe

MANIFEST_NAME = "frontglass-batch.json"
CONTACT_NAME = "contact.pdf"
FORMAT = 2
AS_IT_COMES = {"tilt_deg": (0.0, 0.0), "coating": Coating.NONE, "returns": RETURNED}
QUICK_S, PAUSES = 0.05, 9
"""What takes longer to write is written after so many times as long: thousands of pictures would
else take most of their time for their record."""

Entry = dict[str, object]
JobRecipe = Callable[["Job"], "Recipe"]


class Standing(Enum):
    """How the file stands where a picture is to go."""

    FREE = "nothing is there"
    DONE = "it is there, as it would be made again"
    OURS = "an earlier run made it, of the still as it was"
    UNSURE = "a run was broken off while it made it, or it is somebody's"
    OTHER_OPTIONS = "an earlier run made it with other options"
    OTHER_STILL = "an earlier run made it of another still"
    CHANGED = "it was changed after an earlier run made it"
    STRANGER = "no batch made it"


class Manifest:
    """Entries by the name of the picture; written after every change, or soon if it is long.

    It is read if the file exists; one that is no manifest of a batch raises FrontglassError.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.pictures: dict[str, Entry] = {}
        self.contact: Entry = {}
        self._planned: dict[str, Entry] = {}
        self._unwritten: dict[str, Entry] = {}
        self._next_s = 0.0
        self._read()

    def _read(self) -> None:
        path = self.path
        try:
            data = path.read_bytes()
        except (FileNotFoundError, NotADirectoryError):
            return
        except OSError as error:
            raise FrontglassError(f"{path}: cannot be read ({error.strerror}).") from None
        try:
            content = json.loads(data.decode())
            if content["format"] != FORMAT:
                raise ValueError
            self.pictures = {str(name): dict(entry) for name, entry in content["pictures"].items()}
            self.contact = dict(content.get("contact", {}))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            raise FrontglassError(
                f"{path}: is no manifest of this version; move it away to start afresh."
            ) from None

    def standing(self, job: Job, recipe: Recipe, typed: object = None) -> Standing:
        """Return how the file stands where a job's picture is to go.

        `typed` is what of the recipe somebody typed; None is all of it.
        """
        entry = self.pictures.get(job.name)
        if not os.path.lexists(job.out):
            return Standing.FREE
        if entry is None:
            return Standing.STRANGER
        if not is_as_made(job.out, entry):
            # What a killed run, or a worker that died, wrote last may stand over what an earlier
            # one did.
            is_broken_off = entry.get("state") in {"planned", "failed"}
            return Standing.UNSURE if is_broken_off else Standing.CHANGED
        return self._of_ours(entry, made_from(job, recipe, typed), job.still)

    @staticmethod
    def _of_ours(entry: Entry, made: Entry, still: Path) -> Standing:
        """Return how a file stands that is as an earlier run made it."""
        is_same_recipe = entry.get("recipe_sha256") == made["recipe_sha256"]
        # Where nothing else was typed, a scene or the program says something else by now.
        if not is_same_recipe and entry.get("typed_sha256") != made["typed_sha256"]:
            return Standing.OTHER_OPTIONS
        # A folder may be moved, or named from elsewhere: its stills are the same.
        is_same_file = all(entry.get(key) == made[key] for key in ("still_bytes", "still_mtime_ns"))
        if not is_same_file:
            is_named_so = os.path.abspath(str(entry.get("still"))) == os.path.abspath(still)
            return Standing.OURS if is_named_so else Standing.OTHER_STILL
        is_done = entry.get("state") == "done" and is_same_recipe
        return Standing.DONE if is_done else Standing.OURS

    def digest_of(self, job: Job) -> str:
        """Fingerprint of the picture that an earlier run made there; "" if none did."""
        return str(self.pictures.get(job.name, {}).get("out_sha256", ""))

    def plan(self, jobs: Iterable[Job], recipe_of: JobRecipe, typed: object = None) -> None:
        """Record that these jobs are about to be done: what a killed batch leaves is ours."""
        planned = {job.name: made_from(job, recipe_of(job), typed) for job in jobs}
        with self._changing():
            for name, made in planned.items():
                earlier = self.pictures.get(name, {})
                kept = {key: value for key, value in earlier.items() if key.startswith("out_")}
                self.pictures[name] = {"state": "planned", **made, **kept}
        self._planned = {name: self.pictures[name] for name in planned}

    def record(
        self, job: Job, recipe: Recipe, outcome: Made | FrontglassError
    ) -> Made | FrontglassError:
        """Record how a planned job ended, and return that: what was made may be gone again."""
        # What it was made from stays as planned: a still changed meanwhile is to be done again.
        entry = self._planned[job.name]
        if not isinstance(outcome, FrontglassError):
            try:
                entry |= _size_and_time(job.out)
            except OSError:
                outcome = FrontglassError(f"{job.out}: was made, and is gone; make it again.")
        if isinstance(outcome, FrontglassError):
            entry |= {"state": "failed", "reason": str(outcome)}
        else:
            entry.pop("reason", None)
            entry |= {
                "state": "done",
                "out_sha256": outcome.digest,
                "camera": asdict(outcome.rendered.camera),
                "light_loss_stops": round(recipe.light_loss_stops, 4),
                "notices": list(outcome.rendered.notices),
            }
        self._unwritten[job.name] = entry
        if time.monotonic() >= self._next_s:
            self.flush()
        return outcome

    def flush(self) -> None:
        """Write what is recorded and not written yet; a run that ends must do so."""
        if not self._unwritten:
            return
        began = time.monotonic()
        with self._changing():
            for name, entry in self._unwritten.items():
                there = self.pictures.get(name, {})
                is_of_others = there.get("recipe_sha256") != entry["recipe_sha256"]
                # Another run has made its own there meanwhile: that this one failed hides nothing.
                if entry["state"] == "done" or there.get("state") != "done" or not is_of_others:
                    self.pictures[name] = entry
        self._unwritten = {}
        took_s = time.monotonic() - began
        # A long record takes a while to write, and is not written for every picture.
        self._next_s = time.monotonic() + (PAUSES * took_s if took_s > QUICK_S else 0.0)

    def record_contact(self, contact: Entry) -> None:
        """Record the contact sheet."""
        with self._changing():
            self.contact = contact

    @contextlib.contextmanager
    def _changing(self) -> Iterator[None]:
        """Read the record, let it be changed, and write it, while no other batch does."""
        with locked(self.path):
            self._read()
            yield
            self._write()

    def clear_away(self) -> None:
        """Take away files that runs which died have left half written; none may be running."""
        named = map(self.path.parent.joinpath, (*self.pictures, self.path.name, CONTACT_NAME))
        for path in half_written(named):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)

    def _write(self) -> None:
        content = {
            "format": FORMAT,
            "program": f"frontglass {frontglass.__version__}",
            "pictures": dict(sorted(self.pictures.items())),
            "contact": self.contact,
        }
        text = json.dumps(content, indent=2, ensure_ascii=False) + "\n"
        # A name that is not UTF-8 holds lone surrogates, which JSON reads back from their escapes.
        data = text.encode(errors="backslashreplace")
        replace_whole({self.path: lambda beside: Path(beside).write_bytes(data)})


def is_as_made(path: Path, entry: Entry) -> bool:
    """Whether a file is byte for byte what the entry says was made."""
    if not path.is_file() or path.stat().st_size != entry.get("out_bytes"):
        return False
    # Untouched since: no need to read it. A copied folder has other times, and is read.
    if path.stat().st_mtime_ns == entry.get("out_mtime_ns"):
        return True
    return file_digest(path) == entry.get("out_sha256")


def made_entry(path: Path) -> Entry:
    """Return what tells later whether a file is still as it was made."""
    return {"out_sha256": file_digest(path), **_size_and_time(path)}


def _size_and_time(path: Path) -> Entry:
    found = path.stat()
    return {"out_bytes": found.st_size, "out_mtime_ns": found.st_mtime_ns}


def made_from(job: Job, recipe: Recipe, typed: object = None) -> Entry:
    """Return what a picture depends on."""
    told: Entry = {"still_bytes": None, "still_mtime_ns": None}
    # Gone, or a link to nowhere: reading it says so, and the rest goes on.
    with contextlib.suppress(OSError):
        found = job.still.stat()
        told = {"still_bytes": found.st_size, "still_mtime_ns": found.st_mtime_ns}
    return {
        "still": str(job.still),
        **told,
        "looks": [f"{look.name}:{strength_text(look.strength)}" for look in recipe.looks],
        "recipe_sha256": recipe_digest(recipe),
        "typed_sha256": typed_digest(recipe, replace(recipe, looks=()) if typed is None else typed),
    }


def recipe_digest(recipe: Recipe) -> str:
    """Fingerprint of everything in a recipe that decides the pixels, and of the program's version.

    The words about a look (its summary, what to watch for) do not decide any pixel.
    """
    light_paths = [look.light_path for look in recipe.looks]
    # Without what decides only whether a file is read.
    pixels = replace(recipe, looks=(), damage=Damage.NOTE, max_megapixels=None)
    text = f"{frontglass.__version__} {light_paths!r} {pixels!r}"
    return hashlib.sha256(text.encode()).hexdigest()


def typed_digest(recipe: Recipe, typed: object) -> str:
    """Fingerprint of what somebody typed: options and looks, whatever a scene adds to them.

    How glass stands is among the options, or the scene's.
    """
    light_paths = [
        [part.without_stray_light().with_glass(**AS_IT_COMES) for part in look.light_path]
        for look in recipe.looks
    ]
    return hashlib.sha256(f"{light_paths!r} {typed!r}".encode()).hexdigest()
