"""A light sample of the hostile suite, in this process; the whole of it runs apart."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

import frontglass as fg
from frontglass.errors import PictureFileError
from tests.hostile.bombs import bombs
from tests.hostile.light import trial
from tests.hostile.mutations import mutated
from tests.hostile.reader import FINDS, outcome
from tests.hostile.seeds import Seed, seeds

SEEDS = [seed for seed in seeds() if seed.kind != "look"]
FOUND = sorted(FINDS.glob("*"))


@pytest.mark.parametrize("kind", ["picture", "distance", "scene", "answers", "manifest"])
def test_damaged_files_are_read_or_end_in_a_line(tmp_path: Path, kind: str):
    rng, counts = np.random.default_rng(18), Counter[str]()
    chosen = [seed for seed in SEEDS if seed.kind == kind]
    for number in range(90 if kind == "picture" else 20):
        seed: Seed = chosen[number % len(chosen)]
        path = tmp_path / f"damaged{seed.suffix}"
        path.write_bytes(mutated(seed, rng))
        counts[outcome(kind, path).split(":")[0]] += 1
    assert set(counts) <= {"read", "line"}
    assert counts["line"] > 5


def test_whole_files_are_read(tmp_path: Path):
    for seed in SEEDS:
        path = tmp_path / f"whole{seed.suffix}"
        path.write_bytes(seed.data)
        assert outcome(seed.kind, path) == "read"


@pytest.mark.parametrize("path", FOUND, ids=lambda path: path.name)
def test_what_was_found_is_mended(path: Path):
    assert outcome(path.name.split("-")[0], path).split(":")[0] in {"read", "line"}


@pytest.mark.parametrize("kind", ["picture", "distance"])
def test_memory_that_runs_out_is_told_in_a_line(tmp_path: Path, monkeypatch, kind: str):
    (seed,) = [seed for seed in SEEDS if seed.kind == "distance" and seed.suffix == ".png"]
    (tmp_path / "map.png").write_bytes(seed.data)

    def short(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("frontglass.files.png.check_size", short)
    assert outcome(kind, tmp_path / "map.png").startswith("line: ")


def test_small_bombs_are_refused(tmp_path: Path):
    refused = 0
    for name, suffix, data in bombs(small=True):
        (tmp_path / f"bomb{suffix}").write_bytes(data)
        with pytest.raises(PictureFileError):
            fg.read_picture(tmp_path / f"bomb{suffix}")
        refused += bool(name)
    assert refused == 8


LOOKS = ("slate-roof", "harbour-night", "powder-room", "tallow", "wharf-morning")


def test_looks_keep_light_light():
    rng = np.random.default_rng(18)
    assert [found for _ in range(20) if (found := trial(rng, LOOKS, (32, 47, 101)))] == []


@pytest.mark.parametrize(
    ("shape", "width_mm"), [((101, 5), 6.4), ((24, 40), 80.0), ((80, 120), 60.0)]
)
def test_narrow_halos_over_wide_fields_take_no_light_away(shape, width_mm):
    light = np.zeros((*shape, 3), np.float32)
    light[shape[0] // 3, shape[1] // 2] = 900
    camera = fg.Camera(focal_length_mm=35, sensor_width_mm=width_mm)
    picture = fg.Picture.from_array(light)
    seen = fg.render(picture, fg.read_look("powder-room").at(4), camera=camera)
    assert seen.radiance.min() >= 0
