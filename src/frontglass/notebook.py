"""What pictures and looks show of themselves in a notebook.

It stands above the other rooms, since it draws on most of them; `Picture._repr_png_` and
`Look._repr_html_` hand over to it when a notebook asks, and nothing else does.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

import numpy as np

from frontglass.arrays import Float64
from frontglass.choices import Surround
from frontglass.looks import Look
from frontglass.measurement import LookNumbers, look_numbers
from frontglass.optics.camera import Camera
from frontglass.picture.picture import Picture
from frontglass.pipeline.rendering import render
from frontglass.sheets.layout import size_within
from frontglass.sheets.sheet import png_bytes
from frontglass.sheets.views import view
from frontglass.units import percent_text
from frontglass.warned import gathered_warnings

LARGEST_PX = 1024
"""A picture is shown no wider and no higher than this."""

CAMERA = Camera.from_field(20.0)
FIELD_PX = 201
"""Frame that a halo is measured in: a tenth of a degree a pixel, ten degrees to its sides."""
LAMP_DEG = 0.3
"""Across: a lamp of eight centimetres, fifteen metres away."""
LAMP_LIGHT = 1000.0
LAMP_DISTANCE_M = 15.0
FROM_DEG, TO_DEG = 0.3, 10.0
DEEPEST_STOPS = 20.0
RINGS = 30

PLOT_PX = (420, 200)
MARGIN_PX = (44, 10, 8, 34)
"""Room for letters: left, right, top, bottom."""
COLOURS = ("#d0453c", "#3d9a4a", "#3f78d8")


def picture_png(picture: Picture) -> bytes:
    """PNG of a picture for a screen, reduced to at most 1024 pixels a side."""
    return png_bytes(
        view(picture, size_within((picture.width_px, picture.height_px), LARGEST_PX, LARGEST_PX))
    )


def look_html(look: Look) -> str:
    """HTML of a look: its words, its numbers at its strength, and its halo."""
    title, summary, watch = map(html.escape, (str(look), look.summary, look.watch))
    rows = "".join(
        f'<tr><td style="text-align:left">{name}</td>'
        f'<td style="text-align:right">{number}</td></tr>'
        for name, number in _rows(look_numbers(look, CAMERA, FIELD_PX))
    )
    return (
        f"<div><strong>{title}</strong><br>{summary}<br><em>Watch: {watch}</em>"
        f"<table>{rows}</table>{halo_svg(look)}</div>"
    )


def _rows(numbers: LookNumbers) -> list[tuple[str, str]]:
    rows = [("light that goes straight on", _per_channel(numbers.direct_share, 100, "%"))]
    if numbers.glow is not None:
        radius = _per_channel(numbers.glow.half_energy_radius_deg, 1, "degrees")
        rows.append(("radius that holds half of the rest", radius))
    return [
        *rows,
        ("veiling glare index", percent_text(numbers.veiling_glare_index)),
        ("blacks lifted by", f"{numbers.black_lift_stops:.1f} stops"),
        ("contrast left of ten stops", f"{numbers.contrast_stops:.1f} stops"),
        ("light lost", f"{numbers.light_loss_stops:.2f} stops"),
    ]


def _per_channel(values: Sequence[float], scale: float, unit: str) -> str:
    """Say one number, or three where red, green and blue differ."""
    texts = [f"{scale * value:.3g}" for value in values]
    return f"{texts[1] if len(set(texts)) == 1 else '/'.join(texts)} {unit}"


def lamp_halo(look: Look) -> tuple[Float64, Float64]:
    """Light round a lamp in the dark, in stops under the lamp's own.

    Returns
    -------
    angles : ndarray, shape (N,)
        From the middle of the lamp. [degree]
    stops : ndarray, shape (N, 3)
        Mean light at that angle, over that of the bare lamp; -inf where there is none. [stop]
    """
    px_per_deg = CAMERA.px_per_deg(FIELD_PX)
    middle = (FIELD_PX - 1) / 2
    y, x = np.mgrid[:FIELD_PX, :FIELD_PX] - middle
    radius_deg = np.hypot(x, y) / px_per_deg
    light = np.where(radius_deg <= LAMP_DEG / 2, LAMP_LIGHT, 0.0)
    night = Picture(
        radiance=np.repeat(light[..., np.newaxis], 3, axis=2),
        distance_m=np.full(light.shape, LAMP_DISTANCE_M),
    )
    with gathered_warnings():
        seen = render(night, look, camera=CAMERA, surround=Surround.DARK).radiance
    edges = np.geomspace(FROM_DEG, TO_DEG, RINGS + 1)
    ring = np.digitize(radius_deg, edges).ravel()
    counts = np.bincount(ring, minlength=RINGS + 2)[1:-1]
    sums = [
        np.bincount(ring, seen[..., c].ravel().astype(np.float64), RINGS + 2)[1:-1]
        for c in range(3)
    ]
    filled = counts > 0
    means = np.stack(sums, axis=1)[filled] / counts[filled, np.newaxis]
    with np.errstate(divide="ignore"):
        stops = np.log2(np.maximum(means, 0) / LAMP_LIGHT)
    return np.sqrt(edges[:-1] * edges[1:])[filled], stops


def halo_svg(look: Look) -> str:
    """SVG of `lamp_halo`, a line for red, green and blue each."""
    angles, stops = lamp_halo(look)
    width, height = PLOT_PX
    left, right, top, bottom = MARGIN_PX
    across, down = width - left - right, height - top - bottom

    def x(deg: float) -> float:
        return left + across * math.log(deg / FROM_DEG) / math.log(TO_DEG / FROM_DEG)

    def y(stop: float) -> float:
        return top + down * min(-stop, DEEPEST_STOPS) / DEEPEST_STOPS

    parts = [f'<rect x="{left}" y="{top}" width="{across}" height="{down}" fill="none"/>']
    for stop in range(0, -int(DEEPEST_STOPS) - 1, -5):
        parts.append(_rule(left, y(stop), left + across, y(stop)))
        parts.append(_letters(left - 6, y(stop) + 4, str(stop), "end"))
    for deg in (0.3, 0.5, 1, 2, 5, 10):
        parts.append(_rule(x(deg), top, x(deg), top + down))
        parts.append(_letters(x(deg), top + down + 14, f"{deg:g}", "middle"))
    said = f"light round a lamp {LAMP_DEG:g} degrees across, stops under it; degrees"
    parts.append(_letters(left + across / 2, height - 4, said, "middle"))
    for channel, colour in enumerate(COLOURS):
        points = " ".join(
            f"{x(angle):.1f},{y(stop):.1f}"
            for angle, stop in zip(angles, stops[:, channel], strict=True)
            if stop > -DEEPEST_STOPS
        )
        line = f'fill="none" stroke="{colour}" stroke-width="1.5"'
        parts.append(f'<polyline points="{points}" {line}/>')
    style = 'font-family="sans-serif" font-size="11" fill="currentColor" stroke="currentColor"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" {style}>{"".join(parts)}</svg>'
    )


def _rule(x1: float, y1: float, x2: float, y2: float) -> str:
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" '
        'stroke-width="0.5" opacity="0.4"/>'
    )


def _letters(x: float, y: float, text: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" stroke="none">{text}</text>'
