"""The list for the rental counter: pieces, sizes, stand-ins, as text, page and record."""

from __future__ import annotations

import json
import re

import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import ParameterError
from frontglass.looks import stack_from_text
from frontglass.measurement.rental import filter_size, narrower_side_mm, pieces

CAMERA = ("--lens", "50mm", "--stop", "2.8", "--sensor", "super35")


def run(*words: object):
    return CliRunner().invoke(app, [str(word) for word in words])


@pytest.mark.parametrize(
    ("text", "side_mm"),
    [
        *(("4x5.65", 101.6), ("6.6 x 6.6", 167.64), ("138mm", 138), ("138 mm round", 138)),
        *(("100x143", 100), ("4,5in", 114.3), ("77", 77)),
    ],
)
def test_sizes_of_filters(text, side_mm):
    assert narrower_side_mm(text) == pytest.approx(side_mm)


@pytest.mark.parametrize("text", ["", "large", "0", "4x", "x4"])
def test_no_size(text):
    with pytest.raises(ParameterError, match="size must be"):
        narrower_side_mm(text)


def test_a_size_covers_the_front():
    assert filter_size(None, None)[0] == "to be said"
    assert filter_size(None, 95) == ("4 x 5.65 in", "")
    assert filter_size(None, 134) == ("138 mm round", "")
    assert "no filter" in filter_size(None, 200)[1]
    assert filter_size("4x5.65", 114) == ("4x5.65", "4x5.65 does not cover a front of 114 mm")


def test_a_piece_is_for_all_stills_if_one_choice_is():
    one, every = (stack_from_text("late-tram:1/2"), stack_from_text("late-tram:0.5"))
    (piece,) = pieces([(one, ("gate.jpg",)), (every, ())])
    assert piece.stills == ()
    assert pieces([(stack_from_text("late-tram:0"), ())]) == []


class TestCommand:
    def test_text_page_and_record(self, tmp_path):
        choices = ("late-tram:1/2+slate-roof:0.3@gate 2.jpg,café.jpg", "harbour-night:1/4")
        who = ("--project", "<Ferry>", "--date", "2 June", "--contact", "a@b.example")
        paths = (tmp_path / "list.pdf", tmp_path / "list.txt")
        among = ("--among", "late-tram", "--among", "powder-room", "--stand-ins", "1")
        words = ("list", *choices, *who, *among, *CAMERA, "--size", "4x5.65", "--front", "114")
        result = run(*words, "-o", paths[0], "-o", paths[1])
        assert result.exit_code == 0, result.output
        assert result.stdout == f"{paths[0]}\n{paths[1]}\n"
        assert "note: 4x5.65 does not cover a front of 114 mm." in result.stderr
        assert len(re.findall(rb"/Type\s*/Page\b", paths[0].read_bytes())) == 1
        text = paths[1].read_text(encoding="utf-8")
        assert text.startswith("Filters to rent\n<Ferry>\n2 June\na@b.example\nlens front 114 mm\n")
        assert text.count("[ ] ") == 3
        assert "for: gate 2.jpg, café.jpg" in text
        assert "no stock strength" in text
        assert "or late-tram 1/2: halo +37 %, warmer halo" in text
        assert max(map(len, text.splitlines())) <= 88
        told = json.loads(run(*words, "--json").stdout)
        assert [one["look"] for one in told] == ["late-tram", "slate-roof", "harbour-night"]
        loss = fg.read_look("harbour-night").light_loss_stops
        assert told[2]["light_loss_stops"] == pytest.approx(loss, abs=5e-5)
        assert "exists already" in run(*words, "-o", paths[0]).stderr

    def test_many_pieces_take_pages(self, tmp_path):
        out = tmp_path / "list.pdf"
        choices = [f"slate-roof:{n / 10}" for n in range(1, 30)]
        assert run("list", *choices, "--stand-ins", "0", *CAMERA, "-o", out).exit_code == 0
        assert len(re.findall(rb"/Type\s*/Page\b", out.read_bytes())) > 1

    def test_haze_is_no_filter(self):
        result = run("list", "wharf-morning", "--among", "late-tram", *CAMERA)
        assert "haze, in the room, no filter" in result.stdout
        assert "no stand-in looked for" in result.stdout

    def test_a_list_is_a_pdf_or_a_text(self, tmp_path):
        result = run("list", "late-tram", "-o", tmp_path / "list.docx", *CAMERA)
        assert result.exit_code == 1
        assert ".pdf or .txt" in result.stderr
