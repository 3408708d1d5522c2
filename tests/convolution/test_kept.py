"""Planes are kept: small ones at once, large ones when they are asked for again."""

from __future__ import annotations

import numpy as np

from frontglass.convolution.filters import Planes, VeilFilter
from frontglass.convolution.kept import Kept, keeping_nothing_new, keeping_small_alone

LARGE, SMALL = (3000, 3000), (30, 40)


def test_large_planes_are_kept_from_the_second_time_on(monkeypatch):
    monkeypatch.setattr("frontglass.convolution.kept.KEPT_BYTES", 0)  # no more than the fewest
    made = []

    def make(filter_, shape):
        made.append((filter_, shape))
        return Planes(np.zeros((1, 1)), None)

    kept, veil = Kept(make, 2), VeilFilter(share=0.1)
    assert kept(veil, SMALL) is kept(veil, SMALL)
    first, second, third = (kept(veil, LARGE) for _ in range(3))
    assert first is not second
    assert second is third
    assert made == [(veil, SMALL), (veil, LARGE), (veil, LARGE)]
    for share in (0.2, 0.3):
        kept(VeilFilter(share=share), SMALL)
    assert kept(veil, LARGE) is not third


def test_large_planes_are_kept_by_nobody_who_wants_none():
    kept, veil = Kept(lambda *_: Planes(np.zeros((1, 1)), None), 2), VeilFilter(share=0.1)
    with keeping_small_alone():
        assert kept(veil, LARGE) is not kept(veil, LARGE)
        assert kept(veil, LARGE) is not kept(veil, LARGE)
        assert kept(veil, SMALL) is kept(veil, SMALL)
    assert kept(veil, LARGE) is kept(veil, LARGE)


def test_what_is_made_meanwhile_throws_no_planes_out(monkeypatch):
    monkeypatch.setattr("frontglass.convolution.kept.KEPT_BYTES", 0)  # no more than the fewest
    kept, veil = Kept(lambda *_: Planes(np.zeros((1, 1)), None), 1), VeilFilter(share=0.1)
    before = kept(veil, SMALL)
    with keeping_nothing_new():
        other = kept(VeilFilter(share=0.2), SMALL)
        assert kept(veil, SMALL) is before
    assert kept(veil, SMALL) is before
    assert kept(VeilFilter(share=0.2), SMALL) is not other
