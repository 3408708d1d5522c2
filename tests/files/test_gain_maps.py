"""Gain maps: what other programs make of the same files, and what becomes of the map."""

from __future__ import annotations

import re
import struct
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.files.gain_maps import headroom_of_maker_note, without_gain_map
from frontglass.files.jpeg_segments import APP1, APP2, XMP, content_after, segments_of
from frontglass.picture.gain_map import _lift
from frontglass.picture.primaries import BT709
from tests.files.phones import (
    GAIN_MAP,
    XMP_HEAD,
    gain_xmp,
    heic,
    iso_numbers,
    jpeg,
    jpeg_with_behind,
    phone_xmp,
    xmp,
)

ISO = b"urn:iso:std:iso:ts:21496:-1\0"
SDR = np.full((128, 192, 3), 128, np.uint8)
SDR[:, 96:] = 255
HALF = np.zeros((64, 96), np.uint8)
HALF[:, 48:] = 255


def night(size: tuple[int, int] = (128, 192), highest: float = 12.0) -> np.ndarray:
    """A dark counter with lamps of several sizes, up to so many times white."""
    rows, columns = np.mgrid[: size[0], : size[1]]
    light = 0.02 + 0.3 * np.exp(-(((columns - 40) / 30) ** 2 + ((rows - 60) / 20) ** 2))
    for x, y, radius, level in ((150, 30, 6, 1.0), (60, 100, 3, 0.7), (110, 80, 12, 0.4)):
        light = np.where((columns - x) ** 2 + (rows - y) ** 2 < radius**2, level * highest, light)
    return (light[..., np.newaxis] * [1.0, 0.85, 0.6]).astype(np.float32)


def encoded(light: np.ndarray, scale: int = 1) -> bytes:
    rgba = np.ones((*light.shape[:2], 4), np.float16)
    rgba[..., :3] = light
    return bytes(imagecodecs.ultrahdr_encode(rgba, 98, scale=scale))


def read(path: Path, data: bytes, **options) -> fg.Picture:
    path.write_bytes(data)
    return fg.read_picture(path, **options)


@pytest.mark.source("libultrahdr", "uhdr_decode: linear light at full headroom")
def test_light_of_a_gain_map_agrees_with_libultrahdr(tmp_path: Path):
    data = encoded(night())
    picture = read(tmp_path / "a.jpg", data)
    theirs = imagecodecs.ultrahdr_decode(data)[..., :3].astype(np.float32)
    base = imagecodecs.ultrahdr_decode(data, boost=1.0)[..., :3].astype(np.float32)
    # Its decoder of JPEG brings colour differences to size in a way of its own: so gains.
    told = (base > 0.02) & (base < 0.98) & (picture.radiance > 0.02) & (picture.radiance < 0.98)
    gain, ours = theirs[told] / base[told], picture.light[told] / picture.radiance[told]
    assert told.sum() > 5000
    assert np.quantile(np.abs(ours / gain - 1), 0.99) < 0.01
    lamps = theirs.min(axis=-1) > 4
    assert lamps.sum() > 100
    np.testing.assert_allclose(np.median(picture.light[lamps] / theirs[lamps]), 1.0, atol=0.01)


def by_their_weights(codes: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """Bring a map to a still's size as libultrahdr does: by inverse distances, from the corners."""
    places = []
    for side, small in ((size[1], codes.shape[0]), (size[0], codes.shape[1])):
        at = np.arange(side) * small / side
        below = np.floor(at).astype(int)
        places.append([(one, at - one) for one in (below, np.minimum(below + 1, small - 1))])
    summed, total = 0.0, 0.0
    for (row, down), (column, right) in ((a, b) for a in places[0] for b in places[1]):
        weight = 1 / np.maximum(np.hypot(down[:, np.newaxis], right), 1e-9)[..., np.newaxis]
        summed = summed + weight * (codes[row][:, column] / np.iinfo(codes.dtype).max)
        total = total + weight
    return np.round(65535 * summed / total).astype(np.uint16)


@pytest.mark.source("libultrahdr", "sampleMap: Shepard's weights; uhdr_decode at full headroom")
@pytest.mark.parametrize("scale", [2, 4, 8])
def test_small_maps_agree_with_libultrahdr_on_its_own_weights_and_are_truer_on_ours(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, scale: int
):
    """How a small map becomes large is all that differs, and the standard does not say it.

    Theirs counts from the corners of pixels, by half a pixel of the map askew, and rings at each.
    """
    light = night()
    data = encoded(light, scale)
    theirs, base = (
        imagecodecs.ultrahdr_decode(data, boost=boost)[..., :3].astype(np.float32)
        for boost in (1e4, 1.0)
    )
    picture = read(tmp_path / "a.jpg", data)
    matrix = picture.primaries.matrix_to(fg.Picture(radiance=light).primaries).T
    errors = [np.log2(np.maximum(one @ matrix, 1e-3) / light) for one in (picture.light, theirs)]
    ours, others = (float(np.sqrt(np.mean(error**2))) for error in errors)
    assert ours < 0.99 * others
    monkeypatch.setattr("frontglass.picture.gain_map._at_size", by_their_weights)
    same = read(tmp_path / "a.jpg", data)
    told = (base > 0.02) & (base < 0.98) & (same.radiance > 0.02) & (same.radiance < 0.98)
    assert told.sum() > 20_000
    gain = theirs[told] / base[told]
    np.testing.assert_allclose(same.light[told] / same.radiance[told], gain, rtol=0.01)


@pytest.mark.source("libultrahdr", "uhdr_encode, of known light")
def test_a_gain_map_gives_back_the_light_it_was_made_of(tmp_path: Path):
    light = night()
    picture = read(tmp_path / "a.jpg", encoded(light))
    small = slice(None, None, 7)
    flat = picture.light[small, small] / light[small, small]
    assert np.quantile(np.abs(np.log2(flat)), 0.9) < 0.1
    assert picture.held_stops == pytest.approx(np.log2(12), abs=0.15)
    assert picture.lift == pytest.approx(1, abs=0.03)
    off = fg.read_picture(tmp_path / "a.jpg", gain_map="off")
    assert off.beyond is None
    np.testing.assert_array_equal(off.radiance, picture.radiance)


FORMS = ["binary", "attributes", "elements"]


def map_picture(form: str, gain: np.ndarray = HALF) -> bytes:
    """A map from one to four times, in one of the ways to say so."""
    if form == "binary":
        return jpeg(gain, (APP2, ISO + iso_numbers(0.0, 2.0)))
    values = {"Version": "1.0", "GainMapMax": "2", "OffsetSDR": "0", "OffsetHDR": "0"}
    values["HDRCapacityMax"] = "2"
    if form == "attributes":
        said = gain_xmp("".join(f' hdrgm:{k}="{v}"' for k, v in values.items()))
    else:
        lists = {**values, "GainMapMax": "<rdf:Seq>" + "<rdf:li>2</rdf:li>" * 3 + "</rdf:Seq>"}
        said = gain_xmp("".join(f"<hdrgm:{k}>{v}</hdrgm:{k}>" for k, v in lists.items()))
    return jpeg(gain, (APP1, XMP_HEAD + said))


@pytest.mark.source("ISO21496-1", "annex C, and the XMP form before it")
@pytest.mark.parametrize("form", FORMS)
def test_every_way_of_saying_a_map_means_the_same(tmp_path: Path, form: str):
    picture = read(tmp_path / "a.jpg", jpeg_with_behind(jpeg(SDR), map_picture(form)))
    np.testing.assert_allclose(picture.light[60, 180], 4.0, rtol=2e-3)
    np.testing.assert_allclose(picture.light[60, 10], picture.radiance[60, 10], rtol=2e-3)
    # White behind the map is at its end, so that what is lost there is more than that.
    assert picture.encoding.top == pytest.approx((4.0,) * 3, rel=1e-3)


@pytest.mark.parametrize("quarters", [0, 3])
def test_a_phones_heic_tells_light_by_either_of_its_maps(tmp_path: Path, quarters: int):
    """Its own form is within 4 % of the standard's where the map is whole: both say four times."""
    path = tmp_path / "a.heic"
    own = read(path, heic(SDR, gain=(HALF, phone_xmp(4.0)), quarters=quarters))
    standard = read(path, heic(SDR, gain=(HALF, b""), iso=iso_numbers(0.0, 2.0), quarters=quarters))
    expected = np.rot90(np.where(np.arange(192) < 96, 1.0, 4.0) * np.ones((128, 1)), quarters)
    inner = np.rot90(
        (np.arange(192) // 4 != 24) & (np.arange(192) // 4 != 23) | np.zeros((128, 1), bool),
        quarters,
    )
    for picture in (own, standard):
        gain = (picture.light / picture.radiance)[..., 1]
        np.testing.assert_allclose(gain[inner], expected[inner], rtol=2e-3)


def test_headroom_by_a_maker_note_is_as_published():
    """The four pieces, at numbers of one of its examples; from memory."""
    assert headroom_of_maker_note(0.8, 0.005) == pytest.approx(2**1.7)
    assert headroom_of_maker_note(0.8, 0.5) == pytest.approx(2**1.5505)
    assert headroom_of_maker_note(1.2, 0.005) == pytest.approx(2**2.65)
    assert headroom_of_maker_note(1.2, 1.0) == pytest.approx(2**2.0)


def test_brightness_of_all_of_a_picture_is_exposure_and_no_light_of_lamps(tmp_path: Path):
    """A map that makes everything twice as bright tells of no lamp at all."""
    grey = np.full((128, 192, 3), 60, np.uint8)
    data = jpeg_with_behind(
        jpeg(grey), jpeg(np.full((64, 96), 255, np.uint8), (APP2, ISO + iso_numbers(0.0, 1.0)))
    )
    picture = read(tmp_path / "a.jpg", data)
    assert picture.lift == pytest.approx(2, rel=1e-3)
    np.testing.assert_allclose(picture.beyond, 0, atol=1e-5)
    np.testing.assert_allclose(picture.light, 2 * picture.radiance, rtol=1e-4)


WRONG = {
    "60000 px": (
        jpeg(HALF, (APP2, ISO + iso_numbers(0, 2))).replace(
            struct.pack(">HH", 64, 96), b"\xea\x60" * 2
        ),
        "claims",
    ),
    "of another shape": (jpeg(HALF[:, :64], (APP2, ISO + iso_numbers(0, 2))), "belongs to another"),
    "no number": (jpeg(HALF, (APP2, ISO + iso_numbers(0, 2)[:20])), "cut short"),
    "endless gain": (jpeg(HALF, (APP2, ISO + iso_numbers(0, 900))), "make no sense"),
    "falls": (jpeg(HALF, (APP2, ISO + iso_numbers(2, 1))), "make no sense"),
    "of a later kind": (jpeg(HALF, (APP2, ISO + b"\0\1" + iso_numbers(0, 2)[2:])), "came later"),
    "to a darker picture": (jpeg(HALF, (APP2, ISO + iso_numbers(0, 2, flags=0x44))), "darker"),
    "no headroom": (
        jpeg(
            HALF,
            (
                APP1,
                XMP_HEAD
                + xmp(
                    f"<apdi:AuxiliaryImageType>{GAIN_MAP}</apdi:AuxiliaryImageType>", "apdi", "x:y"
                ),
            ),
        ),
        "how bright",
    ),
    "cut short": (jpeg(HALF, (APP2, ISO + iso_numbers(0, 2)))[:-300], "cut short|damaged"),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_map_that_cannot_be_used_is_a_note_and_the_picture_is_read(tmp_path: Path, what: str):
    behind, line = WRONG[what]
    picture = read(tmp_path / "a.jpg", jpeg_with_behind(jpeg(SDR), behind))
    assert picture.beyond is None
    (note,) = [one for one in picture.notices if "without it" in one]
    assert re.search(line, note), note
    np.testing.assert_array_equal(picture.encoding.codes, SDR)


def test_no_map_goes_out_with_a_picture_it_does_not_belong_to(tmp_path: Path):
    said = (
        ' hdrgm:Version="1.0" xmlns:Container="c:c" xmlns:Item="i:i"><Container:Directory><rdf:Seq>'
        '<rdf:li rdf:parseType="Resource"><Container:Item Item:Semantic="GainMap" Item:Length="9"/>'
        "</rdf:li></rdf:Seq></Container:Directory><hdrgm:GainMapMax>2</hdrgm:GainMapMax>"
        "<x:kept>the café after closing</x:kept></rdf:Description>"
    )
    packet = gain_xmp(' hdrgm:a="b"').replace(b' hdrgm:a="b"/>', said.encode())
    data = jpeg_with_behind(jpeg(SDR, (APP1, XMP_HEAD + packet)), map_picture("binary"))
    picture = read(tmp_path / "a.jpg", data)
    assert picture.beyond is not None
    seen = fg.render(picture, fg.read_look("harbour-night").at("1/2"))
    fg.write_picture(tmp_path / "b.jpg", seen)
    written = (tmp_path / "b.jpg").read_bytes()
    left = content_after(segments_of(written), APP1, XMP)
    assert left is not None
    assert "the café after closing".encode() in left
    for name in (b"hdrgm:", b"Container:Directory", b"GainMap", b"MPF\0", b"21496"):
        assert name not in written.replace(
            b'xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/"', b""
        )
    assert written.count(b"\xff\xd8\xff") == 1
    assert without_gain_map(b"<a hdrgm:x='1'><b></a>") is None  # what is no XML is not passed on


@pytest.fixture(scope="module")
def shown(tmp_path_factory) -> tuple[fg.Picture, fg.Picture]:
    """A still whose lamps a gain map holds, and the same through a look."""
    path = tmp_path_factory.mktemp("seen") / "a.jpg"
    picture = read(path, encoded(night()))
    return picture, fg.render(picture, fg.read_look("harbour-night").at(1), grain=False)


def test_lamps_that_a_gain_map_holds_glow_as_in_the_scene(tmp_path: Path, shown):
    still, seen = shown
    look = fg.read_look("harbour-night").at(1)
    truth = fg.render(fg.Picture(radiance=night(), primaries=still.primaries), look, camera=None)
    eight = fg.render(read(tmp_path / "b.jpg", encoded(night()), gain_map="off"), look, grain=False)
    dark = night().max(axis=-1) < 0.3
    added = [
        (one - bare)[dark].mean()
        for one, bare in (
            (truth.radiance, night()),
            (seen.radiance, still.radiance),
            (eight.radiance, still.radiance),
        )
    ]
    assert abs(added[1] / added[0] - 1) < 0.08
    assert added[2] < 0.6 * added[0]


def test_what_is_shown_of_a_lamp_stays_white_and_floats_get_its_light(tmp_path: Path, shown):
    still, seen = shown
    core = still.light.min(axis=-1) > 4
    assert (seen.radiance[core] >= still.radiance[core] - 1e-3).all()
    fg.write_picture(tmp_path / "a.exr", seen)
    held = fg.read_picture(tmp_path / "a.exr").radiance
    np.testing.assert_allclose(held, seen.light, rtol=1e-3, atol=1e-4)
    assert held.max() > 6
    bare = fg.render(still, fg.read_look("harbour-night").at(0))
    assert bare.radiance is still.radiance
    fg.write_picture(tmp_path / "b.exr", bare)
    np.testing.assert_allclose(fg.read_picture(tmp_path / "b.exr").radiance, still.light, rtol=1e-3)


def test_exposure_moves_all_light_alike(tmp_path: Path):
    data = encoded(night())
    plain, brighter = (read(tmp_path / "a.jpg", data, exposure_stops=s) for s in (0, 1))
    np.testing.assert_array_equal(brighter.beyond, np.multiply(2, plain.beyond))
    np.testing.assert_allclose(brighter.light, 2 * plain.light, rtol=1e-6)


def test_what_clips_at_the_end_of_the_map_goes_on_to_recovery(tmp_path: Path):
    data = jpeg_with_behind(jpeg(SDR), map_picture("binary"))
    picture = read(tmp_path / "a.jpg", data)
    found = fg.with_recovered_light(picture, fg.Recovery(clipped=5))
    (lamp,) = found.lamps
    assert lamp.stops == pytest.approx(5, abs=1e-3)
    # Mean light of the area is then 5 stops above white: 4 are in the map, 28 are given back.
    top = picture.encoding.top[0]
    area = picture.radiance.min(axis=-1) > 0.999
    light = np.add(found.picture.with_lamps, picture.beyond)
    assert light[area & (picture.beyond[..., 0] > 0.9 * (top - 1))].mean() == pytest.approx(
        32, rel=0.1
    )
    low = fg.with_recovered_light(picture, fg.Recovery(clipped=1))
    assert low.picture.recovered is None
    off = fg.with_recovered_light(picture, fg.Recovery(clipped="off"))
    assert off.picture.beyond is picture.beyond


def test_the_commands_say_what_a_gain_map_tells(tmp_path: Path):
    path = tmp_path / "night.jpg"
    path.write_bytes(encoded(night()))
    result = CliRunner().invoke(app, ["lamps", str(path)])
    assert result.exit_code == 0
    assert "gain map: light up to 3.6 stops above white" in result.stdout
    off = CliRunner().invoke(app, ["lamps", str(path), "--gain-map", "off"])
    assert "gain map" not in off.stdout
    command = ["apply", str(path), "--look", "harbour-night:1/4", "--gain-map", "off", "--json"]
    assert CliRunner().invoke(app, command).exit_code == 0
    with Image.open(tmp_path / "night_harbour-night_1-4.jpg") as out:
        assert out.size == (192, 128)


@pytest.mark.parametrize(("light", "lift"), [(0.13, 1), (0.12, 2), (0.001, 2), (0.0009, 1)])
def test_what_all_parts_share_is_looked_for_from_three_to_ten_stops_below_white(light, lift):
    still = np.full((8, 8, 3), light, np.float32)
    assert _lift(still, 2 * still, BT709) == pytest.approx(lift)
