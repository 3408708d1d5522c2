"""Damaged, cut short, absurd or foreign files: one line, never a file left behind."""

from __future__ import annotations

import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from frontglass.errors import ParameterError, PictureFileError
from frontglass.files.damage import damaged
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture


def small_picture() -> Picture:
    light = np.random.default_rng(1).random((6, 9, 3)).astype(np.float32)
    return Picture(radiance=light, encoding=Encoding.srgb())


def read_or_refusal(path: Path) -> Picture | str:
    """The picture, or the one line that says why not; any other error fails the test."""
    try:
        return read_picture(path)
    except PictureFileError as error:
        return str(error)


def one_line(error: pytest.ExceptionInfo[PictureFileError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    return text


def test_files_cut_short_anywhere_give_an_error_or_the_same_pixels(sample: Path):
    whole = sample.read_bytes()
    expected = read_picture(sample)
    refused = 0
    cuts = sorted({len(whole) * part // 20 for part in range(20)} | {len(whole) - 1})
    for length in cuts:
        sample.write_bytes(whole[:length])
        picture = read_or_refusal(sample)
        if isinstance(picture, str):
            refused += 1
            assert "\n" not in picture
            continue
        np.testing.assert_array_equal(picture.radiance, expected.radiance)
    # Only what lies behind the pixels can be missing without harm.
    assert refused >= len(cuts) - 5
    assert os.listdir(sample.parent) == [sample.name]


def test_files_with_a_hole_give_an_error_or_a_picture_of_their_size(
    sample: Path, capfd: pytest.CaptureFixture[str]
):
    whole = sample.read_bytes()
    for start in range(0, len(whole), max(1, len(whole) // 20)):
        sample.write_bytes(whole[:start] + b"\xff\x00" * 8 + whole[start + 16 :])
        picture = read_or_refusal(sample)
        if isinstance(picture, str):
            assert "\n" not in picture
        else:
            assert picture.radiance.size < 10_000_000
    capfd.readouterr()


@given(data=st.data())
@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_files_with_random_bytes_changed_never_end_in_another_error(
    sample: Path, data: st.DataObject
):
    original = sample.with_suffix(".whole")
    if not original.exists():
        original.write_bytes(sample.read_bytes())
    spoilt = bytearray(original.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        place = data.draw(st.integers(0, len(spoilt) - 1))
        spoilt[place] = data.draw(st.integers(0, 255))
    sample.write_bytes(spoilt)
    picture = read_or_refusal(sample)
    if isinstance(picture, str):
        assert "\n" not in picture
    else:
        assert picture.radiance.ndim == 3


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("strip 3\n  is short.", "strip 3 is short"),
        ("p\ucafe\x03", "ValueError"),
        ("", "ValueError"),
        ("x" * 900, "x" * 200),
    ],
)
def test_what_a_decoder_says_becomes_one_line_of_plain_letters(said: str, shown: str):
    assert str(damaged("PNG", ValueError(said))) == f"The PNG file is damaged: {shown}."


@pytest.mark.parametrize("name", ["still.jpg", "still.png", "still.tif", "still.exr", "still.hdr"])
def test_a_foreign_file_is_named_as_such(tmp_path: Path, name: str):
    path = tmp_path / name
    path.write_text("Counter closes at ten.\n")
    with pytest.raises(PictureFileError, match="no JPEG, HEIC, AVIF, PNG, TIFF, OpenEXR, Radiance"):
        read_picture(path)


def test_the_content_decides_not_the_name(tmp_path: Path):
    path = tmp_path / "still.jpg"
    Image.fromarray(np.zeros((3, 4, 3), np.uint8)).save(path, "PNG")
    assert read_picture(path).encoding.container.value == "PNG"


def test_missing_empty_and_folder(tmp_path: Path):
    with pytest.raises(PictureFileError, match="no such file") as error:
        read_picture(tmp_path / "none.png")
    assert str(tmp_path / "none.png") in one_line(error)
    (tmp_path / "empty.png").touch()
    with pytest.raises(PictureFileError, match="is empty"):
        read_picture(tmp_path / "empty.png")
    with pytest.raises(PictureFileError, match="is a folder"):
        read_picture(tmp_path)


def test_no_permission_to_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    # Asked of the system by a stand-in: these tests may run as root, who may read everything.
    def denied(*_: object) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", denied)
    with pytest.raises(PictureFileError, match=r"still\.png: cannot be read: Permission denied"):
        read_picture(tmp_path / "still.png")


def test_no_permission_to_write(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def denied(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", denied)
    with pytest.raises(PictureFileError, match=r"out\.png: cannot be written: Permission denied"):
        write_picture(tmp_path / "out.png", small_picture())
    assert os.listdir(tmp_path) == []


def test_a_path_with_a_null_byte_is_an_error_line(tmp_path: Path):
    with pytest.raises(PictureFileError):
        read_picture(f"{tmp_path}/a\0b.png")


def absurd_png(path: Path) -> None:
    header = struct.pack(">IIBBBBB", 2_000_000, 2_000_000, 8, 2, 0, 0, 0)
    content = b"IHDR" + header
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + content
        + struct.pack(">I", zlib.crc32(content)) + b"\0" * 40
    )  # fmt: skip


def absurd_jpeg(path: Path) -> None:
    Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(path)
    data = bytearray(path.read_bytes())
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", 60000, 60000)
    path.write_bytes(data)


def absurd_tiff(path: Path) -> None:
    tifffile.imwrite(path, np.zeros((8, 8, 3), np.uint16), photometric="rgb", metadata=None)
    with tifffile.TiffFile(path, mode="r+") as file:
        file.pages.first.tags["ImageWidth"].overwrite(60000)
        file.pages.first.tags["ImageLength"].overwrite(60000)


def absurd_hdr(path: Path) -> None:
    path.write_bytes(b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 99999 +X 99999\n" + b"\2\2" * 99)


def absurd_exr(path: Path) -> None:
    write_picture(path, small_picture())
    data = path.read_bytes()
    for name in (b"dataWindow\0box2i\0\x10\0\0\0", b"displayWindow\0box2i\0\x10\0\0\0"):
        at = data.index(name) + len(name)
        data = data[:at] + struct.pack("<4i", 0, 0, 99999, 99999) + data[at + 16 :]
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("extension", "write"),
    [("png", absurd_png), ("jpg", absurd_jpeg), ("tif", absurd_tiff), ("hdr", absurd_hdr),
     ("exr", absurd_exr)],
)  # fmt: skip
def test_absurd_sizes_are_refused_before_decoding(tmp_path: Path, extension: str, write):
    path = tmp_path / f"huge.{extension}"
    write(path)
    with pytest.raises(PictureFileError, match="200 megapixels"):
        read_picture(path)


def test_a_jpeg_without_its_end_marker_is_cut_short(tmp_path: Path):
    path = tmp_path / "still.jpg"
    Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(path)
    path.write_bytes(path.read_bytes()[:-2])
    with pytest.raises(PictureFileError, match="end marker is missing"):
        read_picture(path)


def test_bytes_behind_the_end_of_a_jpeg_do_no_harm(tmp_path: Path):
    path = tmp_path / "still.jpg"
    Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(path)
    path.write_bytes(path.read_bytes() + b"motion")
    assert read_picture(path).width_px == 64


def test_a_png_with_a_wrong_checksum_is_damaged(tmp_path: Path):
    path = tmp_path / "still.png"
    Image.fromarray(np.zeros((64, 64, 3), np.uint8)).save(path)
    data = bytearray(path.read_bytes())
    data[data.index(b"IDAT") + 6] ^= 1
    path.write_bytes(data)
    with pytest.raises(PictureFileError, match="checksum of chunk 'IDAT' is wrong"):
        read_picture(path)


@pytest.mark.parametrize("depth", [8, 16])
def test_a_png_whose_data_end_early_is_damaged(tmp_path: Path, depth: int):
    """Every chunk is sound, but half of the rows are missing."""
    from frontglass.files.png import chunk_bytes

    rows = zlib.compress(b"".join(b"\0" + bytes(20 * 3 * depth // 8) for _ in range(8)))
    for stream in (rows, rows[: len(rows) // 2]):
        header = struct.pack(">IIBBBBB", 20, 16, depth, 2, 0, 0, 0)
        chunks = ((b"IHDR", header), (b"IDAT", stream), (b"IEND", b""))
        path = tmp_path / "still.png"
        path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(chunk_bytes(*chunk) for chunk in chunks))
        with pytest.raises(PictureFileError, match="damaged"):
            read_picture(path)


@pytest.mark.parametrize("name", ["out", "out.", "out.gif", "out.jpeg2000", ".png"])
def test_unknown_extensions_are_refused_with_the_known_ones(tmp_path: Path, name: str):
    with pytest.raises(PictureFileError, match=r"\.jpg, \.jpeg, \.png, .* got") as error:
        write_picture(tmp_path / name, small_picture())
    one_line(error)
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("extension", ["jpg", "png", "tif", "exr", "hdr"])
def test_a_missing_folder_is_named(tmp_path: Path, extension: str):
    with pytest.raises(PictureFileError, match="there is no folder"):
        write_picture(tmp_path / "none" / f"out.{extension}", small_picture())
    (tmp_path / f"folder.{extension}").mkdir()
    with pytest.raises(PictureFileError, match="is a folder"):
        write_picture(tmp_path / f"folder.{extension}", small_picture())


@pytest.mark.parametrize("extension", ["jpg", "png", "tif", "exr", "hdr"])
def test_a_failed_write_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, extension: str, monkeypatch: pytest.MonkeyPatch
):
    path = tmp_path / f"out.{extension}"
    path.write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(PictureFileError, match="No space left on device") as error:
        write_picture(path, small_picture())
    one_line(error)
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == [path.name]


def test_new_files_get_ordinary_rights(tmp_path: Path):
    plain = tmp_path / "plain"
    plain.touch()
    write_picture(tmp_path / "out.png", small_picture())
    assert (tmp_path / "out.png").stat().st_mode == plain.stat().st_mode


def test_overwriting_can_be_forbidden(tmp_path: Path):
    path = tmp_path / "out.png"
    write_picture(path, small_picture())
    before = path.read_bytes()
    with pytest.raises(PictureFileError, match="exists already"):
        write_picture(path, small_picture(), overwrite=False)
    assert path.read_bytes() == before


@pytest.mark.parametrize("quality", [0, 101, -5])
def test_senseless_quality_is_refused(tmp_path: Path, quality: int):
    with pytest.raises(ParameterError, match=r"quality must be an integer in \[1, 100\]"):
        write_picture(tmp_path / "out.jpg", small_picture(), quality=quality)


@pytest.mark.parametrize("stops", [float("nan"), float("inf"), 41.0])
def test_senseless_exposure_is_refused(tmp_path: Path, stops: float):
    with pytest.raises(ParameterError, match="exposure_stops"):
        read_picture(tmp_path / "none.png", exposure_stops=stops)
