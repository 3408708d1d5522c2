"""A picture through haze: against the same light pixel by pixel, and against a path tracer."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest

import frontglass as fg
from frontglass.elements import BareLamp, Beam, Element, Glow, Haze
from frontglass.elements.lobes import ExponentialLobe
from frontglass.errors import AccuracyWarning, LookError
from frontglass.optics.air import transmittance
from frontglass.optics.beams import beam_airlight
from frontglass.picture.encoding import Encoding
from frontglass.picture.lamp_place import LampPlace
from frontglass.picture.lamps_in_air import lamps_in
from tests.reference.air import hazed_radiance, lamp_airlight

EXAMPLES = Path(__file__).parents[2] / "examples"
TRACED = json.loads((Path(__file__).parents[1] / "data" / "traced_cafe.json").read_text())
CAMERA = fg.Camera.from_field(40.0)
HEIGHT, WIDTH = 180, 300
BULB = BareLamp(right_m=1.9, up_m=0.4, forward_m=3.0, level=0.4, colour=(1.0, 0.8, 0.5))
BEHIND = BareLamp(right_m=-0.3, up_m=1.0, forward_m=-1.5, level=0.5)
BEAM = Beam(
    right_m=-1.5, up_m=1.2, forward_m=4.0, aim_right_m=1.0, aim_up_m=-0.6, aim_forward_m=5.0,
    cone_deg=6.0, edge_deg=3.0, level=2.0, colour=(0.7, 0.9, 1.0),
)  # fmt: skip


CAFE_AIR = Haze(extinction_per_m=0.02, albedo=0.99, asymmetry=0.8)


def seen(picture: fg.Picture, *elements: Element) -> np.ndarray:
    return fg.render(picture, elements, camera=CAMERA).radiance


@lru_cache(maxsize=1)
def room() -> fg.Picture:
    """Dim noise on a floor and a wall, a figure near the lens, two lamps."""
    light = np.random.default_rng(2).uniform(0.01, 0.05, (HEIGHT, WIDTH, 3))
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    distance = np.where(y < 100, 9.0, 9.0 - 6 * (y - 100) / 80)
    figure = np.hypot((x - 200) / 30, (y - 120) / 70) < 1
    distance[figure] = 2.0
    light[np.hypot(x - 60, y - 50) < 4] = (150, 90, 40)
    distance[np.hypot(x - 60, y - 50) < 4] = 5.0
    light[np.hypot(x - 236, y - 30) < 2] = (90, 70, 50)
    return fg.Picture(
        radiance=light.astype(np.float32),
        distance_m=distance.astype(np.float32),
        encoding=Encoding.linear(),
    )


def over_pixels(values: np.ndarray) -> np.ndarray:
    return np.asarray(cv2.GaussianBlur(values, (3, 3), 0, borderType=cv2.BORDER_REPLICATE))


def pixel_by_pixel(picture: fg.Picture, haze: Haze) -> np.ndarray:
    """The same light, each pixel by quadrature: slow, and plain to check.

    What the air keeps and adds is averaged over neighbours, as a still's pixel sees it.
    """
    scale = CAMERA.px_per_rad(picture.width_px)
    distance = picture.distance_m.astype(float)
    lamps = lamps_in(picture.radiance, picture.distance_m, scale, picture.lamps).lamps
    y, x = np.mgrid[: picture.height_px, : picture.width_px]
    rays = np.stack(
        [
            (x + 0.5 - picture.width_px / 2) / scale,
            (y + 0.5 - picture.height_px / 2) / scale,
            np.ones(x.shape),
        ],
        axis=-1,
    ).reshape(-1, 3)
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    out = np.empty(picture.radiance.shape)
    for c in range(3):
        air = haze.air(c)
        airlight = haze.airlight[c]
        kept = over_pixels(transmittance(air.extinction_per_m, distance))
        out[..., c] = hazed_radiance(picture.radiance[..., c], airlight, kept)
        added = np.zeros(distance.shape)
        for lamp in lamps:
            to = np.array([*lamp.tangents, 1.0])
            to /= np.linalg.norm(to)
            across = np.linalg.norm(np.cross(rays, to), axis=1)
            angle = np.hypot(np.arctan2(across, rays @ to), lamp.radius_rad / 2)
            glow = lamp_airlight(
                air, lamp_m=lamp.distance_m, angle_rad=angle, surface_m=distance.ravel()
            )
            intensity = lamp.illuminance[c] * lamp.distance_m**2
            added += intensity * glow.reshape(distance.shape)
        for bulb in haze.lamps:
            way = np.array([bulb.right_m, -bulb.up_m, bulb.forward_m])
            away = float(np.linalg.norm(way))
            angle = np.arccos(rays @ way / away)
            glow = lamp_airlight(air, lamp_m=away, angle_rad=angle, surface_m=distance.ravel())
            added += bulb.intensity(c) * glow.reshape(distance.shape)
        for beam in haze.beams:
            column = beam_airlight(air, beam.beam(), rays, distance.ravel(), steps=60)
            added += beam.intensity(c) * column.reshape(distance.shape)
        out[..., c] += over_pixels(added)
    return out


HAZES = {
    "plain": Haze(extinction_per_m=0.03),
    "with a bare lamp": Haze(extinction_per_m=0.03, lamps=(BULB, BEHIND)),
    "in colour": Haze(extinction_per_m=0.02, extinction_exponent=1.3, albedo=0.8, asymmetry=0.5),
    "typed airlight": Haze(optical_range_m=120.0, airlight=(0.1, 0.2, 0.3)),
    "with a beam": Haze(extinction_per_m=0.03, asymmetry=0.8, beams=(BEAM,)),
}
EVERY_HAZE = pytest.mark.parametrize("haze", HAZES.values(), ids=HAZES.keys())


@EVERY_HAZE
def test_nodes_and_lines_give_the_light_of_every_pixel(haze):
    haze = replace(haze, airlight=haze.airlight or (0.03, 0.04, 0.02))
    got, expected = seen(room(), haze), pixel_by_pixel(room(), haze)
    off = np.abs(got / expected - 1)
    print(f"median {np.median(off):.1e}, 99 % {np.percentile(off, 99):.1e}, worst {off.max():.1e}")
    assert np.median(off) < 1e-4
    assert np.percentile(off, 99) < 3e-3
    # Beside a lamp the reference averages the glow's own peak as well; there alone they differ.
    assert off.max() < 0.04


def test_a_large_still_has_wide_cells_and_the_same_light():
    wide = cv2.resize(room().radiance, None, fx=5, fy=5, interpolation=cv2.INTER_NEAREST)
    away = cv2.resize(room().distance_m, None, fx=5, fy=5, interpolation=cv2.INTER_NEAREST)
    large = fg.Picture(radiance=wide, distance_m=away, encoding=Encoding.linear())
    haze = HAZES["with a beam"]
    reduced = cv2.resize(seen(large, haze), (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    off = np.abs(reduced / seen(room(), haze) - 1)
    assert np.median(off) < 2e-3
    assert np.percentile(off, 99) < 0.02


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (7, 1), (37, 54)])
def test_any_shape(shape):
    light = np.random.default_rng(1).uniform(0, 1, (*shape, 3)).astype(np.float32)
    away = np.full(shape, 4.0, np.float32)
    picture = fg.Picture(radiance=light, distance_m=away, encoding=Encoding.linear())
    got = seen(picture, Haze(extinction_per_m=0.05, airlight=(0.1, 0.1, 0.1)))
    np.testing.assert_allclose(got, hazed_radiance(light, 0.1, math.exp(-0.2)), rtol=1e-5)


@pytest.mark.source("Koschmieder1924", "L0 0.02, airlight 0.30; worked by hand")
@pytest.mark.parametrize(
    ("extinction", "distance", "expected"),
    [(0.05, 10, 0.13017), (0.1, 10, 0.19699), (0.05, 30, 0.23752), (0.05, math.inf, 0.30)],
)
def test_a_dark_wall(extinction, distance, expected):
    picture = fg.Picture(
        radiance=np.full((5, 8, 3), 0.02, np.float32),
        distance_m=np.full((5, 8), distance, np.float32),
        encoding=Encoding.linear(),
    )
    got = seen(picture, Haze(extinction_per_m=extinction, airlight=(0.3, 0.3, 0.3)))
    np.testing.assert_allclose(got, expected, atol=6e-6)


def test_strength_0_is_the_bare_still_bit_for_bit():
    got = seen(room(), *(haze.at(0) for haze in HAZES.values()))
    assert got.tobytes() == room().radiance.tobytes()
    bare = replace(room(), distance_m=None)
    assert seen(bare, Haze(extinction_per_m=1.0).at(0)) is bare.radiance


@EVERY_HAZE
def test_strengths_add(haze):
    whole = seen(room(), haze)
    np.testing.assert_allclose(seen(room(), haze.at(0.25), haze.at(0.75)), whole, rtol=1e-5)


def test_a_stop_more_light_is_a_stop_more_haze():
    brighter = replace(room(), radiance=2 * room().radiance)
    haze = HAZES["plain"]
    np.testing.assert_allclose(seen(brighter, haze), 2 * seen(room(), haze), rtol=1e-5)


def test_haze_comes_before_glass():
    haze = Haze(extinction_per_m=0.05)
    glow = Glow(optical_depth=0.2, lobes=(ExponentialLobe(scale_deg=0.5),))
    hazed = fg.render(room(), haze, camera=CAMERA)
    expected = seen(hazed, glow)
    for order in ([glow, haze], [haze, glow]):
        got = fg.render(room(), order, camera=CAMERA).radiance
        np.testing.assert_array_equal(got, expected)


def test_different_droplets_act_one_after_the_other():
    fine = Haze(extinction_per_m=0.02, extinction_exponent=1.0, airlight=(0.1, 0.1, 0.1))
    coarse = Haze(extinction_per_m=0.03, airlight=(0.2, 0.2, 0.2))
    first = fg.render(room(), fine, camera=CAMERA)
    np.testing.assert_allclose(seen(room(), fine, coarse), seen(first, coarse), rtol=1e-5)


def test_a_still_without_distance_says_what_to_give():
    bare = replace(room(), distance_m=None)
    with pytest.raises(LookError, match=r"--depth FILE.*--distance X,Y,METRES.*--room"):
        seen(bare, Haze(extinction_per_m=0.02))


def test_what_was_assumed_is_said():
    said = fg.render(room(), Haze(extinction_per_m=0.02), camera=CAMERA).notices
    # The noise has a mean of 3 %; the glow of its lamps adds a little.
    np.testing.assert_allclose(estimate_said(said), 0.03, rtol=0.4)
    assert any("glow in the haze are 5.0, 9.0 m away" in text for text in said)
    assert not any("mg/m3" in text for text in said)


def test_a_high_load_is_cautioned():
    said = fg.render(room(), Haze(extinction_per_m=0.051), camera=CAMERA).notices
    caution = next(text for text in said if "mg/m3" in text)
    for word in ("ventilate", "detectors", "slippery", "data sheet", "local rules", "responsible"):
        assert word in caution
    assert "no estimate of exposure" in caution


def test_where_single_scattering_ends_is_said():
    with pytest.warns(AccuracyWarning, match="scattered more than once"):
        seen(room(), Haze(extinction_per_m=0.1))


def test_lamps_pointed_at_glow_and_others_do_not():
    marked = replace(room(), lamps=(LampPlace(x_px=236, y_px=30, distance_m=3.0),))
    haze = Haze(extinction_per_m=0.03, airlight=(0.0, 0.0, 0.0))
    got, all_lamps = seen(marked, haze), seen(room(), haze)
    assert got[50, 66, 0] < 0.5 * all_lamps[50, 66, 0]
    np.testing.assert_allclose(got, pixel_by_pixel(marked, haze), rtol=0.04, atol=1e-6)


def test_nothing_before_the_lamp_is_lit_behind_the_figure():
    # A ray that ends on the figure at 2 m has less lit air than one that passes it.
    haze = Haze(extinction_per_m=0.03, airlight=(0.0, 0.0, 0.0))
    added = (
        seen(room(), haze)
        - room().radiance * np.exp(-0.03 * np.asarray(room().distance_m))[..., None]
    )
    assert added[90, 185].mean() < 0.5 * added[90, 160].mean()


@pytest.mark.source("Traced2026", "cafe_640_hazed.exr: 0.02 per m, albedo 0.99, g 0.8")
class TestTheTracedCafe:
    """The hazed café, path-traced, against frontglass's from the clear still."""

    @pytest.fixture(scope="class", name="frames")
    @classmethod
    def frames_fixture(cls):
        space = fg.Space(depth=EXAMPLES / "cafe_1280_distance.exr")
        framing = fg.Framing(lens_mm=36.9, sensor="36x20.25")
        recipe = fg.Recipe(space=space, framing=framing, exposure_stops=2.5)
        still = recipe.picture_from(EXAMPLES / "cafe_1280.exr")
        traced = fg.read_picture(EXAMPLES / "cafe_640_hazed.exr", exposure_stops=2.5).radiance
        return still, cls.blocks(traced)

    @staticmethod
    def blocks(light: np.ndarray) -> np.ndarray:
        """Means of blocks of 10 px at a width of 640: a pixel of the traced frame has 8 % grain."""
        return cv2.resize(light, (64, 36), interpolation=cv2.INTER_AREA)

    @staticmethod
    def cafe(look: str) -> fg.Look:
        return fg.read_look(str(EXAMPLES / look))

    def test_with_the_spots_of_the_scene(self, frames):
        still, traced = frames
        camera = fg.Camera.from_field(52.0)
        got = fg.render(still, [self.cafe("cafe-haze.toml")], camera=camera).radiance
        stops = np.log2(self.blocks(got).mean(-1) / traced.mean(-1))
        bare = np.log2(self.blocks(still.radiance).mean(-1) / traced.mean(-1))
        rms, rms_bare = (float(np.sqrt((s**2).mean())) for s in (stops, bare))
        print(f"rms {rms:.3f} stops (bare still {rms_bare:.2f}), median {np.median(stops):+.3f}")
        assert abs(np.median(stops)) < 0.08
        assert rms < 0.25
        assert (np.abs(stops) < 0.25).mean() > 0.8
        assert rms_bare > 2

    def test_lamps_of_the_frame_alone_explain_most_of_the_veil(self, frames):
        still, _ = frames
        camera = fg.Camera.from_field(52.0)
        look = self.cafe("cafe-haze.toml")
        (haze,) = look.elements
        assert isinstance(haze, Haze)
        without = replace(look, elements=(replace(haze, beams=()),))
        kept = cv2.GaussianBlur(np.exp(-0.02 * np.asarray(still.distance_m)), (3, 3), 0)[..., None]
        veil = 2**2.5 * np.array(TRACED["veil"])
        spread = ((veil - veil.mean((0, 1))) ** 2).sum()
        shares = {}
        for name, chosen in (("spots", look), ("lamps", without)):
            got = fg.render(still, [chosen], camera=camera).radiance
            off = self.blocks(got - still.radiance * kept) - veil
            shares[name] = 1 - (off**2).sum() / spread
        away = self.blocks((1 - kept) * np.ones(3, np.float32))
        constant = (veil * away).sum((0, 1)) / (away**2).sum((0, 1))
        shares["constant"] = 1 - ((constant * away - veil) ** 2).sum() / spread
        print({name: round(float(share), 3) for name, share in shares.items()})
        assert shares["spots"] > 0.95
        assert shares["lamps"] > 0.88
        assert shares["constant"] < 0.3  # what haze without lamps could do at best

    def test_the_estimated_airlight_is_that_of_the_tracer_within_half(self, frames):
        # All but transmitted light and lamp light scattered once, over 1 - t.
        still, _ = frames
        camera = fg.Camera.from_field(52.0)
        look = replace(self.cafe("cafe-haze.toml"), elements=(CAFE_AIR,))
        got = estimate_said(fg.render(still, [look], camera=camera).notices)
        ratio = got / (2**2.5 * np.array(TRACED["airlight_of_the_rest"]))
        print("estimated / traced airlight:", ratio.round(2))
        assert (ratio > 0.8).all()
        assert (ratio < 1.6).all()


def estimate_said(notices: tuple[str, ...]) -> np.ndarray:
    """Mean of the estimated airlight, as the note has it."""
    (said,) = (text for text in notices if text.startswith("Airlight of the haze is estimated: "))
    shares = said.removeprefix("Airlight of the haze is estimated: ").split(" %")[0]
    return np.array([float(share) for share in shares.split("/")]) / 100
