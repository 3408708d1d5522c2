"""What a look file may say, and how it is told what it may not."""

from __future__ import annotations

from pathlib import Path

import pytest

from frontglass import LookError, read_look
from frontglass.elements import (
    ClearCentre,
    GaussianLobe,
    Glow,
    Grease,
    Veil,
)
from frontglass.looks import Look
from frontglass.looks.reading import look_from_toml

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
        complaint(
            text, "unknown key 'sumary'", "element, learned, name, summary, watch", "'summary'?"
        )

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


def test_text_that_is_not_understood_is_said_where_it_stands():
    with pytest.raises(LookError, match="look: not valid TOML"):
        Look.from_toml("name = ")
