"""Whole lines of what pictures, marks, distances and brackets refuse: name, rule, value, advice.

Each says what a person who typed it has to know; other tests match a part of them alone.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import frontglass as fg
from frontglass.picture.arrays import array_like, light_of_array
from frontglass.picture.bracket import merged_bracket
from frontglass.picture.clipped_lamps import with_recovered_light
from frontglass.picture.curves import ParametricCurve, SampledCurve
from frontglass.picture.distance import distance_from_points, fitted_distance
from frontglass.picture.lamp_kinds import kind_named
from frontglass.picture.lamps_in_air import lamps_in
from frontglass.picture.marks import marks_from_texts, place_from_text
from frontglass.picture.primaries import BT709
from frontglass.picture.wider import framed, region_in

LIGHT = np.full((6, 9, 3), 0.25, np.float32)
FAR = np.full((6, 9), 4.0, np.float32)
STILL = fg.Picture(radiance=LIGHT)
CLIPPED = fg.Picture.from_array(np.full((40, 900, 3), 90, np.uint8))
NOISE = fg.Picture.from_array(np.random.default_rng(3).integers(0, 256, (96, 144, 3), np.uint8))
HALVES = LIGHT.astype(np.float16)
CAMERA = fg.Camera(focal_length_mm=50, sensor_width_mm=36)
KINDS = (
    "candle, globe, bulb, filament, tube, neon, lampshade, lantern, led-tape, led-point, screen,"
    " sodium, led-street, headlamp, lit-window, window, overcast, blue-sky, moon, low-sun, sun"
)


def spoilt(value: float) -> np.ndarray:
    light = LIGHT.copy()
    light[2, 3, 1] = value
    return light


def point(text: str) -> fg.DistancePoint:
    return fg.DistancePoint.from_text(text)


def own_depth(depth_m: float, *points: str) -> object:
    depth = fg.OwnDepth(depth_m=np.full((6, 9), depth_m, np.float32))
    return depth.distance_m(STILL, CAMERA, tuple(map(point, points)))


def marked(picture: fg.Picture, x_px: float, y_px: float) -> object:
    return with_recovered_light(picture, fg.Recovery(marks=(fg.LampMark(x_px, y_px, 3),)))


def lamp_at(light: np.ndarray, x_px: float, y_px: float) -> object:
    return lamps_in(light, FAR, 50, [fg.LampPlace(x_px=x_px, y_px=y_px)])


def one_white() -> fg.Picture:
    """A still of 900 x 40 px of which four pixels clip, at 400,20 first."""
    codes = np.full((40, 900, 3), 90, np.uint8)
    codes[20:22, 400:402] = 255
    return fg.Picture.from_array(codes)


Case = tuple[Callable[[], object], str]

PICTURES: list[Case] = [
    (
        lambda: fg.Picture(radiance=LIGHT[0]),
        "radiance must be of shape (H, W, 3), got (9, 3).",
    ),
    (
        lambda: fg.Picture(radiance=spoilt(np.nan)),
        "radiance must be finite, got '1 NaN and 0 infinite samples, the first at x 3, y 2'."
        " Picture.from_array mends such samples if told to.",
    ),
    (
        lambda: fg.Picture(radiance=LIGHT.astype(np.uint8)),
        "radiance must be an array of floats, got 'uint8'."
        " Picture.from_array decodes codes to linear light.",
    ),
    (
        lambda: fg.Picture(radiance=LIGHT, distance_m=LIGHT),
        "distance_m must be of shape (6, 9), got (6, 9, 3).",
    ),
    (
        lambda: fg.Picture(radiance=LIGHT, distance_m=0 * FAR),
        "distance_m must be > 0, got 0.0.",
    ),
    (
        lambda: fg.Picture(radiance=LIGHT, recovered=-LIGHT),
        "recovered must be >= 0 and finite, got -0.25.",
    ),
    (
        lambda: fg.Picture(radiance=LIGHT, beyond=spoilt(np.inf)),
        "beyond must be finite, got 'NaN or infinities'.",
    ),
    (
        lambda: fg.Picture.from_array(np.ones((2, 3), bool)),
        "array must be of floats or whole numbers, got 'bool'.",
    ),
    (
        lambda: fg.Picture.from_array(np.ones(7)),
        "array must be of shape (H, W), (H, W, 1), (H, W, 3) or (H, W, 4), got (7,).",
    ),
    (
        lambda: fg.Picture.from_array(np.ones((2, 3), np.uint32)),
        "white must be given for this array, got None."
        " Which uint32 is white cannot be told from the type.",
    ),
    (
        lambda: fg.Picture.from_array(np.ones((2, 3)), white=0),
        "white must be > 0, got 0.",
    ),
    (
        lambda: fg.Picture.from_array(spoilt(-np.inf)),
        "array must be finite, got '0 NaN and 1 infinite samples, the first at x 3, y 2'."
        ' Mend them, or say non_finite="mend".',
    ),
    (
        lambda: fg.Picture.from_array(np.full((2, 3), np.nan), non_finite="mend"),
        "light must be finite somewhere in each channel, got 'nothing finite'.",
    ),
    (
        lambda: fg.Picture.from_array(np.full((2, 3, 4), 2.0)),
        "alpha must be from 0 to opaque, got (2.0, 2.0).",
    ),
    (
        lambda: array_like(HALVES, 1e6 * LIGHT, light_of_array(HALVES).encoding, BT709),
        "array must be of a type that can hold the light, got 'float16'."
        " Hand over float32 or float64.",
    ),
    (lambda: ParametricCurve(0.0), f"curve must be rising, got {(0.0, 1.0, *[0.0] * 5)}."),
    (lambda: SampledCurve(np.ones(1)), "curve must be of two samples or more, got (1,)."),
    (
        lambda: SampledCurve(np.array([0, 1, 0.5])),
        "curve must be rising, got '3 samples that fall or stay'.",
    ),
    (
        lambda: fg.Sample.of(np.ones(2)),
        "codes must be of uint8, uint16, float16 or float32, got 'float64'.",
    ),
    (
        lambda: fg.Encoding(container="PNG", sample="uint8", tone=1),  # type: ignore[arg-type]
        "tone must be Tone.GREY or Tone.RGB, got 1.",
    ),
    (
        lambda: fg.Encoding(container="PNG", sample="uint8", curves=()),  # type: ignore[arg-type]
        "curves must be 3 curves, got 0.",
    ),
    (
        lambda: fg.Primaries((np.inf, 0), (0, 1), (0, 0), (0.3, 0.3)),
        "primaries must be finite chromaticities, got ((inf, 0), (0, 1), (0, 0), (0.3, 0.3)).",
    ),
    (
        lambda: fg.Primaries((0.1, 0.1), (0.2, 0.2), (0.3, 0.3), (0.4, 0.3)),
        "primaries must be a triangle round a white,"
        " got ((0.1, 0.1), (0.2, 0.2), (0.3, 0.3), (0.4, 0.3)).",
    ),
    (
        lambda: fg.Primaries((0.6, 0.3), (0.3, 0.6), (0.1, 0.1), (0.4, 0.0)),
        "primaries must be a triangle round a white,"
        " got ((0.6, 0.3), (0.3, 0.6), (0.1, 0.1), (0.4, 0.0)).",
    ),
    (
        lambda: fg.Region.from_text("1,2,3"),
        "close_up must be X,Y,W,H in whole pixels, got '1,2,3'.",
    ),
    (
        lambda: fg.Region(1, 2, 9, 2).check_inside(STILL),
        "close_up must be inside the still's 9 x 6 px, got '1,2,9,2'.",
    ),
    (
        lambda: region_in(fg.Region(0, 0, 2, 2), framed(STILL, fg.Region(2, 1, 4, 3))),
        "close_up must be inside the frame of the taking lens, 4 x 3 px from 2,1 of the still,"
        " got '0,0,2,2'.",
    ),
]

LAMPS: list[Case] = [
    (
        lambda: kind_named("bulbs"),
        f"lamp must be stops above white or a kind: {KINDS}, got 'bulbs'. Did you mean bulb?",
    ),
    (
        lambda: kind_named("?"),
        f"lamp must be stops above white or a kind: {KINDS}, got '?'.",
    ),
    (
        lambda: fg.LampMark(3, 4),
        "lamp must be marked with stops or a kind, got (None, None).",
    ),
    (lambda: fg.LampMark(3, 4, stops=21), "lamp stops must be in [0, 20], got 21."),
    (lambda: fg.LampMark(-3, 4, stops=2), "lamp x must be >= 0, got -3."),
    (lambda: fg.LampMark(3, -4, stops=2), "lamp y must be >= 0, got -4."),
    (
        lambda: fg.Recovery(clipped="bul"),
        "clipped must be auto, off, a kind of lamp, or a number of stops from 0 to 20, got 'bul'."
        f" Kinds are {KINDS}.",
    ),
    (lambda: fg.Recovery(clipped=21), "clipped must be in [0, 20], got 21."),
    (lambda: fg.Recovery(white_cd_per_m2=0), "white must be > 0, got 0."),
    (
        lambda: fg.Recovery(lamp_range="mid"),  # type: ignore[arg-type]
        "lamp range must be 'low', 'likely' or 'high', got 'mid'.",
    ),
    (
        lambda: marks_from_texts(["3,4,!"]),
        "lamp must be X,Y with, after it, metres such as 3.5m, stops above white such as 8 or a"
        " kind such as bulb, or both, got '3,4,!'.",
    ),
    (lambda: place_from_text("aim", "3"), "aim must be X,Y in pixels of the still, got '3'."),
    (
        lambda: place_from_text("aim", "3,inf"),
        "aim must be X,Y in pixels of the still, got '3,inf'.",
    ),
    (lambda: marked(CLIPPED, 900, 2), "lamp must be inside the still's 900 x 40 px, got '900,2'."),
    (lambda: marked(CLIPPED, 0, 40), "lamp must be inside the still's 900 x 40 px, got '0,40'."),
    (
        lambda: marked(CLIPPED, 3, 2),
        "lamp must be on a clipped area, got '3,2'. Nothing in this still clips.",
    ),
    (
        lambda: marked(one_white(), 410.5, 20),
        "lamp must be on a clipped area, got '410.5,20'. The nearest clips at 401,20.",
    ),
    (lambda: fg.LampPlace(x_px=-1, y_px=0), "x_px must be >= 0, got -1."),
    (lambda: fg.LampPlace(x_px=0, y_px=-1), "y_px must be >= 0, got -1."),
    (lambda: fg.LampPlace(x_px=0, y_px=0, distance_m=0), "distance_m must be > 0, got 0."),
    (lambda: lamp_at(LIGHT, 9, 2), "lamp must be inside the still's 9 x 6 px, got '9,2'."),
    (lambda: lamp_at(LIGHT, 2, 6), "lamp must be inside the still's 9 x 6 px, got '2,6'."),
    (
        lambda: lamp_at(0 * LIGHT, 3, 2.4),
        "lamp must be on something that is not black, got '3,2.4'.",
    ),
]

DISTANCES: list[Case] = [
    (lambda: point("3,4"), "distance must be X,Y,METRES, got '3,4'."),
    (lambda: point("3,4,nan"), "distance must be X,Y,METRES, got '3,4,nan'."),
    (lambda: point("3,4,0"), "distance_m must be > 0, got 0.0."),
    (lambda: point("-3,4,1"), "x_px must be >= 0, got -3.0."),
    (lambda: point("3,-4,1"), "y_px must be >= 0, got -4.0."),
    (
        lambda: fitted_distance(np.nan * FAR, LIGHT),
        "distance_m must be above 0 somewhere, got 'only holes'.",
    ),
    (
        lambda: fitted_distance(np.ones((60, 9), np.float32), LIGHT),
        "distance_m must be shaped like the still of 9 x 6 px, got '9 x 60 px'."
        " Export it for the whole frame of the still.",
    ),
    (lambda: distance_from_points([], LIGHT), "points must be one at least, got []."),
    (
        lambda: distance_from_points([point("9,4,1")], LIGHT),
        "distance must be inside the still's 9 x 6 px, got '9,4'.",
    ),
    (
        lambda: distance_from_points([point("3,4,1")], LIGHT, np.inf * FAR),
        "distance must be typed where the room is not endless, got 'a point on sky'.",
    ),
    (
        lambda: own_depth(3, "3,6,1"),
        "distance must be inside the still's 9 x 6 px, got '3,6'.",
    ),
    (
        lambda: own_depth(np.inf, "3,5,1"),
        "distance must be typed where the file's depth ends, got 'a point on sky'.",
    ),
    (
        lambda: fg.Room.from_text("wall=3"),
        "room must be NAME=NUMBER,... with names among camera, back, left, right, ceiling,"
        " horizon, vanishing, got 'wall=3'.",
    ),
    (lambda: fg.Room.from_text("back=0"), "back_m must be > 0, got 0.0."),
    (
        lambda: fg.Room.from_text("camera=2,ceiling=2"),
        "ceiling_m must be above the lens (2 m), got 2.0.",
    ),
]

BRACKETS: list[Case] = [
    (lambda: merged_bracket([STILL], [0]), "stills must be two at least, got 1."),
    (
        lambda: merged_bracket([STILL, STILL], [0]),
        "exposure_stops must be 2 numbers, got 1.",
    ),
    (
        lambda: merged_bracket([STILL, STILL], [0, np.nan]),
        "exposure_stops must be a finite number, got nan.",
    ),
    (
        lambda: merged_bracket([STILL, STILL], [1, 1]),
        "exposure_stops must be of different exposures, got 1."
        " Stills exposed alike hold no more light than one.",
    ),
    (
        lambda: merged_bracket([STILL, fg.Picture(radiance=LIGHT[:4])], [0, 1]),
        "stills must be all 9 x 6 px, got '9 x 4'.",
    ),
    (
        lambda: merged_bracket([STILL, fg.Picture(radiance=LIGHT, primaries="ap1")], [0, 1]),  # type: ignore[arg-type]
        "stills must be all in the same primaries, got Primaries(red=(0.713, 0.293),"
        " green=(0.165, 0.83), blue=(0.128, 0.044), white=(0.32168, 0.33767)).",
    ),
    (
        lambda: merged_bracket([STILL, STILL], [0, 1], response="estimated"),
        "response must be profile, got 'estimated'. It needs 8-bit RGB stills.",
    ),
    (
        lambda: merged_bracket([NOISE, NOISE], [0, -3], response="estimated"),
        "response must be profile, got 'estimated'."
        " Codes of these stills do not rise with their exposure.",
    ),
]


@pytest.mark.parametrize(("refused", "line"), [*PICTURES, *LAMPS, *DISTANCES, *BRACKETS])
def test_what_is_refused_is_told_in_one_whole_line(refused: Callable[[], object], line: str):
    with pytest.raises(fg.ParameterError) as error:
        refused()
    assert str(error.value) == line
