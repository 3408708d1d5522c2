"""Clipped regions are found, and what is not a lamp is left alone."""

from __future__ import annotations

import io
import itertools
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.files.icc import icc_profile_bytes
from frontglass.picture.clipped import clipping_levels, outline
from frontglass.picture.clipped_features import region_features
from frontglass.picture.curves import SRGB_CURVE, Curve, ParametricCurve
from frontglass.picture.encoding import Encoding
from frontglass.picture.lamp_levels import Levels
from frontglass.picture.picture import Picture
from frontglass.picture.primaries import BT709, BT2020, P3_D65, Primaries
from tests.picture.hdr_scenes import (
    LAMP_SCENES,
    PLAIN_SCENES,
    as_still,
    codes,
    glow_error,
    picture_error,
    scene,
    source,
    true_marks,
    white_cd_per_m2,
)

RNG = np.random.default_rng


def room(height: int = 120, width: int = 200, ground: float = 0.06) -> np.ndarray:
    """A dim, slightly noisy room in linear light."""
    noise = RNG(5).normal(1, 0.08, (height, width, 1))
    return np.maximum(ground * noise * np.array([1.0, 0.9, 0.8]), 0.002).astype(np.float32)


def soft_disc(light: np.ndarray, x: int, y: int, radius: float, level: float) -> np.ndarray:
    """The room with a lamp in it, blurred as a lens does."""
    rows, columns = np.mgrid[: light.shape[0], : light.shape[1]]
    disc = (np.hypot(rows - y, columns - x) <= radius).astype(np.float32)
    disc = cv2.GaussianBlur(disc, (0, 0), 0.8)[..., np.newaxis]
    return (light * (1 - disc) + disc * np.float32(level)).astype(np.float32)


def jpeg(light: np.ndarray, quality: int) -> np.ndarray:
    """Linear light of a JPEG of `light`."""
    stream = io.BytesIO()
    Image.fromarray(codes(light)).save(stream, "JPEG", quality=quality, subsampling=0)
    decoded = np.asarray(Image.open(stream)) / 255
    return np.asarray(SRGB_CURVE.decode(decoded), dtype=np.float32)


def still_of(light: np.ndarray) -> Picture:
    stored = np.asarray(SRGB_CURVE.decode(codes(light) / 255), dtype=np.float32)
    return Picture(radiance=stored, encoding=Encoding.srgb())


@pytest.mark.parametrize("quality", [60, 80, 95])
def test_jpeg_ringing_neither_splits_a_lamp_nor_makes_new_ones(quality):
    light = soft_disc(soft_disc(room(), 50, 60, 9, 40), 140, 40, 4, 40)
    found = outline(jpeg(light, quality))
    assert found.regions == 2
    area = np.bincount(found.labels.ravel())[1:]
    true = (light.min(axis=2) >= 1).sum()
    assert area.sum() == pytest.approx(true, rel=0.2)


@pytest.mark.parametrize("top", [0.75, 0.9, 1.0])
def test_a_camera_may_clip_below_the_highest_code(top):
    light = np.minimum(soft_disc(room(), 60, 60, 10, 30), top).astype(np.float32)
    assert clipping_levels(light) == pytest.approx([top] * 3, rel=0.02)
    assert outline(light).regions == 1


def test_a_channel_that_ends_early_is_found_beside_one_that_does_not():
    codes = np.random.default_rng(4).integers(60, 240, (80, 100, 3))
    codes[:20, :20, 0] = 255
    codes[:20, :20, 1] = 246
    codes[:20, :20, 2] = 255
    levels = clipping_levels(((codes / 255) ** 2.4).astype(np.float32))
    np.testing.assert_allclose(levels, [1, (246 / 255) ** 2.4, 1], rtol=1e-4)


@pytest.mark.parametrize("quality", [90, 75])
@pytest.mark.parametrize("radius", [3, 5, 9])
def test_a_jpeg_does_not_pass_for_a_lamps_colour(radius, quality):
    light = soft_disc(room() * np.array([4.0, 1.0, 0.2], dtype=np.float32), 61, 59, radius, 40)
    plain = np.asarray(SRGB_CURVE.decode(codes(light) / 255), dtype=np.float32)
    one, other = (region_features(still, outline(still)) for still in (plain, jpeg(light, quality)))
    assert other.core_share == pytest.approx(one.core_share, abs=0.05)


def test_nothing_clips_in_a_room_without_lamps():
    assert outline(room(ground=0.4)).regions == 0


@pytest.mark.parametrize("top", [1.0, 0.85])
@pytest.mark.parametrize("times", [4, 0.25])
def test_the_scale_follows_the_exposure(top, times):
    light = soft_disc(room(), 60, 60, 10, 30)
    stored = np.minimum(light, top).astype(np.float32)
    one, other = outline(stored), outline(stored * np.float32(times), white=times)
    assert one.levels == pytest.approx(top, rel=0.01)
    np.testing.assert_array_equal(one.labels, other.labels)
    assert other.levels == pytest.approx(one.levels * times)


def test_channels_clip_each_for_itself():
    light = room()
    light[40:60, 80:100] = (1.0, 0.0, 0.3)
    light[40:60, 80:100, 1] = np.linspace(0.86, 0.97, 20)
    light[:8, :, 1] = np.linspace(0.7, 0.97, 200)  # green elsewhere comes near white, unclipped
    found = outline(light)
    held = np.zeros((*found.shape, 3))
    held.reshape(-1, 3)[found.at] = found.held
    inside = held[45:55, 85:95]
    assert inside[..., 0].min() == 1
    assert 0 < inside[..., 1].mean() < 0.9
    assert inside[..., 2].max() == 0


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_one_channel_alone_may_not_have_ended(channel):
    light = room()
    light[40:60, 80:100] = 1.0
    light[40:60, 80:100, channel] = 0.5
    found = outline(light)
    held = found.held.mean(axis=0)
    assert held[channel] == 0
    assert np.delete(held, channel).min() == 1


QUALITIES = (None, 98, 90, 75)


class TestAgainstOpenScenes:
    """The benchmark's claim on a few of its scenes, held by a test."""

    @pytest.mark.source("HdrCrops", "tests/data/hdr")
    @pytest.mark.parametrize(
        ("name", "is_white_known", "quality"),
        list(itertools.product(LAMP_SCENES, (True, False), QUALITIES)),
    )
    def test_recovered_glow_is_nearer_to_the_truth(self, name, is_white_known, quality, tmp_path):
        truth = scene(name)
        still = as_still(truth, tmp_path, quality=quality)
        outside = outline(still.radiance).labels == 0
        white = white_cd_per_m2(name) if is_white_known else None
        recovered = fg.with_recovered_light(still, fg.Recovery(white_cd_per_m2=white)).picture
        # The base is what the file says, bit for bit.
        np.testing.assert_array_equal(recovered.radiance, still.radiance)
        plain = glow_error(still.radiance, truth, outside).rms
        now = glow_error(source(recovered), truth, outside).rms
        assert now < plain

    @pytest.mark.source("HdrCrops", "tests/data/hdr")
    def test_no_constant_does_better_by_a_twentieth(self, tmp_path):
        errors: dict[str | float, list[float]] = {}
        for name in LAMP_SCENES:
            truth = scene(name)
            still = as_still(truth, tmp_path)
            outside = outline(still.radiance).labels == 0
            ways: dict[str | float, fg.Recovery] = {"still": fg.Recovery()}
            ways |= {stops: fg.Recovery(clipped=stops) for stops in (1.5, 2.0, 2.5)}
            ways["white"] = fg.Recovery(white_cd_per_m2=white_cd_per_m2(name))
            for way, recovery in ways.items():
                light = source(fg.with_recovered_light(still, recovery).picture)
                errors.setdefault(way, []).append(glow_error(light, truth, outside).rms)
        means = {way: float(np.mean(some)) for way, some in errors.items()}
        estimated = max(means.pop("still"), means.pop("white"))
        assert estimated <= 1.05 * min(means.values())

    @pytest.mark.source("HdrCrops", "tests/data/hdr")
    @pytest.mark.parametrize("name", ["warehouse-a", "interior-b", "forest-a"])
    def test_marks_bring_the_glow_within_0_15_stops(self, name, tmp_path):
        truth = scene(name)
        still = as_still(truth, tmp_path)
        outside = outline(still.radiance).labels == 0
        # Marks alone: what is estimated of the areas that have none is judged above.
        marks = fg.Recovery(clipped="off", marks=true_marks(truth, still))
        marked = source(fg.with_recovered_light(still, marks).picture)
        assert glow_error(marked, truth, outside).rms <= 0.15

    @pytest.mark.source("HdrCrops", "tests/data/hdr")
    @pytest.mark.parametrize("name", PLAIN_SCENES)
    @pytest.mark.parametrize("is_white_known", [True, False])
    def test_scenes_without_lamps_stay_within_0_15_stops(self, name, is_white_known, tmp_path):
        still = as_still(scene(name, 1.0), tmp_path)
        white = white_cd_per_m2(name, 1.0) if is_white_known else None
        recovered = fg.with_recovered_light(still, fg.Recovery(white_cd_per_m2=white)).picture
        assert picture_error(recovered, still) < 0.15


class TestWhiteThings:
    """A wall, a sheet of paper and a sky are white, and no lamps: the picture hardly changes."""

    def error(self, light: np.ndarray) -> float:
        still = still_of(light)
        return picture_error(fg.with_recovered_light(still).picture, still)

    def test_a_wall_that_runs_softly_into_white(self):
        across = np.linspace(0.5, 1.3, 200, dtype=np.float32)
        wall = np.broadcast_to(across[np.newaxis, :, np.newaxis], (120, 200, 3))
        assert self.error(wall * RNG(1).normal(1, 0.01, (120, 200, 1))) < 0.01

    def test_an_even_white_sky_over_a_bright_land(self):
        light = room(ground=0.35)
        light[:50] = 1.15
        light = cv2.GaussianBlur(light, (0, 0), 1.0)
        assert self.error(light) < 0.06

    @pytest.mark.parametrize("ground", [0.15, 0.25, 0.4])
    @pytest.mark.parametrize("width", [20, 60, 110])
    def test_a_sheet_of_paper_is_at_worst_a_weak_lamp(self, width, ground):
        # Small, hard-edged and white, it could be a lamp: the README owns up to it.
        light = room(ground=ground)
        light[20 : 20 + width * 7 // 10, 30 : 30 + width] = 1.2
        light = np.maximum(cv2.GaussianBlur(light, (0, 0), 0.8), 0)
        light *= RNG(4).normal(1, 0.01, light.shape)
        assert self.error(light.astype(np.float32)) < 0.15

    def test_a_still_white_all_over(self):
        assert self.error(np.full((60, 80, 3), 1.2, dtype=np.float32)) == 0


def profiled(path: Path, light: np.ndarray, primaries: Primaries, curve: Curve) -> Picture:
    """A PNG of light already in `primaries`, clipped there, with a profile that says so."""
    stored = np.rint(255 * curve.encode(np.clip(light, 0, 1))).astype(np.uint8)
    curves = (curve,) * (1 if stored.ndim == 2 else 3)
    profile = icc_profile_bytes(primaries, curves, "Test")
    Image.fromarray(stored).save(path, icc_profile=profile)
    return fg.read_picture(path)


def two_lamps() -> np.ndarray:
    """Two lamps of 40 and 12 times white in a warm room."""
    return soft_disc(soft_disc(room(), 50, 60, 9, 40), 140, 40, 6, 12)


def agree(one: Picture, other: Picture, stops: float) -> None:
    """Both show the same regions in the same places, and levels within `stops`."""
    first, second = (fg.with_recovered_light(still).lamps for still in (one, other))
    assert len(first) == len(second)
    for lamp in first:
        other = min(second, key=lambda o: np.hypot(o.x_px - lamp.x_px, o.y_px - lamp.y_px))
        assert np.hypot(other.x_px - lamp.x_px, other.y_px - lamp.y_px) < 0.7
        assert other.area_px == pytest.approx(lamp.area_px, rel=0.1)
        assert other.stops == pytest.approx(lamp.stops, abs=stops)


GAMMA_22 = ParametricCurve(2.2)


class TestProfiles:
    """A profile says how light was stored; what clips in it, and how far, is the scene's."""

    @pytest.mark.parametrize("primaries", [P3_D65, BT2020])
    def test_a_camera_of_other_primaries_finds_the_same_lamps(self, primaries, tmp_path):
        wide = two_lamps() @ (np.linalg.inv(primaries.xyz_from_rgb) @ BT709.xyz_from_rgb).T
        still = profiled(tmp_path / "wide.png", wide, primaries, SRGB_CURVE)
        # A profile holds its primaries in 16 bits after the point.
        np.testing.assert_allclose(still.primaries.red, primaries.red, atol=1e-4)
        agree(still_of(two_lamps()), still, 0.15)

    def test_a_still_converted_after_it_clipped_keeps_its_lamps(self, tmp_path):
        plain = still_of(two_lamps())
        wide = plain.radiance @ (np.linalg.inv(P3_D65.xyz_from_rgb) @ BT709.xyz_from_rgb).T
        still = profiled(tmp_path / "late.png", wide, P3_D65, SRGB_CURVE)
        agree(plain, still, 0.15)

    def test_an_orange_lamp_converted_after_it_clipped_is_still_found(self, tmp_path):
        # Red at its end in BT.709 lies below the highest code of the wider space.
        light = soft_disc(room(), 100, 60, 9, 1.0)
        light *= 1 + (light > 0.5) * np.array([4.0, -0.5, -0.9], dtype=np.float32)
        plain = still_of(light)
        wide = plain.radiance @ (np.linalg.inv(P3_D65.xyz_from_rgb) @ BT709.xyz_from_rgb).T
        assert wide.max() < 0.97
        found = outline(profiled(tmp_path / "late.png", wide, P3_D65, SRGB_CURVE).radiance)
        assert found.regions == outline(plain.radiance).regions == 1

    def test_a_grey_still_finds_the_same_lamps_whatever_its_curve(self, tmp_path):
        grey = two_lamps().mean(axis=2)
        one = profiled(tmp_path / "one.png", grey, BT709, SRGB_CURVE)
        other = profiled(tmp_path / "other.png", grey, BT709, GAMMA_22)
        agree(one, other, 0.1)


class TestStability:
    """What the estimate adds may hang neither on a third of a stop nor on a JPEG's quality."""

    @pytest.mark.source("HdrCrops", "tests/data/hdr")
    @pytest.mark.parametrize("name", ["warehouse-a", "interior-b", "forest-b"])
    @pytest.mark.parametrize("stops", [-1 / 3, 1 / 3])
    def test_a_third_of_a_stop_moves_the_glow_little(self, name, stops, tmp_path):
        still = as_still(scene(name), tmp_path)
        outside = outline(still.radiance).labels == 0
        one = source(fg.with_recovered_light(still).picture)
        other = as_still(scene(name, stops), tmp_path)
        moved = source(fg.with_recovered_light(other).picture) * np.float32(2.0**-stops)
        assert glow_error(moved, one, outside).rms < 0.2

    @pytest.mark.source("HdrCrops", "tests/data/hdr")
    @pytest.mark.parametrize("quality", [98, 90, 75])
    @pytest.mark.parametrize("name", ["warehouse-a", "interior-b", "forest-b"])
    def test_a_jpegs_quality_moves_the_glow_little(self, name, quality, tmp_path):
        png = as_still(scene(name), tmp_path, quality=None)
        outside = outline(png.radiance).labels == 0
        one = source(fg.with_recovered_light(png).picture)
        other = as_still(scene(name), tmp_path, quality=quality)
        moved = source(fg.with_recovered_light(other).picture)
        assert glow_error(moved, one, outside).rms < 0.1


def test_a_mark_gives_its_region_that_level_and_no_other():
    still = still_of(soft_disc(soft_disc(room(), 50, 60, 9, 40), 140, 40, 5, 40))
    mark = fg.LampMark(140, 40, 5.0)
    both = fg.with_recovered_light(still, fg.Recovery(clipped="off", marks=(mark,)))
    by_place = {round(lamp.x_px): lamp for lamp in both.lamps}
    assert by_place[140].stops == 5.0
    assert by_place[140].marked
    assert by_place[50].stops == 0.0
    assert both.picture.notices[-1].startswith("1 clipped area is taken to be up to 5.0 stops")
    extra = np.asarray(both.picture.recovered)
    assert not extra[:, :80].any()
    # Mean light over the region: the level, less the soft rim of its mask.
    region = outline(still.radiance).labels == outline(still.radiance).labels[40, 140]
    mean = (still.radiance + extra)[region].mean()
    assert mean == pytest.approx(32, rel=0.15)


def test_a_typed_level_holds_for_all():
    still = still_of(soft_disc(soft_disc(room(), 50, 60, 9, 40), 140, 40, 5, 40))
    typed = fg.with_recovered_light(still, fg.Recovery.from_text("4"))
    assert [lamp.stops for lamp in typed.lamps] == [4.0, 4.0]
    assert [lamp.uncertain_stops for lamp in typed.lamps] == [0.0, 0.0]
    assert typed.picture.notices[-1].startswith("2 clipped areas are taken to be up to 4.0 stops")


def test_only_plain_white_is_certain():
    doubt = Levels.of(np.array([0.0, 0.5, 6.0]), uncertain_stops=2.0).uncertain_stops
    np.testing.assert_array_equal(doubt, [0.0, 2.0, 2.0])


def test_a_warm_lamp_sends_warm_light():
    light = room() * np.array([2.0, 1.0, 0.4], dtype=np.float32)
    still = still_of(soft_disc(light, 100, 60, 8, 60))
    (lamp,) = fg.with_recovered_light(still).lamps
    red, green, blue = lamp.colour
    assert red > green > blue
    assert red + green + blue == pytest.approx(3)


def test_off_and_float_files_are_left_alone():
    still = still_of(soft_disc(room(), 50, 60, 9, 40))
    assert fg.with_recovered_light(still, fg.Recovery(clipped="off")).picture.recovered is None
    held = Picture(radiance=soft_disc(room(), 50, 60, 9, 40), encoding=Encoding.linear())
    assert fg.with_recovered_light(held).picture.recovered is None
    asked = fg.with_recovered_light(held, fg.Recovery(clipped=3.0)).picture
    assert "holds light above white" in asked.notices[-1]


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: fg.LampMark(1, 2, 40), "lamp stops must be in"),
        (lambda: fg.LampMark(-1, 2, 4), "lamp x must be >= 0"),
        (
            lambda: fg.Recovery.from_text("some"),
            "auto, off, a kind of lamp, or a number",
        ),
        (lambda: fg.Recovery.from_text("-1"), "clipped must be in"),
    ],
)
def test_nonsense_is_refused_in_words(make, said):
    with pytest.raises(fg.ParameterError, match=said):
        make()


@pytest.mark.parametrize(
    ("mark", "said"),
    [((900, 10, 3), "inside the still's 200 x 120 px"), ((190, 100, 3), "The nearest clips at")],
)
def test_a_mark_beside_every_lamp_is_refused(mark, said):
    still = still_of(soft_disc(room(), 50, 60, 9, 40))
    with pytest.raises(fg.ParameterError, match=said):
        fg.with_recovered_light(still, fg.Recovery(marks=(fg.LampMark(*mark),)))
    with pytest.raises(fg.ParameterError, match="Nothing in this still clips"):
        fg.with_recovered_light(still_of(room()), fg.Recovery(marks=(fg.LampMark(1, 1, 3),)))
