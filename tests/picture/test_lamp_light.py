"""A still lit by its own lamps is told from paper, and net's rays of lamps are as wide as true."""

from __future__ import annotations

import math
from pathlib import Path

import cv2
import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.clipped import outline
from frontglass.picture.clipped_features import region_features
from frontglass.picture.encoding import Encoding
from frontglass.picture.lamp_kinds import KINDS
from frontglass.picture.lamp_light import Areas, lamp_light
from tests.picture.hdr_scenes import as_still, glow_error, source
from tests.picture.lamp_rooms import lamp_room
from tests.picture.lit_boxes import lit_box
from tests.picture.test_lamp_kinds import clipped_lamp

CAFE = Path(__file__).parents[2] / "examples" / "cafe_1280.exr"


def lamp_on_a_wall(ground: float, halo: float) -> np.ndarray:
    """A clipped disc on an even warm wall, and round it light that falls off."""
    rows, columns = np.mgrid[:160, :256]
    away = np.hypot(rows - 80, columns - 128)
    light = ground + halo * np.exp(-np.maximum(away - 5, 0) / 4)
    light[away <= 5] = 1.0
    return (light[..., None] * np.array([1.0, 0.85, 0.6])).astype(np.float32).clip(0, 1)


def read_of(light: np.ndarray) -> tuple[float, float]:
    light[light.max(axis=2) >= 1] = 1
    features = region_features(light, outline(light))
    return float(features.lamp_lit.max()), features.closure_stops


def test_a_lamp_lights_its_surroundings_and_paper_does_not():
    assert read_of(lamp_on_a_wall(0.06, 0.3))[0] == 1
    assert read_of(lamp_on_a_wall(0.12, 0.0))[0] == 0


def test_a_dark_still_is_a_night_with_a_halo_or_without():
    assert read_of(lamp_on_a_wall(0.012, 0.0))[0] == 1


@pytest.mark.parametrize(("number", "crumbs"), [(32, 0), (64, 0.5), (128, 1), (900, 1)])
def test_from_32_areas_on_they_are_crumbs_and_surely_from_128_on(number, crumbs):
    wall, each = np.full((999, 3), 0.1, np.float32), np.ones(number)
    areas = Areas(each / 1000, each, each * 0.3, each * 0.1, each / 1000)
    assert lamp_light(wall, areas).crumbs == pytest.approx(crumbs)


def test_lamps_send_what_the_rest_shows_whatever_their_size():
    ((_, one), (_, other)) = (read_of(lamp_on_a_wall(g, 0.3)) for g in (0.01, 0.02))
    assert 0.5 < other - one < 1


def test_a_night_without_exif_gets_its_halo_back(tmp_path: Path):
    truth = np.maximum(fg.read_picture(CAFE).radiance, 0) * np.float32(4)
    still = as_still(truth, tmp_path)
    outside = outline(still.radiance).labels == 0
    found = fg.with_recovered_light(still)
    given = float((source(found.picture) - still.radiance).sum())
    lost = float((truth - still.radiance)[~outside].sum())
    assert abs(math.log2(given / lost)) < 1
    plain = glow_error(still.radiance, truth, outside).rms
    assert glow_error(source(found.picture), truth, outside).rms < 0.4 * plain
    assert found.doubt_stops > 1


LAMPS = {"globe": (147, 415), "bulbs": (502, 62), "by the door": (1128, 110)}
OTHERS = {"moon": (408, 128), "hair": (1162, 182), "letters": (1006, 99)}


@pytest.fixture(scope="module", params=[1, 2.5])
def lit_cafe(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory):
    """Clipped areas of the café, exposed so many stops brighter, and the light each has lost."""
    truth = fg.read_picture(CAFE).radiance * np.float32(2**request.param)
    still = as_still(truth, tmp_path_factory.mktemp("cafe"))
    return truth, fg.with_recovered_light(still).lamps


@pytest.mark.parametrize("place", OTHERS.values(), ids=OTHERS)
def test_hair_signs_and_the_moon_do_not_glow_as_lamps_do(lit_cafe, place):
    truth, lamps = lit_cafe
    nearest = min(lamps, key=lambda lamp: math.dist((lamp.x_px, lamp.y_px), place))
    left, top, width, height = nearest.box_px
    true = truth[top : top + height, left : left + width].mean(axis=2)
    own = float(np.log2(true[true >= 1].mean()))
    assert nearest.stops < own + nearest.uncertain_stops


@pytest.mark.parametrize("place", LAMPS.values(), ids=LAMPS)
def test_lamps_do_and_are_as_warm_as_they_are(lit_cafe, place):
    truth, lamps = lit_cafe
    nearest = min(lamps, key=lambda lamp: math.dist((lamp.x_px, lamp.y_px), place))
    lost = truth[place[1], place[0]]
    assert nearest.stops > 7
    red, _, blue = nearest.colour
    assert math.log2(red / blue) == pytest.approx(math.log2(lost[0] / lost[2]), abs=0.6)


def test_a_lamp_without_bloom_fills_its_area(tmp_path: Path):
    truth = fg.read_picture(CAFE).radiance * np.float32(2**2.5)
    globe = fg.LampMark(*LAMPS["globe"], kind="globe")
    recovery = fg.Recovery(marks=(globe,), white_cd_per_m2=25.0)
    found = fg.with_recovered_light(as_still(truth, tmp_path), recovery)
    (named,) = (lamp for lamp in found.lamps if lamp.marked)
    lit = truth[405:425, 137:157].mean()
    assert named.stops == pytest.approx(math.log2(lit), abs=1.0)


def test_over_rooms_streets_and_windows_no_constant_does_as_well(tmp_path):
    left: dict[float | str, list[float]] = {}
    boxes = [lit_box(seed, scene) for scene in ("room", "street", "window") for seed in (102, 108)]
    for truth in [box.light for box in boxes] + [lamp_room(seed).light for seed in (101, 103)]:
        still = as_still(truth, tmp_path)
        outside = outline(still.radiance).labels == 0
        plain = glow_error(still.radiance, truth, outside).rms
        ways: dict[float | str, fg.Recovery] = {"still": fg.Recovery()}
        ways |= {stops: fg.Recovery(clipped=stops) for stops in (2.0, 3.0, 4.0, 5.0)}
        for way, recovery in ways.items():
            light = source(fg.with_recovered_light(still, recovery).picture)
            left.setdefault(way, []).append(glow_error(light, truth, outside).rms / plain)
    mean = {way: float(np.mean(some)) for way, some in left.items()}
    assert mean.pop("still") < 1.05 * min(mean.values())


def ray_width(seen: np.ndarray) -> float:
    """Width at half its height of a net's ray to the right, on a row 85 pixels above a lamp."""
    row = seen.mean(axis=2)[seen.shape[0] // 2 - 85, seen.shape[1] // 2 :]
    row = cv2.resize(row[None], None, fx=8, fy=1, interpolation=cv2.INTER_LINEAR)[0]
    row = row - np.percentile(row, 20)
    return float((row > np.percentile(row, 98) / 2).sum() / 8)


@pytest.mark.parametrize("shape", ["sun", "bulb", "tube"])
@pytest.mark.parametrize("stops", [3, 6, 10])
def test_a_nets_rays_are_as_wide_as_those_of_the_true_lamp_within_a_fifth(shape, stops):
    truth = clipped_lamp(shape, stops)
    camera = fg.Camera.from_field(math.degrees(2 * math.atan(200 / math.degrees(16))))
    still = fg.Picture(radiance=np.minimum(truth, 1), encoding=Encoding.srgb())
    white = KINDS[shape].cd_per_m2 / 2.0**stops
    recovery = fg.Recovery(clipped=shape, white_cd_per_m2=white)
    given = fg.with_recovered_light(still, recovery, camera=camera).picture
    net = fg.read_look("fine-net").at(1)
    got, want = (
        ray_width(fg.render(one, net, camera=camera, surround="dark").radiance)
        for one in (given, fg.Picture(radiance=truth))
    )
    assert got == pytest.approx(want, rel=0.2)
