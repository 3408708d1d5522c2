"""Measured numbers of looks as text, JSON, CSV and a sheet."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict

import frontglass as fg
from frontglass.cli.texts import Record, table
from frontglass.sheets.spec import SpecColumn, spec_sheet
from frontglass.units import strength_text

Words = Callable[["fg.LookMeasures"], str]


def _percent(share: float) -> str:
    # A millionth is rounding, not light.
    return f"{100 * share if share > 1e-6 else 0:.3g} %"


def _stops(stops: float) -> str:
    return f"{stops + 0.0:.2f} stops"


def _known(value: float, unit: str, form: str = ".3g") -> str:
    if math.isnan(value):
        return "beyond the pixels"
    return "beyond the target" if math.isinf(value) else f"{value:{form}} {unit}"


def _radius(degrees: float, m: fg.LookMeasures) -> str:
    if degrees == 0:
        return "none"
    if math.isinf(degrees):
        return "beyond the target"
    share = degrees / m.halo.half_energy_deg * m.half_energy_of_width
    return f"{degrees:.3g} deg, {_percent(share)}"


ROWS: tuple[tuple[str, Words], ...] = (
    ("light loss", lambda m: _stops(m.light_loss_stops)),
    ("MTF50, bare", lambda m: _known(m.bare_mtf50_per_mm, "c/mm")),
    ("MTF50", lambda m: _known(m.mtf50_per_mm, "c/mm")),
    ("MTF50 in lw/ph", lambda m: _known(m.mtf50_lw_ph, "", ".0f").strip()),
    ("plateau, across", lambda m: _percent(m.plateau)),
    ("plateau, down", lambda m: _percent(m.plateau_down)),
    ("pores held", lambda m: _percent(m.pores_held)),
    ("hair held", lambda m: _percent(m.hair_held)),
    ("lamp, direct", lambda m: _percent(m.halo.direct_share)),
    ("halo, half within", lambda m: _radius(m.halo.half_energy_deg, m)),
    ("halo, 80 % within", lambda m: _radius(m.halo.four_fifths_deg, m)),
    ("halo, 0.1 to 3 deg", lambda m: _percent(m.halo_share)),
    ("glare index", lambda m: _percent(m.veiling_glare_index)),
    ("black lift", lambda m: _stops(m.black_lift_stops)),
    ("contrast lost", lambda m: _stops(m.contrast_loss_stops)),
)

LEGEND = (
    "MTF50: frequency at which half of the contrast is left, by slanted edge; lw/ph is line widths",
    "a picture height. plateau: fine contrast held by the look alone. pores, hair: texture held at",
    "1 mm and 0.4 mm on a face a third of the frame high. halo: radius that holds a share of the",
    "light a lamp sends astray, in degrees and of the frame's width; then the lamp's light that",
    "lands 0.1 to 3 degrees away. glare index: black disc of 1 degree radius in an even field.",
    "black lift, contrast lost: of a wedge of ten stops on mid grey.",
)


def name_of(measures: fg.LookMeasures) -> str:
    """Return look and strength."""
    return f"{measures.name} {strength_text(measures.strength)}"


def measures_text(measured: Sequence[fg.LookMeasures]) -> str:
    """Return a table, a look a column, and what its rows mean."""
    heads = ["", *(name_of(m) for m in measured)]
    rows = [[title, *(words(m) for m in measured)] for title, words in ROWS]
    return "\n".join((table([heads, *rows]), "", *LEGEND))


def measures_record(
    measured: Sequence[fg.LookMeasures], camera: fg.Camera, width_px: int
) -> Record:
    """Return all numbers as a script wants to read them; what is not finite becomes null."""
    return {
        "camera": asdict(camera),
        "width_px": width_px,
        "looks": [_record(m) for m in measured],
    }


def measures_csv(measured: Sequence[fg.LookMeasures]) -> str:
    """Return the scalar numbers as CSV, a look a line."""
    records = [_scalars(m) for m in measured]
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(records[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(records)
    return out.getvalue()


def measures_sheet(
    measured: Sequence[fg.LookMeasures], camera: fg.Camera, width_px: int, notices: Sequence[str]
) -> fg.Sheet:
    """Return the sheet with the curves and the same numbers."""
    per_mm = width_px / camera.sensor_width_mm
    columns = [
        SpecColumn(
            name=name_of(m),
            transfer=(list(m.curve.frequency_per_px * per_mm), list(m.curve.seen)),
            wedge_stops=m.wedge_stops,
            numbers=tuple(words(m) for _, words in ROWS),
        )
        for m in measured
    ]
    bare = measured[0].curve
    about = (
        f"Standard targets through the engine at {camera.focal_length_mm:.3g} mm, "
        f"f/{camera.f_number:.3g}, image {camera.sensor_width_mm:.4g} mm wide, {width_px} px across"
    )
    return spec_sheet(
        "What the glass does, measured",
        about,
        [title for title, _ in ROWS],
        columns,
        bare=(list(bare.frequency_per_px * per_mm), list(bare.bare)),
        highest_per_mm=per_mm / 2,
        notices=notices,
    )


def _scalars(m: fg.LookMeasures) -> Record:
    record = _record(m)
    for name in ("curve", "wedge_stops", "notices", "halo"):
        del record[name]
    halo = {f"halo_{name}": _finite(value) for name, value in asdict(m.halo).items()}
    return {**record, **halo}


def _record(m: fg.LookMeasures) -> Record:
    record = asdict(m)
    record["curve"] = {name: values.tolist() for name, values in record["curve"].items()}
    record["wedge_stops"] = list(record["wedge_stops"])
    record["notices"] = list(record["notices"])
    return {name: _finite(value) for name, value in record.items()}


def _finite(value: object) -> object:
    if isinstance(value, dict):
        return {name: _finite(held) for name, held in value.items()}
    return None if isinstance(value, float) and not math.isfinite(value) else value
