"""How exact the light is computed: every constant that trades accuracy for time or memory."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
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
    fading_cells : int
        Over so many cells beyond a dark frame a kernel fades. Cut off, it would ring.
    nodes_of_images : int
        Nodes, along either axis, of what far images of a lamp send into a frame.
    nodes_per_cell : int
        Of tables of the light at a distance. More take time.
    narrowest_film_px : float
        Standard deviation of a film's single deviation that pixels cannot tell from a wider one:
        a hundredth of its light reaches the next pixel. Less takes more aliases, and time.
    negligible_alias : float
        Transfer functions are followed past the grid's highest frequency down to this.
    few_aliases : int
        Of a film's Gaussians. With more of them a kernel of few pixels is laid instead.
    negligible_alias_sum, negligible_edge : float
        The same for scattered light, whose aliases are summed once: a lamp of 1e5 then leaves the
        dark exact to 1e-6, or to 1e-4 where a profile has an edge or rings.
    farthest_alias, near_aliases, nodes_of_far_aliases : float, int, int
        How far [cycles/px] it is followed at all, up to where alias by alias, and how many nodes
        stand for each octave beyond. More take more time the first time, a tenth of a second for
        what is far below a pixel.
    alias_nodes : tuple of int
        Numbers of nodes along an axis that are tried for that sum. More take more time.
    detail_of_a_pixel : float
        Of what a scatterer deviates, at the grid's highest frequency, so much is no detail.
    split_up_to_px, most_parts : int, int
        Pixels of a small frame are split, for what varies within a pixel or would be averaged
        over it twice, into no more parts along a side and no more pixels than these: a preview
        takes as long as a frame of that size.
    most_aliases : int
        That many times the grid's own range at most, for rings and edges that so many nodes miss.
    radius_nodes : int
        Of tables along the radius of a transfer function. More take memory and time.
    kept_frequencies : int
        Pieces of planes up to this keep what does not depend on strength, for the other strengths
        of a look: 8 bytes a frequency, for at most twenty pieces.
    kept_in_the_dark_px : int
        Frames up to this keep what was made of a filter for the next still, 100 bytes a pixel; a
        larger one would hold copies of itself. Under mirrors all frames do, at a quarter of that.
    single_from_px : int
        Smaller frames cost little in double precision, which keeps light to a millionth.
    single_rms : float
        Root mean square of the light that is spread over a frame up to which it is spread in
        single precision, which then errs by 3e-5 of white at most, measured with eight lamps of
        600 on 1500x1000. Double precision takes twice the time and memory.
    fewest_for_a_table, table_steps_per_thread, largest_table : int
        Transfer functions of gratings at more frequencies than the first are looked up in a table
        with so many steps to a thread's width, or to what a band has blurred that to where that is
        wider, and no more in all. More steps, more time; these hold it to 1e-7.
    parts_of_a_peak : tuple of float
        How an order which a drift has widened is divided, as shares of its light from one side to
        the other, each to be laid at its middle: finer where it is wide and faint.
    few_parts_of_a_peak, few_parts_from_px : tuple of float, float
        The same where first orders are so far apart [px]: a band smears them, and parts count less.
    parts_before_a_peak : int
        Of the little light that it leaves within half an order of what goes straight on.
    drifts_told_apart, parts_of_the_rest : float, tuple of float
        Orders, over pitch / drift, up to which such peaks stand out, and the parts of those beyond,
        which are as wide as their distance and take fewer.
    revivals : float
        Periods of a mask, as shifts, after which a band has washed out its transfer function. Fewer
        leave ripples between dots.
    near_px : int
        Out to where a lamp's light is summed on an array; memory with its square.
    streak_points_per_px : (int, int, int)
        Points per pixel of a streak far from the lamp, nearer, and close by at most. More, more
        exact dots and more time.
    points_in_a_dot : float
        How many close by the standard deviation of a first order asks for.
    streak_fine_px : (int, int)
        Out to where points are close, and less so.
    streak_reach_px : int
        Where the streak is folded back.
    streak_reach_rad, streak_least_px : float, int
        At coarse scales it is folded back at this angle, but no nearer than so many pixels: beyond
        16 rad, 2e-5 of the light of a fine net is left.
    aliases_of_points : int
        Detail of a streak finer than this part of the points' distance is left out; at most scales
        a band has washed it out long before.
    joint_orders : tuple of (float, int, float, int)
        First orders of two families that are laid at their exact places, how far apart their points
        are [px], and how many orders at most where they lie closer than pixels, from which share on
        of what both deviate. More take time with the square of their number; farther out a product
        is as good.
    strewn_joint_orders, fewest_between : tuple of (float, int, float, float, int), int
        The same where threads lie unevenly: from which share on what they strew between orders is
        laid too, at most so far and so far apart, in how many parts for each pixel between orders,
        and between two orders at most and at least: one for each pixel, or two between orders
        closer than pixels, would show where they beat.
    strewn_on_pixels : (float, float)
        How far away first orders are [px], and the sine of the angle between two families, from
        which on what both strew is its density on pixels instead.
    strewn_steps, strewn_wavelengths : int, float
        For that, places of a table for each order, and wavelengths besides those that lobes ask for
        over a range as wide as the middle one.
    fine_joint_orders : (float, float, float)
        Out to so many first orders these points are closer, by so much of the root of a first
        order's distance [px]: thick threads put light there, the wider spread the farther apart.
        Where two families deviate less than such a share together, they are farther apart by its
        root: what is wrong between two points goes with that share and their distance squared.
    joint_px, joint_reach_px : float
        So far at least, and no farther, are such orders laid [px].
    orders_of_several : tuple of (float, int, int)
        The same of three families and of four, from so large a share on that three deviate one
        after the other. Grooves that deviate 0.86 each are 35 times the bound off with 16, 11 with
        32, 5 with 64 and 2.8 with 128.
    points_at_once : int
        Points laid at a time; more take memory.
    faintest_joint_orders : (float, float)
        Share of the light from which on what several deviate is one of these orders: most have far
        less, and of those one stands for many. The second is for what three strew, which is much.
    darkest_share : float
        Light below this share of a lamp's is not laid by itself.
    tulle_orders, tulle_px, most_tulle_orders : float
        Cycles per pitch out to which orders of tulle are laid one by one, or more of them out to
        so many pixels; beyond, its arms are.
    tulle_steps_px, tulle_parts : tuple of (float, float), float
        Of these orders, up to how many cycles per pitch their points are how far apart [px], and no
        farther than so small a part of what lies from one order to the next.
    fine_arms, fine_arms_px, arm_steps_px : float, float, (float, float)
        Out to so many times where they begin, and at least so far, and beyond, steps of the arms'
        rows [px].
    darkest_point : float
        Share of a lamp's light below which a point of tulle's arms is left out.
    halo_nodes, halo_wavelengths, darkest_halo : int, int, float
        Nodes of the table of a thread's halo, each way, wavelengths to a standard deviation of its
        band, and the share of its peak at which it ends.
    chart_of_small, chart_of_large : tuple of (float, float)
        Over wide fields: pixels of a chart to a cell that would serve, and how much finer than the
        frame's they are at least in the middle. More take more time and keep spread light sharper.
    chart_response_px, chart_blended_twice_px : int, int
        Side of a chart on which it is found what becomes of even fields; size up to which a frame
        is small, and a chart's scales are blended at both ends. More take more time.
    dimmest_ghost : float
        Light over white below which a pixel's ghost is left out: a hundredth of the bound, for many
        may fall on one place.
    sharp_ghost_px, cells_in_a_ghost : float, float
        Ghosts narrower than so many pixels are laid sharp; wider ones on cells, so many across.
        More take time with their square, and have sharper rims.
    wide_lamp_px : int
        From here on the pixels of a sharp ghost are looked up one by one: the ghost of a small lamp
        is laid faster, and may be uneven by some percent.
    ghost_walk, ghost_walk_of_a_disc, ghost_walk_px : float, float, float
        Share of the pupil by which light walks aside between places at which the share is found
        that comes back, and over the patch whose discs are all of one shape; over so many pixels
        of a disc it may, as nobody sees that.
    ghost_rows_at_once : int
        Rows of cells that are laid over the picture at a time; more take memory.
    ghost_lamps, ghost_map_px : int, int
        Lamps whose ghosts are told at most, and pixels across on which they are told apart.
    tilt_steps_deg, largest_tilt_deg : float, float
        Steps in which a tilt without ghosts is looked for, and how far.
    lamps_in_air, dimmest_in_air, lamp_patch_deg : int, float, float
        Lamps that haze lets glow at most, the share of the brightest one's light below which one
        is left out, and the size from which on one counts as several. More and smaller ones take
        time, each for its own glow.
    airlight_px, airlight_parts : int
        Pixels that airlight is estimated from, and parts of the frame in which it is: time with the
        square of these.
    distance_px : int
        Long side of the picture on which typed distances are spread. More take time, and follow
        finer edges.
    alignment_px, alignment_steps, alignment_last_px : int, int, float
        Stills of a bracket are laid over one another on no more pixels, in no more steps, until a
        step moves them by less [px].
    learned_px : int
        A pair of stills is compared on no more pixels.
    outline_px : int
        Clipped areas are told apart, and their depth is measured, on no more pixels across.
    doubt_px : int
        Clipped pixels, at least, that tell how far a glow hangs on lamps that nobody knows.
    levels_px : int
        Pixels, at least, whose histogram tells where the channels of a still clip.
    map_nodes_per_blur, fewest_map_nodes, most_map_nodes : int
        What is painted on a filter is seen no sharper than the pupil blurs it. Nodes of its map
        along that blur, and along a side of the frame. More take time.
    hole_nodes_per_blur, fewest_hole_nodes : int
        The same of a clear centre, which has an edge, and is cheap: 3e-4 is the largest error.
    rim_px : float
        How many pixels wide that blur should be for a clear centre; small frames split pixels.
    stroke_directions, film_depths : int
        Films that stand for strokes which turn, and for depths that vary. One convolution each.
    haze_cell_deg : float
        Between nodes at which the light of lamps in haze is computed. Finer ones take more time.
    widest_haze_cell_px, near_haze_cells : int
        Such nodes are no farther apart; and how many of them round a lamp its glow is computed
        pixel by pixel.
    flux_radius_px, flux_oversampled : int
        Radius of the disc from which encircled flux is read, and parts of a pixel of its rim.
    once_only_depth : float
        Optical depth below which light is taken to be deviated once or not at all.
    match_tolerance : float
        Relative error of a strength that equals another look. Less takes more pictures.
    edge_samples_per_px, disc_oversampled : int
        Parts of a pixel in which targets are drawn.
    lamp_tries : int
        Scales tried until a halo fits the target of a lamp.
    readable_halo_px : tuple of 2 float
        Half-energy radius between which it does: neither too coarse nor too small.
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
    fading_cells: int = 16
    nodes_of_images: int = 128
    nodes_per_cell: int = 8
    narrowest_film_px: float = 0.01
    negligible_alias: float = 1e-8
    negligible_alias_sum: float = 1e-11
    negligible_edge: float = 1e-9
    farthest_alias: float = 1e6
    near_aliases: int = 64
    nodes_of_far_aliases: int = 6
    alias_nodes: tuple[int, ...] = (12, 20, 32, 48, 80, 120)
    few_aliases: int = 9
    detail_of_a_pixel: float = 1e-4
    split_up_to_px: int = 700_000
    most_parts: int = 8
    most_aliases: int = 12
    radius_nodes: int = 8192
    kept_frequencies: int = 900_000
    kept_in_the_dark_px: int = 2_100_000
    single_from_px: int = 1_000_000
    single_rms: float = 12.0
    fewest_for_a_table: int = 4096
    table_steps_per_thread: int = 96
    largest_table: int = 2**18
    parts_of_a_peak: tuple[float, ...] = (
        *(0.0, 0.002, 0.006, 0.015, 0.03, 0.06, 0.12, 0.25, 0.4),
        *(0.6, 0.75, 0.88, 0.94, 0.97, 0.985, 0.994, 0.998, 1.0),
    )
    parts_before_a_peak: int = 4
    drifts_told_apart: float = 0.4
    few_parts_of_a_peak: tuple[float, ...] = (
        *(0.0, 0.01, 0.05, 0.2, 0.4, 0.6, 0.8, 0.95, 0.99, 1.0),
    )
    few_parts_from_px: float = 8.0
    parts_of_the_rest: tuple[float, ...] = (0.0, 0.3, 0.7, 1.0)
    revivals: float = 20.0
    near_px: int = 1024
    streak_points_per_px: tuple[int, int, int] = (8, 64, 256)
    points_in_a_dot: float = 20.0
    streak_fine_px: tuple[int, int] = (16, 256)
    streak_reach_px: int = 16384
    streak_reach_rad: float = 16.0
    streak_least_px: int = 512
    aliases_of_points: int = 16
    joint_orders: tuple[tuple[float, int, float, int], ...] = (
        (0.0, 16, 0.25, 128),
        (0.01, 36, 0.125, 128),
        (0.03, 72, 0.25, 128),
        (0.1, 108, 0.125, 256),
        (0.3, 216, 0.25, 256),
        (0.5, 320, 0.125, 320),
    )
    strewn_joint_orders: tuple[tuple[float, int, float, float, int], ...] = (
        (0.0015, 24, 0.25, 1.5, 16),
        (0.008, 48, 0.25, 1.5, 16),
        (0.015, 72, 0.25, 3.0, 48),
    )
    fewest_between: int = 3
    strewn_on_pixels: tuple[float, float] = (2.0, 0.5)
    strewn_steps: int = 64
    strewn_wavelengths: float = 16.0
    fine_joint_orders: tuple[float, float, float] = (16.0, 1 / 110, 0.05)
    joint_px: float = 88.0
    joint_reach_px: float = 900.0
    orders_of_several: tuple[tuple[float, int, int], ...] = (
        (0.0, 16, 5),
        (0.02, 32, 5),
        (0.1, 64, 5),
        (0.5, 256, 5),
    )
    faintest_joint_orders: tuple[float, float] = (1e-9, 3e-9)
    darkest_share: float = 2e-14
    points_at_once: int = 400_000
    tulle_orders: float = 64.0
    tulle_px: float = 340.0
    most_tulle_orders: float = 128.0
    tulle_parts: float = 3.0
    tulle_steps_px: tuple[tuple[float, float], ...] = (
        (5.0, 0.01),
        (10.0, 0.03),
        (20.0, 0.0625),
        (40.0, 0.125),
        (math.inf, 0.5),
    )
    fine_arms: float = 8.0
    fine_arms_px: float = 64.0
    arm_steps_px: tuple[float, float] = (0.5, 4.0)
    darkest_point: float = 1e-12
    halo_nodes: int = 512
    halo_wavelengths: int = 16
    darkest_halo: float = 1e-5
    chart_of_small: tuple[float, float] = (4.0, 1.2)
    chart_of_large: tuple[float, float] = (2.0, 1.0)
    chart_response_px: int = 128
    chart_blended_twice_px: int = 1_000_000
    dimmest_ghost: float = 1e-6
    sharp_ghost_px: float = 1.0
    cells_in_a_ghost: float = 24.0
    wide_lamp_px: int = 8
    ghost_walk: float = 1 / 64
    ghost_walk_of_a_disc: float = 0.05
    ghost_walk_px: float = 1.0
    ghost_rows_at_once: int = 8
    ghost_lamps: int = 64
    ghost_map_px: int = 1024
    tilt_steps_deg: float = 0.5
    largest_tilt_deg: float = 15.0
    lamps_in_air: int = 32
    dimmest_in_air: float = 0.01
    lamp_patch_deg: float = 1.5
    airlight_px: int = 100_000
    airlight_parts: int = 576
    distance_px: int = 288
    alignment_px: int = 8_000_000
    alignment_steps: int = 4
    alignment_last_px: float = 0.01
    learned_px: int = 700_000
    outline_px: int = 2048
    doubt_px: int = 100_000
    levels_px: int = 4_000_000

    map_nodes_per_blur: int = 12
    fewest_map_nodes: int = 33
    most_map_nodes: int = 513
    hole_nodes_per_blur: int = 96
    fewest_hole_nodes: int = 129
    rim_px: float = 600.0
    stroke_directions: int = 6
    film_depths: int = 4
    haze_cell_deg: float = 0.2
    widest_haze_cell_px: int = 24
    near_haze_cells: int = 5
    flux_radius_px: int = 24
    flux_oversampled: int = 8
    once_only_depth: float = 1e-6
    match_tolerance: float = 1e-4
    edge_samples_per_px: int = 32
    disc_oversampled: int = 8
    lamp_tries: int = 5
    readable_halo_px: tuple[float, float] = (14.0, 70.0)


ACCURACY = Accuracy()
"""What frontglass computes by."""
