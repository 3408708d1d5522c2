"""What the page blends between renders is what a render would be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

import frontglass as fg
from frontglass.elements import Place
from frontglass.files.view import view_named
from frontglass.live.blending import ALMOST_BARE, LARGEST, TRADE, nodes_of
from frontglass.live.shown import VIEW_NODES, VIEW_STEEPNESS, VIEW_TOP, view_codes
from frontglass.live.smooth import Smooth
from frontglass.live.windows import without_floor
from frontglass.picture.display import display_codes
from frontglass.picture.grain import FAINT
from frontglass.picture.primaries import BT709
from frontglass.pipeline.recovered_light import direct_share
from frontglass.warned import gathered_warnings

CAMERA = fg.Camera(focal_length_mm=36.9, f_number=2.8, sensor_width_mm=36)
STEADY = [one for one in fg.catalogue() if nodes_of(one)["window"] > 2]
UNSTEADY = [one for one in fg.catalogue() if nodes_of(one)["window"] == 2]
STRENGTHS = (0.04, 0.3, 0.6, 1.6, 3.3)
"""Between all nodes of most looks, and near bare, where the eye sees most."""


def weights(nodes, strength):
    """Lagrange's, over all nodes: those of the page, written down once more."""
    rate, places = nodes["rate"], np.array([*nodes["strengths"], strength])
    *places, at = np.exp(-rate * places) if rate else places
    others = [np.delete(places, k) for k in range(len(places))]
    return [np.prod((at - o) / (p - o)) for p, o in zip(places, others, strict=True)]


def test_a_cube_of_places_shows_a_display_within_a_code(cafe):
    """What the page looks light up in, by straight lines: here as scipy draws them."""
    display = view_named("sRGB - Display/ACES 2.0 - SDR 100 nits (Rec.709)", None)
    codes = view_codes(display).reshape(VIEW_NODES, VIEW_NODES, VIEW_NODES, 3).astype(np.float64)
    light = cafe.radiance[::2, ::2]
    most = np.log2(VIEW_TOP * VIEW_STEEPNESS + 1)
    places = np.log2(light * VIEW_STEEPNESS + 1) / most * (VIEW_NODES - 1)
    at = places[..., ::-1].reshape(-1, 3).T
    seen = [ndimage.map_coordinates(codes[..., k], at, order=1) for k in range(3)]
    off = 255 * np.abs(np.stack(seen, axis=-1).reshape(light.shape) - display.codes(light, BT709))
    assert np.quantile(off, 0.99) < 1
    assert off.max() < 4


@pytest.mark.parametrize("look", STEADY, ids=lambda look: look.name)
def test_direct_light_of_glass_is_a_power_of_strength(look):
    for strength in (0.02, 0.5, LARGEST):
        expected = np.exp(-strength * np.array(nodes_of(look)["depths"]))
        glass = [part for part in look.at(strength).light_path if part.place is not Place.AIR]
        np.testing.assert_allclose(direct_share(glass), expected, rtol=1e-5)


def test_only_nets_change_unsteadily():
    assert {one.name for one in UNSTEADY} == {"fine-net", "wide-net", "old-matinee"}


@pytest.mark.parametrize("look", fg.catalogue(), ids=lambda look: look.name)
def test_bare_and_the_end_are_rendered_and_strengths_rise(look):
    nodes = nodes_of(look)
    strengths = nodes["strengths"]
    # Glass is all there at any strength but 0; with it no picture tells the first one from bare.
    on_glass = look.with_glass(returns=0.5) != look
    assert (strengths[0], strengths[-1]) == (ALMOST_BARE if on_glass else 0, LARGEST)
    assert strengths == sorted(set(strengths))
    assert len(strengths) <= 12
    assert nodes["window"] <= min(8, len(strengths))  # layers that the page has
    assert TRADE[-1] == LARGEST


@pytest.mark.parametrize("look", STEADY, ids=lambda look: look.name)
def test_a_blend_is_within_one_code_of_the_render(look, cafe):
    rows, columns = cafe.radiance.shape[:2]
    away = np.linspace(9, 2, rows, dtype=np.float32)[:, np.newaxis] + np.zeros(columns, np.float32)
    check_blends(look, replace(cafe, distance_m=away))


@pytest.mark.parametrize("name", ["harbour-night", "powder-room", "wet-quay"])
def test_with_grain_and_lamps_given_back_it_is_as_well(name, noisy):
    """Grain goes by the root of the light, which near bare no few strengths tell: it is laid on."""
    check_blends(fg.read_look(name), noisy)


def seen_at(look, still, strength, *, grain=True):
    with gathered_warnings():  # deep haze is less exact, at every strength alike
        return fg.render(still, look.at(strength), camera=CAMERA, grain=grain)


def shown(light, smooth, direct):
    """Light with what the page does: lamps no darker than bare, and grain."""
    own, grain = smooth.picture, smooth.laid()
    if own.recovered is not None:
        lamps = light[own.recovered.at]
        whole = lamps + own.recovered.light * direct
        light[own.recovered.at] = np.minimum(
            whole, np.maximum(lamps, own.radiance[own.recovered.at])
        )
    return light if grain is None else light + grain * np.sqrt(np.maximum(light, 0) + FAINT)


def check_blends(look, still):
    nodes, smooth = nodes_of(look), Smooth.of(still)

    def light_of(seen, strength):
        return without_floor(smooth, seen, [look.at(strength)]).astype(np.float16)

    rested = {strength: seen_at(look, still, strength) for strength in STRENGTHS}
    planes = {
        strength: light_of(seen_at(look, smooth.picture, strength, grain=False), strength)
        for strength in nodes["strengths"]
    }
    # The page puts one at which a hand has rested in the place of the node next to it.
    anchor = 0.3
    planes[anchor] = light_of(smooth.without_grain(rested[anchor]), anchor)
    for own in (nodes, with_anchor(nodes, anchor)):
        light = [planes[strength].astype(np.float64) for strength in own["strengths"]]
        for strength in STRENGTHS:
            direct = np.exp(-strength * np.array(nodes["depths"]))
            blend = shown(np.tensordot(weights(own, strength), light, 1), smooth, direct)
            exact = display_codes(rested[strength].radiance)
            off = np.abs(display_codes(blend.astype(np.float32)).astype(int) - exact).max(axis=-1)
            assert off.max() <= 3
            assert np.mean(off > 1) <= 0.001
            # And it is not because nothing happens: the look shows.
            assert np.abs(exact.astype(int) - display_codes(still.radiance)).max() > 0


def with_anchor(nodes, anchor):
    """Nodes with a strength in the place of the inner one next to it, as the page has them."""
    strengths = list(nodes["strengths"])
    nearest = min(range(1, len(strengths) - 1), key=lambda k: abs(strengths[k] - anchor))
    strengths[nearest] = anchor
    assert strengths == sorted(strengths)
    return {**nodes, "strengths": strengths}
