"""Spec sheet of a look: numbers read from standard targets that went through the real engine."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from frontglass.checks import check_positive
from frontglass.looks import Look
from frontglass.measurement.charts import (
    HAIR_PERIOD_MM,
    PORE_PERIOD_MM,
    WEDGE_STOPS,
    DetailCurve,
    LampHalo,
    detail_curve,
    glare_index,
    is_round,
    lamp_halo,
    light_loss,
    texture_held,
    wedge_levels,
)
from frontglass.optics.camera import Camera
from frontglass.optics.slanted_edge import first_fall
from frontglass.units import stops_from_ratio
from frontglass.warned import gathered_warnings


@dataclass(frozen=True, slots=True, kw_only=True)
class LookMeasures:
    """What standard targets say of a look at its strength, in green light.

    Parameters
    ----------
    name : str
        The look.
    strength : float
        Its strength. [1]
    curve : DetailCurve
        Detail held across the frame.
    mtf50_per_mm, bare_mtf50_per_mm : float
        Frequency at which half of the contrast is left, with the look and without; nan if the
        pixels end first. [cycles/mm]
    mtf50_lw_ph, bare_mtf50_lw_ph : float
        The same in line widths per picture height. [1]
    plateau, plateau_down : float
        Share of fine contrast held by the look, of detail across the frame and down it. [1]
    veiling_glare_index : float
        Light in a black disc of 1 degree radius over the even field round it. [1]
    halo : LampHalo
        Round a small lamp.
    half_energy_of_width : float
        Its half-energy radius over the width of the frame. [1]
    halo_share : float
        Light of the lamp that lands 0.1 to 3 degrees from it. [1]
    wedge_stops : tuple of float
        What the steps of a ten-stop wedge have become, white first. [stop under its white]
    contrast_loss_stops, black_lift_stops : float
        Of that wedge: stops lost between its ends, and by how much its black rose. [stop]
    light_loss_stops : float
        Light to make up. [stop]
    pores_held, hair_held : float
        Texture held at the spacing of pores and of fine hair on a face that fills a third of the
        frame's height. [1]
    notices : tuple of str
        What was less exact than usual.

    Examples
    --------
    >>> import frontglass as fg
    >>> from dataclasses import fields
    >>> [field.name for field in fields(fg.LookMeasures)][:4]
    ['name', 'strength', 'curve', 'mtf50_per_mm']
    """

    name: str
    strength: float
    curve: DetailCurve
    mtf50_per_mm: float
    bare_mtf50_per_mm: float
    mtf50_lw_ph: float
    bare_mtf50_lw_ph: float
    plateau: float
    plateau_down: float
    veiling_glare_index: float
    halo: LampHalo
    half_energy_of_width: float
    halo_share: float
    wedge_stops: tuple[float, ...]
    contrast_loss_stops: float
    black_lift_stops: float
    light_loss_stops: float
    pores_held: float
    hair_held: float
    notices: tuple[str, ...] = ()


def measure(look: Look, camera: Camera, width_px: int, height_px: int) -> LookMeasures:
    """Measure a look, at its strength, on standard targets rendered through the engine.

    Parameters
    ----------
    look : Look
        The look.
    camera : Camera
        Lens, stop, sensor and filter distance.
    width_px, height_px : int
        Size of the picture. [px], > 0.

    Notes
    -----
    All targets are seen at the middle of the frame. A lamp beside the lens is hooded for the
    glare index, which asks what the scene's own light does. Halos are measured without veils:
    those have no radius.

    References
    ----------
    [ISO12233] e-SFR; [ISO9358] black patch in an even field.

    Examples
    --------
    >>> import frontglass as fg
    >>> camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=24.9)
    >>> measured = fg.measure(fg.Look(elements=(fg.Veil(veil_share=0.01),)), camera, 1920, 1080)
    >>> round(measured.veiling_glare_index, 3), round(measured.plateau, 3)
    (0.01, 0.99)
    """
    check_positive("width_px", width_px)
    shape = check_positive("height_px", height_px) / width_px
    with gathered_warnings() as told:
        seen = _targets_seen(look, camera, width_px, shape)
    levels, halo, across = seen.wedge_levels, seen.halo, seen.across
    mtf50, bare50 = _mtf50_per_px(across)
    wedge = tuple(stops_from_ratio(level / levels[0]) for level in levels)
    per_mm = width_px / camera.sensor_width_mm
    return LookMeasures(
        name=look.name,
        strength=look.strength,
        curve=across,
        mtf50_per_mm=mtf50 * per_mm,
        bare_mtf50_per_mm=bare50 * per_mm,
        mtf50_lw_ph=mtf50 * 2 * height_px,
        bare_mtf50_lw_ph=bare50 * 2 * height_px,
        plateau=across.plateau,
        plateau_down=seen.down.plateau,
        veiling_glare_index=seen.glare_index,
        halo=halo,
        half_energy_of_width=halo.half_energy_deg / camera.horizontal_field_deg,
        halo_share=halo.ring_share,
        wedge_stops=wedge,
        contrast_loss_stops=wedge[-1] - WEDGE_STOPS[-1],
        black_lift_stops=stops_from_ratio(levels[-1]) - WEDGE_STOPS[-1],
        light_loss_stops=seen.light_loss_stops,
        pores_held=seen.pores,
        hair_held=seen.hair,
        notices=tuple(told),
    )


class _TargetsSeen(NamedTuple):
    """Each standard target as a look shows it."""

    across: DetailCurve
    down: DetailCurve
    halo: LampHalo
    wedge_levels: tuple[float, ...]
    glare_index: float
    light_loss_stops: float
    pores: float
    hair: float


def _targets_seen(look: Look, camera: Camera, width_px: int, shape: float) -> _TargetsSeen:
    """All targets; `shape` is the frame's height over its width."""
    across, down = _detail_curves(look, camera, width_px)
    return _TargetsSeen(
        across=across,
        down=down,
        halo=lamp_halo(look, camera),
        wedge_levels=wedge_levels(look, camera),
        glare_index=glare_index(look, camera),
        light_loss_stops=light_loss(look, camera),
        pores=texture_held(look, camera, shape, PORE_PERIOD_MM),
        hair=texture_held(look, camera, shape, HAIR_PERIOD_MM),
    )


def _detail_curves(look: Look, camera: Camera, width_px: int) -> tuple[DetailCurve, DetailCurve]:
    """Detail held across the frame and down it: the same for a look that is round."""
    across = detail_curve(look, camera, width_px, down=False)
    down = across if is_round(look) else detail_curve(look, camera, width_px, down=True)
    return across, down


def _mtf50_per_px(curve: DetailCurve) -> tuple[float, float]:
    """Where half the contrast is lost, with the look and without [cycles/px]."""
    frequency = curve.frequency_per_px
    return first_fall(frequency, curve.seen, 0.5), first_fall(frequency, curve.bare, 0.5)
