"""Borders, strengths and senses of nets, lines, grease, clear centres and stray lamps."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.elements import (
    ClearCentre,
    ExponentialLobe,
    Glow,
    Grease,
    Lines,
    Net,
    Place,
    StrayLamp,
)
from frontglass.errors import ParameterError
from frontglass.optics.nets import SquareNet
from frontglass.optics.tulle import HexagonalNet

INDEX_LESS_1 = 0.47
"""Of petrolatum, over air."""
NO_NUMBERS = (math.nan, math.inf, -math.inf, "0.5", True, None)
HOLE = ClearCentre(radius_mm=10.0)
START: dict[type, dict[str, Any]] = {
    Net: {"pitch_mm": 0.5, "thread_mm": 0.04},
    Lines: {"pitch_mm": 1.0, "line_mm": 0.05},
    Grease: {"film_um": 0.2, "texture_um": 60.0},
    StrayLamp: {"right_deg": 30.0, "illuminance": 1.0},
    ClearCentre: {"radius_mm": 10.0},
}
BEYOND: list[tuple[type, str, tuple[object, ...]]] = [
    (Net, "pitch_mm", (0, -1)),
    (Net, "thread_mm", (-0.01,)),
    (Net, "angle_deg", ()),
    (Net, "unevenness", (-0.01,)),
    (Net, "pale_share", (-0.01, 1.01)),
    (Lines, "pitch_mm", (0, -1)),
    (Lines, "line_mm", (-0.01,)),
    (Lines, "angle_deg", ()),
    (Lines, "unevenness", (-0.01,)),
    (Grease, "film_um", (-0.01,)),
    (Grease, "texture_um", (1.9, 20001)),
    (Grease, "grain_um", (1.9, 20001)),
    (Grease, "grain_share", (-0.01, 1.01)),
    (Grease, "streak_ratio", (0.99, 101)),
    (Grease, "stroke_deg", ()),
    (Grease, "patch_mm", (0, -1)),
    (Grease, "unevenness", (-0.01, 1.01)),
    (Grease, "gaps", (-0.01, 1.01)),
    (StrayLamp, "right_deg", ()),
    (StrayLamp, "up_deg", ()),
    (StrayLamp, "illuminance", (-0.01,)),
    (StrayLamp, "scatter_depth", (-0.01, 1.01)),
    (StrayLamp, "asymmetry", (-0.01, 1.0)),
    (StrayLamp, "dust_share", (-0.01, 1.01)),
    (StrayLamp, "ghosts", (-0.01,)),
    (ClearCentre, "radius_mm", (0, -1)),
    (ClearCentre, "right_mm", ()),
    (ClearCentre, "up_mm", ()),
]


def made(kind: type, **values: Any) -> Any:
    return kind(**{**START[kind], **values})


class TestBorders:
    @pytest.mark.parametrize(
        ("kind", "name", "values"), BEYOND, ids=[f"{k}.{n}" for k, n, _ in BEYOND]
    )
    def test_numbers(self, kind, name, values):
        optional = {(Net, "thread_mm")}
        for value in (*NO_NUMBERS, *values):
            if value is None and (kind, name) in optional:
                continue
            with pytest.raises(ParameterError) as caught:
                made(kind, **{name: value})
            assert caught.value.name == name
            assert caught.value.got is value or caught.value.got == value

    @pytest.mark.parametrize(
        ("kind", "values"),
        [
            (Net, {"weave": "felt"}),
            (Grease, {"strokes": "zigzag"}),
            (Grease, {"seed": -1}),
            (Grease, {"seed": 1.0}),
            (Grease, {"seed": True}),
            (Lines, {"families": 0}),
            (Lines, {"families": 5}),
            (Lines, {"families": 2.0}),
            (StrayLamp, {"blades": 4}),
            (StrayLamp, {"blades": 19}),
            (StrayLamp, {"blades": True}),
            (StrayLamp, {"hooded": 1}),
            (StrayLamp, {"colour": (1.0, -1.0, 1.0)}),
            (StrayLamp, {"colour": [1.0, 1.0, 1.0]}),
            (ClearCentre, {"clear": "left"}),
        ],
    )
    def test_choices(self, kind, values):
        (name,) = values
        with pytest.raises(ParameterError) as caught:
            made(kind, **values)
        assert caught.value.name == name

    def test_a_thread_has_a_width_or_a_denier(self):
        for values in ({}, {"thread_mm": 0.04, "denier": 15.0}):
            with pytest.raises(ParameterError, match="width or its denier"):
                Net(pitch_mm=0.5, **values)
        for denier in (0, -1, math.nan):
            with pytest.raises(ParameterError, match="denier"):
                Net(pitch_mm=0.5, denier=denier)

    @pytest.mark.parametrize("kind", [Net, Lines])
    def test_threads_wider_than_half_the_pitch_are_refused(self, kind):
        width = "thread_mm" if kind is Net else "line_mm"
        made(kind, **{width: START[kind]["pitch_mm"] / 2})
        with pytest.raises(ParameterError, match="half of the pitch"):
            made(kind, **{width: 0.51 * START[kind]["pitch_mm"]})

    def test_a_lamp_behind_the_lens_strikes_no_glass(self):
        made(StrayLamp, right_deg=89.0)
        with pytest.raises(ParameterError):
            made(StrayLamp, right_deg=70.0, up_deg=60.0)

    def test_the_ends_of_every_range_are_in_it(self):
        made(Net, thread_mm=0, pale_share=1, unevenness=0)
        made(Grease, film_um=0, texture_um=2, grain_um=20000, streak_ratio=100, gaps=1)
        made(Grease, texture_um=20000, grain_um=2, streak_ratio=1, unevenness=1, grain_share=1)
        made(StrayLamp, illuminance=0, scatter_depth=1, asymmetry=0, dust_share=1, blades=5)


@pytest.mark.parametrize("denier_um", [(6, 27), (10, 35), (15, 43), (20, 50), (30, 61), (40, 70)])
def test_threads_by_weight(denier_um):
    # Round nylon of 1.14 g/cm3: pi/4 w^2 rho 9000 m = denier grams; to the micrometre.
    denier, width_um = denier_um
    assert Net(pitch_mm=0.5, denier=denier).thread_width_mm * 1000 == pytest.approx(
        width_um, abs=0.5
    )


class TestNetStrength:
    @pytest.mark.source("Goodman2005", "sec. 4.4: b^2 passes a net, b^4 of what came is undeviated")
    @pytest.mark.parametrize("weave", ["woven", "knitted", "tulle"])
    def test_transmittance_and_direct_light(self, weave):
        net = Net(pitch_mm=64.0, thread_mm=8.0, weave=weave)
        assert net.transmittance == pytest.approx(0.765625, rel=1e-12)
        assert net.mask().direct == pytest.approx(0.765625, rel=1e-12)

    @given(s1=st.floats(0, 1), s2=st.floats(0, 1), weave=st.sampled_from(["woven", "tulle"]))
    def test_direct_light_of_strengths_multiplies(self, s1, s2, weave):
        net = Net(pitch_mm=1.0, thread_mm=0.1, weave=weave)
        one, two, both = (net.at(s).mask().direct for s in (s1, s2, s1 + s2))
        assert one * two == pytest.approx(both, rel=1e-9)

    def test_more_than_half_covered_is_refused(self):
        for thing in (made(Net), Lines(pitch_mm=1.0, line_mm=0.1)):
            with pytest.raises(ParameterError, match="strength"):
                thing.at(64)

    def test_only_the_thread_changes(self):
        net = Net(pitch_mm=0.5, denier=20.0, angle_deg=5.0, pale_share=0.2, clear_centre=HOLE)
        half = net.at(0.5)
        kept = ("pitch_mm", "weave", "angle_deg", "unevenness", "pale_share", "clear_centre")
        assert [getattr(half, k) for k in kept] == [getattr(net, k) for k in kept]
        assert 0 < half.thread_width_mm < net.thread_width_mm
        assert net.at(1) is net

    def test_pale_threads_give_back_what_they_meet(self):
        black, pale = made(Net), made(Net, pale_share=0.4)
        met = 1 - black.transmittance
        assert pale.transmittance == pytest.approx(black.transmittance + 0.4 * met, rel=1e-12)
        assert pale.veil_share == pytest.approx(0.4 * met / pale.transmittance, rel=1e-12)
        assert made(Net, pale_share=1.0).transmittance == pytest.approx(1, rel=1e-12)


def test_strengths_of_opaque_lines_multiply_and_grooves_lose_no_light():
    lines = Lines(pitch_mm=1.0, line_mm=0.0393, families=2)
    # Each family passes 1 - c and keeps as much of it direct: physics of one grating, twice.
    assert lines.transmittance == pytest.approx((1 - 0.0393) ** 2, rel=1e-12)
    assert lines.at(2).mask().direct == pytest.approx(lines.mask().direct ** 2, rel=1e-9)
    grooves = Lines(pitch_mm=1.0, line_mm=0.04, families=1, groove_phase_deg=180.0)
    assert grooves.transmittance == 1
    assert grooves.mask().direct == pytest.approx(0.84640, abs=5e-6)
    assert grooves.at(0.5).mask().direct == pytest.approx(0.92, rel=1e-9)


def test_a_groove_delays_blue_by_more_of_its_wave_than_red():
    grooves = Lines(pitch_mm=1.0, line_mm=0.04, groove_phase_deg=90.0)
    phases = [grooves.mask(channel).lines.phase_rad for channel in range(3)]
    np.testing.assert_allclose(phases, math.pi / 2 * 540 / np.array([600, 540, 465]), rtol=1e-12)


@pytest.mark.source("Goodman2005", "sec. 4.4: orders of a grating, b sinc(n b) in amplitude")
@pytest.mark.parametrize(("pitch_mm", "thread_mm"), [(0.4, 0.04), (0.2, 0.04), (0.8, 0.05)])
def test_light_of_a_net_beyond_a_degree_is_the_sum_of_its_far_orders(pitch_mm, thread_mm):
    open_share = 1 - thread_mm / pitch_mm
    n = np.arange(-1000, 1001)
    along = (open_share * np.sinc(n * open_share)) ** 2 / open_share
    light, order = np.outer(along, along), np.hypot(n[:, None], n)
    # A channel is a band: 540 nm and 90 nm wide at half its height.
    waves_m = np.linspace(420e-9, 660e-9, 25)
    weights = 0.5 ** ((waves_m - 540e-9) / 45e-9) ** 2
    last = math.radians(1) * pitch_mm * 1e-3 / waves_m
    beyond = np.average([light[order > one].sum() for one in last], weights=weights)
    got = 1 - Net(pitch_mm=pitch_mm, thread_mm=thread_mm).encircled_flux(math.radians(1), 1)
    # The engine's bound, of the light that is there.
    assert got == pytest.approx(beyond, abs=1e-3)


def test_light_of_a_thick_film_is_that_of_its_slopes():
    # Far above one wave deep its angles are normal, of the standard deviation of its slopes.
    film = made(Grease, film_um=8.0, texture_um=400.0)
    sigma_deg = math.degrees(INDEX_LESS_1 * 8.0 / 400.0)
    within = 1 - math.exp(-0.5 / sigma_deg**2)
    assert film.encircled_flux(math.radians(1), 1) == pytest.approx(within, abs=0.01)


def test_strengths_of_grease_add_in_variance():
    grease = made(Grease, film_um=0.3)
    depths = [grease.at(s).film().optical_depth(540e-9) for s in (0.25, 0.5, 0.75)]
    assert depths[0] + depths[1] == pytest.approx(depths[2], rel=1e-12)
    assert grease.at(0.25).film_um == pytest.approx(0.15)
    assert grease.transmittance == 1


def test_strength_of_a_lamp_is_its_light():
    assert made(StrayLamp, illuminance=3.0).at(0.5).illuminance == 1.5
    assert made(StrayLamp).at(64).transmittance == 1


def test_angles_are_anticlockwise_and_rows_count_down():
    assert made(Net, angle_deg=10.0).mask().angle_rad == pytest.approx(-math.radians(10))
    assert made(Lines, angle_deg=10.0).mask().angle_rad == pytest.approx(-math.radians(10))
    assert made(Grease, stroke_deg=10.0).film().stroke_rad == pytest.approx(-math.radians(10))
    right, down = made(StrayLamp, right_deg=20.0, up_deg=10.0).lamp().direction.tangents
    assert right > 0 > down


def test_a_weave_is_the_mask_it_says():
    woven, knitted, tulle = (
        made(Net, weave=weave, unevenness=0.02).mask() for weave in ("woven", "knitted", "tulle")
    )
    assert isinstance(woven, SquareNet)
    assert isinstance(tulle, HexagonalNet)
    assert (woven.jitter_m, woven.drift_m) == pytest.approx((1e-5, 0))
    assert (knitted.jitter_m, knitted.drift_m) == pytest.approx((0, 1e-5))


def test_exposure_goes_by_the_clear_middle():
    glow = Glow(optical_depth=0.3, lobes=(ExponentialLobe(scale_deg=0.4),), clear_share=0.8)
    for thing in (made(Net), made(Lines), glow):
        clear = dataclasses.replace(thing, clear_centre=HOLE)
        assert thing.transmittance < 1
        assert clear.transmittance == 1
        assert getattr(clear, "covered_transmittance", 0.8) < 1


def test_places():
    assert {Net.place, Lines.place, Grease.place} == {Place.FRONT}
    assert StrayLamp.place is Place.LENS
