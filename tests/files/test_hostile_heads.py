"""Heads of files that claim what cannot be: a line each, and no traceback."""

from __future__ import annotations

import io
import struct
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import frontglass as fg
from frontglass.batch.finding import found_stills
from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.distance import read_distance
from frontglass.files.icc import icc_profile_bytes, icc_profile_from_bytes
from frontglass.files.reading import read_picture
from frontglass.files.tags import directory_at, header_of, tree_of
from frontglass.files.writing import write_picture
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import Encoding
from frontglass.picture.primaries import BT709


def npy(values: np.ndarray) -> bytes:
    file = io.BytesIO()
    np.save(file, values)
    return file.getvalue()


def test_damaged_npy_maps_are_read_or_refused(tmp_path: Path):
    whole = npy(np.ones((6, 8), np.float32))
    rng, path = np.random.default_rng(18), tmp_path / "map.npy"
    lines: list[str] = []
    for _ in range(300):
        data = bytearray(whole)
        for place in rng.integers(0, 120, rng.integers(1, 6)):
            data[place] = rng.integers(256)
        if rng.integers(2):
            del data[int(rng.integers(10, 120)) :][:7]
            data = data[: int(rng.integers(10, len(data)))]
        path.write_bytes(data)
        try:
            read_distance(path)
        except PictureFileError as error:
            lines.append(str(error))
    assert len(lines) > 200
    assert "\n" not in "".join(lines)


def test_an_npy_map_that_claims_more_than_it_holds_takes_no_memory(tmp_path: Path):
    (tmp_path / "map.npy").write_bytes(
        npy(np.ones((6, 8), np.float32)).replace(b"(6, 8), }       ", b"(6, 80000000), }")
    )
    with pytest.raises(PictureFileError, match=r"map\.npy: .*6, 80000000.*192 bytes are there"):
        read_distance(tmp_path / "map.npy")


@pytest.mark.parametrize("kind", [1, 2])
def test_a_parametric_curve_that_does_not_rise_is_a_damaged_profile(kind: int):
    profile = icc_profile_bytes(BT709, (SRGB_CURVE,) * 3, "flat")
    at = profile.index(b"para")
    head = struct.pack(">IHH3i", 0, kind, 0, 65536, 0, 6554)  # g = 1, a = 0, b = 0.1
    flat = profile[: at + 4] + head + profile[at + 4 + len(head) :]
    with pytest.raises(PictureFileError, match=r"^The colour profile is damaged: .*a = 0"):
        icc_profile_from_bytes(flat)


@pytest.mark.parametrize("extension", ["tif", "png", "jpg"])
@pytest.mark.parametrize("dpi", [(np.inf, np.inf), (np.nan, 72.0), (1e300, 1e300), (1e7, 1e7)])
def test_a_resolution_that_a_file_cannot_hold_is_left_out(tmp_path: Path, extension, dpi):
    picture = fg.Picture.from_array(np.full((4, 5, 3), 90, np.uint8))
    metadata = replace(picture.encoding.metadata, dpi=dpi)
    odd = replace(picture, encoding=replace(picture.encoding, metadata=metadata))
    write_picture(tmp_path / f"a.{extension}", odd)
    assert read_picture(tmp_path / f"a.{extension}").radiance.shape == (4, 5, 3)


def test_an_exr_file_of_tiles_without_size_is_damaged(tmp_path: Path):
    light = np.full((4, 5, 3), 0.5, np.float32)
    write_picture(tmp_path / "a.exr", fg.Picture(radiance=light, encoding=Encoding.linear()))
    data = (tmp_path / "a.exr").read_bytes()
    version = struct.unpack_from("<I", data, 4)[0] | 0x200
    tiles = b"tiles\0tiledesc\0" + struct.pack("<iIIB", 9, 0, 0, 0)
    (tmp_path / "b.exr").write_bytes(data[:4] + struct.pack("<I", version) + tiles + data[8:])
    with pytest.raises(PictureFileError, match=r"b\.exr: The OpenEXR file is cut short or damaged"):
        read_picture(tmp_path / "b.exr")


def test_directories_that_point_at_themselves_are_followed_once():
    pointers = (0x8769, 0x8825, 0xA005)  # EXIF, GPS and interoperability
    entries = b"".join(struct.pack("<HHII", code, 4, 1, 8) for code in pointers)
    looped = b"II*\0" + struct.pack("<IH", 8, 3) + entries + bytes(4)
    two = looped[:-4].replace(
        struct.pack("<I", 8) + entries[12:14], struct.pack("<I", 50) + entries[12:14]
    )
    two += bytes(4) + struct.pack("<H", 3) + entries + bytes(4)
    for data in (looped, two):
        header = header_of(data)
        tree = tree_of(data, header, directory_at(data, header, header.first))
        assert len(str(tree)) < 100


def test_a_source_of_no_letters_is_not_the_folder_that_one_stands_in():
    with pytest.raises(ParameterError, match=r"^source must be a still, folder or pattern"):
        found_stills([""])
