"""Watched regions: numbers of parts made to have known ones, and of a real photograph."""

from __future__ import annotations

import math

import colour
import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.measurement.watch import KINDS, WatchedRegion, number_texts, region_numbers
from frontglass.picture.encoding import Encoding
from frontglass.picture.region import Region

CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)
WHOLE = WatchedRegion("all", Region(0, 0, 120, 80))


def picture(light: np.ndarray) -> fg.Picture:
    grey = np.repeat(light[:, :, None], 3, axis=2).astype(np.float32)
    return fg.Picture(radiance=grey, encoding=Encoding.linear())


def numbers(light: np.ndarray, before: np.ndarray | None = None):
    bare = picture(light if before is None else before)
    return region_numbers(WHOLE, picture(light), bare, CAMERA)


def test_key_to_shadow_of_a_face_lit_from_one_side():
    light = np.full((80, 120), 0.05)
    light[:, 60:] = 0.4
    assert numbers(light).key_to_shadow_stops == pytest.approx(3, abs=0.02)
    # Texture does not count: a checked pattern of the same mean on each side.
    light *= 1 + 0.3 * (np.indices(light.shape).sum(axis=0) % 2 * 2 - 1)
    assert numbers(light).key_to_shadow_stops == pytest.approx(3, abs=0.05)


@pytest.mark.source("Colour0.4", "eotf_inverse_sRGB: 18 % light is shown at 46.1 %")
def test_black_level_in_stops_and_as_shown():
    light = np.full((80, 120), 0.9)
    light[10:30, 10:50] = 0.18
    got = numbers(light)
    assert got.black_stops == pytest.approx(math.log2(0.18), abs=1e-6)
    assert got.black_percent == pytest.approx(
        100 * float(colour.models.eotf_inverse_sRGB(0.18)), abs=1e-3
    )


@pytest.mark.source("Colour0.4", "eotf_sRGB: the light of half a code")
@pytest.mark.parametrize(
    ("bits", "told"), [("uint8", "over 13 stops"), ("uint16", "over 20 stops")]
)
def test_a_black_is_no_darker_than_the_codes_of_its_still_tell(bits, told):
    codes = np.full((80, 120, 3), 200, bits)
    codes[10:30, 10:50] = 0
    bare = fg.Picture.from_array(codes, curve="srgb")
    got = region_numbers(WHOLE, bare, bare, CAMERA)
    half = float(colour.models.eotf_sRGB(0.5 / np.iinfo(bits).max))
    assert (
        got.black_stops
        == got.black_told_stops
        == pytest.approx(max(math.log2(half), -20), abs=1e-4)
    )
    text = number_texts(got, ("black",))[0]
    assert text == f"{told} under white, as far as its codes tell"
    veiled = bare.with_radiance(bare.radiance + np.float32(2.0**-9))
    lifted = region_numbers(WHOLE, veiled, bare, CAMERA)
    assert number_texts(lifted, ("black",))[0] == "9.0 stops under white"


def test_black_is_where_the_bare_still_has_it():
    before = np.full((80, 120), 0.5)
    before[10:30, 10:50] = 0.01
    after = before.copy()
    after[10:30, 10:50] = 0.7  # lifted above everything else
    assert numbers(after, before).black_stops == pytest.approx(math.log2(0.7), abs=1e-5)


def test_a_lamp_is_as_large_as_the_disc_that_reads_as_lit():
    y, x = np.indices((80, 120))
    light = np.where(np.hypot(x - 60, y - 40) < 12, 30.0, 0.001)
    light[5:9, 5:9] = 1.0  # another lamp: not joined, not counted
    got = numbers(light)
    assert got.lamp_radius_px == pytest.approx(12, rel=0.02)
    # 50 mm on 36 mm: 120 px are 166.67 px a radian.
    assert got.lamp_radius_deg == pytest.approx(math.degrees(12 / 166.667), rel=0.02)
    assert got.halo_level_percent == pytest.approx(100 * 12.92 * 0.001, abs=0.01)


def test_no_lamp_no_radius():
    assert numbers(np.full((80, 120), 0.1)).lamp_radius_px == 0


def test_edges_soften_with_the_blur():
    import cv2

    light = np.full((80, 120), 0.02)
    light[:, 60:] = 0.5
    steep = numbers(light).acutance_percent_per_px
    soft = numbers(cv2.GaussianBlur(light, (0, 0), 3)).acutance_percent_per_px
    # A step between two pixels: half the difference of what they show on either side, over two
    # columns of 80 px; the steepest fiftieth of the region is 192 px.
    shown = [100 * (1.055 * v ** (1 / 2.4) - 0.055) for v in (0.02, 0.5)]
    step = (shown[1] - shown[0]) / 2
    assert steep == pytest.approx(step * math.sqrt(160 / 192), rel=1e-3)
    assert soft < steep / 2


def test_a_name_says_which_numbers_matter():
    assert WatchedRegion.from_text("face left:1,2,3,4").kinds == ("face",)
    assert WatchedRegion.from_text("mug:1,2,30,40") == WatchedRegion("mug", Region(1, 2, 30, 40))
    assert WatchedRegion("mug", Region(1, 2, 30, 40)).kinds == KINDS
    got = numbers(np.full((80, 120), 0.25))
    assert number_texts(got, ("black",)) == ("2.0 stops under white", "shown at 53.7 %")
    assert len(number_texts(got, KINDS)) == 6


@pytest.mark.parametrize("text", ["1,2,3,4", ":1,2,3,4", "face:1,2,3", "face:a,b,c,d", "face"])
def test_a_text_that_names_no_region(text):
    with pytest.raises(ParameterError, match="NAME:X,Y,W,H") as refused:
        WatchedRegion.from_text(text)
    assert refused.value.got == text


@pytest.mark.parametrize("region", [Region(100, 0, 40, 20), Region(0, 0, 2, 20)])
def test_a_region_outside_or_too_small(region):
    with pytest.raises(ParameterError):
        WatchedRegion("face", region).check_inside(picture(np.zeros((80, 120))))


@pytest.mark.source("ScikitImagePhotographs", "coffee.png")
def test_a_photograph_bare_and_filtered():
    data = pytest.importorskip("skimage.data")
    from pathlib import Path

    path = Path(data.__file__).parent / "coffee.png"
    bare = fg.read_picture(path)
    camera = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
    whole = WatchedRegion("cup", Region(150, 60, 300, 300))

    def through(name: str):
        seen = fg.render(bare, [fg.read_look(name).at(1)], camera=camera)
        return region_numbers(whole, seen, bare, camera)

    before = region_numbers(whole, bare, bare, camera)
    veiled, eased = through("slate-roof"), through("powder-room")
    # A veil of V = .025 of the mean: black b becomes (1 - V) b + V mean, worked out on the codes.
    codes = np.asarray(Image.open(path).convert("RGB")) / 255.0
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    y = light @ [0.2126390, 0.7151687, 0.0721923]
    part = y[60:360, 150:450]
    black = part[part <= np.quantile(part, 0.05)].mean()
    assert before.black_stops == pytest.approx(math.log2(black), abs=0.01)
    lifted = 0.975 * black + 0.025 * y.mean()
    assert veiled.black_stops == pytest.approx(math.log2(lifted), abs=0.01)
    assert veiled.key_to_shadow_stops < before.key_to_shadow_stops
    assert eased.acutance_percent_per_px < 0.9 * before.acutance_percent_per_px
    assert eased.black_stops == pytest.approx(before.black_stops, abs=0.5)
