"""Stills that the tests take in hand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from numpy.typing import NDArray
from PIL import Image

from frontglass.picture.encoding import Container, Encoding, Sample
from frontglass.picture.picture import Picture

# On a busy machine, or with several tests at a time, how long an example takes says nothing.
settings.register_profile("frontglass", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("frontglass")

Shoot = Callable[..., Path]
Pictured = Callable[[NDArray[np.float32]], Picture]


@pytest.fixture
def shoot(tmp_path: Path) -> Shoot:
    """Write a small scout still, a dim room with one lamp, below the test's folder."""

    def still(name: str = "scout.png", *, width: int = 48, height: int = 32, seed: int = 1) -> Path:
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        codes = np.random.default_rng(seed).integers(20, 60, (height, width, 3), np.uint8)
        codes[height // 2, width // 3] = 255
        Image.fromarray(codes).save(path)
        return path

    return still


@pytest.fixture
def pictured() -> Pictured:
    """Picture of some light."""

    def picture(light: NDArray[np.float32]) -> Picture:
        encoding = Encoding(container=Container.EXR, sample=Sample.FLOAT)
        return Picture(radiance=light, encoding=encoding)

    return picture
