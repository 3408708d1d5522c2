"""Targets hold light in the one channel that is read; what is read there is what all three gave."""

from __future__ import annotations

import numpy as np
import pytest

import frontglass as fg
from frontglass.convolution.cosines import filtered
from frontglass.convolution.filters import Planes
from frontglass.measurement import charts, targets

CAMERA = targets.camera_at(
    fg.Camera(focal_length_mm=50, sensor_width_mm=24.9), targets.FIELD_PX[0], 16.0
)


@pytest.mark.parametrize("name", ["harbour-night", "powder-room", "torch-wash"])
def test_green_is_seen_as_it_is_among_the_others(name):
    look = fg.read_look(name).at("1/2").hooded()
    disc = targets.disc_target(0.0, 1.0)
    alone = charts._through(look, disc, CAMERA).radiance
    among = fg.render(disc, [look], camera=CAMERA).radiance
    # The cells of a coloured glow may be smaller when its blue is asked for as well.
    np.testing.assert_allclose(alone[..., 1], among[..., 1], rtol=2e-4, atol=2e-6)
    assert not alone[..., [0, 2]].any()


def test_a_threshold_sees_all_channels():
    disc = targets.disc_target(0.2, 1.0)
    look = fg.read_look("lamps-only")
    assert charts._in_green(look, disc) is disc


def test_a_target_is_made_anew_and_never_changed():
    one, other = targets.disc_target(0.0, 1.0), targets.disc_target(0.0, 1.0)
    assert one.radiance is not other.radiance
    np.testing.assert_array_equal(one.radiance, other.radiance)
    middle = targets.FIELD_PX[1] // 2, targets.FIELD_PX[0] // 2
    assert one.radiance[middle].tolist() == [0, 0, 0]
    # A disc of 1 degree radius at 16 px a degree.
    assert (1 - one.radiance[..., 1]).sum() == pytest.approx(np.pi * 16**2, rel=2e-3)


def test_a_channel_without_light_stays_dark():
    planes = Planes(np.ones((9, 13)), None)
    assert not filtered(np.zeros((8, 12), np.float32), planes).any()
    assert filtered(np.ones((8, 12), np.float32), planes).any()
