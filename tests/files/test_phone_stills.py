"""Phones' stills: HEIC and AVIF, turned, with their colours, light and metadata."""

from __future__ import annotations

from pathlib import Path

import imagecodecs
import numpy as np
import pillow_heif
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import PictureFileError
from frontglass.files.icc import icc_profile_bytes
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.primaries import BT2020, P3_D65
from tests.files.phones import box, heic, nclx

SHAPE = (80, 128)


def codes(seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (*SHAPE, 3), np.uint8)


@pytest.fixture
def still(tmp_path: Path) -> Path:
    return tmp_path / "counter.heic"


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_a_heic_lies_as_its_boxes_say(still: Path, quarters: int):
    """Against the codes that libheif was given, and its own order of turns: anticlockwise."""
    still.write_bytes(heic(codes(), quarters=quarters))
    picture = fg.read_picture(still)
    np.testing.assert_array_equal(picture.encoding.codes, np.rot90(codes(), quarters))
    assert picture.encoding.container == "HEIF"


def test_a_turn_told_twice_is_made_once(still: Path):
    exif = Image.Exif()
    exif[274] = 6
    still.write_bytes(heic(codes(), quarters=3, exif=exif.tobytes()[6:]))
    picture = fg.read_picture(still)
    np.testing.assert_array_equal(picture.encoding.codes, np.rot90(codes(), 3))
    out = still.with_suffix(".jpg")
    fg.write_picture(out, picture)
    with Image.open(out) as written:
        assert written.getexif()[274] == 1
        assert written.size == SHAPE


@pytest.mark.source("H.273", "tables 2 and 3")
def test_colours_by_code_points_are_those_of_a_profile_that_says_the_same(still: Path):
    still.write_bytes(heic(codes(), colour=nclx(12, 13)))
    by_points = fg.read_picture(still)
    icc = icc_profile_bytes(P3_D65, (SRGB_CURVE,) * 3, "as a phone")
    still.write_bytes(heic(codes(), colour=box(b"colr", b"prof" + icc)))
    by_profile = fg.read_picture(still)
    assert by_points.primaries.is_close_to(by_profile.primaries)
    np.testing.assert_allclose(by_points.radiance, by_profile.radiance, atol=1e-5)
    assert by_profile.notices == ()


@pytest.mark.source("Colour0.4", "eotf_ST2084, oetf_inverse_BT2100_HLG")
@pytest.mark.source("BT2408", "table 1: diffuse white is 203 cd/m2, or 75 % of an HLG signal")
@pytest.mark.parametrize("transfer", [16, 18])
def test_pq_and_hlg_heics_are_light_over_diffuse_white(still: Path, transfer: int):
    import colour

    still.write_bytes(heic(codes(), colour=nclx(9, transfer)))
    picture = fg.read_picture(still)
    signal = codes() / 255
    if transfer == 16:
        expected = colour.models.eotf_ST2084(signal) / 203
    else:
        scene = colour.models.oetf_inverse_BT2100_HLG
        expected = scene(signal) / scene(0.75)
    np.testing.assert_allclose(picture.radiance, expected, rtol=1e-4, atol=1e-6)
    assert picture.primaries == BT2020
    assert picture.encoding.top[0] == pytest.approx(float(expected.max()), rel=1e-4)


def test_light_of_a_pq_still_is_kept_by_floats_and_ends_at_white_in_codes(still: Path):
    still.write_bytes(heic(codes(), colour=nclx(9, 16)))
    picture = fg.read_picture(still)
    fg.write_picture(still.with_suffix(".exr"), picture)
    back = fg.read_picture(still.with_suffix(".exr"))
    np.testing.assert_allclose(back.radiance, picture.radiance, rtol=1e-3, atol=1e-6)
    fg.write_picture(still.with_suffix(".png"), picture)
    shown = fg.read_picture(still.with_suffix(".png"))
    dark = picture.radiance.max(axis=-1) < 0.9
    lit = picture.radiance @ picture.primaries.matrix_to(shown.primaries).T.astype(np.float32)
    inside = dark & (lit.min(axis=-1) > 0) & (lit.max(axis=-1) < 1)
    assert inside.sum() > 50
    np.testing.assert_allclose(shown.radiance[inside], lit[inside], atol=0.02)


@pytest.mark.parametrize("bits", [10, 12])
def test_codes_of_ten_and_twelve_bits_keep_all_of_them(still: Path, bits: int):
    grey = np.linspace(0, 2**bits - 1, 128 * 64).round().astype(np.uint16).reshape(64, 128)
    tall = (grey << (16 - bits)).astype(np.uint16)
    file = pillow_heif.from_bytes("L;16", (128, 64), tall.tobytes())
    before, pillow_heif.options.SAVE_HDR_TO_12_BIT = (
        pillow_heif.options.SAVE_HDR_TO_12_BIT,
        bits == 12,
    )
    try:
        file.save(still, quality=-1)
    finally:
        pillow_heif.options.SAVE_HDR_TO_12_BIT = before
    got = fg.read_picture(still).encoding.codes[..., 0]
    np.testing.assert_array_equal(got, np.round(grey * (65535 / (2**bits - 1))))


def test_an_avif_is_read_with_its_turn_and_its_alpha(tmp_path: Path):
    path = tmp_path / "counter.avif"
    seen = np.dstack([codes(), np.full(SHAPE, 90, np.uint8)])
    path.write_bytes(imagecodecs.avif_encode(seen, level=100, pixelformat="444"))
    picture = fg.read_picture(path)
    np.testing.assert_array_equal(picture.encoding.codes, seen[..., :3])
    np.testing.assert_array_equal(picture.encoding.alpha.codes, seen[..., 3])
    assert picture.encoding.container == "AVIF"


def test_a_heic_goes_out_as_a_jpeg_beside_it_and_says_so(still: Path):
    still.write_bytes(heic(codes()))
    result = CliRunner().invoke(app, ["apply", str(still), "--look", "harbour-night:1/4"])
    assert result.exit_code == 0
    assert "The still is HEIF; written as JPEG." in result.stderr.replace("\n", " ")
    written = still.with_name("counter_harbour-night_1-4.jpg")
    with Image.open(written) as out:
        assert out.format == "JPEG"
        assert out.info["icc_profile"]  # its primaries are not those of sRGB
    heic_out = ["apply", str(still), "--look", "harbour-night:1/4", "-o", str(still) + "2.heic"]
    refused = CliRunner().invoke(app, heic_out)
    assert refused.exit_code == 1
    assert "read only; write one of .jpg" in refused.stderr.replace("\n", " ")


def test_a_batch_takes_heics_and_writes_jpegs(tmp_path: Path):
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "one.HEIC").write_bytes(heic(codes()))
    command = [
        "batch",
        str(tmp_path / "in"),
        "--look",
        "slate-roof:1/4",
        "-o",
        str(tmp_path / "out"),
    ]
    result = CliRunner().invoke(app, [*command, "--no-contact", "--jobs", "1", "--patience", "inf"])
    assert result.exit_code == 0, result.output
    assert (tmp_path / "out" / "one_slate-roof_1-4.jpg").is_file()


@pytest.mark.parametrize(
    ("place", "line"),
    [(40, "cut short|damaged"), (-200, "damaged"), (900, "damaged|cut short")],
)
def test_a_heic_cut_short_is_a_line(still: Path, place: int, line: str):
    still.write_bytes(heic(codes())[:place])
    with pytest.raises(PictureFileError, match=line) as caught:
        fg.read_picture(still)
    assert "\n" not in str(caught.value)


def test_a_heic_that_claims_too_many_pixels_is_refused_before_it_is_decoded(still: Path):
    data = heic(codes())
    claim = data.replace((128).to_bytes(4, "big") + (80).to_bytes(4, "big"), b"\0\0\xea\x60" * 2)
    assert claim != data
    still.write_bytes(claim)
    with pytest.raises(PictureFileError, match="60000 x 60000 pixels are more than"):
        fg.read_picture(still)
