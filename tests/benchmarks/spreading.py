"""Spreading light: time in copies of the picture, against the plain convolution, with its accuracy.

A copy of the 24 MP picture, taken in the same run, is the unit. Beside each number stand the
bound that must hold and the one aimed at. The plain convolution is `scipy.signal.fftconvolve` in
float32 with a kernel that reaches over the whole frame.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

import frontglass as fg
from frontglass.choices import Surround
from frontglass.convolution.convolve import convolve
from frontglass.convolution.filters import ScatterFilter
from frontglass.optics.camera import Camera
from frontglass.picture.encoding import Container, Encoding, Sample
from frontglass.picture.picture import Picture
from frontglass.pipeline.light_path import through_light_path

CAMERA = Camera(focal_length_mm=50.0, sensor_width_mm=36.0)
SIZES = {"24 MP": (4000, 6000), "12 MP": (2828, 4243), "50 MP": (5773, 8660)}
RUNS = 3
PREVIEW_RUNS = 15


def picture(height: int, width: int) -> Picture:
    """Grain with lamps 300 times brighter than white."""
    light = np.random.default_rng(1).random((height, width, 3), dtype=np.float32)
    light *= 0.3
    for y, x in np.random.default_rng(2).random((24, 2)):
        row, column = int(y * height), int(x * width)
        light[row : row + 9, column : column + 9] = 300.0
    encoding = Encoding(container=Container.EXR, sample=Sample.FLOAT)
    away = np.full((height, width), 6.0, dtype=np.float32)  # for looks that are haze
    return Picture(radiance=light, encoding=encoding, distance_m=away)


def seconds(action: Callable[[], object], runs: int = RUNS) -> float:
    """Median wall time [s], after one run to warm up."""
    action()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def line(name: str, value: str, must: str = "", aim: str = "") -> None:
    """Print a measurement beside its bounds."""
    bounds = f"   must {must:<14} aim {aim}" if must else ""
    print(f"{name:44} {value:>18}{bounds}", flush=True)


def harbour_halos(width: int) -> tuple[ScatterFilter, ...]:
    """Halos of harbour-night, red, green and blue."""
    _, glow = fg.read_look("harbour-night").light_path
    px_per_rad = CAMERA.px_per_rad(width)
    return tuple(
        ScatterFilter(scatterers=((glow.depth(c), glow.profile(c)),), px_per_rad=px_per_rad)
        for c in range(3)
    )


def kernel_reaching_over(height: int, width: int) -> NDArray[np.float32]:
    """Kernel of harbour-night's halo, out to a frame away on every side."""
    halo = harbour_halos(width)[0]
    fy, fx = np.arange(height) / (2 * height), np.arange(width) / (2 * width)
    # A cosine series is even about 0: one quadrant of the mirrored plane's kernel.
    quadrant = fft.dctn(np.pad(halo.on_grid(fx, fy), ((0, 1), (0, 1))), type=1, workers=2)
    quadrant = (quadrant / (4 * height * width))[:height, :width]
    right = np.concatenate([quadrant[:, :0:-1], quadrant], axis=1)
    return np.concatenate([right[:0:-1], right]).astype(np.float32)


def peak_copies() -> float:
    """Peak memory above the input for 24 MP, in copies, in a process of its own."""
    script = (
        "import re, sys; from pathlib import Path;"
        "sys.path.insert(0, sys.argv[1]); import spreading as s;"
        "import frontglass as fg; look = fg.read_look('harbour-night');"
        "s.through_light_path(s.picture(64, 96), [look], camera=s.CAMERA);"
        "still = s.picture(4000, 6000);"
        "status = Path('/proc/self/status');"
        "peak = lambda: 1024 * int(re.search(r'VmHWM:\\s*(\\d+)', status.read_text())[1]);"
        "before = peak(); s.through_light_path(still, [look], camera=s.CAMERA);"
        "print((peak() - before) / still.radiance.nbytes)"
    )
    here = __file__.rpartition("/")[0]
    command = [sys.executable, "-c", script, here]
    # Not ru_maxrss, which a child inherits from its parent.
    return float(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def accuracy() -> float:
    """Largest error of harbour-night over 1e-3 of the local value plus 1e-4 of white."""
    still = picture(1000, 1500)
    halos = harbour_halos(6000)
    by_cells = convolve(still.radiance, halos, Surround.MIRROR)
    plane = still.radiance[..., 0].astype(np.float64)
    fy, fx = np.arange(1000) / 2000, np.arange(1500) / 3000
    halo = halos[0]
    light = fft.idctn(fft.dctn(plane) * halo.on_grid(fx, fy)) + halo.direct * plane
    return float((np.abs(by_cells[..., 0] - light) / (1e-3 * np.abs(light) + 1e-4)).max())


def plain_convolution(still: Picture) -> float:
    """Wall time [s] of three channels by fftconvolve, from one of them."""
    kernel = kernel_reaching_over(still.height_px, still.width_px)
    plane = np.ascontiguousarray(still.radiance[..., 0])
    start = time.perf_counter()
    signal.fftconvolve(plane, kernel, mode="same")
    return 3 * (time.perf_counter() - start)


def main() -> None:
    """Print every ratio."""
    still = picture(*SIZES["24 MP"])
    copy = seconds(still.radiance.copy, 9)
    look = fg.read_look("harbour-night")
    line("one copy of 24 MP", f"{1e3 * copy:.1f} ms")
    harbour = seconds(lambda: through_light_path(still, [look], camera=CAMERA))
    line("24 MP harbour-night", f"{harbour / copy:.1f} copies", "<= 60", "<= 25")
    line("accuracy meanwhile", f"{accuracy():.3f} of the bound", "<= 1", "<= 1")
    line("peak memory above the input", f"{peak_copies():.1f} copies", "<= 8", "<= 4")

    plain = plain_convolution(still)
    line("fftconvolve, three channels", f"{plain / harbour:.1f} times slower", ">= 14", ">= 30")
    dark = seconds(lambda: through_light_path(still, [look], camera=CAMERA, surround=Surround.DARK))
    line("24 MP harbour-night in the dark", f"{dark / copy:.1f} copies")
    for shipped in fg.catalogue():
        taken = seconds(partial(through_light_path, still, [shipped], camera=CAMERA), 1)
        ratios = f"{taken / copy:.1f} copies, {taken / harbour:.2f} x"
        line(f"24 MP {shipped.name}, against harbour-night", ratios)

    per_pixel = {}
    for name in ("12 MP", "50 MP"):
        other = picture(*SIZES[name])
        per_pixel[name] = (
            seconds(partial(through_light_path, other, [look], camera=CAMERA)) / other.width_px
        )
        per_pixel[name] /= other.height_px
    ratio = per_pixel["50 MP"] / per_pixel["12 MP"]
    line("50 MP against 12 MP, per pixel", f"{ratio:.2f}", "<= 1.3", "<= 1.1")

    small = picture(720, 1280)
    strengths = iter(np.tile([0.5, 0.75, 1.0, 1.25], 20))
    changed = seconds(
        lambda: through_light_path(small, [look.at(float(next(strengths)))], camera=CAMERA),
        PREVIEW_RUNS,
    )
    line("1280x720, another strength", f"{1e3 * changed:.1f} ms", "<= 40 ms", "<= 16 ms")


if __name__ == "__main__":
    main()
