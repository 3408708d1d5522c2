"""Coverage-guided fuzzing of the readers written here, by atheris (libFuzzer).

    python -m tests.hostile.fuzz [SECONDS] [WORD]

Wants an environment that holds atheris, which the project itself does not ask for. Each format
gets its share of the time in a process of its own, and begins with whole files (`seeds`). What
escapes as anything but one line is kept below `tests/hostile/finds/`, once for each place it comes
from, and so is what crashes, takes 2 GiB or 20 s. WORD picks formats by name.
"""

from __future__ import annotations

import hashlib
import re
import resource
import subprocess
import sys
import traceback
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

# No more of the project than this: what is imported before atheris watches is not watched.
from tests.hostile.reader import FINDS, LONGEST_S, MEMORY, READ

LONGEST_BYTES = 65536


def as_said(kind: str) -> Callable[[Path], object]:
    """Return what reads a file of some kind, and does nothing else with it."""
    import frontglass as fg

    readers: dict[str, Callable[[Path], object]] = {
        **READ,
        "picture": lambda path: fg.read_picture(path, non_finite="mend"),
        "look": fg.read_look,
    }
    return readers[kind]


def fuzz(kind: str, suffix: str, corpus: Path, seconds: int) -> None:
    """Feed a reader for so long; does not return."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    atheris = import_module("atheris")
    with atheris.instrument_imports(include=["frontglass"]):
        from frontglass.errors import FrontglassError

        read = as_said(kind)
        read_once(read, corpus)
    path, seen = corpus.parent / f"fuzzed{suffix}", set[str]()

    def one(data: bytes) -> None:
        path.write_bytes(data)
        try:
            read(path)
        except FrontglassError as error:
            if "\n" not in str(error):
                return
            keep(kind, suffix, data, error, seen)
        except Exception as error:
            keep(kind, suffix, data, error, seen)

    limits = [f"-max_total_time={seconds}", f"-timeout={LONGEST_S:.0f}"]
    limits += [f"-max_len={LONGEST_BYTES}", "-print_final_stats=1"]
    limits += [f"-artifact_prefix={FINDS}/{kind}-"]
    atheris.Setup([sys.argv[0], str(corpus), *limits], one)
    atheris.Fuzz()


def read_once(read: Callable[[Path], object], corpus: Path) -> None:
    """Read what is whole, so that all that is imported late comes in, and is watched."""
    from frontglass.errors import FrontglassError

    for path in sorted(corpus.glob("*")):
        try:
            read(path)
        except FrontglassError as error:
            print(f"not read whole: {error}", flush=True)


def keep(kind: str, suffix: str, data: bytes, error: Exception, seen: set[str]) -> None:
    """Keep what escaped, once for each place that it came from."""
    place = traceback.extract_tb(error.__traceback__)[-1]
    told = f"{type(error).__name__} at {place.name}:{place.lineno}"
    if told in seen:
        return
    seen.add(told)
    FINDS.mkdir(exist_ok=True)
    kept = FINDS / f"{kind}-{hashlib.sha256(data).hexdigest()[:12]}{suffix}"
    kept.write_bytes(data)
    print(f"FOUND {told}: {error}; {kept.name}", flush=True)


def main(seconds: int, word: str) -> int:
    """Fuzz every format, and print what was found; 1 if anything was."""
    from tests.hostile.seeds import Seed, seeds

    chosen: dict[tuple[str, str], list[Seed]] = {}
    for seed in seeds():
        if word in seed.kind + seed.suffix and seed.suffix != ".dng":  # libraw's own
            chosen.setdefault((seed.kind, seed.suffix), []).append(seed)
    found = 0
    for (kind, suffix), own in chosen.items():
        with TemporaryDirectory() as folder:
            corpus = Path(folder, "corpus")
            corpus.mkdir()
            for number, seed in enumerate(own):
                (corpus / f"{number:03}{suffix}").write_bytes(seed.data)
            said: tuple[Any, ...] = (kind, suffix, corpus, seconds // len(chosen))
            ended = subprocess.run(
                [sys.executable, "-m", "tests.hostile.fuzz", "--one", *map(str, said)],
                capture_output=True, check=False,
            )  # fmt: skip
        lines = (ended.stdout + ended.stderr).decode(errors="replace").splitlines()
        wrong = [line for line in lines if line.startswith(("FOUND", "==", "not read"))]
        tried = [line for line in lines if re.match(r"Done|stat::number_of_executed", line)]
        print(f"{kind} {suffix}: {tried or lines[-3:]}, {wrong}", flush=True)
        found += bool(wrong) or ended.returncode != 0
    return 1 if found else 0


if __name__ == "__main__":
    if "--one" in sys.argv:
        kind, suffix, corpus, seconds = sys.argv[2:]
        fuzz(kind, suffix, Path(corpus), int(seconds))
    given = sys.argv[1:]
    raise SystemExit(main(int(given[0]) if given else 3600, given[1] if len(given) > 1 else ""))
