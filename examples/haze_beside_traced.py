"""Haze of frontglass beside the path tracer's, on the café: python examples/haze_beside_traced.py.

Writes examples/pictures/haze-traced.jpg, or the file named, and prints how far they differ.
"""

from __future__ import annotations

import sys
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

import frontglass as fg
from frontglass.picture.display import display_codes

HERE = Path(__file__).parent
EXPOSURE_STOPS = 2.5
CAMERA = fg.Camera.from_field(52.0)
LOOK = HERE / "cafe-haze.toml"
BLOCK_PX = 10
"""Grain of the traced frame is 8 % a pixel: means of blocks are compared."""


def hazed() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the bare café, frontglass's haze and the traced one, 640 x 360, in linear light."""
    recipe = fg.Recipe(
        exposure_stops=EXPOSURE_STOPS,
        space=fg.Space(depth=HERE / "cafe_1280_distance.exr"),
        framing=fg.Framing(lens_mm=CAMERA.focal_length_mm, sensor="36x20.25"),
    )
    still = recipe.picture_from(HERE / "cafe_1280.exr")
    seen = fg.render(still, [fg.read_look(str(LOOK))], camera=CAMERA)
    traced = fg.read_picture(HERE / "cafe_640_hazed.exr", exposure_stops=EXPOSURE_STOPS)
    size = traced.width_px, traced.height_px
    bare, mine = (
        cv2.resize(picture.radiance, size, interpolation=cv2.INTER_AREA)
        for picture in (still, seen)
    )
    return bare, mine, traced.radiance


def blocks(light: np.ndarray) -> np.ndarray:
    """Return means of blocks of light, all channels together."""
    height, width = light.shape[:2]
    cut = light.reshape(height // BLOCK_PX, BLOCK_PX, width // BLOCK_PX, BLOCK_PX, 3)
    return cut.mean((1, 3, 4), dtype=np.float64)


def differences(mine: np.ndarray, traced: np.ndarray) -> np.ndarray:
    """Return the stops by which blocks of `mine` are brighter."""
    return np.log2(blocks(mine) / blocks(traced))


def main(out: str = str(HERE / "pictures" / "haze-traced.jpg")) -> None:
    """Write the picture and print the differences."""
    bare, mine, traced = hazed()
    for name, light in (("bare still", bare), ("frontglass", mine)):
        stops = differences(light, traced)
        low, middle, high = np.percentile(stops, [5, 50, 95])
        rms = float(np.sqrt((stops**2).mean()))
        within = 100 * float((np.abs(stops) < 0.25).mean())
        print(
            f"{name} against traced, blocks of {BLOCK_PX} px: median {middle:+.2f} stops, "
            f"5 to 95 % {low:+.2f} to {high:+.2f}, rms {rms:.2f}, {within:.0f} % within 1/4 stop"
        )
    frames = [display_codes(np.ascontiguousarray(light)) for light in (mine, traced)]
    sheet = Image.fromarray(np.concatenate(frames, axis=1))
    draw = ImageDraw.Draw(sheet)
    for x, text in ((10, "frontglass, from the clear still"), (650, "path-traced in haze")):
        draw.text((x, 336), text, fill=(255, 240, 220), font=ImageFont.load_default(16))
    sheet.save(out, quality=85)
    print(out)


if __name__ == "__main__":
    main(*sys.argv[1:])
