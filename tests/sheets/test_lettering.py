"""Text on sheets is never cut off and always legible."""

from __future__ import annotations

from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from frontglass.sheets.lettering import SEPARATOR, broken, fitted, font, legible, text_width_px

WORDS = st.text(st.characters(min_codepoint=32, max_codepoint=0x2FF), max_size=80)


@given(text=WORDS, room=st.integers(60, 900), size=st.integers(8, 60))
def test_every_line_fits_its_room(text: str, room: int, size: int):
    for lines in (fitted([text], room, size)[0], broken(text, room, size)):
        assert all(
            text_width_px(line, lines.size_px) <= room or len(line) == 1 for line in lines.lines
        )


@given(text=WORDS, room=st.integers(40, 400))
def test_breaking_loses_no_letter(text: str, room: int):
    assert "".join("".join(broken(text, room, 14).lines).split()) == "".join(legible(text).split())


def test_type_never_shrinks_below_what_can_be_read():
    (line,) = fitted(["harbour-night 1/4, light loss 0.2 stop"], 260, 26, 24)
    assert line.size_px == 24
    assert len(line.lines) > 1


def test_the_type_comes_along_with_its_licence():
    folder = files("frontglass.sheets").joinpath("type")
    assert "Bitstream Vera" in folder.joinpath("LICENCE.txt").read_text()
    # Light enough to come along with everything.
    assert len(folder.joinpath("DejaVuSansCondensed.ttf").read_bytes()) < 200_000


def test_texts_side_by_side_share_one_size():
    short, long = fitted(["bare", "harbour-night 1/4, light loss 0.2 stop"], 400, 26)
    assert short.size_px == long.size_px < 26
    assert len(long.lines) == 1


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Café Müller, Øre, Łódź, İzmir, Đà Nẵng", "Café Müller, Øre, Łódź, İzmir, Đà Nẵng"),
        ("Λιμάνι, Ночь, Ереван Երևան, ზღვა", "Λιμάνι, Ночь, Ереван Երևան, ზღვა"),
        ("cafe\u0301", "café"),
        ("½ ⅛ \u2013 “quay” … № 5 → 10 €", "½ ⅛ \u2013 “quay” … № 5 → 10 €"),
        ("\ufb01g. \uff12", "fig. 2"),
        ("灯台.jpg", "□□.jpg"),
    ],
)
def test_what_the_type_lacks_is_written_as_the_nearest(text: str, shown: str):
    assert legible(text) == shown


def test_the_type_has_all_that_sheets_say_themselves():
    ours = SEPARATOR + "0123456789/.,%:-_()+ abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
    assert legible(ours) == ours


def test_lettering_is_a_real_scalable_type():
    assert text_width_px("harbour", 40) == pytest.approx(2 * text_width_px("harbour", 20), rel=0.05)
    assert font(20).size == 20
