"""A look in words and numbers, whichever elements it has."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Any

import frontglass as fg
from frontglass.cli.texts import Record, table
from frontglass.elements import ELEMENTS, LOBES, Fact, Place
from frontglass.measurement import HazeNumbers, LookNumbers, haze_numbers
from frontglass.units import deg_from_rad, percent_text, strength_text

UNITS = {
    "_deg": " degrees",
    "_stops": " stops",
    "_um": " um",
    "_mm": " mm",
    "_per_m": " per m",
    "_m": " m",
}
"""What a name ends in, and how its unit is said after the number."""
GREEN = 1


def look_record(
    look: fg.Look, numbers: Sequence[LookNumbers], camera: fg.Camera, width_px: int
) -> Record:
    """Return a look and its numbers as a script wants to read them."""
    hazes = [haze_numbers(look.at(one.strength).light_path) for one in numbers]
    return {
        "name": look.name,
        "summary": look.summary,
        "watch": look.watch,
        "learned": look.learned and dataclasses.asdict(look.learned),
        "elements": [
            {
                **_record(element),
                "facts": [dataclasses.asdict(fact) for fact in element.facts(camera, width_px)],
            }
            for element in look.elements
        ],
        "camera": dataclasses.asdict(camera),
        "width_px": width_px,
        "numbers": [
            {**dataclasses.asdict(one), **({"haze": dataclasses.asdict(haze)} if haze else {})}
            for one, haze in zip(numbers, hazes, strict=True)
        ],
    }


def look_lines(
    look: fg.Look, numbers: Sequence[LookNumbers], camera: fg.Camera, width_px: int
) -> Iterator[str]:
    """Yield a look and its numbers in lines of text."""
    yield from (look.name, f"  {look.summary}", f"  watch: {look.watch}", "")
    if look.learned is not None:
        yield from _learned_lines(look.learned)
    yield "in the order in which light meets it, at strength 1:"
    for element in look.elements:
        yield from _lines(element, camera.px_per_deg(width_px), "  ")
        yield from map(_fact_line, element.facts(camera, width_px))
    hazes = [(one.strength, haze_numbers(look.at(one.strength).light_path)) for one in numbers]
    yield from _haze_lines([(strength, haze) for strength, haze in hazes if haze])
    if all(element.place is Place.AIR for element in look.elements):
        return
    yield ""
    yield (
        f"at {camera.focal_length_mm:.4g} mm on an image {camera.sensor_width_mm:.4g} mm wide"
        f" (field {camera.horizontal_field_deg:.3g} degrees), {width_px} px across:"
    )
    yield table([HEADS, *(_row(one) for one in numbers)])
    yield ""
    yield from LEGEND
    if any(one.glow and one.glow.threshold_stops for one in numbers):
        yield "Above its threshold only: direct and half. Light below passes untouched."


def _learned_lines(learned: fg.LearnedFrom) -> Iterator[str]:
    """Yield what a look was learned from."""
    pairs = f"{learned.pairs} pair{'s' if learned.pairs > 1 else ''} of stills"
    strengths = ", ".join(strength_text(strength) for strength in learned.strengths)
    yield (
        f"learned on {learned.date} from {pairs}, piece {strengths}, at {learned.lens_mm:.4g} mm,"
        f" f/{learned.f_number:.3g}, on an image {learned.image_width_mm:.4g} mm wide."
    )
    yield (
        f"known from {learned.known_from_deg:.2g} to {learned.known_to_deg:.2g} degrees;"
        f" left over in its own stills: {learned.residual_stops:.3f} stops rms."
    )
    yield ""


LEGEND = (
    "direct: light that goes straight on. half: radius round a lamp that holds half of the rest.",
    "glare: light in the middle of a black disc 2 degrees across, over the even light round it.",
    "lift: how far that raises a black ten stops under white, mean light 18 %.",
    "contrast: what is left of those ten stops. Red/green/blue where they differ.",
)
HEADS = (
    *("strength", "direct", "half, degrees", "half, px", "glare", "lift", "contrast"),
    "light loss",
)
HAZE_HEADS = ("strength", "extinction", "optical range", "left at 3 m", "left at 10 m", "droplets")
HAZE_LEGEND = (
    "extinction: light taken per metre. optical range: 5 % of a light is left.",
    "droplets: glycol, 1 um across. Other mists weigh from three quarters to seven times as much.",
)
HAZE_CAUTION = (
    "caution: from 10 mg/m3 on ventilate, mind smoke detectors and slippery residue, and follow",
    "the fluid's data sheet, local rules and the venue's responsible person.",
    "No estimate of exposure.",
)


def _haze_lines(hazes: Sequence[tuple[float, HazeNumbers]]) -> Iterator[str]:
    """Yield what haze takes at each strength, where there is haze."""
    if not hazes:
        return
    rows = [
        (
            strength_text(strength),
            _triple(haze.extinction_per_m, "{:.2g}") + " per m",
            f"{haze.optical_range_m:.{0 if haze.optical_range_m >= 100 else 1}f} m",
            _triple([100 * share for share in haze.kept_near], "{:.0f}") + " %",
            _triple([100 * share for share in haze.kept_across], "{:.0f}") + " %",
            f"{haze.droplet_load_mg_per_m3:.2g} mg/m3",
        )
        for strength, haze in hazes
    ]
    yield from ("", table([HAZE_HEADS, *rows]), "", *HAZE_LEGEND)
    if any(haze.is_cautioned for _, haze in hazes):
        yield from HAZE_CAUTION


def _row(numbers: LookNumbers) -> Sequence[str]:
    glow = numbers.glow
    return (
        strength_text(numbers.strength),
        _triple([100 * share for share in numbers.direct_share], "{:.1f}") + " %",
        _triple(glow.half_energy_radius_deg, "{:.3g}") if glow else "-",
        _triple(glow.half_energy_radius_px, "{:.3g}") if glow else "-",
        percent_text(numbers.veiling_glare_index),
        f"{numbers.black_lift_stops:.1f} stops",
        f"{numbers.contrast_stops:.1f} stops",
        f"{numbers.light_loss_stops:.2f} stops",
    )


FEW = 6
"""Numbers of one thing that are printed one by one."""


def _triple(values: Sequence[float], form: str) -> str:
    """Red, green and blue, or one number where they are alike."""
    shown = [form.format(value) for value in values]
    return shown[0] if len(set(shown)) == 1 else "/".join(shown)


def _record(value: Any) -> Record:
    """Return an element or lobe: its kind, then all its numbers."""
    held = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
    parts = {
        name: [_record(part) for part in _parts(whole)]
        for name, whole in held.items()
        if _parts(whole)
    }
    return {"kind": _kind(value), **held, **parts}


def _lines(value: Any, px_per_deg: float, indent: str) -> Iterator[str]:
    """Yield an element, its lobes below it; what is as usual is left out."""
    said = []
    parts: list[Any] = []
    for field in dataclasses.fields(value):
        held = getattr(value, field.name)
        if _parts(held):
            parts += _parts(held)
        elif held != field.default or field.name == "index":
            said.append(_worded(field.name, held))
    if hasattr(value, "profile") and not parts:
        half_deg = deg_from_rad(value.profile(GREEN).half_energy_radius_rad)
        said.append(f"half within {half_deg:.3g} degrees ({half_deg * px_per_deg:.3g} px)")
    yield f"{indent}{_kind(value)}: {', '.join(said)}"
    for part in parts:
        yield from _lines(part, px_per_deg, indent + "  ")


def _fact_line(fact: Fact) -> str:
    return f"    {fact.name}: {_triple(fact.values, '{:.3g}')} {fact.unit}".rstrip()


def _kind(value: Any) -> str:
    """Return the name that a look's file has for an element, or for a lobe's profile."""
    names: dict[type[Any], str] = {fg.BareLamp: "lamp", fg.Beam: "beam"}
    names |= {kind: name for name, kind in (*ELEMENTS.items(), *LOBES.items())}
    # A part that only one kind of element has needs no name of its own.
    return names.get(type(value), "clear centre")


def _parts(held: Any) -> tuple[Any, ...]:
    """Return what of a field's value has fields of its own: lobes, a clear centre."""
    parts = held if isinstance(held, tuple) else (held,)
    return tuple(part for part in parts if dataclasses.is_dataclass(part))


def _worded(name: str, held: Any) -> str:
    unit = ""
    for ending, words in UNITS.items():
        if name.endswith(ending):
            name, unit = name.removesuffix(ending), words
            break
    numbers = held if isinstance(held, tuple) else (held,)
    texts = [f"{n:.4g}" if isinstance(n, float) else str(n) for n in numbers]
    if len(texts) > FEW:  # a table: its file has all of them
        shown = f"{len(texts)} values, {texts[0]} to {texts[-1]}"
    else:
        shown = " / ".join(texts)
    return f"{name.replace('_', ' ')} {shown}{unit}"
