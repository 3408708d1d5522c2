"""Stills as a phone writes them."""

from __future__ import annotations

import numpy as np
from PIL import Image


def shot(path, *, size=(96, 64), orientation=1):
    """Write a dim room with two clipped lamps, as a phone would: 26 mm, f/1.8, 1/60 s, ISO 400."""
    codes = np.random.default_rng(1).integers(20, 60, (*size[::-1], 3), np.uint8)
    codes[10:16, 20:26] = codes[40:50, 50:60] = 255
    exif = phone_exif(orientation)
    Image.fromarray(codes).save(path, quality=95, subsampling=0, exif=exif)
    return path


def phone_exif(orientation=1):
    """EXIF data of a phone: 26 mm, f/1.8, 1/60 s, ISO 400."""
    exif = Image.Exif()
    exif[274] = orientation
    exif.get_ifd(0x8769).update({33434: 1 / 60, 33437: 1.8, 34855: 400, 37386: 6.8, 41989: 26})
    return exif
