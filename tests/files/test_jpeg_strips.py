"""A JPEG coded in strips holds what one coded in a piece holds."""

from __future__ import annotations

import io

import cv2
import numpy as np
import pytest
from PIL import Image

from frontglass.files import jpeg_strips

TALL, WIDE = 2411, 37  # more strips than there are markers, and no whole blocks
KINDS = {
    "all colours": ((TALL, WIDE, 3), None, 0),
    "half across": ((TALL, WIDE, 3), None, 1),
    "a quarter": ((TALL, WIDE, 3), None, 2),
    "grey": ((TALL, WIDE), None, 0),
    "inks": ((TALL, WIDE, 4), "CMYK", 0),
}


@pytest.mark.source("T81", "B.2.4.4, E.1.4, F.1.2.3")
@pytest.mark.parametrize("kind", list(KINDS))
def test_decoders_see_no_strips(kind, monkeypatch):
    shape, mode, subsampling = KINDS[kind]
    rng = np.random.default_rng(5)
    codes = np.cumsum(rng.integers(-9, 10, shape), axis=0).astype(np.uint8)
    options = {"quality": 88, "subsampling": subsampling}
    whole = io.BytesIO()
    Image.fromarray(codes, mode=mode).save(whole, "JPEG", **options)
    monkeypatch.setattr(jpeg_strips, "FEWEST_PX", 0)
    strips = jpeg_strips.coded(codes, mode, options)
    assert strips.count(b"\xff\xdd\x00\x04") == 1
    assert strips != whole.getvalue()
    one, other = (np.asarray(Image.open(io.BytesIO(data))) for data in (whole.getvalue(), strips))
    assert np.array_equal(one, other)
    if mode is None:
        one, other = (
            cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
            for data in (whole.getvalue(), strips)
        )
        assert np.array_equal(one, other)


def test_a_progressive_one_is_coded_in_a_piece(monkeypatch):
    monkeypatch.setattr(jpeg_strips, "FEWEST_PX", 0)
    codes = np.zeros((TALL, WIDE, 3), np.uint8)
    data = jpeg_strips.coded(codes, None, {"quality": 88, "progressive": True})
    assert b"\xff\xc2" in data
    assert b"\xff\xdd" not in data
