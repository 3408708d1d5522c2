"""Phones' stills: what reading costs beside the codec alone, and how true glows of gain maps are.

Glow: the open high-dynamic-range crops of `clipped.py`, their lamps held to four stops above white,
encoded with a gain map by libultrahdr. The error is that of the scattered light alone, in stops,
where the scene is below white: with the map, and of the same file without it.
"""

from __future__ import annotations

import io
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import pi_heif
from PIL import Image

sys.path.insert(0, str(Path(__file__).parents[2]))

import frontglass as fg
from frontglass.picture.primaries import BT709
from frontglass.shipped import shipped_folder
from tests.files.phones import heic, iso_numbers
from tests.picture.hdr_scenes import LAMP_SCENES, glow_error, scene, source

HEADROOM = 16.0
TIMES = 5


def encoded(light: np.ndarray, quality: int = 95) -> bytes:
    """JPEG with a gain map."""
    rgba = np.ones((*light.shape[:2], 4), np.float16)
    rgba[..., :3] = light
    return bytes(imagecodecs.ultrahdr_encode(rgba, quality))


def cpu_s(work: Callable[[], object]) -> float:
    """CPU seconds of some work, the least of several."""
    found = []
    for _ in range(TIMES):
        start = time.process_time()
        work()
        found.append(time.process_time() - start)
    return min(found)


def glows(folder: Path) -> None:
    """Print the error of each crop's glow with its gain map and without."""
    shares = []
    path = folder / "still.jpg"
    for name in LAMP_SCENES:
        truth = np.minimum(scene(name), HEADROOM)
        path.write_bytes(encoded(truth))
        outside = truth.max(axis=2) < 1
        held = fg.read_picture(path)
        plain = fg.read_picture(path, gain_map="off")
        recovered = fg.with_recovered_light(plain).picture
        # The scene's are BT.709, and libultrahdr writes Display P3.
        back = held.primaries.matrix_to(BT709).T.astype(np.float32)
        errors = [
            glow_error(light, truth, outside).rms
            for light in (
                plain.radiance @ back,
                source(recovered) @ back,
                held.light @ back,
                held.scene @ back,
                imagecodecs.ultrahdr_decode(path.read_bytes())[..., :3].astype(np.float32),
            )
        ]
        shares.append(errors[2] / errors[0])
        print(
            f"{name:13} without {errors[0]:.3f}, estimated {errors[1]:.3f}, held {errors[2]:.3f}:"
            f" {shares[-1]:.2f} of it, as bright as the still is shown {errors[3] / errors[0]:.2f}"
            f" (lift {held.lift:.2f}), by libultrahdr's own decoder {errors[4] / errors[0]:.2f}"
        )
    print(
        f"left of the error without: median {statistics.median(shares):.2f}, most {max(shares):.2f}"
    )


def cafe(megapixels: float) -> np.ndarray:
    """The café, enlarged."""
    path = shipped_folder("examples") / "cafe_1280.exr"
    light = fg.read_picture(path, exposure_stops=2.5).radiance
    height = round((megapixels * 1e6 * 2 / 3) ** 0.5) // 16 * 16
    size = height * 3 // 2 // 16 * 16, height
    return np.minimum(cv2.resize(light, size, interpolation=cv2.INTER_CUBIC), HEADROOM)


def costs(folder: Path) -> None:
    """Print what reading 12 megapixels costs over codec and copies."""
    light = cafe(12)
    copy = cpu_s(light.copy)
    path = folder / "still.jpg"
    path.write_bytes(encoded(light))
    data = path.read_bytes()

    def pillow() -> None:
        with Image.open(io.BytesIO(data)) as still:
            for frame in range(still.n_frames):
                still.seek(frame)
                np.array(still)

    told("JPEG", cpu_s(pillow), copy, cpu_s(lambda: fg.read_picture(path)))
    codes = np.round(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    small = np.ascontiguousarray(codes[::2, ::2, 1])
    path = folder / "still.heic"
    path.write_bytes(heic(codes, gain=(small, b""), iso=iso_numbers(0.0, 3.0)))

    def libheif() -> None:
        file = pi_heif.open_heif(path)
        np.array(file)
        for items in file.info["aux"].values():
            for item in items:
                np.array(file.get_aux_image(item))

    told("HEIC", cpu_s(libheif), copy, cpu_s(lambda: fg.read_picture(path)))


def told(name: str, codec: float, copy: float, ours: float) -> None:
    """Print one ratio; at most 1 is the aim."""
    share = ours / (1.5 * codec + 3 * copy)
    print(
        f"{name}: codec {codec:.2f} s, a copy {copy:.3f} s, read in {ours:.2f} s: {share:.2f} of"
        " one and a half codecs and three copies"
    )


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        glows(Path(made))
        costs(Path(made))
