"""Pictures in linear light for the tests of rendering."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from frontglass.picture.encoding import Container, Encoding, Sample
from frontglass.picture.picture import Picture

Pictured = Callable[[NDArray[np.float32]], Picture]


@pytest.fixture
def pictured() -> Pictured:
    """Picture of some light."""

    def picture(light: NDArray[np.float32]) -> Picture:
        encoding = Encoding(container=Container.EXR, sample=Sample.FLOAT)
        return Picture(radiance=light, encoding=encoding)

    return picture
