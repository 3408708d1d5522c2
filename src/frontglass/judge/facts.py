"""What an element is in numbers that a lens gives meaning to: dots, streaks, holes, washes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from frontglass.elements import ClearCentre, Element, Grease, Haze, Lines, Net, StrayLamp
from frontglass.elements.direct import direct_share
from frontglass.elements.haze import CAUTION_MG_PER_M3
from frontglass.elements.net import Weave
from frontglass.optics.air import droplet_load_mg_per_m3, optical_range_m
from frontglass.optics.camera import Camera
from frontglass.optics.footprint import Footprint
from frontglass.optics.scatter import CHANNEL_WAVELENGTHS_NM
from frontglass.optics.stray_lamp import white_from_radiance
from frontglass.units import deg_from_rad, m_from_mm, m_from_nm, stops_from_ratio

CHANNELS = (0, 1, 2)
GREEN = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing that can be said of an element.

    Parameters
    ----------
    name : str
        What it is.
    values : tuple of float
        One number, or one for red, green and blue.
    unit : str
        "%", "degrees", "px", "mm", "m", "per m", "mg/m3", "stops" or "".
    """

    name: str
    values: tuple[float, ...]
    unit: str


def element_facts(element: Element, camera: Camera, width_px: int) -> tuple[Fact, ...]:
    """Facts of an element as it is, with a lens and a picture width.

    Parameters
    ----------
    element : Element
        At its strength.
    camera : Camera
        Lens, stop and filter distance.
    width_px : int
        Width of the picture. [px], > 0.

    Returns
    -------
    tuple of Fact
        Empty for glows and veils, whose numbers are those of the whole look.
    """
    facts: tuple[Fact, ...] = ()
    if isinstance(element, Net | Lines):
        facts = _mesh_facts(element, camera.px_per_deg(width_px))
    elif isinstance(element, Grease):
        facts = _grease_facts(element, camera.px_per_deg(width_px))
    elif isinstance(element, Haze):
        facts = _haze_facts(element)
    elif isinstance(element, StrayLamp):
        facts = _wash_facts(element, camera, width_px)
    clear = getattr(element, "clear_centre", None)
    return facts if clear is None else (*facts, *_hole_facts(clear, camera))


NEAR_M, ACROSS_THE_ROOM_M = 3.0, 10.0
"""A subject, and the far wall of a room, for which haze is told in numbers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HazeNumbers:
    """What all the haze of a look takes, at its strength; per channel red, green, blue.

    Parameters
    ----------
    extinction_per_m : tuple of 3 float
        [1/m]
    optical_range_m : float
        Where 5 % of a green light is left [m]; inf without haze.
    kept_near, kept_across : tuple of 3 float
        Share of light left after 3 m and after 10 m. [1]
    droplet_load_mg_per_m3 : float
        Mass of the usual droplets that it takes. [mg/m3]
    """

    extinction_per_m: tuple[float, ...]
    optical_range_m: float
    kept_near: tuple[float, ...]
    kept_across: tuple[float, ...]
    droplet_load_mg_per_m3: float

    @property
    def is_cautioned(self) -> bool:
        """Whether so much mist calls for the cautions."""
        return self.droplet_load_mg_per_m3 > CAUTION_MG_PER_M3


def haze_numbers(path: Sequence[Element]) -> HazeNumbers | None:
    """Numbers of the haze in a light path, all of it together; None where there is none."""
    hazes = [element for element in path if isinstance(element, Haze)]
    if not hazes:
        return None
    extinction = tuple(
        math.fsum(haze.air(channel).extinction_per_m for haze in hazes) for channel in CHANNELS
    )
    return HazeNumbers(
        extinction_per_m=extinction,
        optical_range_m=optical_range_m(extinction[GREEN]),
        kept_near=tuple(math.exp(-NEAR_M * part) for part in extinction),
        kept_across=tuple(math.exp(-ACROSS_THE_ROOM_M * part) for part in extinction),
        droplet_load_mg_per_m3=droplet_load_mg_per_m3(extinction[GREEN]),
    )


def wash_of_white(lamp: StrayLamp, tangent_right: float) -> float:
    """Wash in green at a place on the frame's horizontal, as a share of white. [1]."""
    radiance = lamp.lamp().wash(tangent_right, 0.0)
    return float(white_from_radiance(radiance, key_illuminance=1.0)) * lamp.colour[GREEN]


def _haze_facts(haze: Haze) -> tuple[Fact, ...]:
    numbers = haze_numbers([haze])
    if numbers is None:
        return ()
    kept = (
        (f"light left after {metres:g} m", tuple(100 * part for part in shares))
        for metres, shares in (
            (NEAR_M, numbers.kept_near),
            (ACROSS_THE_ROOM_M, numbers.kept_across),
        )
    )
    return (
        Fact(name="optical range, 5 % left", values=(numbers.optical_range_m,), unit="m"),
        *(Fact(name=name, values=values, unit="%") for name, values in kept),
        Fact(name="droplets of 1 um", values=(numbers.droplet_load_mg_per_m3,), unit="mg/m3"),
    )


def _mesh_facts(mesh: Net | Lines, px_per_deg: float) -> tuple[Fact, ...]:
    wavelengths = [m_from_nm(nm) for nm in CHANNEL_WAVELENGTHS_NM]
    # The nearest orders of tulle belong to a grid of rows, closer together than its holes.
    rows = 2 / math.sqrt(3) if isinstance(mesh, Net) and mesh.weave is Weave.TULLE else 1.0
    width_mm = mesh.thread_width_mm if isinstance(mesh, Net) else mesh.line_mm
    spacing = tuple(deg_from_rad(rows * w / m_from_mm(mesh.pitch_mm)) for w in wavelengths)
    facts = [
        Fact(name="passes", values=(100 * mesh.covered_transmittance,), unit="%"),
        Fact(
            name="of that direct",
            values=tuple(100 * direct_share(mesh, channel) for channel in CHANNELS),
            unit="%",
        ),
        Fact(name="dots apart", values=spacing, unit="degrees"),
        Fact(name="dots apart", values=tuple(deg * px_per_deg for deg in spacing), unit="px"),
    ]
    if width_mm:
        first_gap = deg_from_rad(wavelengths[GREEN] / m_from_mm(width_mm))
        facts.append(Fact(name="rays fade out at", values=(first_gap,), unit="degrees"))
        facts.append(Fact(name="rays fade out at", values=(first_gap * px_per_deg,), unit="px"))
    return tuple(facts)


def _grease_facts(grease: Grease, px_per_deg: float) -> tuple[Fact, ...]:
    film = grease.film()
    wavelengths = [m_from_nm(nm) for nm in CHANNEL_WAVELENGTHS_NM]
    across = deg_from_rad(film.rms_angle_rad)
    return (
        Fact(
            name="optical depth", values=tuple(film.optical_depth(w) for w in wavelengths), unit=""
        ),
        Fact(
            name="direct",
            values=tuple(100 * direct_share(grease, channel) for channel in CHANNELS),
            unit="%",
        ),
        Fact(name="root mean square across the stroke", values=(across,), unit="degrees"),
        Fact(name="root mean square across the stroke", values=(across * px_per_deg,), unit="px"),
    )


def _wash_facts(lamp: StrayLamp, camera: Camera, width_px: int) -> tuple[Fact, ...]:
    edge = width_px / 2 / camera.px_per_rad(width_px)
    left, middle, right = (wash_of_white(lamp, tangent) for tangent in (-edge, 0.0, edge))
    facts = [
        Fact(name=f"wash {where}, of white", values=(100 * share,), unit="%")
        for where, share in (("left", left), ("middle", middle), ("right", right))
    ]
    if left > 0 and right > 0:
        across = abs(stops_from_ratio(left / right))
        facts.append(Fact(name="from side to side", values=(across,), unit="stops"))
    return tuple(facts)


def _hole_facts(clear: ClearCentre, camera: Camera) -> tuple[Fact, ...]:
    footprint = Footprint.of_camera(camera)
    half_frame = camera.sensor_width_mm / 2 / camera.focal_length_mm
    middle = float(footprint.tangent_of(m_from_mm(clear.radius_mm))) / half_frame
    soft = footprint.blur_diameter / (2 * half_frame)
    return (
        Fact(name="circle reaches, of the half width", values=(100 * middle,), unit="%"),
        Fact(name="its edge is soft over, of the width", values=(100 * soft,), unit="%"),
    )
