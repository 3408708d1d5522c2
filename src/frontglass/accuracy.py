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
    """

    local_share: float = 1e-3
    white_share: float = 1e-4


ACCURACY = Accuracy()
"""What frontglass computes by."""
