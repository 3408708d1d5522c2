"""How exact the light is computed: every constant that trades accuracy for time or memory."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Accuracy:
    """Constants that trade accuracy for time or memory, and what each one trades.

    Parameters
    ----------
    local_share, white_share : float
        The bound that all of them serve: light may be off by this share of the local value, plus
        this share of white.
    cell_widths_px : tuple of float
        Cells on which smooth filters may be computed, widest first. Wider ones take less time.
    largest_leak : float
        Share of a filter's peak that cells may get wrong. A larger one allows wider cells.
    fewest_cells : int
        Along a frame's shorter side. Fewer are not smooth enough for a filter to be.
    smoothing_px : float
        In the dark a filter too narrow for cells is divided in two: a part without detail below
        some such pixels, and a sharp rest. A larger value takes fewer cells and a wider margin.
    smooth_cell_px : float
        Cells for the smooth part: the sharp one takes most of it away beside a lamp, so it must
        hold to a thousandth of its peak and better. Wider ones take less time.
    sharp_light_per_px2 : float
        Where the sharp part has fallen below, it ends. Less makes the margin wider.
    negligible_alias : float
        Transfer functions are followed past the grid's highest frequency down to this.
    most_aliases : int
        That many times the grid's own range at most, for filters that have no closed form.
    radius_nodes : int
        Of tables along the radius of a transfer function. More take memory and time.
    widest_deposited_px : float
        Cones up to this radius are laid on pixels point by point, wider ones by their transform.
    few_frequencies : int
        Up to here a table along the radius costs less than sums of Gaussians, seen at 1280x720.
    single_from_px : int
        Smaller frames cost little in double precision, which keeps light to a millionth.
    single_rms : float
        Root mean square of the light that is spread over a frame up to which it is spread in
        single precision, which then errs by 3e-5 of white at most, measured with eight lamps of
        600 on 1500x1000. Double precision takes twice the time and memory.
    """

    local_share: float = 1e-3
    white_share: float = 1e-4

    cell_widths_px: tuple[float, ...] = (16.0, 12.0, 8.0, 6.0, 4.0, 3.0, 2.5, 2.0)
    largest_leak: float = 2.5e-5
    fewest_cells: int = 8
    smoothing_px: float = 24.0
    smooth_cell_px: float = 4.0
    sharp_light_per_px2: float = 2e-10
    negligible_alias: float = 1e-8
    most_aliases: int = 12
    radius_nodes: int = 8192
    widest_deposited_px: float = 8.0
    few_frequencies: int = 500_000
    single_from_px: int = 1_000_000
    single_rms: float = 12.0


ACCURACY = Accuracy()
"""What frontglass computes by."""
