"""Matching: a look with itself, with a scaled copy, with one that cannot."""

from __future__ import annotations

import math

import numpy as np
import pytest

import frontglass as fg
from frontglass.elements import ExponentialLobe, GaussianLobe, Glow, Net, Veil
from frontglass.errors import ParameterError
from frontglass.looks import Look
from frontglass.measurement.match import Criterion, Effects, match, meter_on_targets
from frontglass.measurement.still import meter_on_still
from frontglass.measurement.watch import WatchedRegion
from frontglass.picture.encoding import Encoding
from frontglass.picture.region import Region

CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)
ON_TARGETS = meter_on_targets(CAMERA, 9 / 16)


def look_of(*elements, name: str = "pier") -> Look:
    return Look(name=name, summary="s", watch="w", elements=elements)


def glow(depth: float) -> Look:
    lobe = ExponentialLobe(scale_deg=0.3)
    return look_of(Glow(optical_depth=depth, lobes=(lobe,)), name=f"glow-{depth * 100:.0f}")


def still() -> fg.Picture:
    rng = np.random.default_rng(3)
    light = 0.1 + 0.05 * rng.random((90, 160, 3), dtype=np.float32)
    light[:, :40] *= 0.02
    light[30:33, 100:103] = 40
    return fg.Picture(radiance=light, encoding=Encoding.linear())


@pytest.mark.parametrize(
    ("criterion", "strength"), [*((criterion, 0.7) for criterion in Criterion), ("halo", 0.25)]
)
def test_a_look_equals_itself_at_its_own_strength(criterion, strength):
    look = fg.read_look("harbour-night")
    found = match(look.at(strength), look, ON_TARGETS, criterion)
    assert found.matched.strength == pytest.approx(strength, rel=1e-3)


@pytest.mark.parametrize("criterion", list(Criterion))
def test_a_copy_three_times_as_deep_needs_a_third(criterion):
    # Strength multiplies optical depth, so that the two are one glass.
    found = match(glow(0.05).at(0.6), glow(0.15), ON_TARGETS, criterion)
    assert found.matched.strength == pytest.approx(0.2, rel=1e-3)
    assert found.got.halo == pytest.approx(found.wanted.halo, rel=1e-3)


@pytest.mark.parametrize("criterion", list(Criterion))
def test_the_same_on_a_still(criterion):
    meter = meter_on_still(still(), CAMERA)
    found = match(glow(0.05).at(0.6), glow(0.15), meter, criterion)
    assert found.matched.strength == pytest.approx(0.2, rel=2e-3)


def test_a_veil_twice_as_thin_by_its_own_law():
    # 1 - (1 - V)**s: the strength of the thin one is log(1 - .04) / log(1 - .02).
    thick, thin = look_of(Veil(veil_share=0.04)), look_of(Veil(veil_share=0.02), name="thin")
    found = match(thick, thin, ON_TARGETS, Criterion.BLACK)
    want = math.log(1 - 0.04) / math.log(1 - 0.02)
    assert found.matched.strength == pytest.approx(want, rel=1e-3)
    assert found.stock.strength == 2


def test_the_nearest_stock_strength_and_what_it_does():
    found = match(glow(0.05).at(0.6), glow(0.15), ON_TARGETS, Criterion.HALO)
    assert found.stock.strength == 0.25
    # Both thin: a quarter more depth is a quarter more halo, less what is deviated twice.
    assert found.at_stock.halo / found.wanted.halo == pytest.approx(1.25, abs=0.01)


def test_no_match_where_the_other_does_nothing():
    found = match(look_of(Veil(veil_share=0.02)), glow(0.1), ON_TARGETS, Criterion.HALO)
    assert found.matched is None
    assert "pier 1 does nothing to speak of in halo" in found.reason
    found = match(glow(0.1), look_of(Veil(veil_share=0.02)), ON_TARGETS, Criterion.HALO)
    assert "pier does nothing" in found.reason


def test_a_mix_leaves_out_what_one_of_them_does_not_do():
    narrow = look_of(Glow(optical_depth=0.3, lobes=(GaussianLobe(sigma_deg=0.1),)), name="narrow")
    found = match(narrow, glow(0.1), ON_TARGETS, Criterion.MIX)
    assert found.left_out == (Criterion.BLACK,)
    assert found.matched is not None


def test_no_match_beyond_the_strengths_there_are():
    weak, strong = glow(0.0001), glow(2.0)
    found = match(strong.at(4), weak, ON_TARGETS, Criterion.TEXTURE)
    assert found.matched is None
    assert "stays short of" in found.reason or "does nothing" in found.reason
    found = match(glow(0.01).at(0.1), glow(3.0), ON_TARGETS, Criterion.TEXTURE)
    assert "outdoes" in found.reason


def test_threads_cannot_grow_without_end():
    def lost(look: Look) -> Effects:
        (part,) = look.light_path
        direct = part.mask().direct if isinstance(part, Net) else part.psf(1).direct
        return Effects(halo=0, black_stops=0, texture=1 - direct, light_loss_stops=0)

    # Threads fill half of the spacing at most: three quarters of the light, and not 95 %.
    net = look_of(Net(pitch_mm=0.5, thread_mm=0.05), name="net")
    found = match(glow(3.0).at(1), net, lost, Criterion.TEXTURE)
    assert found.matched is None
    assert "stays short of" in found.reason


def test_nothing_cannot_be_matched():
    with pytest.raises(ParameterError, match="above 0"):
        match(glow(0.1).at(0), glow(0.1), ON_TARGETS)


def test_a_mix_is_the_geometric_middle():
    def meter(look: Look) -> Effects:
        s = look.strength
        factors = (1.0, 1.0, 1.0) if look.name == "pier" else (2.0, 4.0, 1.0)
        halo, black, texture = (s * f for f in factors)
        return Effects(halo=halo, black_stops=black, texture=texture, light_loss_stops=0.0)

    veil = Veil(veil_share=0.02)
    found = match(look_of(veil), look_of(veil, name="other"), meter)
    assert found.matched.strength == pytest.approx(0.5, rel=1e-3)


def test_watched_parts_of_a_still_are_where_it_looks():
    # A veil lifts every black; a net of regions picks which black is asked.
    picture = still()
    dark, light = (WatchedRegion("black", Region(x, 10, 20, 20)) for x in (5, 60))
    look = look_of(Veil(veil_share=0.05))
    lift = [
        meter_on_still(picture, CAMERA, watched=(part,))(look).black_stops for part in (dark, light)
    ]
    assert lift[0] > 5 * lift[1] > 0


class TestARoughMeter:
    """What a fast meter finds is mended by the slow one, which says what the match is."""

    @staticmethod
    def meter(level: float, slope: float, asked: list[float] | None = None):
        def effects(look):
            if asked is not None:
                asked.append(look.strength)
            halo = level * look.strength**slope
            return Effects(halo=halo, black_stops=1.0, texture=0.1, light_loss_stops=0.0)

        return effects

    @pytest.mark.parametrize(("level", "slope"), [(0.02, 0.9), (0.014, 1.1), (0.02, 0.6)])
    def test_the_answer_is_that_of_the_slow_one_after_few_looks(self, level, slope):
        asked: list[float] = []
        meter = self.meter(0.02, 0.8, asked)
        found = match(glow(0.1).at(0.7), glow(0.1), meter, "halo", rough=self.meter(level, slope))
        assert found.matched.strength == pytest.approx(0.7, rel=1e-4)
        # The reference, the match in four steps at most, and the stock strength.
        assert len(asked) <= 6

    def test_one_that_leads_astray_changes_nothing(self):
        def falling(look):
            return Effects(
                halo=0.02 / look.strength, black_stops=1.0, texture=0.1, light_loss_stops=0.0
            )

        for rough in (falling, self.meter(0.02, 0.01), self.meter(1e-5, 1.0)):
            found = match(glow(0.1).at(0.7), glow(0.1), self.meter(0.02, 0.8), "halo", rough=rough)
            assert found.matched.strength == pytest.approx(0.7, rel=1e-3)

    def test_a_small_still_leads_to_the_match_on_a_large_one(self):
        from frontglass.picture.reduced import reduced

        large = still()
        meter, rough = (meter_on_still(one, CAMERA) for one in (large, reduced(large, 80)))
        pair = (
            glow(0.05).at(0.6),
            look_of(Glow(optical_depth=0.1, lobes=(GaussianLobe(sigma_deg=0.5),))),
        )
        plain, mended = (match(*pair, meter, "mix", rough=one) for one in (None, rough))
        assert mended.matched.strength == pytest.approx(plain.matched.strength, rel=2e-4)
