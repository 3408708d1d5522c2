from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from frontglass.errors import ParameterError
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import Container, Encoding, Sample, Tone
from frontglass.picture.picture import Picture


def light(*shape: int) -> np.ndarray:
    return np.zeros(shape, dtype=np.float32)


def test_a_picture_made_in_memory_is_linear_float():
    picture = Picture(radiance=light(4, 6, 3), encoding=Encoding.linear())
    assert (picture.height_px, picture.width_px) == (4, 6)
    assert picture.encoding.container is Container.EXR
    assert picture.encoding.sample is Sample.FLOAT


def test_codes_are_refused_as_light():
    with pytest.raises(ParameterError, match=r"array of floats, got 'uint8'. Picture.from_array"):
        Picture(radiance=light(4, 6, 3).astype(np.uint8), encoding=Encoding.linear())


@pytest.mark.parametrize("dtype", [np.float16, np.float64, np.longdouble, ">f4"])
def test_other_floats_become_single_precision(dtype):
    numbers = np.linspace(0, 4, 4 * 6 * 3).reshape(4, 6, 3).astype(dtype)
    picture = Picture(radiance=numbers)
    assert picture.radiance.dtype == np.float32
    np.testing.assert_allclose(picture.radiance, numbers.astype(np.float64), rtol=1e-7)


def test_light_in_columns_is_laid_in_rows_and_light_in_rows_is_not_copied():
    rows = np.random.default_rng(1).random((4, 6, 3), np.float32)
    columns = Picture(radiance=np.asfortranarray(rows)).radiance
    assert columns.flags.c_contiguous
    np.testing.assert_array_equal(columns, rows)
    assert Picture(radiance=rows).radiance is rows


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_light_that_is_no_number_is_refused_with_its_place(value: float):
    spoilt = light(4, 6, 3)
    spoilt[2, 5, 1] = value
    said = r"radiance must be finite, .* x 5, y 2\S* Picture.from_array mends such samples"
    with pytest.raises(ParameterError, match=said):
        Picture(radiance=spoilt)
    with pytest.raises(ParameterError, match="recovered must be >= 0 and finite"):
        Picture(radiance=light(4, 6, 3), recovered=spoilt)


def test_light_beyond_single_precision_is_refused():
    with pytest.raises(ParameterError, match="0 NaN and 72 infinite"):
        Picture(radiance=np.full((4, 6, 3), 1e39))


def test_light_whose_sum_overflows_is_light():
    bright = np.full((64, 64, 3), 3e38, np.float32)
    assert Picture(radiance=bright).radiance is bright


@pytest.mark.parametrize("value", [np.nan, 0.0, -1.0])
def test_distances_are_positive(value: float):
    distance = np.full((4, 6), np.inf)
    assert Picture(radiance=light(4, 6, 3), distance_m=distance).distance_m.dtype == np.float32
    distance[1, 1] = value
    with pytest.raises(ParameterError, match="distance_m must be > 0"):
        Picture(radiance=light(4, 6, 3), distance_m=distance)


@pytest.mark.parametrize("shape", [(4, 6), (4, 6, 4), (0, 6, 3)])
def test_other_shapes_are_refused(shape: tuple[int, ...]):
    with pytest.raises(ParameterError, match="shape"):
        Picture(radiance=light(*shape), encoding=Encoding.linear())


def test_distance_has_the_pictures_size():
    with pytest.raises(ParameterError, match="distance_m"):
        Picture(radiance=light(4, 6, 3), encoding=Encoding.linear(), distance_m=light(6, 4))


def test_new_light_keeps_all_else():
    picture = Picture(radiance=light(4, 6, 3), encoding=Encoding.srgb(), notices=("Assumed.",))
    brighter = picture.with_radiance(picture.radiance + np.float32(1))
    assert brighter.encoding is picture.encoding
    assert brighter.notices == ("Assumed.",)
    assert float(brighter.radiance.max()) == 1.0


def test_an_encoding_has_a_curve_per_channel():
    with pytest.raises(ParameterError, match="3 curves"):
        Encoding(container=Container.PNG, sample=Sample.UINT8, curves=(SRGB_CURVE,))
    grey = Encoding(
        container=Container.PNG, sample=Sample.UINT8, tone=Tone.GREY, curves=(SRGB_CURVE,)
    )
    assert grey.tone.value == 1


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        (
            {"container": "BMP"},
            "'JPEG', 'PNG', 'TIFF', 'OpenEXR', 'Radiance HDR', 'HEIF', 'AVIF', 'DPX' or "
            "'camera raw'",
        ),
        ({"sample": "uint32"}, "'uint8', 'uint16', 'float16' or 'float32'"),
        ({"tone": 3}, "Tone.GREY or Tone.RGB"),
    ],
)
def test_unknown_choices_of_an_encoding_name_the_known_ones(wrong: dict, right: str):
    with pytest.raises(ParameterError, match=f"must be {right}, got"):
        Encoding(**{"container": "PNG", "sample": "uint8", **wrong})


def test_other_sample_types_are_refused():
    with pytest.raises(ParameterError, match="uint8, uint16"):
        Sample.of(np.zeros(3, dtype=np.int64))


def test_what_a_file_holds_above_white_is_told_with_a_gain_map_and_without():
    light = np.full((130, 3, 3), 0.5, np.float32)
    light[100, 1, 2] = 6.0
    plain = Picture(radiance=light)
    assert plain.held_stops == pytest.approx(np.log2(6))
    beyond = np.zeros_like(light)
    beyond[129, 0, 0] = 7.5
    assert replace(plain, beyond=beyond).held_stops == 3
    assert Picture(radiance=np.full((2, 2, 3), 0.5, np.float32)).held_stops == 0
