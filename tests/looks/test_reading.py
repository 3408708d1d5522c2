"""What a look file may say, and how it is told what it may not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frontglass import LookError, look_names, read_look
from frontglass.elements import (
    ELEMENTS,
    LOBES,
    Beam,
    ClearCentre,
    GaussianLobe,
    Glow,
    Grease,
    Haze,
    Lines,
    Net,
    StrayLamp,
    Veil,
)
from frontglass.looks import Look
from frontglass.looks.reading import look_from_toml
from frontglass.optics.grease import Strokes

HEAD = 'name = "quiet-pier"\nsummary = "Lamps swell."\nwatch = "The blacks."\n'
VEIL = '[[element]]\nkind = "veil"\nveil_share = 0.02\n'
GLOW = '[[element]]\nkind = "glow"\noptical_depth = 0.3\n'
LOBE = '[[element.lobe]]\nprofile = "gaussian"\nsigma_deg = 0.3\n'
GOOD = HEAD + GLOW + LOBE + VEIL


def complaint(text: str, *says: str) -> str:
    """What is said of a file with this text: one line that starts with the file."""
    with pytest.raises(LookError) as caught:
        look_from_toml(text, "pier.toml")
    message = str(caught.value)
    assert message.startswith("pier.toml: ")
    assert "\n" not in message
    for words in says:
        assert words in message, message
    return message


def without(text: str, line: str) -> str:
    assert line in text
    return text.replace(line, "")


class TestGoodFiles:
    def test_a_file_is_what_it_says(self):
        assert look_from_toml(GOOD, "pier.toml") == Look(
            name="quiet-pier",
            summary="Lamps swell.",
            watch="The blacks.",
            elements=(
                Glow(optical_depth=0.3, lobes=(GaussianLobe(sigma_deg=0.3),)),
                Veil(veil_share=0.02),
            ),
        )

    def test_whole_numbers_do(self):
        text = HEAD + GLOW.replace("0.3", "1") + LOBE.replace("0.3", "2")
        glow = look_from_toml(text, "pier.toml").elements[0]
        assert glow == Glow(optical_depth=1.0, lobes=(GaussianLobe(sigma_deg=2.0),))

    def test_a_byte_order_mark_and_windows_line_ends_do_no_harm(self, tmp_path):
        path = tmp_path / "pier.toml"
        path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
        assert read_look(path) == look_from_toml(GOOD, "")

    def test_texts_may_be_in_any_language(self):
        text = GOOD.replace("Lamps swell.", "灯が滲む\u3000doucement\u00a0!")
        assert look_from_toml(text, "").summary == "灯が滲む\u3000doucement\u00a0!"

    def test_a_look_read_from_a_file_can_be_hashed(self):
        text = GOOD.replace(VEIL, "") + "channel_scale = [1.2, 1.0, 0.8]\n"
        assert len({look_from_toml(text, ""), look_from_toml(text, "elsewhere")}) == 1


class TestKeys:
    def test_an_unknown_key_of_the_look(self):
        text = 'sumary = "x"\n' + GOOD
        complaint(text, "unknown key 'sumary'", "element, name, summary, watch", "'summary'?")

    def test_an_unknown_key_of_an_element(self):
        complaint(
            HEAD + VEIL + GLOW.replace("optical_depth", "optical_dept") + LOBE,
            "pier.toml: element[1] (glow): unknown key 'optical_dept'",
            "Did you mean 'optical_depth'?",
        )

    def test_an_unknown_key_of_a_lobe(self):
        complaint(
            HEAD + GLOW + LOBE + LOBE.replace("sigma_deg", "sigma_rad"),
            "pier.toml: element[0] (glow) lobe[1] (gaussian): unknown key 'sigma_rad'",
            "Did you mean 'sigma_deg'?",
        )

    def test_a_key_like_no_other_gets_no_guess(self):
        assert "Did you mean" not in complaint("zzzz = 1\n" + GOOD, "unknown key 'zzzz'")

    def test_a_key_of_one_kind_is_none_of_another(self):
        complaint(HEAD + VEIL + "optical_depth = 0.1\n", "(veil): unknown key 'optical_depth'")
        complaint(HEAD + VEIL + LOBE, "(veil): unknown key 'lobe'")

    def test_the_names_of_the_library_are_no_second_way(self):
        # Lobes are tables [[element.lobe]]; what the type calls them is not a key.
        complaint(HEAD + GLOW + "lobes = []\n", "unknown key 'lobes'", "'lobe'?")
        complaint("strength = 0.5\n" + GOOD, "unknown key 'strength'")
        complaint(HEAD + VEIL + "place = 1\n", "unknown key 'place'")

    @pytest.mark.parametrize("key", ["name", "summary", "watch"])
    def test_a_missing_text(self, key):
        lines = [line for line in GOOD.splitlines() if not line.startswith(key)]
        complaint("\n".join(lines), f"pier.toml: {key} is missing")

    def test_missing_elements(self):
        complaint(HEAD, "element is missing")
        complaint(HEAD + "element = []\n", "element must be one or more tables [[element]], got []")

    def test_a_missing_number(self):
        complaint(without(GOOD, "optical_depth = 0.3\n"), "element[0] (glow): optical_depth is")
        complaint(without(GOOD, "veil_share = 0.02\n"), "element[1] (veil): veil_share is missing")
        complaint(
            without(GOOD, "sigma_deg = 0.3\n"),
            "element[0] (glow) lobe[0] (gaussian): sigma_deg is missing",
        )

    def test_missing_lobes(self):
        complaint(HEAD + GLOW, "element[0] (glow): lobe is missing")
        complaint(HEAD + GLOW + "lobe = []\n", "element[0] (glow): lobe must be one or more tables")
        complaint(HEAD + GLOW + "lobe = [1]\n", "lobe must be one or more tables [[lobe]]")
        complaint(HEAD + GLOW + '[element.lobe]\nprofile = "cone"\n', "one or more tables [[lobe]]")


class TestClearCentres:
    GREASE = '[[element]]\nkind = "grease"\nfilm_um = 0.2\ntexture_um = 60.0\n'

    def test_a_table_in_the_element(self):
        text = HEAD + self.GREASE + "[element.clear_centre]\nradius_mm = 9.0\n"
        (grease,) = look_from_toml(text, "").elements
        assert grease == Grease(
            film_um=0.2, texture_um=60.0, clear_centre=ClearCentre(radius_mm=9.0)
        )

    def test_what_is_wrong_with_it(self):
        text = HEAD + self.GREASE
        where = "pier.toml: element[0] (grease)"
        complaint(text + "clear_centre = 9.0\n", f"{where} clear_centre", "must be a table")
        complaint(text + "clear_centre = {}\n", f"{where} clear_centre: radius_mm is missing")
        complaint(
            text + "clear_centre = { radius_m = 9.0 }\n",
            f"{where} clear_centre: unknown key 'radius_m'",
            "Did you mean 'radius_mm'?",
        )
        complaint(
            text + "clear_centre = { radius_mm = 0 }\n",
            f"{where} clear_centre: radius_mm must be > 0, got 0",
        )


class TestKinds:
    @pytest.mark.parametrize("kind", ['"glw"', "3", "[]", '""', '"Glow"', "true", '["glow"]'])
    def test_a_wrong_kind(self, kind):
        complaint(
            GOOD.replace('"glow"', kind),
            "pier.toml: element[0]: kind must be one of glow, ",
            "veil, got ",
        )

    @pytest.mark.parametrize("profile", ['"gausian"', "3", "{}", '"MOFFAT"', "1979-05-27"])
    def test_a_wrong_profile(self, profile):
        complaint(
            GOOD.replace('"gaussian"', profile),
            "pier.toml: element[0] (glow) lobe[0]: profile must be one of cone, exponential, ",
        )

    def test_no_kind_at_all(self):
        complaint(without(GOOD, 'kind = "veil"\n'), "element[1]: kind must be one of", "got None")
        complaint(without(GOOD, 'profile = "gaussian"\n'), "lobe[0]: profile must be one of")

    @pytest.mark.parametrize("value", ['"none"', "3", "[1, 2]", "true", "{}"])
    def test_elements_that_are_no_tables(self, value):
        complaint(HEAD + f"element = {value}\n", "element must be one or more tables [[element]]")
        complaint(HEAD + '[element]\nkind = "veil"\nveil_share = 0.1\n', "tables [[element]]")


class TestValues:
    @pytest.mark.parametrize(
        "value",
        ['"0.3"', "true", "nan", "inf", "-inf", "[0.3]", "{}", "-0.1", "1979-05-27", "1" * 400],
    )
    def test_a_number_that_is_none(self, value):
        complaint(
            GOOD.replace("optical_depth = 0.3", f"optical_depth = {value}"),
            "pier.toml: element[0] (glow): optical_depth must be ",
            ", got ",
        )
        complaint(
            GOOD.replace("sigma_deg = 0.3", f"sigma_deg = {value}"),
            "pier.toml: element[0] (glow) lobe[0] (gaussian): sigma_deg must be ",
        )
        complaint(
            GOOD.replace("veil_share = 0.02", f"veil_share = {value}"),
            "pier.toml: element[1] (veil): veil_share must be ",
        )

    @pytest.mark.parametrize(
        "value",
        ["1.0", "[]", "[1.0, 1.0]", "[1.0, 1.0, 1.0, 1.0]", '"123"']
        + [f"[1.0, {value}, 1.0]" for value in ("nan", "true", '"1"', "[1.0]", "-1.0")],
    )
    def test_a_triple_that_is_none(self, value):
        complaint(
            GOOD.replace(LOBE, f"channel_depth = {value}\n" + LOBE),
            "pier.toml: element[0] (glow): channel_depth must be ",
        )
        complaint(
            GOOD.replace(LOBE, LOBE + f"channel_scale = {value}\n"),
            "lobe[0] (gaussian): channel_scale must be ",
        )

    @pytest.mark.parametrize("value", ["3", "true", '""', '"  "', "[]", '["a"]', "1979-05-27"])
    @pytest.mark.parametrize("key", ["name", "summary", "watch"])
    def test_a_text_that_is_none(self, key, value):
        lines = [f"{key} = {value}" if line.startswith(key) else line for line in GOOD.splitlines()]
        complaint("\n".join(lines), f"pier.toml: {key} must be a line of text, got ")

    @pytest.mark.parametrize("code", ["\\n", "\\r", "\\u001b[31m", "\\u2028", "\\u0085", "\\u0000"])
    @pytest.mark.parametrize("key", ["summary", "watch"])
    def test_a_text_that_would_break_the_line_or_steer_a_terminal(self, key, code):
        lines = [
            f'{key} = "a{code}b"' if line.startswith(key) else line for line in GOOD.splitlines()
        ]
        complaint("\n".join(lines), f"{key} must be a single line without control characters")

    @pytest.mark.parametrize(
        "name", ["Quiet-Pier", "quiet pier", "-pier", "pier-", "quiet--pier", "../pier", "quai-é"]
    )
    def test_a_name_that_would_not_do_in_a_file_name(self, name):
        complaint(
            GOOD.replace('"quiet-pier"', f'"{name}"'),
            f"name must be lower-case words joined by hyphens, such as quiet-pier, got {name!r}",
        )

    def test_elements_out_of_light_order(self):
        complaint(
            HEAD + VEIL + GLOW + LOBE,
            "pier.toml: elements must be in light order, got 'veil, glow'",
            "what is before the lens, then the lens",
        )


class TestFiles:
    def said_of(self, path: Path) -> str:
        with pytest.raises(LookError) as caught:
            read_look(path)
        message = str(caught.value)
        assert message.startswith(str(path))
        assert "\n" not in message
        return message

    def test_not_toml(self):
        complaint(HEAD + "[[element\n", "not valid TOML", "line 4")
        complaint(HEAD + 'name = "again"\n' + VEIL, "not valid TOML")

    def test_nested_beyond_reason(self):
        # tomllib recurses once a bracket.
        complaint(HEAD + "x = " + "[" * 5000 + "]" * 5000, "not valid TOML: nested too deeply")

    def test_a_number_of_thousands_of_digits(self):
        # Python reads no whole number of more than 4300 digits.
        complaint(HEAD + "x = " + "1" * 5000, "not valid TOML")

    def test_not_utf_8(self, tmp_path):
        path = tmp_path / "pier.toml"
        path.write_bytes(GOOD.replace("swell", "gl\u00fchen").encode("latin-1"))
        assert "must be text in UTF-8" in self.said_of(path)

    def test_too_large(self, tmp_path):
        path = tmp_path / "pier.toml"
        path.write_text(GOOD + "#" * 1_000_000)
        assert "more than 1 MB" in self.said_of(path)

    def test_large_but_not_too_large(self, tmp_path):
        path = tmp_path / "pier.toml"
        path.write_text(GOOD + "#" * 900_000)
        assert read_look(path).name == "quiet-pier"

    def test_missing(self, tmp_path):
        assert "no such look file" in self.said_of(tmp_path / "pier.toml")

    def test_a_folder(self, tmp_path):
        (tmp_path / "pier.toml").mkdir()
        assert "no such look file" in self.said_of(tmp_path / "pier.toml")

    @pytest.mark.parametrize("name", ["x" * 5000 + ".toml", "a\0b.toml"])
    def test_a_path_that_no_system_takes(self, name):
        with pytest.raises(LookError, match="no such look file"):
            read_look(name)

    def test_empty(self, tmp_path):
        path = tmp_path / "pier.toml"
        path.touch()
        assert "name is missing" in self.said_of(path)


def finite(low: float, high: float, *, above: bool = False) -> st.SearchStrategy[float]:
    return st.floats(low, high, exclude_min=above, allow_subnormal=False)


def triples(low: float) -> st.SearchStrategy[tuple[float, float, float]]:
    return st.tuples(*[finite(low, 8)] * 3)


OF_ALL_LOBES: dict[str, Any] = {
    "share": finite(1e-6, 1e6),
    "wavelength_exponent": finite(-4, 4),
    "channel_scale": triples(0.01),
}
WIDTH = finite(1e-4, 60)
LOBE_VALUES: dict[str, dict[str, Any]] = {
    "cone": {"radius_deg": WIDTH},
    "exponential": {"scale_deg": WIDTH},
    "flecks": {"diameter_um": finite(2, 5000)},
    "gaussian": {"sigma_deg": WIDTH},
    "moffat": {"core_deg": WIDTH, "beta": finite(1.001, 50)},
}
LOBE_STRATEGIES = st.one_of(
    [st.builds(LOBES[k], **LOBE_VALUES[k], **OF_ALL_LOBES) for k in LOBE_VALUES]
)
ANGLE = finite(-180, 180)
CLEAR_CENTRES = st.none() | st.builds(
    ClearCentre,
    radius_mm=finite(0.1, 100),
    right_mm=finite(-50, 50),
    up_mm=finite(-50, 50),
    clear=st.sampled_from(["inside", "outside"]),
)
ELEMENT_STRATEGIES: dict[str, st.SearchStrategy[Any]] = {
    "glow": st.builds(
        Glow,
        optical_depth=finite(0, 100),
        lobes=st.lists(LOBE_STRATEGIES, min_size=1, max_size=4).map(tuple),
        depth_exponent=finite(-4, 4),
        channel_depth=triples(0),
        clear_share=finite(0, 1, above=True),
        threshold_stops=st.none() | finite(-10, 16),
        knee_stops=finite(0, 8),
    ),
    "grease": st.builds(
        Grease,
        film_um=finite(0, 20),
        texture_um=finite(2, 20000),
        grain_um=finite(2, 20000),
        grain_share=finite(0, 1),
        streak_ratio=finite(1, 100),
        strokes=st.sampled_from(Strokes),
        stroke_deg=ANGLE,
        patch_mm=finite(0.1, 100),
        unevenness=finite(0, 1),
        gaps=finite(0, 1),
        seed=st.integers(0, 2**31),
        clear_centre=CLEAR_CENTRES,
    ),
    "haze": st.builds(
        Haze,
        extinction_per_m=finite(0, 64),
        extinction_exponent=finite(-4, 4),
        albedo=finite(0, 1, above=True),
        asymmetry=finite(-0.9, 0.9),
        airlight=st.none() | triples(0),
        beams=st.lists(
            st.builds(
                Beam,
                right_m=finite(-9, 9),
                up_m=finite(-9, 9),
                forward_m=finite(-9, 9),
                aim_right_m=finite(10, 20),
                aim_up_m=finite(-9, 9),
                aim_forward_m=finite(-9, 9),
                cone_deg=finite(0, 70),
                edge_deg=finite(0.1, 19),
                level=finite(0, 100),
                colour=triples(0),
            ),
            max_size=2,
        ).map(tuple),
    ),
    "lines": st.builds(
        Lines,
        pitch_mm=finite(1, 5),
        line_mm=finite(0.001, 0.3),
        families=st.integers(1, 4),
        groove_phase_deg=st.none() | finite(1, 180),
        angle_deg=ANGLE,
        unevenness=finite(0, 0.1),
        clear_centre=CLEAR_CENTRES,
    ),
    "net": st.builds(
        Net,
        pitch_mm=finite(1, 5),
        thread_mm=finite(0.001, 0.2),
        weave=st.sampled_from(["woven", "knitted", "tulle"]),
        angle_deg=ANGLE,
        unevenness=finite(0, 0.1),
        pale_share=finite(0, 1),
        clear_centre=CLEAR_CENTRES,
    ),
    "stray_lamp": st.builds(
        StrayLamp,
        right_deg=finite(-60, 60),
        up_deg=finite(-60, 60),
        illuminance=finite(0, 10),
        colour=triples(0),
        scatter_depth=finite(0, 1),
        asymmetry=finite(0, 0.99),
        dust_share=finite(0, 1),
        hooded=st.booleans(),
        ghosts=finite(0, 1),
        blades=st.integers(5, 18),
    ),
    "veil": st.builds(Veil, veil_share=st.floats(0, 1, exclude_max=True)),
}
ANY_ELEMENTS = st.lists(st.one_of(*ELEMENT_STRATEGIES.values()), min_size=1, max_size=4).map(
    lambda elements: tuple(sorted(elements, key=lambda element: element.place))
)


def test_every_kind_takes_part_in_the_round_trip():
    assert set(LOBE_VALUES) == set(LOBES)
    assert set(ELEMENT_STRATEGIES) == set(ELEMENTS)


@given(
    elements=ANY_ELEMENTS,
    name=st.from_regex(r"[a-z0-9]+(-[a-z0-9]+)*", fullmatch=True),
    summary=st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), min_size=1),
)
@settings(max_examples=60)
def test_what_is_written_down_is_read_back(elements, name, summary):
    look = Look(name=name, summary=summary, watch='"Quotes" and \\ slashes.', elements=elements)
    assert Look.from_toml(look.to_toml()) == look
    assert Look.from_toml(look.at("1/4").to_toml()) == look


@pytest.mark.parametrize("name", look_names())
def test_looks_of_the_catalogue_are_read_back_from_a_file(tmp_path, name: str):
    look, path = read_look(name), tmp_path / "again.toml"
    path.write_text(look.to_toml(), encoding="utf-8")
    assert read_look(path) == look


def test_numbers_of_numpy_are_written_as_numbers():
    veil = Veil(veil_share=np.float64(0.1) + np.float64(0.2))
    text = Look(elements=(veil,)).to_toml()
    assert "veil_share = 0.30000000000000004\n" in text
    assert "hooded" not in Look(elements=(StrayLamp(right_deg=40, illuminance=1),)).to_toml()


def test_an_element_of_ones_own_has_no_name_in_a_file():
    class Smoke(Veil):
        pass

    with pytest.raises(LookError, match="Smoke: no look file knows this kind; known are glow"):
        Look(elements=(Smoke(veil_share=0.1),)).to_toml()


def test_text_that_is_not_understood_is_said_where_it_stands():
    with pytest.raises(LookError, match="look: not valid TOML"):
        Look.from_toml("name = ")
