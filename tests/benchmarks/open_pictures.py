"""Light of open high-dynamic-range pictures, in the forms that packages carry them."""

from __future__ import annotations

import base64
import io
import re
import tempfile
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

import frontglass as fg
from frontglass.picture.curves import SRGB_CURVE

Float32 = NDArray[np.float32]


def light_of(path: Path) -> Float32:
    """Light of a picture, with its gain map if it has one (ISO 21496-1's formula)."""
    data = path.read_bytes()
    if path.suffix == ".ktx":
        return faces_of(data)
    if path.suffix == ".js":  # a data URL in a script
        found = re.search(rb"base64,([A-Za-z0-9+/=]+)", data)
        assert found, path
        with tempfile.NamedTemporaryFile(suffix=Path(path.stem).suffix) as held:
            held.write(base64.b64decode(found[1]))
            held.flush()
            return light_of(Path(held.name))
    if b"hdrgm:GainMapMax" not in data:
        return np.maximum(fg.read_picture(path).radiance, 0)

    def number(key: str) -> float:
        found = re.search(f'hdrgm:{key}="([^"]*)"'.encode(), data)
        assert found, key
        return float(found[1])

    base = Image.open(io.BytesIO(data)).convert("RGB")
    map_at = data.rindex(b"\xff\xd8\xff")
    gain = Image.open(io.BytesIO(data[map_at:])).convert("RGB").resize(base.size)
    share = (np.asarray(gain) / 255) ** (1 / number("Gamma"))
    low, high = number("GainMapMin"), number("GainMapMax")
    light = SRGB_CURVE.decode(np.asarray(base) / 255) + number("OffsetSDR")
    light = light * 2.0 ** (low + (high - low) * share) - number("OffsetHDR")
    return np.asarray(np.maximum(light, 0), dtype=np.float32)


def faces_of(data: bytes) -> Float32:
    """Four upright faces side by side of a cube map in KTX 1, floats of 11, 11 and 10 bits."""
    kind, side, pairs = (int(np.frombuffer(data, "<u4", 1, at)[0]) for at in (28, 36, 60))
    assert kind == 0x8C3A, "not of R11F_G11F_B10F"
    size = 6 * side * side
    words = np.frombuffer(data, "<u4", size, 64 + pairs + 4).reshape(6, side, side)[[0, 5, 1, 4]]
    light = np.empty((4, side, side, 3), np.float32)
    for channel, (at, bits) in enumerate(((0, 6), (11, 6), (22, 5))):
        exponent = ((words >> (at + bits)) & 31).astype(float)
        mantissa = ((words >> at) & (2**bits - 1)) / 2**bits
        small = exponent == 0
        light[..., channel] = (mantissa + ~small) * 2.0 ** (np.maximum(exponent, 1) - 15)
    return np.concatenate(list(light), axis=1)
