"""Sheets, boards, batches and lists that the page has made: each by its own command."""

from __future__ import annotations

import contextlib
import os
import shlex
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route

from frontglass.errors import ParameterError
from frontglass.live.asked import asked_of, number_in, text_in
from frontglass.live.kept import SceneKeeper

RECORD, CONTACT = "frontglass-batch.json", "contact.pdf"
MOST_FILES = 300
Run = Callable[[Sequence[str]], tuple[int, str]]


@dataclass(kw_only=True)
class Made:
    """Something that is made, or was.

    Parameters
    ----------
    name : str
        What it is.
    words : list of str
        The command that makes it.
    place : Path
        The file or folder it goes to.
    state : "working", "done" or "failed"
        How it stands.
    said : str
        What went wrong, or what was left out.
    """

    name: str
    words: list[str]
    place: Path
    state: str = "working"
    said: str = ""
    files: list[Path] = field(default_factory=list)

    def told(self, number: int) -> dict[str, Any]:
        """Return what the page is told of it."""
        folder = self.place if self.place.is_dir() else self.place.parent
        names = [file.relative_to(folder).as_posix() for file in self.files]
        return {
            "number": number,
            "name": self.name,
            "state": self.state,
            "said": self.said,
            "place": str(self.place),
            "command": shlex.join(self.words),
            "files": names,
        }


class Making:
    """Has things made, one at a time, beside the scene.

    Parameters
    ----------
    stills : sequence of Path
        The stills of the page.
    keeper : SceneKeeper
        Of the scene: what is kept there is what is made.
    camera_words : sequence of str
        Options of the lens that the page was started with.
    run : callable, optional
        Runs a command without its first word; returns how it ended and what it said.
    """

    names = ("sheet", "board", "pictures", "list")

    def __init__(
        self,
        stills: Sequence[Path],
        keeper: SceneKeeper,
        camera_words: Sequence[str] = (),
        run: Run | None = None,
    ) -> None:
        self._stills, self._keeper = tuple(stills), keeper
        self._camera_words, self._run = tuple(camera_words), run or self._beside
        self._made: list[Made] = []
        self._process: subprocess.Popen[str] | None = None

    def routes(self) -> list[Route]:
        """Return every address there is."""
        return [
            Route("/make", self.make, methods=["POST"]),
            Route("/made", self.made, methods=["GET"]),
            Route("/made/{job:int}/{file:int}", self.file, methods=["GET"]),
        ]

    async def make(self, request: Request) -> Response:
        """Begin to make something."""
        asked = await asked_of(request)
        name, number = text_in(asked, "name"), number_in(asked, "still")
        if name not in self.names:
            raise ParameterError("name", f"one of {', '.join(self.names)}", name)
        if not 0 <= number < len(self._stills):
            raise ParameterError("still", f"from 0 to {len(self._stills) - 1}", number)
        if any(one.state == "working" for one in self._made):
            raise ParameterError("what is made", "done before the next one", name)
        job = self._planned(name, self._stills[number])
        self._made.append(job)
        threading.Thread(target=self._work, args=[job], daemon=True).start()
        return JSONResponse(self._told())

    async def made(self, request: Request) -> Response:
        """Say what was made, and how it stands."""
        del request
        return JSONResponse(self._told())

    async def file(self, request: Request) -> Response:
        """Hand out a file that was made, to be saved."""
        job, file = request.path_params["job"], request.path_params["file"]
        if job >= len(self._made) or file >= len(self._made[job].files):
            raise HTTPException(404)
        path = self._made[job].files[file]
        if not path.is_file():
            raise HTTPException(404)
        return FileResponse(path, filename=path.name, content_disposition_type="attachment")

    def stop(self) -> None:
        """End what is being made: the program ends."""
        process = self._process
        if process is not None and process.poll() is None:
            process.terminate()

    def _told(self) -> dict[str, Any]:
        return {"made": [one.told(number) for number, one in enumerate(self._made)]}

    def _planned(self, name: str, still: Path) -> Made:
        """Return what is to be done, and where it goes: names are those of the program alone."""
        folder, stills = self._keeper.path.parent, list(map(str, self._stills))
        scene = ["--scene", str(self._keeper.path)]
        options = [word for word in self._keeper.words if word not in scene] + scene
        if name == "sheet":
            place = _free(still.with_name(f"{still.stem}_compare.png"))
            words = ["compare", str(still), "-o", str(place), *options]
        elif name == "board":
            place = _free(folder / "board")
            words = ["mood", *stills, "-o", str(place), *options]
        elif name == "pictures":
            place = _free(folder / "pictures", or_with=RECORD)
            words = ["batch", *stills, "-o", str(place), *options]
        else:
            place = _free(folder / "list.pdf")
            words = ["list", "-o", str(place), *self._camera_words, *scene]
        return Made(name=name, words=["frontglass", *words], place=place)

    def _work(self, job: Made) -> None:
        try:
            code, said = self._run(job.words[1:])
        except OSError as error:
            code, said = 1, f"cannot be started ({error.strerror})"
        lines = [line.strip() for line in said.splitlines() if line.strip()]
        job.files = list(_files_of(job.place))
        job.said = lines[-1] if code and lines else ""
        # A board of all stills but a damaged one is a board, and says which is not in it.
        job.state = "done" if job.files and (code == 0 or job.name != "list") else "failed"
        if job.state == "failed" and not job.said:
            job.said = "nothing was made"

    def _beside(self, words: Sequence[str]) -> tuple[int, str]:
        """Run a command beside the page, which stays quick; nothing is read by a shell."""
        command = [sys.executable, "-m", "frontglass", *words]
        pipes = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE}
        quiet = {**os.environ, "NO_COLOR": "1", "TERM": "dumb"}
        with subprocess.Popen(command, text=True, env=quiet, **pipes) as process:  # type: ignore[call-overload]
            self._process = process
            _, said = process.communicate()
        return process.returncode, said


def _free(place: Path, *, or_with: str = "") -> Path:
    """Return a place where nothing is yet, or a folder that holds a record of ours."""
    number, free = 1, place
    while os.path.lexists(free) and not (or_with and (free / or_with).is_file()):
        number += 1
        free = place.with_name(f"{place.stem}-{number}{place.suffix}")
    return free


def _files_of(place: Path) -> Iterator[Path]:
    """Yield the files that were made, what is looked at first at the head."""
    if place.is_file():
        yield place
        return
    with contextlib.suppress(OSError):
        files = [file for file in place.rglob("*") if file.is_file() and file.name != RECORD]
        files = [file for file in files if not file.name.startswith(".")]
        first = {".html": 0, ".pdf": 1}
        files.sort(key=lambda file: (first.get(file.suffix, 2), str(file)))
        yield from files[:MOST_FILES]
