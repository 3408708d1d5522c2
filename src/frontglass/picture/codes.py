"""From a file's codes to linear light and back, fast, in strips."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from threading import Lock
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from frontglass.heap import take_pages
from frontglass.lit_pixels import first_of_each
from frontglass.picture.curves import LINEAR, Curve
from frontglass.picture.dither import TILE_PX, noise_band
from frontglass.picture.encoding import Codes, Encoding, Sample
from frontglass.picture.past_white import towards_white
from frontglass.picture.primaries import Matrix, Primaries
from frontglass.threads import over_strips

if TYPE_CHECKING:
    from typing import Self

FloatArray = NDArray[np.float32]

# float32 cut after 11 bits of mantissa: a table on that grid, with straight lines between,
# errs by less than 1e-3 of a 16-bit code; without the lines by 0.02 of an 8-bit code.
_CUT_BITS = 12
_ONE_BITS = int(np.float32(1.0).view(np.int32))
_TABLE_TOP = _ONE_BITS >> _CUT_BITS
# Of 8 bits 65536 steps of that grid are enough: below 2**-32 all is black.
_BYTES_FROM = _TABLE_TOP - 65535

STRIPS_READ, STRIPS_CODED = 16, 2
"""So many strips at once are read of 8 bits, which takes a step or two each, and coded, which takes
many."""


def radiance_from_codes(codes: Codes, curves: tuple[Curve, ...]) -> FloatArray:
    """Linear light of a file's codes.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 1) or (H, W, 3)
        uint8, uint16, float16 or float32.
    curves : tuple of Curve
        One per channel of `codes`.

    Returns
    -------
    ndarray, shape (H, W, 3), float32
        A grey picture has three equal channels.
    """
    light = np.empty((*codes.shape[:2], 3), dtype=np.float32)

    def decode(rows: slice) -> None:
        take_pages(light[rows])
        found = _decoded(codes[rows], curves, light[rows])
        if not np.may_share_memory(found, light):
            light[rows] = found

    times = STRIPS_READ if codes.dtype == np.uint8 else 1  # others are looked up on the way
    over_strips(decode, codes.shape[0], codes.shape[1] * 3, times=times)
    return light


def tells_finite_light(sample: Sample, curves: tuple[Curve, ...]) -> bool:
    """Whether no code, of whole numbers, stands for light that is infinite or no number."""
    return all(np.isfinite(_light_table(curve, sample)).all() for curve in curves)


@dataclass(frozen=True, slots=True, eq=False)
class StillInCodes:
    """Light of a still as its codes tell it, for when its own frame has been written over.

    Parameters
    ----------
    codes : ndarray, shape (H, W, 1) or (H, W, 3)
        Whole numbers.
    curves : tuple of Curve
        One per channel of `codes`.
    """

    codes: Codes
    curves: tuple[Curve, ...]

    @classmethod
    def of(cls, light: FloatArray, encoding: Encoding, every: int = 1) -> Self | None:
        """Return it for linear light of a file, or None if codes do not tell all of it exactly.

        Of light that they tell, if they tell any, every so many rows are enough.
        """
        codes = encoding.codes
        if codes is None or not encoding.sample.is_integer or codes.shape[:2] != light.shape[:2]:
            return None
        still, are_same = cls(codes, encoding.curves), []

        def compare(rows: slice) -> None:
            own = slice(rows.start, rows.stop, every)
            are_same.append(bool(_equal(still[own], light[own]).all()))

        over_strips(compare, light.shape[0], light.shape[1] * 3, times=every)
        return still if all(are_same) else None

    def __getitem__(self, where: Any) -> FloatArray:
        """Return light of some rows, or of some pixels."""
        return _decoded(self.codes[where], self.curves)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Target:
    """What codes are wanted.

    Parameters
    ----------
    sample : Sample
        Type of one number.
    curves : tuple of Curve
        One for grey, three for RGB.
    matrix : ndarray, shape (3, 3), or None
        From the picture's channels to the file's.
    original : ndarray or None
        Codes of the same sample, curves and primaries that the light once came from.
    primaries : Primaries or None
        Of the file's channels: integer codes show light past white in its own hue (see
        `towards_white`); None clips every channel at white by itself.
    """

    sample: Sample
    curves: tuple[Curve, ...]
    matrix: Matrix | None = None
    original: Codes | None = None
    primaries: Primaries | None = None


class CodedLight(NamedTuple):
    """Codes and what could not be held by them."""

    codes: Codes
    share_above: float
    """Share of pixels with a channel above white, clipped to it."""
    share_below: float
    """Share of pixels with a channel below zero, clipped to it."""
    is_unchanged: bool
    """Whether every sample kept its original code."""


def codes_from_radiance(radiance: FloatArray, target: Target) -> CodedLight:
    """Codes of linear light; samples that never changed keep their original ones.

    Integer codes end at 0 and at white. 8-bit codes are dithered where the light is not
    what the original codes say: triangular blue noise of one code, which turns to half
    that width within half a code of either end, so that black and white stay clean and
    the mean stays true. The noise is the same in every run and does not know of strips.

    Parameters
    ----------
    radiance : ndarray, shape (H, W, 3), float32
        Linear light, finite.
    target : Target
        What codes are wanted; a target with one curve takes the first channel.

    Returns
    -------
    CodedLight
        Codes of shape (H, W, 1) or (H, W, 3), and what was clipped.
    """
    height, width = radiance.shape[:2]
    channels = len(target.curves)
    codes = np.empty((height, width, channels), dtype=target.sample.dtype)
    tallies: list[tuple[int, int, bool]] = []

    def encode(rows: slice) -> None:
        tallies.append(_encode_strip(radiance[rows], target, codes[rows], rows.start))

    over_strips(encode, height, width * channels, times=STRIPS_CODED)
    pixels = height * width
    return CodedLight(
        codes,
        sum(tally[0] for tally in tallies) / pixels,
        sum(tally[1] for tally in tallies) / pixels,
        all(tally[2] for tally in tallies),
    )


def is_grey(radiance: FloatArray) -> bool:
    """Whether the three channels agree to float32 rounding everywhere."""
    for start in range(0, radiance.shape[0], 64):
        strip = radiance[start : start + 64]
        green = strip[..., 1]
        # A few roundings of a value, or of the light around it where it is dark.
        bound = 1e-6 * np.abs(green) + 1e-7
        if np.any(np.abs(strip[..., 0] - green) > bound):
            return False
        if np.any(np.abs(strip[..., 2] - green) > bound):
            return False
    return True


def _encode_strip(
    light: FloatArray, target: Target, out: Codes, first_row: int
) -> tuple[int, int, bool]:
    light = np.ascontiguousarray(light[..., : out.shape[2]])
    same = None
    if target.original is not None:
        original = target.original[first_row : first_row + out.shape[0]]
        same = _equal(_decoded(original, target.curves)[..., : out.shape[2]], light)
        if same.all():
            out[...] = original
            return 0, 0, True
        same = same if same.any() else None
    if target.matrix is not None:
        light = light @ target.matrix.T.astype(np.float32)
    above = below = 0
    if not target.sample.is_integer:
        out[...] = _encoded_floats(light, target.curves)
    else:
        # As whole numbers without a sign, light below 0 is beyond all other.
        beyond = np.flatnonzero(light.view(np.uint32) > _ONE_BITS)
        if beyond.size:
            above, below = _pixels_beyond(light, beyond, same)
            if target.primaries is not None and out.shape[2] == 3:
                light = light.copy()
                pixels, past = light.reshape(-1, 3), beyond // 3
                past = past[first_of_each(past)]
                pixels[past] = towards_white(pixels[past], target.primaries)
        encode = _encode_bytes if target.sample is Sample.UINT8 else _encode_words
        encode(light, target.curves, out, first_row)
    if same is not None:
        np.copyto(out, original, where=same)
    return above, below, False


def _equal(one: FloatArray, other: FloatArray) -> NDArray[np.bool_]:
    import cv2

    rows = (one.shape[0], -1)
    same = cv2.compare(one.reshape(rows), other.reshape(rows), cv2.CMP_EQ)
    return np.asarray(same).view(np.bool_).reshape(other.shape)


def _pixels_beyond(
    light: FloatArray, samples: NDArray[np.intp], same: NDArray[np.bool_] | None
) -> tuple[int, int]:
    """How many pixels have a channel above white, and below 0, of some samples that changed."""
    if same is not None:
        samples = samples[~same.reshape(-1)[samples]]
    own, pixels = light.reshape(-1)[samples], samples // light.shape[2]
    above, below = (len(first_of_each(pixels[mask])) for mask in (own > 1, own < 0))
    return above, below


def _encode_bytes(light: FloatArray, curves: tuple[Curve, ...], out: Codes, first_row: int) -> None:
    """Codes of 8 bits, dithered; in steps of 1/256 of a code until the last."""
    import cv2

    rows, width, channels = light.shape
    bits = light.view(np.int32) >> _CUT_BITS
    # Stubs know of no single number as the second of them.
    flat = cv2.subtract(bits.reshape(rows, -1), _BYTES_FROM, dtype=cv2.CV_16U)  # type: ignore[call-overload]
    if all(curve is curves[0] for curve in curves):
        value = np.asarray(cv2.LUT(flat, _byte_table(curves[0])))
    else:
        index = flat.reshape(light.shape)
        planes = [_byte_table(curve)[index[..., k]] for k, curve in enumerate(curves)]
        value = np.stack(planes, axis=-1).reshape(rows, -1)
    with _MAKING_NOISE:  # once, and not by each thread
        band = _byte_noise(width, channels)
    start = first_row % TILE_PX
    # A view where the strip does not cross the band's end: copies cost as much as the rest.
    is_inside = start + rows <= TILE_PX
    places = slice(start, start + rows) if is_inside else np.arange(start, start + rows) % TILE_PX
    noise = band.triangular[places]
    # Within half a code of an end, one uniform variable of one code's width still keeps
    # the mean and cannot leave the range; triangular noise would be cut and lift blacks.
    inside = cv2.inRange(value, 256, 255 * 256)
    if cv2.countNonZero(inside) < inside.size:
        noise = noise.copy()
        cv2.copyTo(band.uniform[places], cv2.bitwise_not(inside), noise)
    value += noise
    np.right_shift(value.reshape(out.shape), 8, out=out, casting="unsafe")


def _encode_words(light: FloatArray, curves: tuple[Curve, ...], out: Codes, first_row: int) -> None:
    """Codes of 16 bits, which need no dither wherever they are."""
    del first_row
    bits = np.clip(light.view(np.int32), 0, _ONE_BITS)
    index, rest = bits >> _CUT_BITS, bits & ((1 << _CUT_BITS) - 1)
    for channel in range(out.shape[2]):
        table = _word_table(curves[channel])
        value = np.take(table.value, index[..., channel], mode="clip")
        value += np.take(table.slope, index[..., channel], mode="clip") * rest[..., channel]
        np.copyto(out[..., channel], value, casting="unsafe")


class _ByteNoise(NamedTuple):
    """The same as a `NoiseBand`, in 256ths of a code; below 0 it wraps round, as sums do."""

    uniform: NDArray[np.uint16]
    triangular: NDArray[np.uint16]


_MAKING_NOISE = Lock()


@lru_cache(maxsize=2)
def _byte_noise(width: int, channels: int) -> _ByteNoise:
    def steps(noise: FloatArray, most: int) -> NDArray[np.uint16]:
        whole = np.clip(np.rint(noise * 256), -most, most - 1).astype(np.int16)
        tiles = np.tile(whole, (1, -(-width // TILE_PX), 1))[:, :width]
        return np.ascontiguousarray(tiles).view(np.uint16).reshape(TILE_PX, -1)

    tile = noise_band(TILE_PX, channels)
    return _ByteNoise(steps(tile.uniform, 128), steps(tile.triangular, 256))


@lru_cache(maxsize=12)
def _byte_table(curve: Curve) -> NDArray[np.uint16]:
    """Codes plus a half, in 256ths, of light up to white in 65536 steps."""
    nodes = (np.arange(_BYTES_FROM, _BYTES_FROM + 65537) << _CUT_BITS).astype(np.int32)
    light = nodes.view(np.float32).astype(np.float64)
    middles = (light[:-1] + light[1:]) / 2
    # Light of exactly 0 and exactly 1 is what pure black and white are: no half step.
    middles[0], middles[-1] = 0.0, 1.0
    codes = np.clip(curve.encode(middles), 0, 1) * 255 + 0.5
    return np.rint(codes * 256).astype(np.uint16)


class _WordTable(NamedTuple):
    value: FloatArray
    slope: FloatArray


@lru_cache(maxsize=12)
def _word_table(curve: Curve) -> _WordTable:
    """Codes plus a half on the grid of cut floats in [0, 1], and their slope there."""
    nodes = (np.arange(_TABLE_TOP + 2, dtype=np.int32) << _CUT_BITS).view(np.float32)
    value = np.clip(curve.encode(nodes.astype(np.float64)), 0, 1) * 65535 + 0.5
    slope = np.diff(value) / (1 << _CUT_BITS)
    return _WordTable(value[:-1].astype(np.float32), slope.astype(np.float32))


@lru_cache(maxsize=12)
def _light_table(curve: Curve, sample: Sample) -> FloatArray:
    top = np.iinfo(sample.dtype).max
    return curve.decode(np.arange(top + 1) / top).astype(np.float32)


def _decoded(codes: Codes, curves: tuple[Curve, ...], room: FloatArray | None = None) -> FloatArray:
    """(rows, W, 3) light of (rows, W, 1 or 3) codes; where it can be, it is laid into `room`."""
    sample = Sample.of(codes)
    alike = all(curve is curves[0] for curve in curves)
    if not sample.is_integer:
        light = _decoded_floats(codes, curves)
    elif alike:
        light = _looked_up(codes, _light_table(curves[0], sample), room)
    else:
        planes = [
            _looked_up(np.ascontiguousarray(codes[..., k]), _light_table(curve, sample))
            for k, curve in enumerate(curves)
        ]
        light = np.stack(planes, axis=-1)
    if light.shape[-1] == 1:
        light = np.repeat(light, 3, axis=-1)
    return light


def _looked_up(codes: Codes, table: FloatArray, room: FloatArray | None = None) -> FloatArray:
    if codes.dtype == np.uint8:
        import cv2

        # 10 ms for 24 MP, where numpy's take needs 98 ms.
        fits = room is not None and room.shape == codes.shape
        light = cv2.LUT(np.ascontiguousarray(codes), table, dst=room if fits else None)
        return np.asarray(light, dtype=np.float32).reshape(codes.shape)
    return np.asarray(np.take(table, codes), dtype=np.float32)


def _decoded_floats(codes: Codes, curves: tuple[Curve, ...]) -> FloatArray:
    if all(curve == LINEAR for curve in curves):
        return codes.astype(np.float32)
    planes = [curve.decode(codes[..., k]) for k, curve in enumerate(curves)]
    return np.stack(planes, axis=-1).astype(np.float32)


def _encoded_floats(light: FloatArray, curves: tuple[Curve, ...]) -> FloatArray:
    if all(curve == LINEAR for curve in curves):
        return light
    planes = [curve.encode(light[..., k]) for k, curve in enumerate(curves)]
    return np.stack(planes, axis=-1).astype(np.float32)
