from __future__ import annotations

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
    with pytest.raises(ParameterError, match="float32 array, got 'uint8'"):
        Picture(radiance=light(4, 6, 3).astype(np.uint8), encoding=Encoding.linear())


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


def test_other_sample_types_are_refused():
    with pytest.raises(ParameterError, match="uint8, uint16"):
        Sample.of(np.zeros(3, dtype=np.int64))
