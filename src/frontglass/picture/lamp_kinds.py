"""Kinds of lamps, how bright each is, and where the white of a still lies on that scale."""

from __future__ import annotations

import difflib
import math
from typing import NamedTuple

import scipy

from frontglass.checks import check_positive
from frontglass.errors import ParameterError
from frontglass.optics.camera import ShotData

KIND_STOPS = 1.0
"""Lamps of one kind lie so far round its luminance, as a standard deviation. From memory."""
EXIF_STOPS = 0.5
"""White by the file's exposure. Saturation-based speed and standard output sensitivity differ by
half a stop, and the camera's own curve by as much."""
UNKNOWN_STOPS = 2.0
"""White guessed from where lamps of a kind usually burn. From memory."""
EXPOSURE_CD_M2 = 1.0
"""Luminance that becomes white at 1 s, f/1 and ISO 100. [ISO12232]: focal-plane exposure at white
is 78 / S lx s (saturation-based) or 10 / 0.18 / S (standard output sensitivity), and of [ISO2721]'s
0.65 L t / N**2 that leaves 120 or 85 N**2 / (t S); between them, 100."""


class LampKind(NamedTuple):
    """A kind of lamp, or of what else is bright.

    Parameters
    ----------
    name : str
        As it is typed.
    cd_per_m2 : float
        Luminance. [cd/m2]; of a lamp too small to be seen as an area, 0.
    white_cd_per_m2 : float
        White of a still in which it is usually seen. [cd/m2]
    source : str
        Where luminance or intensity is from.
    angle_deg : float or None
        Its diameter in the sky. [degree]
    candela, metres : float
        Intensity of a lamp that is too small, and how far away it usually is. [cd], [m]
    """

    name: str
    cd_per_m2: float
    white_cd_per_m2: float
    source: str
    angle_deg: float | None = None
    candela: float = 0.0
    metres: float = 1.0


TABLE = "IES table of approximate luminances, from memory"
BLUR_PX = 0.6
"""Standard deviation of what lens and pixels do to an edge; common practice, no source."""
BLOOM_FROM, BLOOM_STEEPNESS = 100.0, 1.3
ROUND_BLOOM, LONG_BLOOM = 0.8, 0.98
"""A lamp so much brighter than white clips by its bloom too. That then reaches as far as light, as
steeply as it is seen to fall outside, takes to fall by e for each e above the first, up to those of
a disc and of a tube. Of 220 lamps behind lenses, both drawn by chance, 72 of 100 radii come out
within a fifth; of bloom in proportion to light, 55."""
HARD_EDGE, BLOOMING_EDGE = 0.2, 0.6
"""Light beside an area, over white, up to which it ends where the lamp does, and from which on
where bloom falls below white: drawn lamps of ten stops have 0.8 and more, sharp ones 0.05."""
LEAST_SLOPE = 0.02
"""Of a lamp's radius, in the logarithm of light: what falls less steeply is no bloom of it."""
LEAST_CORE, MOST_CORE = 0.12, 0.97
POINT_STOPS = 1.2
"""Distances of such lamps lie so far round the usual, in light. From memory."""
LUMENS = "from lumens over the glowing area, common sizes"
SEEN = "common practice, no source"
DISC_DEG = 0.53
"""Sun and moon, both within 0.02 degrees over the year. From memory."""

KINDS: dict[str, LampKind] = {
    kind.name: kind
    for kind in (
        LampKind("candle", 1e4, 10, TABLE),
        LampKind("globe", 8e3, 60, LUMENS),
        LampKind("bulb", 2e4, 60, LUMENS),
        LampKind("filament", 0, 60, LUMENS, candela=60, metres=4),
        LampKind("tube", 1e4, 100, TABLE),
        LampKind("neon", 1.5e3, 15, SEEN),
        LampKind("lampshade", 1e3, 60, LUMENS),
        LampKind("lantern", 5e2, 30, LUMENS),
        LampKind("led-tape", 1.5e4, 60, LUMENS),
        LampKind("led-point", 0, 30, LUMENS, candela=30, metres=4),
        LampKind("screen", 2.5e2, 30, SEEN),
        LampKind("sodium", 0, 15, LUMENS, candela=1500, metres=20),
        LampKind("led-street", 0, 15, LUMENS, candela=1500, metres=20),
        LampKind("headlamp", 0, 15, SEEN, candela=3000, metres=30),
        LampKind("lit-window", 3e1, 10, SEEN),
        LampKind("window", 3e3, 300, SEEN),
        LampKind("overcast", 2e3, 1500, TABLE),
        LampKind("blue-sky", 8e3, 6000, TABLE),
        LampKind("moon", 2.5e3, 5, TABLE, DISC_DEG),
        LampKind("low-sun", 6e6, 3000, TABLE, DISC_DEG),
        LampKind("sun", 1.6e9, 8000, TABLE, DISC_DEG),
    )
}


class White(NamedTuple):
    """Luminance of white, and how well it is known.

    Parameters
    ----------
    cd_per_m2 : float
        Luminance. [cd/m2]
    uncertain_stops : float
        Standard deviation. [stop]
    """

    cd_per_m2: float
    uncertain_stops: float


def kind_named(name: str) -> LampKind:
    """Kind of that name.

    Raises
    ------
    ParameterError
        If there is none.

    Examples
    --------
    >>> kind_named("candle").cd_per_m2
    10000.0
    """
    if name in KINDS:
        return KINDS[name]
    near = difflib.get_close_matches(name, KINDS, 1)
    hint = f"Did you mean {near[0]}?" if near else ""
    rule = f"stops above white or a kind: {', '.join(KINDS)}"
    raise ParameterError("lamp", rule, name, hint)


def white_of(shot: ShotData, typed_cd_per_m2: float | None = None) -> White | None:
    """White of a still: as typed, else by the exposure its file tells; None if it tells none.

    References
    ----------
    [ISO12232]; [ISO2721].

    Examples
    --------
    1/30 s at f/1.8 and ISO 800 have 2**3 * 2**(-4.9) / 1.8**2 of the exposure of 1 s:

    >>> white = white_of(ShotData(exposure_stops=-3.6))
    >>> round(white.cd_per_m2, 1), white.uncertain_stops
    (12.1, 0.5)
    """
    if typed_cd_per_m2 is not None:
        return White(check_positive("white", typed_cd_per_m2), 0.0)
    if shot.exposure_stops is None:
        return None
    return White(EXPOSURE_CD_M2 * 2.0**-shot.exposure_stops, EXIF_STOPS)


def disc_px(kind: LampKind, px_per_rad: float) -> float:
    """Radius of what is a disc in the sky [px]; 0 for all else."""
    return 0.0 if kind.angle_deg is None else math.radians(kind.angle_deg) / 2 * px_per_rad


def core_of(
    kind: LampKind,
    white: White | None,
    *,
    deepest_px: float,
    area_px: float,
    slope: float,
    edge: float,
) -> float:
    """Radius of a lamp over that of the area that clips, which is the lamp and its blur and bloom.

    Parameters
    ----------
    kind, white : LampKind, White or None
        As of `level_of`.
    deepest_px : float
        From the middle of the area to its edge. [px]
    area_px : float
        The area. [px]
    slope : float
        Logarithm of light lost on a pixel of the way out from its edge. [1/px], >= 0
    edge : float
        Light just outside its edge, over white. [1], >= 0; where bloom ends in white it is near 1.

    Returns
    -------
    float
        [1], in (0, 1).
    """
    if kind.candela:
        return LEAST_CORE
    found = white or White(kind.white_cd_per_m2, UNKNOWN_STOPS)
    over_white = max(2.0, kind.cd_per_m2 / found.cd_per_m2)
    # A blurred edge clips where what is left of it is white; half a pixel lies outside its centre.
    blur = BLUR_PX * float(scipy.special.ndtri(1 - 1 / over_white)) + 0.5
    roundness = min(1.0, math.pi * deepest_px**2 / area_px)
    most = LONG_BLOOM + (ROUND_BLOOM - LONG_BLOOM) * roundness
    bloom = min(max(0.0, BLOOM_STEEPNESS * math.log(over_white / BLOOM_FROM)), most)
    bloom *= min(max((edge - HARD_EDGE) / (BLOOMING_EDGE - HARD_EDGE), 0.0), 1.0)
    reach = math.hypot(blur, bloom / max(slope, LEAST_SLOPE / deepest_px))
    return min(MOST_CORE, max(LEAST_CORE, 1 - reach / deepest_px))


def level_of(
    kind: LampKind, white: White | None, *, share: float, steradian: float
) -> tuple[float, float]:
    """Mean light of a clipped area with a lamp of a kind in it, and its standard deviation [stop].

    Parameters
    ----------
    kind : LampKind
        Its kind.
    white : White or None
        White of the still; None takes it from where the kind is usually seen.
    share : float
        How much of the area it fills. [1], in (0, 1).
    steradian : float
        The area. [sr]

    Returns
    -------
    tuple of 2 float
        Light over white, white itself included, >= 0; and how far it may be off. [stop]

    Examples
    --------
    A lampshade of 1000 cd/m2 fills four fifths of an area; white is 50 cd/m2:

    >>> level, _ = level_of(kind_named("lampshade"), White(50, 0.5), share=0.8, steradian=1e-3)
    >>> round(level, 2)
    4.02
    """
    found = white or White(kind.white_cd_per_m2, UNKNOWN_STOPS)
    if kind.candela:
        # Of what is smaller than it looks, intensity over distance squared is what arrives.
        arriving, doubt = kind.candela / kind.metres**2 / steradian / found.cd_per_m2, POINT_STOPS
    else:
        # Beside the lamp the area shows little more than white.
        arriving, doubt = max(0.0, kind.cd_per_m2 / found.cd_per_m2 - 1) * share, 0.0
    return math.log2(1 + arriving), math.hypot(KIND_STOPS, found.uncertain_stops, doubt)
