"""Every look that ships does what it says, in numbers, on a scene made for it."""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
import pytest
from numpy.typing import NDArray

import frontglass as fg
from frontglass.elements import Haze, Net, StrayLamp
from frontglass.looks import Look, catalogue, look_names, read_look
from frontglass.looks.catalogue import shipped_folder
from frontglass.measurement import look_numbers
from frontglass.picture.encoding import Encoding
from frontglass.units import STOCK_STRENGTHS

Light = NDArray[np.float32]

# 600 px across 15 degrees, about a 135 mm lens on full frame: 39.8 px a degree.
CAMERA = fg.Camera.from_field(15.0)
HEIGHT, WIDTH = 400, 600
GROUND, GREY, BLACK, LAMP = 0.01, 0.18, 0.18 / 512, 600.0
LAMP_ROW, LAMP_COLUMN = 200, 150
TEXTURE = np.s_[20:120, 440:560]
TEXTURE_MIDDLE = np.s_[50:90, 470:530]
BLACK_PATCH = np.s_[220:340, 440:560]
BLACK_MIDDLE = np.s_[270:290, 490:510]
PX_PER_DEG = CAMERA.px_per_deg(WIDTH)

NETS = {look.name for look in catalogue() if any(isinstance(e, Net) for e in look.elements)}
# A lamp beside the lens adds light of its own.
HAZES = {look.name for look in catalogue() if any(isinstance(e, Haze) for e in look.elements)}
LAMPS = {look.name for look in catalogue() if any(isinstance(e, StrayLamp) for e in look.elements)}
# Scoped so that tests of one look run one after the other: what its filters need is kept.
every_look = pytest.mark.parametrize("look", catalogue(), ids=look_names(), scope="module")


@lru_cache(maxsize=1)
def scene() -> Light:
    """Ground with a lamp on it; grey to the right with fine texture and a deep black patch."""
    light = np.full((HEIGHT, WIDTH, 3), GROUND)
    light[:, 400:] = GREY
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    fine = GREY * (1 + 0.3 * np.sin(2 * np.pi * x / 6) * np.sin(2 * np.pi * y / 6))
    light[TEXTURE] = fine[TEXTURE][..., np.newaxis]
    light[BLACK_PATCH] = BLACK
    light[np.hypot(y - LAMP_ROW, x - LAMP_COLUMN) < 2.5] = LAMP
    light = light.astype(np.float32)
    light.flags.writeable = False  # Looks leave the picture that came in alone.
    return light


@lru_cache(maxsize=1)
def lamp_alone() -> Light:
    light = np.zeros((HEIGHT, WIDTH, 3), dtype=np.float32)
    light[LAMP_ROW - 2 : LAMP_ROW + 2, 298:302] = LAMP
    return light


def picture_of(light: Light) -> fg.Picture:
    """Picture of a wall 4 m away; only haze asks how far."""
    distance = np.full(light.shape[:2], 4.0, np.float32)
    return fg.Picture(radiance=light, distance_m=distance, encoding=Encoding.linear())


def seen(light: Light, *looks: Look, camera: fg.Camera = CAMERA) -> Light:
    return fg.render(picture_of(light), looks, camera=camera, surround="mirror").radiance


def green_at(light: Light, distance_deg: float) -> float:
    """Light in green at a distance to the right of the lamp of `scene`."""
    return float(light[LAMP_ROW, LAMP_COLUMN + round(distance_deg * PX_PER_DEG), 1])


def halo_stops(light: Light, distance_deg: float) -> float:
    """Stops by which the ground is lifted there."""
    return float(np.log2(green_at(light, distance_deg) / np.float32(GROUND)))


def lift_stops(light: Light) -> float:
    return float(np.log2(light[BLACK_MIDDLE].mean() / BLACK))


def texture_kept(light: Light) -> float:
    """Share of the contrast of texture 9 arc minutes in period."""
    return float(light[TEXTURE_MIDDLE].std() / scene()[TEXTURE_MIDDLE].std())


def row_beside_lamp(name: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distances [degree] to the right of a lamp in the dark, and the green light there."""
    row = seen(lamp_alone(), read_look(name))[LAMP_ROW, 302:, 1]
    r = (np.arange(302.0, WIDTH) - 299.5) / PX_PER_DEG
    return r.astype(np.float64), row.astype(np.float64)


class TestEveryLook:
    def test_a_file_is_named_after_its_look(self):
        for path in shipped_folder("presets").glob("*.toml"):
            assert read_look(path).name == path.stem

    @every_look
    def test_its_texts_are_sentences(self, look):
        for text in (look.summary, look.watch):
            assert text[0].isupper()
            assert text.endswith(".")
            assert len(text) <= 90

    @every_look
    def test_strength_0_leaves_every_bit(self, look):
        assert seen(scene(), look.at(0)).tobytes() == scene().tobytes()

    @every_look
    def test_it_renders_and_keeps_the_light(self, look):
        # The ghost that glass throws of the lamp is light that the sensor had sent back.
        got = seen(scene(), look.with_glass(returns=0.0))
        assert np.isfinite(got).all()
        assert got.min() >= 0
        assert not np.array_equal(got, scene())
        before, after = (light.mean((0, 1), dtype=float) for light in (scene(), got))
        if look.name in LAMPS:
            assert (after > before).all()
        elif look.name in HAZES:
            assert (after < before).all()  # lamps light the room beyond the frame, too
        else:
            # What a net's finest dots cost on pixels: 2e-5.
            np.testing.assert_allclose(after, before, rtol=2e-5)

    # Of nets, test_front_looks asks it: where their light goes is not more at every place.
    @pytest.mark.parametrize(
        "look", [look for look in catalogue() if look.name not in NETS], ids=lambda look: look.name
    )
    def test_more_of_it_does_more(self, look):
        steps = [seen(scene(), look.at(float(strength))) for strength in STOCK_STRENGTHS]
        # Of the lamp itself, of its halo, of the black, of the texture.
        falling = np.array([(s[LAMP_ROW, LAMP_COLUMN, 1], texture_kept(s)) for s in steps])
        rising = np.array([(halo_stops(s, 0.2), halo_stops(s, 1), lift_stops(s)) for s in steps])
        if look.name not in LAMPS:  # a wash has an unevenness of its own
            assert (np.diff(falling[:, 0]) < 0).all()
            assert (np.diff(falling[:, 1]) < 1e-6).all()
        assert (np.diff(rising[:, 0]) > 0).all()
        assert (np.diff(rising, axis=0) > -1e-6).all()

    @every_look
    def test_its_light_loss_is_what_the_picture_loses(self, look):
        lost = fg.render(
            picture_of(scene()), [look], camera=CAMERA, surround="mirror", compensate=False
        )
        dark = lost.radiance
        kept = dark.mean(dtype=float) / seen(scene(), look).mean(dtype=float)
        assert -np.log2(kept) == pytest.approx(look.light_loss_stops, abs=1e-5)

    def test_no_two_of_them_look_alike(self):
        # Stops of halo near and far, of black lift, of local against distant halo; texture and
        # colour weigh 8 times. The closest two are engine-shed and slate-roof, at about 1.1.
        marks = {}
        for look in catalogue():
            got, alone = seen(scene(), look.at("1/2")), seen(lamp_alone(), look.at("1/2"))[LAMP_ROW]
            near, far = (alone[302 + round(d * PX_PER_DEG)] + np.float32(1e-5) for d in (1, 6))
            marks[look.name] = np.array(
                [
                    halo_stops(got, 0.2),
                    halo_stops(got, 1.0),
                    lift_stops(got),
                    -8 * np.log2(texture_kept(got)),
                    np.log2(near[1] / far[1]),
                    8 * np.log2(near[0] / near[2]),
                ]
            )
        apart = {
            (one, other): float(np.linalg.norm(marks[one] - marks[other]))
            for one, other in combinations(marks, 2)
        }
        assert min(apart.values()) > 0.75, min(apart.items(), key=lambda item: item[1])


class TestClaims:
    def test_slate_roof_lifts_blacks_and_does_nothing_else(self):
        got, before = seen(scene(), read_look("slate-roof").with_glass(returns=0.0)), scene()
        assert lift_stops(got) > 1
        # Nothing else: every pixel, edges and lamp included, on one straight line.
        kept = 1 - look_numbers(read_look("slate-roof"), CAMERA, WIDTH).veiling_glare_index
        mean = before.mean(dtype=float)
        np.testing.assert_allclose(got, kept * before + (1 - kept) * mean, rtol=2e-6)
        assert 0.97 < kept < 1

    def test_powder_room_eases_texture_and_holds_blacks(self):
        got = seen(scene(), read_look("powder-room"))
        assert texture_kept(got) < 0.6
        assert abs(lift_stops(got)) < 1e-3
        # No visible halo: a lamp 16 stops over the ground lifts it by less than 1 % a degree off.
        assert abs(halo_stops(got, 1.0)) < 0.014

    def test_powder_room_leaves_edges_where_they_are(self):
        got = seen(scene(), read_look("powder-room"))[280, 430:450, 1]
        # The edge between columns 439 and 440: what one side loses the other gains.
        assert got[9] + got[10] == pytest.approx(GREY + BLACK, rel=1e-3)
        assert got[9] < 0.95 * GREY
        assert (np.diff(got) < 1e-6).all()

    @pytest.mark.parametrize("name", ["lamps-only", "wet-quay"])
    def test_what_acts_on_highlights_leaves_the_rest_bit_for_bit(self, name):
        # The knee of wet-quay begins half a stop below white.
        below = np.minimum(scene(), np.float32(2**-0.5))
        for strength in ("1/8", 1, 2):
            assert seen(below, read_look(name).at(strength)).tobytes() == below.tobytes()

    def test_lamps_only_leaves_white_bit_for_bit(self):
        white = np.minimum(scene(), np.float32(1))
        assert seen(white, read_look("lamps-only")).tobytes() == white.tobytes()

    @pytest.mark.parametrize("name", ["lamps-only", "wet-quay"])
    def test_a_coloured_lamp_swells_in_its_own_colour(self, name):
        # Bright in red alone: above the threshold all the same.
        neon = np.float32(0.02) * np.array([600, 1, 2], dtype=np.float32)
        light = np.where(lamp_alone() > 0, neon, np.float32(0))
        halo = seen(light, read_look(name))[LAMP_ROW, 302:322].astype(float)
        assert halo[0, 0] > 1e-3
        np.testing.assert_allclose(halo / halo[:, :1], np.tile(neon / neon[0], (20, 1)), rtol=1e-3)

    @pytest.mark.parametrize(("name", "most"), [("lamps-only", 1e-5), ("wet-quay", 0.1)])
    def test_what_acts_on_highlights_hardly_veils(self, name, most):
        got = seen(scene(), read_look(name))
        assert abs(lift_stops(got)) < most
        assert texture_kept(got) == pytest.approx(1, abs=1e-4)
        assert halo_stops(got, 0.2) > 3

    def test_glass_beads_sparkles_tighter_than_harbour_night_swells(self):
        tight, wide = (
            look_numbers(read_look(name), CAMERA, WIDTH).glow.half_energy_radius_deg[1]
            for name in ("wet-quay", "harbour-night")
        )
        assert tight < wide / 3

    def test_harbour_night_swells_lamps_and_keeps_detail(self):
        got = seen(scene(), read_look("harbour-night"))
        assert halo_stops(got, 1.0) > 1
        assert texture_kept(got) > 0.9
        # "Blacks lift a little": less than with the look that does nothing else.
        assert 0.5 < lift_stops(got) < lift_stops(seen(scene(), read_look("slate-roof")))

    def test_harbour_night_reaches_further_than_a_bell(self):
        # An exponential transfer function leaves a tail like the inverse cube of the angle.
        r, row = row_beside_lamp("harbour-night")
        far = (r > 2.5) & (r < 5)
        slope = np.polyfit(np.log(r[far]), np.log(row[far]), 1)[0]
        assert -3.1 < slope < -2.3

    def test_late_tram_swells_half_as_much_and_redder(self):
        (r, harbour), (_, tram) = row_beside_lamp("harbour-night"), row_beside_lamp("late-tram")
        outside = (r > 1.5) & (r < 5)
        assert tram[outside].sum() / harbour[outside].sum() == pytest.approx(0.5, abs=0.1)
        for name, redder in (("harbour-night", 1.0), ("late-tram", 1.9)):
            red, _, blue = seen(lamp_alone(), read_look(name))[LAMP_ROW, 302 + int(PX_PER_DEG)]
            assert red / blue >= redder * (1 - 1e-5), name
            assert red / blue < redder + 0.8, name
        assert (np.diff(seen(lamp_alone(), read_look("harbour-night")), axis=2) == 0).all()

    def test_bakery_window_falls_in_a_straight_line_to_an_end(self):
        r, row = row_beside_lamp("bakery-window")
        halo = (r > 0.5) & (r < 4.5)
        slope, start = np.polyfit(r[halo], row[halo], 1)
        left = row[halo] - (slope * r[halo] + start)
        assert 1 - left.var() / row[halo].var() > 0.9999
        beyond = row[r > 5.1]
        # Only the veil is left, and it is even.
        assert np.ptp(beyond) < 0.02 * beyond.mean()
        assert (beyond.mean() - start) / slope == pytest.approx(5.0, abs=0.05)

    def test_bakery_window_lifts_blacks(self):
        assert lift_stops(seen(scene(), read_look("bakery-window"))) > 1

    def test_engine_shed_veils_without_a_halo_that_clings(self):
        r, row = row_beside_lamp("engine-shed")
        at_half_a_degree, at_3 = np.interp([0.5, 3.0], r, row)
        assert at_half_a_degree < 1.05 * at_3
        assert lift_stops(seen(scene(), read_look("engine-shed"))) > 3
        # harbour-night's clings: there it falls to a fraction.
        at_half_a_degree, at_3 = np.interp([0.5, 3.0], *row_beside_lamp("harbour-night"))
        assert at_half_a_degree > 20 * at_3

    def test_engine_shed_has_no_clinging_halo_on_a_wide_lens_either(self):
        light = np.zeros((200, 300, 3), dtype=np.float32)
        light[99:101, 149:151] = LAMP
        camera = fg.Camera.from_field(40.0)
        row = seen(light, read_look("engine-shed"), camera=camera)[100, 151:, 1]
        r = (np.arange(151, 300) - 149.5) / camera.px_per_deg(300)
        at_half_a_degree, at_3 = np.interp([0.5, 3.0], r, row)
        assert at_half_a_degree < 1.1 * at_3

    def test_rehearsal_room_does_some_of_everything(self):
        got = seen(scene(), read_look("rehearsal-room"))
        assert halo_stops(got, 1.0) > 1
        assert lift_stops(got) > 1
        powder, harbour = (
            texture_kept(seen(scene(), read_look(name)))
            for name in ("powder-room", "harbour-night")
        )
        assert powder < texture_kept(got) < harbour


class TestStacks:
    def test_two_looks_are_one_file_with_both(self, tmp_path):
        texts = [
            (shipped_folder("presets") / f"{name}.toml").read_text()
            for name in ("harbour-night", "slate-roof")
        ]
        elements = [text[text.index("[[element]]") :] for text in texts]
        both = tmp_path / "both.toml"
        both.write_text('name = "both"\nsummary = "s"\nwatch = "w"\n' + "\n".join(elements))
        stack = [read_look("harbour-night").at("1/2"), read_look("slate-roof").at("1/2")]
        one = seen(scene(), read_look(both).at("1/2"))
        np.testing.assert_array_equal(seen(scene(), *stack), one)
        np.testing.assert_array_equal(seen(scene(), *stack[::-1]), one)

    @pytest.mark.parametrize("name", ["harbour-night", "powder-room", "slate-roof", "late-tram"])
    def test_strengths_of_a_look_add(self, name):
        look = read_look(name).with_glass(returns=0.0)  # two panes throw two ghosts
        once = seen(scene(), look.at("1/2"))
        # One pass, depths added; two passes through float32.
        np.testing.assert_allclose(seen(scene(), look.at("1/4"), look.at("1/4")), once, rtol=1e-5)
        twice = seen(seen(scene(), look.at("1/4")), look.at("1/4"))
        if name == "powder-room":
            # Narrower than three pixels here: what both passes deviate is averaged over pixels in
            # between, and no other light can differ.
            by_both = (1 - np.exp(-0.8 / 4)) ** 2
            assert np.abs(twice - once).sum() < 2 * by_both * scene().sum()
            return
        # What the engine promises for one pass: 1e-3 of the local value and 1e-4 of white.
        np.testing.assert_allclose(twice, once, rtol=1e-3, atol=1e-4)

    def test_what_stands_before_the_lens_comes_first_however_it_is_named(self):
        # These two do not commute: a veil lifts light over a threshold, or takes it under.
        pair = [read_look("wet-quay"), read_look("slate-roof").at(64)]
        first = seen(scene(), *pair)
        np.testing.assert_array_equal(seen(scene(), *pair[::-1]), first)
        wrong = seen(seen(scene(), pair[1]), pair[0])
        assert np.abs(wrong - first).max() > 0.01

    def test_the_order_of_glows_does_not_matter(self):
        pair = [read_look("harbour-night"), read_look("powder-room")]
        np.testing.assert_allclose(
            seen(scene(), *pair), seen(scene(), *pair[::-1]), rtol=1e-5, atol=1e-7
        )


@every_look
def test_a_bigger_file_shows_the_same(look):
    """A preview of half the width has the halo at the same angle."""
    big = np.full((200, 300, 3), GROUND, dtype=np.float32)
    big[100:108, 100:108] = LAMP
    small = big.reshape(100, 2, 150, 2, 3).mean((1, 3))
    got = seen(big, look).reshape(100, 2, 150, 2, 3).mean((1, 3))
    want = seen(small, look)
    # Out of the lamp's own pixels and their neighbours, where a coarser pixel blurs by itself.
    y, x = np.mgrid[:100, :150]
    away = np.hypot(y - 51.5, x - 51.5) > 8
    np.testing.assert_allclose(got[away], want[away], rtol=0.06)
