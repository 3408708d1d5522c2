"""Overlapping tiles against the plain sum, with scipy's own convolution."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage, signal

from frontglass.choices import Surround
from frontglass.convolution import tiles as engine
from frontglass.convolution.tiles import spread_by_kernels


def kernels(reach: tuple[int, int]) -> list[np.ndarray]:
    """Lopsided, so that a flip shows; another for each channel."""
    rng = np.random.default_rng(4)
    return [rng.uniform(0, 1, (2 * reach[0] + 1, 2 * reach[1] + 1)) / 100 for _ in range(3)]


def picture(shape: tuple[int, int], lamp: float = 600.0) -> np.ndarray:
    light = np.random.default_rng(5).uniform(0, 0.5, (*shape, 3)).astype(np.float32)
    light[shape[0] // 3, shape[1] // 2] = lamp
    return light


def plain(light: np.ndarray, parts: list[np.ndarray], surround: Surround) -> np.ndarray:
    mode = {Surround.MIRROR: "reflect", Surround.DARK: "constant"}[surround]
    return np.stack(
        [
            ndimage.convolve(light[..., c].astype(float), part, mode=mode)
            for c, part in enumerate(parts)
        ],
        axis=-1,
    )


@pytest.mark.parametrize("surround", Surround)
@pytest.mark.parametrize(
    ("shape", "reach"),
    [((70, 91), (5, 9)), ((30, 200), (3, 12)), ((9, 7), (6, 5)), ((6, 40), (9, 3))],
)
def test_tiles_are_the_plain_convolution(shape, reach, surround):
    light, parts = picture(shape), kernels(reach)
    got = spread_by_kernels(light, parts, surround=surround)
    # Single precision beside a lamp of 600.
    np.testing.assert_allclose(got, plain(light, parts, surround), rtol=1e-5, atol=3e-5)


@pytest.mark.parametrize("surround", Surround)
def test_seams_between_tiles_do_not_show(surround, monkeypatch):
    monkeypatch.setattr(
        engine, "_tile_shape", lambda _, reach: (2 * reach[0] + 11, 2 * reach[1] + 13)
    )
    light, parts = picture((50, 77)), kernels((4, 6))
    got = spread_by_kernels(light, parts, surround=surround)
    np.testing.assert_allclose(got, plain(light, parts, surround), rtol=1e-5, atol=3e-5)


def test_the_dark_beside_a_lamp_of_1e5_holds():
    light = picture((80, 90), 1e5)
    parts = [part * 1e-6 for part in kernels((4, 4))]
    got = spread_by_kernels(light, parts, surround=Surround.DARK)
    want = np.stack(
        [signal.convolve(light[..., c].astype(float), parts[c], mode="same") for c in range(3)], -1
    )
    np.testing.assert_allclose(got, want, rtol=1e-5, atol=1e-9)


def test_a_tile_is_never_larger_than_it_must_be():
    # A small reach on a large picture: tiles that overlap little and fit a cache.
    rows, columns = engine._tile_shape((4000, 6000), (20, 20))
    assert 256 <= rows <= 4096
    assert 256 <= columns <= 4096
    # A reach like the picture's own size: one transform takes all.
    rows, columns = engine._tile_shape((200, 300), (180, 180))
    assert rows >= 560
    assert columns >= 660
