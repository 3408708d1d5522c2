"""Whole files of every kind that is read, small ones: what mutations begin with."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import imagecodecs
import numpy as np

from frontglass.files.jpeg_segments import APP1, APP2
from frontglass.shipped import shipped_folder
from tests.files.cameras import dng
from tests.files.conftest import SAMPLES, exr, tiff, written
from tests.files.phones import (
    XMP_HEAD,
    depth_xmp,
    gain_xmp,
    heic,
    iso_numbers,
    jpeg,
    jpeg_with_behind,
    phone_xmp,
)
from tests.files.test_encodings import dpx
from tests.scene.test_reading import FULL

ANSWERS = "frontglass board 1a2b3c4d\nfrom: gaffer\n1A \u2665 softer\n2B no\nend of answers\n"
MANIFEST = {
    "format": 2,
    "program": "frontglass 0",
    "pictures": {
        "counter_late-tram_1-4.jpg": {
            "state": "done",
            "still": "counter.jpg",
            "still_bytes": 12,
            "out_sha256": "ab" * 32,
            "notices": [],
        }
    },
    "contact": {},
}


class Seed(NamedTuple):
    """A whole file."""

    kind: str
    """What it is read as."""
    name: str
    suffix: str
    data: bytes


def seeds() -> list[Seed]:
    """Return whole files of every kind."""
    with TemporaryDirectory() as folder:
        return [*_samples(Path(folder)), *_phones(Path(folder)), *_maps(), *_texts()]


def _samples(folder: Path) -> Iterator[Seed]:
    for name in SAMPLES:
        path = written(name, folder)
        yield Seed("picture", name, path.suffix, path.read_bytes())
        path.unlink()


def _phones(folder: Path) -> Iterator[Seed]:
    codes = np.random.default_rng(1).integers(0, 256, (96, 128, 3), np.uint8)
    grey = np.ascontiguousarray(np.tile(codes[:64, :64, 0], (1, 2))[:, :86])
    said = gain_xmp(' hdrgm:Version="1.0" hdrgm:GainMapMax="2" hdrgm:HDRCapacityMax="2"')
    iso = b"urn:iso:std:iso:ts:21496:-1\0" + iso_numbers(0, 2)
    depth = (grey, depth_xmp("disparity", 0.1, 2))
    whole = heic(codes, gain=(grey, phone_xmp(4.0)), iso=iso_numbers(0, 2), depth=depth)
    yield Seed("picture", "heic", ".heic", whole)
    yield Seed("picture", "avif", ".avif", bytes(imagecodecs.avif_encode(codes, level=90)))
    one = jpeg_with_behind(jpeg(codes), jpeg(grey, (APP2, iso)))
    yield Seed("picture", "jpeg-gain-iso", ".jpg", one)
    one = jpeg_with_behind(jpeg(codes), jpeg(grey, (APP1, XMP_HEAD + said)))
    yield Seed("picture", "jpeg-gain-xmp", ".jpg", one)
    dng(folder / "a.dng", np.random.default_rng(2).random((64, 96, 3)))
    yield Seed("picture", "dng", ".dng", (folder / "a.dng").read_bytes())
    signal = np.random.default_rng(3).random((20, 31, 3))
    yield Seed("picture", "dpx", ".dpx", dpx(signal, 10))


def _maps() -> Iterator[Seed]:
    metres = np.linspace(1, 9, 24 * 32, dtype=np.float32).reshape(24, 32)
    file = io.BytesIO()
    np.save(file, metres)
    yield Seed("distance", "npy", ".npy", file.getvalue())
    short = (metres * 1000).astype(np.uint16)
    yield Seed("distance", "png-16", ".png", bytes(imagecodecs.png_encode(short)))
    with TemporaryDirectory() as folder:
        for suffix, write in ((".exr", exr({"Z": metres})), (".tif", tiff(metres))):
            write(path := Path(folder, f"map{suffix}"))
            yield Seed("distance", f"map-{suffix[1:]}", suffix, path.read_bytes())


def _texts() -> Iterator[Seed]:
    for path in sorted(shipped_folder("presets").glob("*.toml")):
        yield Seed("look", path.stem, ".toml", path.read_bytes())
    yield Seed("scene", "scene", ".toml", FULL.encode())
    yield Seed("answers", "answers", ".txt", ANSWERS.encode())
    yield Seed("manifest", "manifest", ".json", json.dumps(MANIFEST, indent=1).encode())
