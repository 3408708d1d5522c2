"""Pictures as bare arrays: what their numbers mean as light, and light as such numbers again."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from frontglass.checks import check_positive
from frontglass.choices import Choice
from frontglass.errors import ParameterError
from frontglass.picture.codes import (
    FloatArray,
    Target,
    codes_from_radiance,
    is_grey,
    radiance_from_codes,
)
from frontglass.picture.curves import LINEAR, SRGB_CURVE, ParametricCurve
from frontglass.picture.encoding import Alpha, Codes, Container, Encoding, Sample, Tone
from frontglass.picture.non_finite import NonFinite, is_finite, mended, spoilt_samples
from frontglass.picture.primaries import Primaries

Array = NDArray[Any]

FILE_CODES = (np.uint8, np.uint16)
"""Whole numbers whose largest one is white in every file."""
CHANNELS = (1, 3, 4)
SIXTEEN_BITS = 65535
HALF_MAX = float(np.finfo(np.float16).max)


class TransferCurve(Choice):
    """How the numbers of an array stand for light."""

    SRGB = "srgb"
    LINEAR = "linear"


CURVES: dict[TransferCurve, ParametricCurve] = {
    TransferCurve.SRGB: SRGB_CURVE,
    TransferCurve.LINEAR: LINEAR,
}


class ArrayLight(NamedTuple):
    """Light of an array, how it would be held by a file, and what was mended."""

    radiance: FloatArray
    encoding: Encoding
    notices: tuple[str, ...]


def light_of_array(
    array: ArrayLike,
    *,
    curve: str | None = None,
    white: float | None = None,
    non_finite: NonFinite | str = NonFinite.REFUSE,
) -> ArrayLight:
    """Linear light that an array stands for; parameters as in `Picture.from_array`.

    Raises
    ------
    ParameterError
        If the array is no picture, or does not say what is white.
    """
    rule = NonFinite.of("non_finite", non_finite)
    numbers = picture_array(array)
    is_float = numbers.dtype.kind == "f"
    named = TransferCurve.LINEAR if is_float else TransferCurve.SRGB
    named = named if curve is None else TransferCurve.of("curve", curve)
    whitest = _white(numbers.dtype, white)
    colour, alpha = numbers, None
    if numbers.shape[2] == 4:
        colour, alpha = numbers[..., :3], numbers[..., 3]
    curves = (CURVES[named],) * colour.shape[2]
    notices: tuple[str, ...] = ()
    codes: Codes | None = None
    if is_float:
        colour, notices = _finite(colour, rule)
        light = _decoded(colour, whitest, CURVES[named])
    elif colour.dtype in FILE_CODES and whitest == np.iinfo(colour.dtype).max:
        codes = np.ascontiguousarray(colour)
        light = radiance_from_codes(codes, curves)
    else:
        light = _decoded(colour, whitest, CURVES[named])
    sample = _sample(numbers.dtype, codes, named)
    encoding = Encoding(
        container=Container.PNG if sample.is_integer else Container.EXR,
        sample=sample,
        tone=Tone(colour.shape[2]),
        curves=curves,
        codes=codes,
        alpha=None if alpha is None else Alpha(_alpha_codes(alpha, whitest, sample, codes)),
    )
    return ArrayLight(light, encoding, notices)


def array_like(
    array: ArrayLike, light: FloatArray, encoding: Encoding, primaries: Primaries
) -> Array:
    """Light as numbers of the kind that `array` has: same shape, type and meaning.

    Parameters
    ----------
    array : array_like
        What the light once was, as `light_of_array` reads it when told nothing more.
    light : ndarray, shape (H, W, 3), float32
        What it is now.
    encoding : Encoding
        What `light_of_array` made of `array`.
    primaries : Primaries
        Of the light.

    Returns
    -------
    ndarray
        Whole numbers are codes again, dithered at 8 bits, and end at white; floats are linear and
        do not. One channel is the luminance of three. Alpha is as it was.

    Raises
    ------
    ParameterError
        If half floats cannot hold the light.
    """
    was = np.asarray(array)
    numbers = picture_array(was)
    tone = 1 if encoding.tone is Tone.GREY else 3
    if tone == 1 and not is_grey(light):
        grey = light @ primaries.luminance_weights.astype(np.float32)
        light = np.repeat(grey[..., np.newaxis], 3, axis=2)
    if encoding.sample.is_integer:
        target = Target(
            sample=encoding.sample, curves=encoding.curves[:tone], original=encoding.codes
        )
        now = codes_from_radiance(light, target).codes
    else:
        if was.dtype == np.float16 and float(np.abs(light).max()) > HALF_MAX:
            hint = "Hand over float32 or float64."
            raise ParameterError("array", "of a type that can hold the light", "float16", hint)
        now = light[..., :tone].astype(was.dtype)
    if numbers.shape[2] == 4:
        now = np.concatenate([now, numbers[..., 3:]], axis=2)
    return np.asarray(now).reshape(was.shape)


def picture_array(array: ArrayLike) -> Array:
    """Return an array of shape (H, W, 1), (H, W, 3) or (H, W, 4), else raise ParameterError."""
    numbers = np.asarray(array)
    if numbers.dtype.kind not in "fiu":
        raise ParameterError("array", "of floats or whole numbers", str(numbers.dtype))
    if numbers.ndim == 2:
        numbers = numbers[..., np.newaxis]
    if numbers.ndim != 3 or numbers.shape[2] not in CHANNELS or numbers.size == 0:
        rule = "of shape (H, W), (H, W, 1), (H, W, 3) or (H, W, 4)"
        raise ParameterError("array", rule, np.shape(array))
    return numbers


def _white(dtype: np.dtype[Any], white: float | None) -> float:
    if white is not None:
        return check_positive("white", white)
    if dtype.kind == "f":
        return 1.0
    if dtype in FILE_CODES:
        return float(np.iinfo(dtype).max)
    hint = f"Which {dtype} is white cannot be told from the type."
    raise ParameterError("white", "given for this array", None, hint)


def _finite(numbers: Array, rule: NonFinite) -> tuple[Array, tuple[str, ...]]:
    if is_finite(numbers):
        return numbers, ()
    found, first = spoilt_samples(numbers)
    if rule is NonFinite.REFUSE:
        hint = 'Mend them, or say non_finite="mend".'
        raise ParameterError("array", "finite", f"{found}, {first}", hint)
    return mended(numbers), (f"{found} are mended from the light around them, {first}.",)


def _decoded(numbers: Array, white: float, curve: ParametricCurve) -> FloatArray:
    """Light of shape (H, W, 3), in single precision."""
    with np.errstate(over="ignore"):  # what is too large is refused by the picture
        if curve.is_line and white == 1:
            light = np.ascontiguousarray(numbers, dtype=np.float32)
        else:
            light = curve.decode(numbers / white).astype(np.float32)
    return np.repeat(light, 3, axis=2) if light.shape[2] == 1 else light


def _sample(dtype: np.dtype[Any], codes: Codes | None, curve: TransferCurve) -> Sample:
    """Return what a file would hold of it: the array's own type where there is one."""
    if codes is not None:
        return Sample.of(codes)
    if dtype.kind != "f" or curve is TransferCurve.SRGB:
        return Sample.UINT16
    return Sample.HALF if dtype == np.float16 else Sample.FLOAT


def _alpha_codes(alpha: Array, white: float, sample: Sample, codes: Codes | None) -> Codes:
    """Coverage in the type that a file would hold beside the colour."""
    if codes is not None:
        return np.ascontiguousarray(alpha)
    # An opaque pixel of a float array is 1, whatever its white.
    share = alpha if alpha.dtype.kind == "f" else alpha / white
    low, high = float(share.min()), float(share.max())
    if not (low >= 0 and high <= 1):
        raise ParameterError("alpha", "from 0 to opaque", (low, high))
    if sample.is_integer:
        return np.rint(share * SIXTEEN_BITS).astype(np.uint16)
    return share.astype(sample.dtype)
