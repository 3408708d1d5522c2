"""Stand-ins: closed forms against the engine, and looks ranked by how close they come."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import ParameterError
from frontglass.measurement.character import Characters
from frontglass.measurement.charts import halo_share, lamp_halo, texture_held, wedge_levels
from frontglass.measurement.match import meter_on_targets
from frontglass.measurement.stand_ins import ranked_stand_ins
from frontglass.units import stops_from_ratio

CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.89)
SHAPE = 9 / 16


@pytest.mark.parametrize("text", ["harbour-night:1/4", "late-tram:2", "slate-roof:1/2"])
def test_closed_forms_of_glows_are_what_the_engine_measures(text):
    name, strength = text.split(":")
    look = fg.read_look(name).at(strength)
    got = Characters(look, CAMERA, SHAPE).at(look.strength).effects
    want = meter_on_targets(CAMERA, SHAPE)(look)
    assert got.halo == pytest.approx(want.halo, rel=0.02, abs=1e-4)
    assert got.black_stops == pytest.approx(want.black_stops, abs=0.02)
    assert got.texture == pytest.approx(want.texture, rel=0.03)
    assert got.light_loss_stops == want.light_loss_stops


def test_a_nets_are_near_at_a_strength_that_was_not_sent_a_lamp():
    net = fg.Look(elements=(fg.Net(pitch_mm=0.6, thread_mm=0.05),), name="net")
    characters = Characters(net, CAMERA, SHAPE)
    for strength in (2.0,):
        got = characters.at(strength)
        look = net.at(strength)
        assert got.effects.halo == pytest.approx(halo_share(look, CAMERA), rel=0.15)
        black = stops_from_ratio(wedge_levels(look, CAMERA)[-1]) + 10
        assert got.effects.black_stops == pytest.approx(black, abs=0.2)


def test_the_width_of_a_halo_is_the_lamps():
    look = fg.read_look("harbour-night")
    want = lamp_halo(look, CAMERA)
    # That counts what goes beyond 4 degrees too.
    assert Characters(look, CAMERA, SHAPE).at(1.0).half_deg == pytest.approx(
        want.half_energy_deg, rel=0.2
    )


def test_texture_lost_is_that_of_pores():
    look = fg.read_look("rehearsal-room").at("1/2")
    want = 1 - texture_held(look, CAMERA, SHAPE, 1.0)
    got = Characters(look, CAMERA, SHAPE).at(0.5).effects.texture
    assert got == pytest.approx(want, rel=0.03)


class TestRanking:
    def test_the_same_glass_at_another_strength_comes_first(self):
        names = ("late-tram", "slate-roof", "wet-quay", "wharf-morning", "engine-shed")
        half = fg.Look(
            elements=(fg.Glow(optical_depth=0.0225, lobes=(fg.ExponentialLobe(scale_deg=0.5),)),),
            name="half",
        )
        looks = [*map(fg.read_look, names), half]
        reference = fg.read_look("harbour-night").at("1/2")
        found = ranked_stand_ins(reference, looks, CAMERA, SHAPE)
        first, second = found.stand_ins[:2]
        assert first.look.name == "half"
        assert first.look.strength == pytest.approx(1, rel=0.05)
        assert first.apart < 0.02 < second.apart
        assert first.words == ()
        assert found.left_out == (("wharf-morning", "stands in the room, not before the lens"),)
        assert next(one for one in found.stand_ins if one.look.name == "wet-quay").words == (
            "spreads lamps alone",
            "narrower halo, 0.12 degrees",
        )

    def test_the_best_are_measured_and_mended(self):
        looks = [fg.read_look(name) for name in ("late-tram", "slate-roof")]
        reference = fg.read_look("harbour-night").at("1/2")

        def meter(look):
            """Three tenths more halo of the stand-in than closed forms know."""
            told = Characters(look, CAMERA, SHAPE).at(look.strength).effects
            return replace(told, halo=told.halo * (1.3 if look.name == "late-tram" else 1.0))

        how = {"criterion": "halo", "measured": 1}
        told = ranked_stand_ins(reference, looks, CAMERA, SHAPE, **how).stand_ins[0]
        found = ranked_stand_ins(reference, looks, CAMERA, SHAPE, meter=meter, **how)
        best, other = found.stand_ins
        assert (best.is_measured, other.is_measured) == (True, False)
        assert best.effects == meter(best.look)
        assert best.effects.halo == pytest.approx(found.wanted.halo, rel=0.03)
        assert best.look.strength < 0.85 * told.look.strength

    def test_what_has_no_stand_in_is_refused(self):
        look = fg.read_look("slate-roof")
        for name, strength in (("slate-roof", 0), ("wharf-morning", 1), ("keyhole", 1)):
            with pytest.raises(ParameterError, match="look must be"):
                ranked_stand_ins(fg.read_look(name).at(strength), [look], CAMERA, SHAPE)


class TestCommand:
    camera = ("--lens", "50mm", "--stop", "2.8", "--sensor", "super35")

    def run(self, *words):
        return CliRunner().invoke(app, [str(word) for word in words])

    def test_on_a_still_among_own_looks(self, shoot, tmp_path):
        still = shoot()
        own = tmp_path / "looks"
        own.mkdir()
        text = fg.read_look("harbour-night").to_toml().replace("harbour-night", "quiet-pier")
        (own / "quiet.toml").write_text(text.replace("0.045", "0.09"))
        (own / "scene.toml").write_text("format = 1\n")
        words = ("match", "harbour-night:1/2", "--among", own, "--among", "slate-roof")
        result = self.run(*words, *self.camera, "--on", still, "--json")
        assert result.exit_code == 0, result.output
        told = json.loads(result.stdout)["stand_ins"]
        assert [one["name"] for one in told] == ["quiet-pier", "slate-roof"]
        assert told[0]["strength"] == pytest.approx(0.25, rel=0.05)
        assert told[0]["stock"] == 0.25
        text = self.run(*words, *self.camera, "--on", still).stdout
        assert text.splitlines()[2].startswith("1  quiet-pier     0.25")

    def test_either_with_or_among(self, tmp_path):
        for words in ((), ("--with", "late-tram", "--among", "all")):
            result = self.run("match", "slate-roof", *words)
            assert "either --with LOOK or --among all" in result.stderr
        result = self.run("match", "slate-roof", "--among", tmp_path)
        assert "holds no look" in result.stderr
