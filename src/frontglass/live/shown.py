"""Stills as the page shows them: small enough to render at once, and in codes of a display."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Codes
from frontglass.choices import PastWhite
from frontglass.picture.codes import Target, codes_from_radiance, is_grey
from frontglass.picture.curves import LINEAR, SRGB_CURVE
from frontglass.picture.encoding import Encoding, Sample, Tone
from frontglass.picture.picture import Display, Picture
from frontglass.picture.primaries import BT709
from frontglass.picture.reduced import on_pixels
from frontglass.picture.region import Region
from frontglass.picture.wider import framed
from frontglass.threads import over_strips

Half = NDArray[np.float16]
BRIGHTEST = 60000.0
"""Light that half floats still hold."""
VIEW_NODES, VIEW_TOP, VIEW_STEEPNESS = 33, 1024.0, 256.0
"""The page looks light up between so many places a channel, by `log(1 + 256 light)` up to 1024: a
show's LUT or a display of today is then half an 8-bit code off in a hundredth of the pixels, and
4 where a LUT has a kink. At rest it is exact."""


def at_most(picture: Picture, longest_px: int) -> Picture:
    """Picture that is no longer than that on either side; one that is not is returned itself.

    Light is averaged over areas, distances never mix two surfaces, and a frame keeps what is
    round it.
    """
    share = longest_px / max(picture.width_px, picture.height_px)
    if share >= 1:
        return picture
    if picture.wider is None:
        return _reduced(picture, share)
    whole, frame = _reduced(picture.wider.picture, share), picture.wider.region
    width, height = (max(1, round(side * share)) for side in frame.size_px)
    x = min(round(frame.x_px * share), whole.width_px - width)
    y = min(round(frame.y_px * share), whole.height_px - height)
    return framed(whole, Region(x, y, width, height), picture.shot)


def _reduced(picture: Picture, share: float) -> Picture:
    width, height = (max(1, round(side * share)) for side in (picture.width_px, picture.height_px))
    sample = picture.encoding.sample
    lamps = picture.lamps and tuple(
        replace(lamp, x_px=lamp.x_px * share, y_px=lamp.y_px * share) for lamp in picture.lamps
    )
    return replace(
        on_pixels(picture, (width, height)),
        lamps=lamps,
        # Files of floats are taken to have no grain, and stay such.
        encoding=Encoding.srgb(sample) if sample.is_integer else Encoding.linear(),
        wider=None,
    )


def shown_codes(picture: Picture) -> Codes:
    """8-bit sRGB codes of a picture, as a file of that kind would hold them.

    Parameters
    ----------
    picture : Picture
        A still or what became of it. Samples whose light never changed keep their codes where
        the still came in such codes.

    Returns
    -------
    ndarray, shape (H, W, 3), uint8
        R, G, B.
    """
    if picture.display is not None:
        seen = picture.display.codes(picture.scene, picture.primaries)
        plain = Target(sample=Sample.UINT8, curves=(LINEAR,) * 3)
        return np.asarray(codes_from_radiance(seen, plain).codes, dtype=np.uint8)
    encoding, light = picture.encoding, picture.radiance
    is_srgb = picture.primaries.is_close_to(BT709)
    original = encoding.codes if keeps_codes(picture) else None
    channels = 3
    if encoding.tone is Tone.GREY and _is_file_like(picture):
        if is_grey(light):
            channels = 1
        elif original is not None:
            original = np.repeat(original, 3, axis=-1)
    target = Target(
        sample=Sample.UINT8,
        curves=(SRGB_CURVE,) * channels,
        matrix=None if is_srgb else picture.primaries.matrix_to(BT709),
        original=original,
        primaries=BT709 if picture.past_white is PastWhite.HUE else None,
    )
    codes = np.asarray(codes_from_radiance(light, target).codes, dtype=np.uint8)
    return np.repeat(codes, 3, axis=-1) if channels == 1 else codes


def keeps_codes(picture: Picture) -> bool:
    """Return whether samples whose light never changed are shown as the still's file has them."""
    codes = picture.encoding.codes
    if codes is None or picture.display is not None or not _is_file_like(picture):
        return False
    return codes.shape[:2] == picture.radiance.shape[:2]


def _is_file_like(picture: Picture) -> bool:
    encoding = picture.encoding
    return (
        picture.primaries.is_close_to(BT709)
        and encoding.sample is Sample.UINT8
        and all(curve == SRGB_CURVE for curve in encoding.curves)
    )


def half_light(picture: Picture) -> Half:
    """Light of a picture in its own primaries, in half floats: what the page blends."""
    light = picture.radiance if picture.display is None else picture.scene
    half = np.empty(light.shape, np.float16)

    def some(rows: slice) -> None:
        half[rows] = np.clip(light[rows], -BRIGHTEST, BRIGHTEST)

    over_strips(some, len(light), light[0].size)
    return half


def to_screen(picture: Picture) -> list[float]:
    """Return the matrix, column by column, that takes a picture's light to the page's primaries."""
    if picture.primaries.is_close_to(BT709):
        return np.eye(3).ravel().tolist()
    return picture.primaries.matrix_to(BT709).T.ravel().tolist()


def view_codes(display: Display) -> Half:
    """Codes of a display at the places between which the page looks light up.

    Returns
    -------
    ndarray, shape (N * N, N, 3), float16
        Blue and green go down, red across. [1], in [0, 1].
    """
    most = np.log2(VIEW_TOP * VIEW_STEEPNESS + 1)
    places = (2 ** (most * np.linspace(0, 1, VIEW_NODES)) - 1) / VIEW_STEEPNESS
    blue, green, red = np.meshgrid(places, places, places, indexing="ij")
    light = np.stack([red, green, blue], axis=-1).astype(np.float32)
    return display.codes(light.reshape(-1, VIEW_NODES, 3), BT709).astype(np.float16)
