"""Make the README's picture of a learned glass anew: python examples/learned_picture.py [FOLDER].

Nobody's real glass is at hand here. So the café is seen through one that frontglass does not have:
a stretched exponential, by plain transforms of numpy, nudged by a tripod. It is learned from that
pair.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import frontglass as fg
from frontglass.cli.app import app

HERE = Path(__file__).parent
WORDS = ["--lens", "36.9mm", "--sensor", "36x20.25", "--stop", "2.8", "--surround", "mirror"]
RAD_PER_PX = 36 / 36.9 / 1280
SHOWN = 2.0**2.5
NUDGE_PX = 3


def behind_glass(light: NDArray[np.float64]) -> NDArray[np.float64]:
    """Light behind a thin scatterer whose deviations fall as exp(-(angle / 0.2 degrees)**0.6)."""
    height, width, _ = light.shape
    padded = np.pad(light, ((height // 2,) * 2, (width // 2,) * 2, (0, 0)), "symmetric")
    rows, columns = padded.shape[:2]
    y, x = (np.minimum(np.arange(n), n - np.arange(n)) * RAD_PER_PX for n in (rows, columns))
    kernel = np.exp(-((np.hypot(y[:, np.newaxis], x) / np.radians(0.2)) ** 0.6))
    seen = np.empty_like(padded)
    for channel, depth in enumerate((0.26, 0.25, 0.23)):
        transfer = np.exp(depth * (np.fft.rfft2(kernel / kernel.sum()) - 1))
        spectrum = np.fft.rfft2(padded[..., channel])
        seen[..., channel] = np.fft.irfft2(spectrum * transfer, s=(rows, columns))
    return seen[height // 2 : -(height // 2), width // 2 : -(width // 2)]


def halved(light: NDArray[np.float64]) -> fg.Picture:
    """Half as many pixels, each the mean of four."""
    rows, columns = light.shape[0] // 2, light.shape[1] // 2
    mean = light.reshape(rows, 2, columns, 2, 3).mean(axis=(1, 3))
    return fg.Picture(radiance=np.asarray(SHOWN * mean, dtype=np.float32))


def main() -> None:
    """Write the sheet."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "pictures"
    light = np.maximum(fg.read_picture(HERE / "cafe_1280.exr").radiance, 0).astype(np.float64)
    nudged = np.roll(behind_glass(light), NUDGE_PX, axis=(0, 1))
    with tempfile.TemporaryDirectory() as made:
        bare, other = Path(made, "bare.exr"), Path(made, "with.exr")
        fg.write_picture(bare, halved(light))
        fg.write_picture(other, halved(nudged))
        words = ["learn", "--bare", str(bare), "--with", str(other), "--strength", "1/4"]
        words += ["-o", str(Path(made, "terminal-mist.toml")), *WORDS]
        words += ["--picture", str(folder / "learned.jpg"), "--overwrite"]
        app(words, standalone_mode=False)


if __name__ == "__main__":
    main()
