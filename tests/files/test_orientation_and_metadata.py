"""Orientation, EXIF, XMP, resolution and what else travels beside the pixels."""

from __future__ import annotations

import struct
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import ExifTags, Image, ImageOps
from PIL.PngImagePlugin import PngInfo
from PIL.TiffImagePlugin import IFDRational

from frontglass.files.exif import has_thumbnail
from frontglass.files.reading import read_picture
from frontglass.files.writing import write_picture
from frontglass.optics.camera import ShotData

XMP = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF/></x:xmpmeta>'
FORMATS = ["png", "jpg", "tif"]


def codes(channels: int = 3) -> np.ndarray:
    return np.random.default_rng(1).integers(0, 256, (12, 20, channels), np.uint8)


def exif_block(orientation: int = 1, **camera: object) -> Image.Exif:
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "Ferry Terminal Optics"
    exif[ExifTags.Base.Artist] = "Night shift"
    sub = exif.get_ifd(ExifTags.IFD.Exif)
    sub[ExifTags.Base.FocalLength] = camera.get("focal", IFDRational(50, 1))
    sub[ExifTags.Base.FNumber] = camera.get("stop", IFDRational(28, 10))
    sub[ExifTags.Base.FocalLengthIn35mmFilm] = camera.get("focal_35", 75)
    sub[ExifTags.Base.UserComment] = b"ASCII\0\0\0after closing"
    gps = exif.get_ifd(ExifTags.IFD.GPSInfo)
    gps[ExifTags.GPS.GPSLatitudeRef] = "N"
    return exif


def shoot(path: Path, orientation: int = 1, **camera: object) -> Path:
    still = Image.fromarray(codes())
    exif = exif_block(orientation, **camera)
    if path.suffix == ".tif":
        exif[700] = XMP
    options: dict[str, Any] = {"exif": exif.tobytes(), "dpi": (300, 150)}
    if path.suffix == ".jpg":
        options |= {"xmp": XMP, "quality": 100, "subsampling": 0}
    elif path.suffix == ".png":
        info = PngInfo()
        info.add_itxt("XML:com.adobe.xmp", XMP.decode())
        info.add_text("Description", "Counter by the window")
        options["pnginfo"] = info
    still.save(path, **options)
    return path


@pytest.mark.parametrize("extension", FORMATS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_applied_as_pillow_applies_it(
    tmp_path: Path, extension: str, orientation: int
):
    path = shoot(tmp_path / f"still.{extension}", orientation)
    with Image.open(path) as still:
        # Pillow turns TIFF files by itself while loading.
        upright = still if extension == "tif" else ImageOps.exif_transpose(still)
        expected = np.array(upright)
    picture = read_picture(path)
    assert picture.encoding.codes is not None
    np.testing.assert_array_equal(picture.encoding.codes, expected)
    assert (picture.height_px, picture.width_px) == expected.shape[:2]


@pytest.mark.parametrize("extension", FORMATS)
@pytest.mark.parametrize("orientation", [1, 3, 6])
def test_written_files_are_upright_and_say_so(tmp_path: Path, extension: str, orientation: int):
    path = shoot(tmp_path / f"still.{extension}", orientation)
    out = tmp_path / f"out.{extension}"
    picture = read_picture(path)
    write_picture(out, picture)
    with Image.open(out) as still:
        assert still.getexif()[ExifTags.Base.Orientation] == 1
        assert still.size == (picture.width_px, picture.height_px)
        if extension != "jpg":
            np.testing.assert_array_equal(np.array(still), picture.encoding.codes)


@pytest.mark.parametrize("target", FORMATS)
@pytest.mark.parametrize("source", FORMATS)
def test_exif_and_xmp_go_from_any_format_to_any(tmp_path: Path, source: str, target: str):
    path = shoot(tmp_path / f"still.{source}", 6)
    out = tmp_path / f"out.{target}"
    write_picture(out, read_picture(path))
    with Image.open(out) as still:
        exif = still.getexif()
        assert exif[ExifTags.Base.Make] == "Ferry Terminal Optics"
        assert exif[ExifTags.Base.Artist] == "Night shift"
        sub = exif.get_ifd(ExifTags.IFD.Exif)
        assert sub[ExifTags.Base.FocalLength] == 50
        assert sub[ExifTags.Base.UserComment] == b"ASCII\0\0\0after closing"
        assert exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitudeRef] == "N"
        xmp = still.info.get("xmp") or exif[700]
        assert XMP in xmp
        # Turned by a quarter: resolution across and down change places.
        across, down = still.info["dpi"]
        assert (round(float(across)), round(float(down))) == (150, 300)


def test_png_text_is_kept(tmp_path: Path):
    path = shoot(tmp_path / "still.png")
    write_picture(tmp_path / "out.png", read_picture(path))
    with Image.open(tmp_path / "out.png") as still:
        assert still.info["Description"] == "Counter by the window"


def test_jpeg_comment_and_caption_are_kept(tmp_path: Path):
    Image.fromarray(codes()).save(tmp_path / "still.jpg", comment=b"Chairs on tables")
    data = (tmp_path / "still.jpg").read_bytes()
    caption = b"Photoshop 3.0\0" + b"8BIM\x04\x04\0\0\0\0\0\x04abcd"
    segment = b"\xff\xed" + (len(caption) + 2).to_bytes(2, "big") + caption
    (tmp_path / "still.jpg").write_bytes(data[:2] + segment + data[2:])
    write_picture(tmp_path / "out.jpg", read_picture(tmp_path / "still.jpg"))
    assert caption in (tmp_path / "out.jpg").read_bytes()
    with Image.open(tmp_path / "out.jpg") as still:
        assert still.info["comment"] == b"Chairs on tables"


@pytest.mark.parametrize("extension", FORMATS)
@pytest.mark.source("Exif2.3", "tags 33437 FNumber, 37386 FocalLength, 41989 FocalLengthIn35mmFilm")
def test_lens_data_are_read(tmp_path: Path, extension: str):
    shot = read_picture(shoot(tmp_path / f"still.{extension}")).shot
    assert shot == ShotData(focal_length_mm=50.0, focal_length_35mm=75.0, f_number=2.8)


@pytest.mark.parametrize(
    ("focal", "stop", "focal_35"),
    [
        (IFDRational(0, 1), IFDRational(0, 1), 0),
        (IFDRational(50, 0), IFDRational(28, 0), 0),
        (IFDRational(4294967295, 1), IFDRational(4294967295, 1), 65535),
    ],
)
def test_senseless_lens_data_count_as_missing(
    tmp_path: Path, focal: IFDRational, stop: IFDRational, focal_35: int
):
    path = shoot(tmp_path / "still.jpg", focal=focal, stop=stop, focal_35=focal_35)
    assert read_picture(path).shot == ShotData()


def test_a_damaged_exif_block_does_not_stop_reading(tmp_path: Path):
    path = shoot(tmp_path / "still.jpg")
    data = path.read_bytes()
    start = data.index(b"Exif\0\0") + 6
    for length in range(0, 120, 7):
        spoilt = data[: start + length] + b"\xff" * 40 + data[start + length + 40 :]
        path.write_bytes(spoilt)
        picture = read_picture(path)
        write_picture(tmp_path / "out.tif", picture)
        assert picture.radiance.shape == (12, 20, 3)


def with_thumbnail(path: Path) -> None:
    exif = exif_block()
    block = exif.tobytes()[6:]
    # A second directory behind the block, linked from the first as EXIF does for previews.
    (entries,) = struct.unpack_from(">H", block, 8)
    link = 10 + 12 * entries
    second = struct.pack(">HHHIII", 1, 256, 4, 1, 160, 0)
    block = block[:link] + struct.pack(">I", len(block)) + block[link + 4 :] + second
    Image.fromarray(codes()).save(path, exif=b"Exif\0\0" + block)


def test_the_embedded_preview_goes_when_the_picture_changes(tmp_path: Path):
    path = tmp_path / "still.jpg"
    with_thumbnail(path)
    picture = read_picture(path)
    assert has_thumbnail(picture.encoding.metadata.exif)
    assert write_picture(tmp_path / "same.jpg", picture) == ()
    assert has_thumbnail(read_picture(tmp_path / "same.jpg").encoding.metadata.exif)
    changed = picture.with_radiance(picture.radiance * np.float32(0.5))
    (notice,) = write_picture(tmp_path / "changed.jpg", changed)
    assert "preview" in notice
    again = read_picture(tmp_path / "changed.jpg")
    assert not has_thumbnail(again.encoding.metadata.exif)
    assert again.shot == picture.shot


def test_metadata_too_large_for_jpeg_are_left_out_with_a_notice(tmp_path: Path):
    path = shoot(tmp_path / "still.png")
    picture = read_picture(path)
    metadata = replace(picture.encoding.metadata, xmp=b"x" * 70000)
    picture = replace(picture, encoding=replace(picture.encoding, metadata=metadata))
    (notice,) = write_picture(tmp_path / "out.jpg", picture)
    assert notice == "XMP data left out: 70000 bytes do not fit into JPEG."


def test_linear_formats_say_that_they_leave_exif_out(tmp_path: Path):
    path = shoot(tmp_path / "still.jpg")
    notices = write_picture(tmp_path / "out.exr", read_picture(path))
    assert notices == ("EXIF and XMP left out: OpenEXR has no place.",)
    assert read_picture(tmp_path / "out.exr").shot == ShotData(
        focal_length_mm=50.0, focal_length_35mm=75.0, f_number=2.8
    )


def test_tiff_tags_of_other_programs_are_kept(tmp_path: Path):
    path, out = tmp_path / "still.tif", tmp_path / "out.tif"
    tifffile.imwrite(
        path, codes(), photometric="rgb", byteorder=">", description="Last ferry", software="scan",
        extratags=[(315, "s", 0, "Night shift", True)], metadata=None, resolution=(118, 118),
        resolutionunit="CENTIMETER",
    )  # fmt: skip
    write_picture(out, read_picture(path))
    with tifffile.TiffFile(out) as file:
        tags = file.pages.first.tags
        assert tags["ImageDescription"].value == "Last ferry"
        assert tags["Artist"].value == "Night shift"
        across = tags["XResolution"].value
        # 118 px/cm as px/inch.
        assert across[0] / across[1] == pytest.approx(118 * 2.54)


def test_only_the_first_picture_of_several_is_read_and_said(tmp_path: Path):
    path = tmp_path / "pages.tif"
    tifffile.imwrite(path, np.stack([codes(), 255 - codes()]), photometric="rgb")
    picture = read_picture(path)
    np.testing.assert_array_equal(picture.encoding.codes, codes())
    assert "The TIFF file holds several pictures; the first is used." in picture.notices
