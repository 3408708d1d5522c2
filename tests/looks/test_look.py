"""A look as a value, and how it is called up."""

from __future__ import annotations

import math
import shutil

import pytest

from frontglass import FrontglassError, LookError, ParameterError
from frontglass.elements import GaussianLobe, Glow, Veil
from frontglass.looks import Look, look_from_text, look_names, read_look
from frontglass.looks.catalogue import shipped_folder

GLOW = Glow(optical_depth=0.4, lobes=(GaussianLobe(sigma_deg=0.2),), clear_share=0.5)
VEIL = Veil(veil_share=0.19)


def look(**values) -> Look:
    texts = {"name": "quiet-pier", "summary": "Lamps swell.", "watch": "The blacks."}
    return Look(**{**texts, "elements": (GLOW, VEIL), **values})


class TestLook:
    def test_the_strength_reaches_every_element(self):
        glow, veil = look(strength=0.5).light_path
        assert glow == GLOW.at(0.5)
        assert glow.optical_depth == 0.2
        assert veil.veil_share == pytest.approx(0.1)  # 1 - sqrt(0.81)

    def test_at_replaces_the_strength(self):
        assert look(strength=2.0).at("1/4") == look(strength=0.25)
        assert look().at(0).light_path == (GLOW.at(0), VEIL.at(0))

    def test_light_loss_is_counted_in_stops(self):
        assert look().light_loss_stops == pytest.approx(1)
        assert look(strength=2.0).light_loss_stops == pytest.approx(2)
        assert look(strength=0.0).light_loss_stops == 0

    def test_it_says_its_name_and_strength(self):
        assert str(look(strength=0.25)) == "quiet-pier 1/4"

    def test_it_is_a_value(self):
        assert len({look(), look()}) == 1

    @pytest.mark.parametrize("strength", [-0.1, 64.1, math.nan, math.inf, "1/4", None, True])
    def test_its_strength_is_a_number(self, strength):
        # "1/4" is turned into a number by `at`; kept as it is, it would fail later.
        with pytest.raises(ParameterError, match="strength must be"):
            look(strength=strength)

    @pytest.mark.parametrize("strength", [-1, "x", "1/0", "", "nan", 65, "1e400"])
    def test_at_wants_a_strength(self, strength):
        with pytest.raises(ParameterError, match="strength must be a number or a fraction"):
            look().at(strength)

    @pytest.mark.parametrize("elements", [(), [], None, GLOW, (GLOW, "veil"), ("glow",), {GLOW}])
    def test_its_elements_are_one_or_more_in_order(self, elements):
        with pytest.raises(ParameterError, match="elements must be one element at least"):
            look(elements=elements)

    def test_a_list_of_elements_is_taken_as_it_stands(self):
        assert look(elements=[GLOW, VEIL]) == look()

    def test_elements_alone_make_a_look(self):
        alone = Look(elements=(GLOW,))
        assert alone.light_path == (GLOW,)
        assert (alone.name, alone.strength) == ("untitled", 1.0)
        assert all((alone.summary, alone.watch))

    def test_its_elements_stand_in_light_order(self):
        with pytest.raises(ParameterError, match="elements must be in light order, got 'veil, g"):
            look(elements=(VEIL, GLOW))

    @pytest.mark.parametrize("name", ["", "Pier", "a/b", "a b", "..", 3, None, "pier\n"])
    def test_its_name_would_do_in_a_file_name(self, name):
        with pytest.raises(ParameterError, match="name must be"):
            look(name=name)


class TestCalledUp:
    def test_by_name(self):
        assert look_from_text("harbour-night") == read_look("harbour-night")

    @pytest.mark.parametrize(
        ("text", "strength"),
        [
            ("harbour-night:1/4", 0.25),
            ("harbour-night:0.3", 0.3),
            ("harbour-night:2", 2),
            ("harbour-night:0", 0),
            ("harbour-night: 1/2", 0.5),
        ],
    )
    def test_by_name_and_strength(self, text, strength):
        assert look_from_text(text) == read_look("harbour-night").at(strength)
        assert look_from_text(text, "1/8").strength == strength

    @pytest.mark.parametrize("default", ["1/8", 0.125])
    def test_without_strength_the_default_holds(self, default):
        assert look_from_text("slate-roof", default).strength == 0.125

    @pytest.mark.parametrize("name", ["look.toml", "LOOK.TOML", "day 1/look.toml", "a:b/look.toml"])
    def test_by_file(self, name, tmp_path, monkeypatch):
        monkeypatch.chdir(tmp_path)
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(shipped_folder("presets") / "slate-roof.toml", tmp_path / name)
        for text in (name, str(tmp_path / name)):
            assert look_from_text(text) == read_look("slate-roof")
            assert look_from_text(f"{text}:0.3") == read_look("slate-roof").at(0.3)

    @pytest.mark.parametrize("path", ["C:\\x\\look.toml", "C:/x/look.toml", "C:look.toml"])
    def test_a_drive_letter_is_no_name(self, path):
        # Nothing is there; what matters is which path was looked for.
        for text in (path, f"{path}:1/4"):
            with pytest.raises(LookError) as caught:
                look_from_text(text)
            assert str(caught.value) == f"{path}: no such look file."

    @pytest.mark.parametrize("path", ["C:\\x\\look", "C:/x/look"])
    def test_a_drive_letter_before_no_look_file(self, path):
        with pytest.raises(LookError, match=r"look must be a file ending in \.toml or one"):
            look_from_text(path)

    @pytest.mark.parametrize(
        "text", ["slate-roof:", "slate-roof:x", "slate-roof:-1", "slate-roof:1/0", "slate-roof:65"]
    )
    def test_a_strength_that_is_none(self, text):
        with pytest.raises(ParameterError, match="strength must be a number or a fraction") as c:
            look_from_text(text)
        assert c.value.got == text.partition(":")[2]

    @pytest.mark.parametrize("text", ["slate-rof", "Slate-Roof", "slate_roof:1/4", "slateroof"])
    def test_a_name_nearly_right(self, text):
        with pytest.raises(LookError, match=r"Did you mean slate-roof\?") as caught:
            look_from_text(text)
        assert all(name in str(caught.value) for name in look_names())

    @pytest.mark.parametrize("text", ["", ":", ":1/4", "zzzz", "presets/slate-roof", "slate-roof/"])
    def test_a_name_like_no_other(self, text):
        with pytest.raises(FrontglassError) as caught:
            look_from_text(text)
        assert "\n" not in str(caught.value)

    def test_names_are_in_order(self):
        assert list(look_names()) == sorted(look_names())
        assert len(look_names()) >= 9
