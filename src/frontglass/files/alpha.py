"""Coverage from one file's way of holding it to another's."""

from __future__ import annotations

import numpy as np

from frontglass.picture.codes import FloatArray
from frontglass.picture.encoding import Alpha, AlphaKind, Codes, Container, Sample


def alpha_kind_in(container: Container, alpha: Alpha) -> AlphaKind:
    """How a format wants colour beside alpha: PNG straight, OpenEXR premultiplied."""
    wanted = {Container.PNG: AlphaKind.STRAIGHT, Container.EXR: AlphaKind.PREMULTIPLIED}
    return wanted.get(container, alpha.kind)


def alpha_in_sample(alpha: Alpha, sample: Sample, kind: AlphaKind) -> Alpha:
    """Coverage in another sample type; exactly as it was if the type is the same."""
    codes = alpha.codes
    if codes.dtype == sample.dtype:
        return Alpha(codes, kind)
    if sample.is_integer:
        top = np.iinfo(sample.dtype).max
        coverage = np.clip(_coverage(codes), 0, 1)
        return Alpha(np.round(coverage * top).astype(sample.dtype), kind)
    return Alpha(_coverage(codes).astype(sample.dtype), kind)


def light_with_alpha_kind(light: FloatArray, alpha: Alpha, kind: AlphaKind) -> FloatArray:
    """Light multiplied or divided by coverage, where the kinds differ."""
    if alpha.kind is kind:
        return light
    coverage = _coverage(alpha.codes)[..., np.newaxis]
    if kind is AlphaKind.PREMULTIPLIED:
        return light * coverage
    return np.divide(light, coverage, out=light.copy(), where=coverage > 0)


def _coverage(codes: Codes) -> FloatArray:
    if codes.dtype.kind == "f":
        return codes.astype(np.float32)
    return (codes / np.iinfo(codes.dtype).max).astype(np.float32)
