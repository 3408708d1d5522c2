"""Damaged HEIC, AVIF and gain-map files: a picture or one line, whatever the damage."""

from __future__ import annotations

from pathlib import Path

import imagecodecs
import numpy as np
import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import PictureFileError
from frontglass.files.jpeg_segments import APP1, APP2
from tests.benchmarks.damaged_stills import damaged
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

CODES = np.random.default_rng(1).integers(0, 256, (96, 128, 3), np.uint8)
SMALL = CODES[:64, :64, 0].copy()
MAP = np.ascontiguousarray(np.tile(SMALL, (1, 2))[:64, :86])
SAID = gain_xmp(' hdrgm:Version="1.0" hdrgm:GainMapMax="2" hdrgm:HDRCapacityMax="2"')
ISO = b"urn:iso:std:iso:ts:21496:-1\0"

FILES = {
    "heic": lambda: heic(
        CODES,
        gain=(MAP, phone_xmp(4.0)),
        iso=iso_numbers(0, 2),
        depth=(MAP, depth_xmp("disparity", 0.1, 2)),
    ),
    "avif": lambda: bytes(imagecodecs.avif_encode(CODES, level=90)),
    "binary": lambda: jpeg_with_behind(jpeg(CODES), jpeg(MAP, (APP2, ISO + iso_numbers(0, 2)))),
    "text": lambda: jpeg_with_behind(jpeg(CODES), jpeg(MAP, (APP1, XMP_HEAD + SAID))),
}


@pytest.mark.parametrize("kind", FILES)
def test_damage_of_any_kind_is_a_picture_or_a_line(tmp_path: Path, kind: str):
    whole, path = FILES[kind](), tmp_path / "still"
    path.write_bytes(whole)
    assert fg.read_picture(path).width_px == 128
    rng = np.random.default_rng(len(kind))
    lines: list[str] = []
    for _ in range(60):
        path.write_bytes(damaged(whole, rng))
        try:
            picture = fg.read_picture(path)
            lines += picture.notices
        except PictureFileError as error:
            lines.append(str(error))
    assert len(lines) > 12
    assert "\n" not in "".join(lines)


def test_the_live_page_does_not_start_with_a_lut_that_is_not_there(tmp_path: Path):
    path = tmp_path / "still.jpg"
    path.write_bytes(jpeg(CODES))
    result = CliRunner().invoke(app, ["live", str(path), "--view", "show.cube", "--no-browser"])
    assert result.exit_code == 1
    assert result.stderr.strip() == "error: show.cube: there is no such file."
