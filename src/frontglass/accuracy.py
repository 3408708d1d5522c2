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
    least_reach_px : int
        In the dark a filter that goes any way is cut at the frame, but what goes three times as far
        is folded back first, from so many pixels at least. More take time on small frames.
    negligible_alias : float
        Transfer functions are followed past the grid's highest frequency down to this.
    few_aliases : int
        Of a film's Gaussians. With more of them a kernel of few pixels is laid instead.
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
    fewest_for_a_table, table_steps_per_thread, largest_table : int
        Transfer functions of gratings at more frequencies than the first are looked up in a table
        with so many steps to a thread's width, and no more in all. More steps, more time and
        memory; these hold it to a 4000th of a thread's share.
    parts_of_a_peak : int
        Places that stand for an order which a drift has widened. More fill it more evenly.
    drifts_told_apart : float
        Orders, over pitch / drift, up to which such peaks count as orders.
    revivals : float
        Periods of a mask, as shifts, after which a band has washed out its transfer function. Fewer
        leave ripples between dots.
    streak_points_per_px, streak_fine_px, streak_points_together, streak_reach_px : int
        Points per pixel of a streak out to some pixels, how many are taken together beyond, and
        where it is folded back. More points, more exact dots and more time.
    joint_orders : int
        First orders of two families that are laid at their exact places. More take time with the
        square of their number; farther out a product is as good.
    joint_px, joint_reach_px : float
        So far at least, and no farther, are such orders laid [px].
    triple_orders : int
        The same of three families, time with the cube.
    order_step_px : float
        Between the points of such an order's streak [px].
    darkest_share : float
        Light below this share of a lamp's is not laid by itself.
    tulle_orders : float
        Cycles per pitch out to which orders of tulle are laid one by one; beyond, its arms are.
    arm_steps : int
        Points of a row of an arm while its distance grows by a factor of e.
    halo_lobes, halo_step_px, darkest_halo : int, float, float
        Lobes of the pattern of a piece of thread that are laid on points, the distance of these
        [px], and the share of a lamp's light below which a point's goes to the tail.
    lamps_in_air, dimmest_in_air, lamp_patch_deg : int, float, float
        Lamps that haze lets glow at most, the share of the brightest one's light below which one
        is left out, and the size from which on one counts as several. More and smaller ones take
        time, each for its own glow.
    distance_px : int
        Long side of the picture on which typed distances are spread. More take time, and follow
        finer edges.
    alignment_px, alignment_steps, alignment_last_px : int, int, float
        Stills of a bracket are laid over one another on no more pixels, in no more steps, until a
        step moves them by less [px].
    median_px : int
        Pixels that the median of a frame is taken of.
    """

    local_share: float = 1e-3
    white_share: float = 1e-4

    cell_widths_px: tuple[float, ...] = (16.0, 12.0, 8.0, 6.0, 4.0, 3.0, 2.5, 2.0)
    largest_leak: float = 2.5e-5
    fewest_cells: int = 8
    smoothing_px: float = 24.0
    smooth_cell_px: float = 4.0
    sharp_light_per_px2: float = 2e-10
    least_reach_px: int = 256
    negligible_alias: float = 1e-8
    few_aliases: int = 9
    most_aliases: int = 12
    radius_nodes: int = 8192
    widest_deposited_px: float = 8.0
    few_frequencies: int = 500_000
    single_from_px: int = 1_000_000
    single_rms: float = 12.0
    fewest_for_a_table: int = 4096
    table_steps_per_thread: int = 256
    largest_table: int = 2**18
    parts_of_a_peak: int = 12
    drifts_told_apart: float = 0.4
    revivals: float = 20.0
    streak_points_per_px: int = 64
    streak_fine_px: int = 256
    streak_points_together: int = 8
    streak_reach_px: int = 16384
    joint_orders: int = 16
    joint_px: float = 48.0
    joint_reach_px: float = 700.0
    triple_orders: int = 8
    order_step_px: float = 0.25
    darkest_share: float = 1e-13
    tulle_orders: float = 64.0
    arm_steps: int = 200
    halo_lobes: int = 8
    halo_step_px: float = 0.5
    darkest_halo: float = 3e-10
    lamps_in_air: int = 32
    dimmest_in_air: float = 0.01
    lamp_patch_deg: float = 1.5
    distance_px: int = 288
    alignment_px: int = 8_000_000
    alignment_steps: int = 4
    alignment_last_px: float = 0.01
    median_px: int = 250_000


ACCURACY = Accuracy()
"""What frontglass computes by."""
