"""Watched regions of a still: what a look does to a face, to hair, to a lamp, to a black."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from frontglass.arrays import Float64
from frontglass.errors import ParameterError
from frontglass.optics.camera import Camera
from frontglass.picture.curves import SRGB_CURVE
from frontglass.picture.encoding import Encoding
from frontglass.picture.picture import Picture
from frontglass.picture.region import Region
from frontglass.picture.wider import region_in
from frontglass.units import stops_from_ratio

KEY_SIDE, SHADOW_SIDE = 90, 10
"""Percentiles of the smoothed light that stand for the two sides of a face."""
SMOOTHED_OVER = 1 / 12
"""Share of a region's shorter side over which light is averaged first: shape, not texture."""
STEEPEST_SHARE = 0.02
"""Share of the pixels whose slopes stand for the edges."""
DARKEST_SHARE = 0.05
"""Share of the pixels that stand for the black."""
SWOLLEN_FROM = 0.2140
"""Light shown as half of the display's range, from which on a lamp reads as lit area."""
LEAST_LIGHT = 2.0**-20
"""Light below which stops are not counted [white = 1]."""
TOLD_APART_STOPS = 0.01
KINDS = ("face", "hair", "lamp", "black")


@dataclass(frozen=True, slots=True)
class WatchedRegion:
    """A named part of the still.

    Parameters
    ----------
    name : str
        What it is; one that begins with "face", "hair", "lamp" or "black" says which numbers
        matter, any other has them all.
    region : Region
        Where it is.
    """

    name: str
    region: Region

    @classmethod
    def from_text(cls, text: str) -> WatchedRegion:
        """Watched region of "NAME:X,Y,W,H".

        Raises
        ------
        ParameterError
            If it is no such text.

        Examples
        --------
        >>> WatchedRegion.from_text("face:10,20,64,48").name
        'face'
        """
        name, colon, place = text.rpartition(":")
        if not colon or not name.strip():
            raise ParameterError("watch", "NAME:X,Y,W,H such as face:10,20,64,48", text)
        try:
            return cls(name.strip(), Region.from_text(place))
        except ParameterError:
            rule = "NAME:X,Y,W,H in whole pixels, such as face:10,20,64,48"
            raise ParameterError("watch", rule, text) from None

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds of numbers that matter here."""
        found = tuple(kind for kind in KINDS if self.name.lower().startswith(kind))
        return found or KINDS

    def in_frame_of(self, picture: Picture) -> WatchedRegion:
        """Return it by the pixels of a frame; it was typed by those of the whole still.

        Raises
        ------
        ParameterError
            If it is too small, or reaches outside of the frame.
        """
        inside = replace(self, region=region_in(self.region, picture))
        inside.check_inside(picture)
        return inside

    def check_inside(self, picture: Picture) -> None:
        """Refuse a region that is smaller than 3 px or reaches outside of `picture`.

        Raises
        ------
        ParameterError
            If it does.
        """
        self.region.check_inside(picture)
        if min(self.region.size_px) < 3:
            raise ParameterError("watch", "3 px a side at least", self.region.size_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionNumbers:
    """What can be read in a region.

    Parameters
    ----------
    key_to_shadow_stops : float
        Light of the bright side over that of the dark side. [stop]
    acutance_percent_per_px : float
        Steepness of the steepest edges, as shown. [% of the display's range per px]
    lamp_radius_px, lamp_radius_deg : float
        Of a disc as large as the area that reads as lit; 0 where nothing does. [px], [degree]
    halo_level_percent : float
        Light as shown in a ring from 1 to 2.5 radii of the bare lamp. [% of the display's range]
    black_stops : float
        Darkest part under white. [stop], below 0
    black_told_stops : float
        How dark the file's codes tell black apart: what is darker counts as that. [stop], below 0
    black_percent : float
        The same as shown. [% of the display's range]
    """

    key_to_shadow_stops: float
    acutance_percent_per_px: float
    lamp_radius_px: float
    lamp_radius_deg: float
    halo_level_percent: float
    black_stops: float
    black_percent: float
    black_told_stops: float


def region_numbers(
    watched: WatchedRegion, seen: Picture, bare: Picture, camera: Camera
) -> RegionNumbers:
    """Numbers of a region of a still seen through something.

    Parameters
    ----------
    watched : WatchedRegion
        Where to look.
    seen, bare : Picture
        The still through a look, and without; the same one twice for the bare still's numbers.
        The bare one says where lamp and black are.
    camera : Camera
        Turns pixels into degrees.

    Raises
    ------
    ParameterError
        If the region reaches outside of the still.
    """
    watched.check_inside(seen)
    light, before = (luminance(watched.region.of(picture)) for picture in (seen, bare))
    shown = _shown(light)
    radius_px = _lit_radius_px(light)
    black = float(light[before <= np.quantile(before, DARKEST_SHARE)].mean())
    least = darkest_told(bare.encoding)
    return RegionNumbers(
        key_to_shadow_stops=_key_to_shadow(light),
        acutance_percent_per_px=_acutance(shown),
        lamp_radius_px=radius_px,
        lamp_radius_deg=radius_px / camera.px_per_deg(seen.width_px),
        halo_level_percent=_ring_level(light, before),
        black_stops=stops_from_ratio(max(black, least)),
        black_percent=float(_shown(np.array([black]))[0]),
        black_told_stops=stops_from_ratio(least),
    )


def darkest_told(encoding: Encoding) -> float:
    """Light that a file's codes still tell from none: that of half a code [white = 1].

    Floats tell all; a millionth of white stands for black there.
    """
    if not encoding.sample.is_integer:
        return LEAST_LIGHT
    half = np.array([0.5 / np.iinfo(encoding.sample.dtype).max])
    return max(LEAST_LIGHT, *(float(curve.decode(half)[0]) for curve in encoding.curves))


def luminance(picture: Picture) -> Float64:
    """Luminance of a picture [white = 1]."""
    weights = picture.primaries.luminance_weights
    return np.asarray(picture.radiance.astype(np.float64) @ np.asarray(weights))


def number_texts(numbers: RegionNumbers, kinds: tuple[str, ...]) -> tuple[str, ...]:
    """Return the numbers that matter for some kinds, a short line each."""
    n = numbers
    lit = f"{n.lamp_radius_px:.3g} px, {n.lamp_radius_deg:.2f} deg"
    words: dict[str, tuple[str, ...]] = {
        "face": (f"key to shadow {n.key_to_shadow_stops:.2f} stops",),
        "hair": (f"edges {n.acutance_percent_per_px:.1f} % per px",),
        "lamp": (f"radius {lit}", f"halo shown at {n.halo_level_percent:.1f} %"),
        "black": (
            _black_text(n),
            f"shown at {n.black_percent:.1f} %",
        ),
    }
    return tuple(text for kind in kinds for text in words[kind])


def _black_text(n: RegionNumbers) -> str:
    """Say how far black lies under white; codes of 8 bits tell no more than 13 stops."""
    if n.black_stops > n.black_told_stops + TOLD_APART_STOPS:
        return f"{-n.black_stops:.1f} stops under white"
    return f"over {-n.black_told_stops:.0f} stops under white, as far as its codes tell"


def _shown(light: Float64) -> Float64:
    return np.asarray(100 * SRGB_CURVE.encode(np.clip(light, 0, 1)))


def _key_to_shadow(light: Float64) -> float:
    sigma = max(1.0, SMOOTHED_OVER * min(light.shape))
    smooth = cv2.GaussianBlur(np.clip(light, 0, 1), (0, 0), sigma)
    key, shadow = np.percentile(smooth, [KEY_SIDE, SHADOW_SIDE])
    return stops_from_ratio(max(float(key), LEAST_LIGHT) / max(float(shadow), LEAST_LIGHT))


def _acutance(shown: Float64) -> float:
    down, across = np.gradient(shown)
    slopes = np.sort(np.hypot(down, across), axis=None)
    count = max(1, round(STEEPEST_SHARE * slopes.size))
    return float(np.sqrt((slopes[-count:] ** 2).mean()))


def _lit_radius_px(light: Float64) -> float:
    return math.sqrt(float(_lamp(light).sum()) / math.pi)


def _lamp(light: Float64) -> NDArray[np.bool_]:
    """Area that reads as lit, joined to the brightest pixel."""
    lit = (light >= SWOLLEN_FROM).astype(np.uint8)
    if not lit.any():
        return np.zeros(light.shape, dtype=np.bool_)
    _, labels = cv2.connectedComponents(lit)
    brightest = np.unravel_index(int(light.argmax()), light.shape)
    return np.asarray(labels == labels[brightest])


def _ring_level(light: Float64, before: Float64) -> float:
    """Light as shown round the bare lamp, from its rim to 2.5 times its radius."""
    lamp = _lamp(before)
    if not lamp.any():
        lamp = before >= before.max()
    radius = math.sqrt(float(lamp.sum()) / math.pi)
    away = cv2.distanceTransform((~lamp).astype(np.uint8), cv2.DIST_L2, 5)
    ring = (away > 1) & (away <= max(2.0, 1.5 * radius))
    return float(_shown(light[ring]).mean()) if ring.any() else 0.0
