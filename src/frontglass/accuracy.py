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
    fewest_for_a_table, table_steps_per_thread, largest_table : int
        Transfer functions of gratings at more frequencies than the first are looked up in a table
        with so many steps to a thread's width, and no more in all. More steps, more time and
        memory; these hold it to a 4000th of a thread's share.
    parts_of_a_peak : int
        Places that stand for an order which a drift has widened. More fill it more evenly.
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
    """

    local_share: float = 1e-3
    white_share: float = 1e-4

    fewest_for_a_table: int = 4096
    table_steps_per_thread: int = 256
    largest_table: int = 2**18
    parts_of_a_peak: int = 8
    revivals: float = 20.0
    streak_points_per_px: int = 64
    streak_fine_px: int = 256
    streak_points_together: int = 8
    streak_reach_px: int = 16384
    joint_orders: int = 16
    joint_px: float = 48.0
    joint_reach_px: float = 700.0
    triple_orders: int = 8
    order_step_px: float = 0.125
    darkest_share: float = 1e-13
    tulle_orders: float = 64.0
    arm_steps: int = 200
    halo_lobes: int = 8
    halo_step_px: float = 0.5
    darkest_halo: float = 3e-10


ACCURACY = Accuracy()
"""What frontglass computes by."""
