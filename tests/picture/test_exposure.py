"""An exposure found where nobody says one."""

from __future__ import annotations

import numpy as np
import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.picture.exposure import fitting_exposure_stops, with_exposure_told
from frontglass.pipeline.recipe import exposure_from_text


def picture(light: np.ndarray) -> fg.Picture:
    return fg.Picture(radiance=np.repeat(light[:, :, None], 3, axis=2).astype(np.float32))


@pytest.mark.parametrize(
    ("level", "stops"),
    [(0.18, 0.0), (0.18 * 16, -4.0), (0.18 / 32, 5.0)],
)
def test_an_even_field_comes_to_middle_grey(level, stops):
    assert fitting_exposure_stops(picture(np.full((90, 120), level))) == pytest.approx(stops)


def test_no_more_than_a_twentieth_goes_above_white():
    light = np.full((100, 120), 0.001)
    light[:10] = 4.0  # a tenth of the frame
    stops = fitting_exposure_stops(picture(light))
    assert stops == pytest.approx(-2.0)
    light[:] = 0.001
    light[:4] = 4.0  # less than a twentieth may burn out
    assert fitting_exposure_stops(picture(light)) > 6


@pytest.mark.parametrize(
    ("level", "said"),
    [
        (9.0, "100% of the still is above white: --exposure -5.6"),
        (1e-3, "The still is black"),
        (0.5, ""),
    ],
)
def test_a_still_that_shows_nothing_suggests_an_exposure(level, said):
    notices = with_exposure_told(picture(np.full((60, 80), level)), 0.0).notices
    assert len(notices) == (1 if said else 0)
    assert all(notice.startswith(said) for notice in notices)
    # What is asked for is counted from the file, not from what is shown.
    shown = with_exposure_told(picture(np.full((60, 80), 36.0)), 2.0).notices
    assert "--exposure -5.6" in shown[0]


def test_codes_are_never_told_to_be_white():
    white = fg.Picture.from_array(np.full((60, 80), 255, np.uint8))
    assert with_exposure_told(white, 0.0) is white


@pytest.mark.parametrize(
    ("text", "stops"), [("2.5", 2.5), ("-1,5", -1.5), ("auto", "auto"), (" Auto ", "auto")]
)
def test_exposures_in_text(text, stops):
    assert exposure_from_text(text) == stops


@pytest.mark.parametrize("text", ["", "much", "nan", "1,5,2"])
def test_what_is_no_exposure_is_refused(text):
    with pytest.raises(
        fg.ParameterError, match=r"exposure must be stops such as 2\.5 or -1, or auto"
    ):
        exposure_from_text(text)
    with pytest.raises(fg.ParameterError):
        fg.Recipe(exposure_stops=text or "none")


def test_the_command_finds_an_exposure_and_says_which(tmp_path):
    rng = np.random.default_rng(5)
    bright = picture(rng.uniform(5, 9, (40, 60)))
    fg.write_picture(tmp_path / "noon.exr", bright)
    words = ["apply", str(tmp_path / "noon.exr"), "--look", "harbour-night:1/4", "--lens", "50"]
    run = CliRunner().invoke
    plain = run(app, [*words, "-o", str(tmp_path / "plain.png")])
    assert "100% of the still is above white: --exposure -5.3 (or auto)" in plain.stderr
    found = run(app, [*words, "--exposure", "auto", "-o", str(tmp_path / "auto.png")])
    assert "Exposed by -5.3 stops (--exposure auto)." in found.stderr
    typed = run(app, [*words, "--exposure", "-5.3", "-o", str(tmp_path / "typed.png")])
    assert typed.exit_code == found.exit_code == 0
    assert (tmp_path / "auto.png").read_bytes() == (tmp_path / "typed.png").read_bytes()
