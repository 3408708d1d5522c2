"""Damaged copies of files of every kind: each must be read, or end in one line.

    python -m tests.hostile.mutations [COUNT] [SEED] [WORD]

Each is read in a process with 2 GiB of address space and 20 s. What ends that process, takes longer
or ends in anything but a line is kept below `tests/hostile/finds/`. WORD picks seeds by name.
"""

from __future__ import annotations

import re
import sys
from collections import Counter
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from tests.benchmarks.damaged_stills import damaged
from tests.hostile.reader import FINDS, LONGEST_S, Reader
from tests.hostile.seeds import Seed, seeds

NUMBERS = (
    *("0", "-1", "1e300", "-1e300", "1e-300", "nan", "inf", "-inf", "9" * 400, "2147483648"),
    *("1e9", "64", "1e-9", "''", "[]", "{}", "true", "[[[]]]", '"\\u0000"', "[1, 2, 3, 4, 5]"),
)
LINES = ("[" * 3000, "a" * 4000 + " = 1", "= =", "\ufeff", "\x00", "[[element]]", '"""', "# \u202e")


def text_damaged(data: bytes, rng: np.random.Generator) -> bytes:
    """Return a copy of a text with values, lines or bytes that should not be there."""
    text = data.decode()
    for _ in range(int(rng.integers(1, 4))):
        kind = int(rng.integers(6))
        lines = text.split("\n")
        at = int(rng.integers(len(lines)))
        if kind < 2:
            numbers = list(re.finditer(r"(?<=[=:\[, ])-?[0-9][0-9.e/-]*", text))
            if numbers:
                one = numbers[int(rng.integers(len(numbers)))]
                text = text[: one.start()] + _one_of(NUMBERS, rng) + text[one.end() :]
        elif kind == 2:
            lines[at] = lines[at].split("=")[0] + "= " + _one_of(NUMBERS, rng)
            text = "\n".join(lines)
        elif kind == 3:
            lines.insert(at, _one_of(LINES, rng))
            text = "\n".join(lines)
        elif kind == 4:
            other = int(rng.integers(len(lines)))
            lines[at], lines[other] = lines[other], lines[at] * int(rng.integers(1, 3))
            text = "\n".join(lines)
        else:
            return damaged(text.encode() + b"\n" * 8, rng)
    return text.encode(errors="replace")


def _one_of(texts: tuple[str, ...], rng: np.random.Generator) -> str:
    return texts[int(rng.integers(len(texts)))]


def mutated(seed: Seed, rng: np.random.Generator) -> bytes:
    """Return a damaged copy of a seed."""
    is_text = seed.suffix in {".toml", ".txt", ".json"}
    return text_damaged(seed.data, rng) if is_text else damaged(seed.data, rng)


def main(count: int, number: int, word: str) -> int:
    """Try so many, print what became of them; 1 if anything went wrong."""
    rng, wrong, slowest = np.random.default_rng(number), 0, 0.0
    counts: dict[str, Counter[str]] = {}
    chosen = [seed for seed in seeds() if word in seed.name or word == seed.kind]
    with TemporaryDirectory() as folder:
        noise = Path(folder, "noise.txt")
        reader = Reader(noise)
        for tried in range(count):
            seed = chosen[tried % len(chosen)]
            path = Path(folder, f"damaged{seed.suffix}")
            path.write_bytes(mutated(seed, rng))
            before = noise.stat().st_size if noise.exists() else 0
            said, took = reader.read(seed.kind, path)
            slowest = max(slowest, took)
            kind = said.split(":")[0].split(" ")[0]
            if noise.exists() and noise.stat().st_size > before and kind in {"read", "line"}:
                counts.setdefault(seed.kind, Counter())["noisy"] += 1
            counts.setdefault(seed.kind, Counter())[kind] += 1
            if kind not in {"read", "line"} or took > LONGEST_S:
                wrong += 1
                FINDS.mkdir(exist_ok=True)
                kept = FINDS / f"{seed.kind}-{seed.name}-{number}-{tried}{seed.suffix}"
                kept.write_bytes(path.read_bytes())
                print(f"{tried} of {seed.name}: {said} ({took:.1f} s); {kept.name}", flush=True)
        reader.close()
        if noise.exists():
            said_aside = Counter(noise.read_text(errors="replace").splitlines())
            print("said beside the line:", said_aside.most_common(12))
    for kind, counted in counts.items():
        print(f"{kind}: {dict(counted)}")
    print(f"{count} tried with seed {number}, slowest {slowest:.1f} s, wrong {wrong}")
    return 1 if wrong else 0


if __name__ == "__main__":
    given = sys.argv[1:]
    raise SystemExit(
        main(
            int(given[0]) if given else 10_000,
            int(given[1]) if len(given) > 1 else 18,
            given[2] if len(given) > 2 else "",
        )
    )
