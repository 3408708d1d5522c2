"""Filters one behind the other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from frontglass.arrays import Float64
from frontglass.convolution.blocks import over_rows
from frontglass.convolution.filters import (
    REFERENCE_PX,
    Filter,
    Planes,
    ScatterFilter,
    frequencies,
)
from frontglass.convolution.pixels import joined
from frontglass.optics.hankel import density_from_transform


def in_turn(members: Sequence[Filter]) -> Filter:
    """Return filters one behind the other as one; a product of one would only copy its planes."""
    return members[0] if len(members) == 1 else Product(tuple(members))


@dataclass(frozen=True, slots=True)
class Product(Filter):
    """Filters one behind the other: transfer functions multiply.

    Parameters
    ----------
    members : tuple of Filter
        In any order, since they commute; at least one. Scatterers among them become one, which
        pixels average once.
    """

    members: tuple[Filter, ...]

    def __post_init__(self) -> None:
        by_scale: dict[float, list[ScatterFilter]] = {}
        others: list[Filter] = []
        for member in self.members:
            if isinstance(member, ScatterFilter):
                by_scale.setdefault(member.px_per_rad, []).append(member)
            else:
                others.append(member)
        together = [
            ScatterFilter(scatterers=joined([m.scatterers for m in group]), px_per_rad=scale)
            for scale, group in by_scale.items()
        ]
        object.__setattr__(self, "members", (*together, *others))

    @property
    def direct(self) -> float:
        """See `Filter`."""
        return math.prod(member.direct for member in self.members)

    @property
    def veil(self) -> float:
        """See `Filter`."""
        return 1 - math.prod(1 - member.veil for member in self.members)

    @property
    def is_even(self) -> bool:
        """See `Filter`."""
        return all(member.is_even for member in self.members)

    @property
    def is_round(self) -> bool:
        """See `Filter`."""
        return all(member.is_round for member in self.members)

    @property
    def is_laid(self) -> bool:
        """See `Filter`."""
        return any(member.is_laid for member in self.members)

    @property
    def reach_px(self) -> float:
        """See `Filter`."""
        return sum(member.reach_px for member in self.members)

    @property
    def beyond_the_frame(self) -> tuple[Filter, ...]:
        """See `Filter`; what its members deviate together counts with the first of them."""
        return tuple(part for member in self.members for part in member.beyond_the_frame)

    def without_mirrors(self) -> Filter:
        """See `Filter`."""
        return Product(tuple(member.without_mirrors() for member in self.members))

    def on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`."""
        glow, others = self._glow_and_others
        passed = np.ones((len(fy_per_px), len(fx_per_px)))
        for member in others:
            passed *= member.direct + member.on_grid(fx_per_px, fy_per_px)
        direct = math.prod(member.direct for member in others)
        passed -= direct
        if glow is None:
            return passed
        if passed.any():
            passed *= glow.direct + glow.of_others(fx_per_px, fy_per_px, are_level=self.is_level)
        return np.asarray(passed + direct * glow.on_grid(fx_per_px, fy_per_px))

    def aliases_on_grid(self, fx_per_px: Float64, fy_per_px: Float64) -> Float64:
        """See `Filter`; veils leave a scatterer's as they are."""
        glow, others = self._glow_and_others
        if glow is None or not all(member.direct + member.veil == 1 for member in others):
            return Filter.aliases_on_grid(self, fx_per_px, fy_per_px)
        share = math.prod(member.direct for member in others)
        return share * glow.aliases_on_grid(fx_per_px, fy_per_px)

    @property
    def _glow_and_others(self) -> tuple[ScatterFilter | None, tuple[Filter, ...]]:
        """Return the scatterer of the first scale, and all other members."""
        first = self.members[0]
        if isinstance(first, ScatterFilter):
            return first, self.members[1:]
        return None, self.members

    @property
    def is_level(self) -> bool:
        """See `Filter`; of one of its members."""
        return any(member.is_level for member in self.members)

    @property
    def fits_the_grid(self) -> bool:
        """Whether pixels average once what a scatterer and others deviate together."""
        glow, others = self._glow_and_others
        return glow is None or glow.is_smooth or all(m.direct + m.veil == 1 for m in others)

    def along_radius(self, f_per_px: Float64) -> Float64:
        """See `Filter`."""
        passed = np.ones_like(f_per_px)
        for member in self.members:
            passed *= member.direct + member.along_radius(f_per_px)
        return passed - self.direct

    def density(self, r_px: Float64) -> Float64:
        """See `Filter`; what only one of them deviates keeps that one's rings."""
        shares = [member.direct for member in self.members]
        others = [math.prod(shares[:i] + shares[i + 1 :]) for i in range(len(shares))]

        def by_several(f_per_px: Float64) -> Float64:
            once = np.zeros_like(f_per_px)
            for member, other in zip(self.members, others, strict=True):
                once += other * member.along_radius(f_per_px)
            return self.along_radius(f_per_px) - once

        once = np.zeros_like(r_px)
        for member, other in zip(self.members, others, strict=True):
            once += other * member.density(r_px)
        return once + density_from_transform(by_several, r_px, scale_rad=REFERENCE_PX)

    def cosine_planes(self, shape: tuple[int, int], dtype: np.dtype[Any]) -> Planes:
        """See `Filter`; the planes of what is laid on pixels times the grids of all others.

        With the direct light counted in E, a product has ``E1 E2 + O1 O2`` and ``E1 O2 + O1 E2``.
        Light that others deviate has been averaged over pixels before a scatterer deviates it.
        """
        laid = {m: m.cosine_planes(shape, dtype) for m in set(self.members) if m.is_laid}
        # Planes of one that is askew if this is are written over, piece by piece.
        spare = (own for own in laid.values() if (own.odd is None) == self.is_even)
        planes = next(spare, None) or Planes.empty(shape, dtype, is_even=self.is_even)

        fy, fx = frequencies(shape, slice(0, shape[1] + 1))

        def multiply(rows: slice) -> None:
            glow, others = self._glow_and_others
            passed = Planes(np.ones(1), None)
            for m in others:
                own = laid[m].rows(rows) if m.is_laid else m.planes_on_grid(fx, fy[rows])
                passed = _one_behind_the_other(passed, Planes(own.even + m.direct, own.odd))
            direct = math.prod(m.direct for m in others)
            even, odd = passed.even - direct, passed.odd
            if glow is not None:
                further = glow.direct + glow.of_others(fx, fy[rows], are_level=self.is_level)
                even = even * further + direct * glow.on_grid(fx, fy[rows])
                odd = None if odd is None else odd * further
            planes.even[rows] = even
            if planes.odd is not None:
                planes.odd[rows] = odd

        over_rows(multiply, planes.even.shape)
        return planes


def _one_behind_the_other(a: Planes, b: Planes) -> Planes:
    even = a.even * b.even
    if a.odd is not None and b.odd is not None:
        return Planes(even + a.odd * b.odd, a.even * b.odd + a.odd * b.even)
    if a.odd is not None:
        return Planes(even, a.odd * b.even)
    return Planes(even, None if b.odd is None else a.even * b.odd)
