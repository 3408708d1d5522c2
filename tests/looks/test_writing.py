"""Looks written down as text and read back: any that can be made, and those of the catalogue."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from frontglass import LookError, look_names, read_look
from frontglass.elements import (
    ELEMENTS,
    LOBES,
    BareLamp,
    Beam,
    ClearCentre,
    Coating,
    Glow,
    Grease,
    Haze,
    Lines,
    Net,
    Plate,
    StrayLamp,
    Tint,
    Veil,
)
from frontglass.looks import Look
from frontglass.optics.grease import Strokes


def finite(low: float, high: float, *, above: bool = False) -> st.SearchStrategy[float]:
    return st.floats(low, high, exclude_min=above, allow_subnormal=False)


def triples(low: float) -> st.SearchStrategy[tuple[float, float, float]]:
    return st.tuples(*[finite(low, 8)] * 3)


OF_ALL_LOBES: dict[str, Any] = {
    "share": finite(1e-6, 1e6),
    "wavelength_exponent": finite(-4, 4),
    "channel_scale": triples(0.01),
}
WIDTH = finite(1e-4, 60)
ROWS = st.tuples(finite(1e-3, 1e6), finite(0, 1e3), st.just(0.0))
LOBE_VALUES: dict[str, dict[str, Any]] = {
    "cone": {"radius_deg": WIDTH},
    "exponential": {"scale_deg": WIDTH},
    "flecks": {"diameter_um": finite(2, 5000)},
    "gaussian": {"sigma_deg": WIDTH},
    "moffat": {"core_deg": WIDTH, "beta": finite(1.001, 50)},
    "table": {
        "angles_deg": st.just((0.01, 0.2, 3.0)),
        "densities": ROWS,
        "red_densities": st.none() | ROWS,
        "blue_densities": st.none() | ROWS,
    },
}
LOBE_STRATEGIES = st.one_of(
    [st.builds(LOBES[k], **LOBE_VALUES[k], **OF_ALL_LOBES) for k in LOBE_VALUES]
)
ANGLE = finite(-180, 180)
CLEAR_CENTRES = st.none() | st.builds(
    ClearCentre,
    radius_mm=finite(0.1, 100),
    right_mm=finite(-50, 50),
    up_mm=finite(-50, 50),
    clear=st.sampled_from(["inside", "outside"]),
)
ELEMENT_STRATEGIES: dict[str, st.SearchStrategy[Any]] = {
    "glow": st.builds(
        Glow,
        optical_depth=finite(0, 100),
        lobes=st.lists(LOBE_STRATEGIES, min_size=1, max_size=4).map(tuple),
        depth_exponent=finite(-4, 4),
        channel_depth=triples(0),
        clear_share=finite(0, 1, above=True),
        threshold_stops=st.none() | finite(-10, 16),
        knee_stops=finite(0, 8),
    ),
    "grease": st.builds(
        Grease,
        film_um=finite(0, 20),
        texture_um=finite(2, 20000),
        grain_um=finite(2, 20000),
        grain_share=finite(0, 1),
        streak_ratio=finite(1, 100),
        strokes=st.sampled_from(Strokes),
        stroke_deg=ANGLE,
        patch_mm=finite(0.1, 100),
        unevenness=finite(0, 1),
        gaps=finite(0, 1),
        seed=st.integers(0, 2**31),
        clear_centre=CLEAR_CENTRES,
    ),
    "haze": st.builds(
        Haze,
        extinction_per_m=finite(0, 64),
        extinction_exponent=finite(-4, 4),
        albedo=finite(0, 1, above=True),
        asymmetry=finite(-0.9, 0.9),
        airlight=st.none() | triples(0),
        beams=st.lists(
            st.builds(
                Beam,
                right_m=finite(-9, 9),
                up_m=finite(-9, 9),
                forward_m=finite(-9, 9),
                aim_right_m=finite(10, 20),
                aim_up_m=finite(-9, 9),
                aim_forward_m=finite(-9, 9),
                cone_deg=finite(0, 70),
                edge_deg=finite(0.1, 19),
                level=finite(0, 100),
                colour=triples(0),
            ),
            max_size=2,
        ).map(tuple),
        lamps=st.lists(
            st.builds(
                BareLamp,
                right_m=finite(-9, 9),
                up_m=finite(1, 9),
                forward_m=finite(-9, 9),
                level=finite(0, 100),
                colour=triples(0),
            ),
            max_size=2,
        ).map(tuple),
    ),
    "lines": st.builds(
        Lines,
        pitch_mm=finite(1, 5),
        line_mm=finite(0.001, 0.3),
        families=st.integers(1, 4),
        groove_phase_deg=st.none() | finite(1, 180),
        angle_deg=ANGLE,
        unevenness=finite(0, 0.1),
        clear_centre=CLEAR_CENTRES,
    ),
    "net": st.builds(
        Net,
        pitch_mm=finite(1, 5),
        thread_mm=finite(0.001, 0.2),
        weave=st.sampled_from(["woven", "knitted", "tulle"]),
        angle_deg=ANGLE,
        unevenness=finite(0, 0.1),
        pale_share=finite(0, 1),
        clear_centre=CLEAR_CENTRES,
    ),
    "stray_lamp": st.builds(
        StrayLamp,
        right_deg=finite(-60, 60),
        up_deg=finite(-60, 60),
        illuminance=finite(0, 10),
        colour=triples(0),
        scatter_depth=finite(0, 1),
        asymmetry=finite(0, 0.99),
        dust_share=finite(0, 1),
        hooded=st.booleans(),
        ghosts=finite(0, 1),
        blades=st.integers(5, 18),
    ),
    "tint": st.builds(Tint, passes=st.tuples(*[finite(0.01, 1)] * 3)),
    "plate": st.builds(
        Plate,
        index=finite(1, 4),
        coating=st.sampled_from(Coating),
        tint=st.tuples(finite(0, 1), finite(0, 1), finite(0, 1)),
        tilt_deg=st.tuples(finite(-45, 45), finite(-45, 45)),
        wedge_deg=st.tuples(finite(-5, 5), finite(-5, 5)),
        returns=finite(0, 1),
        blades=st.sampled_from((0, 5, 18)),
    ),
    "veil": st.builds(Veil, veil_share=st.floats(0, 1, exclude_max=True)),
}
ANY_ELEMENTS = st.lists(st.one_of(*ELEMENT_STRATEGIES.values()), min_size=1, max_size=4).map(
    lambda elements: tuple(sorted(elements, key=lambda element: element.place))
)


def test_every_kind_takes_part_in_the_round_trip():
    assert set(LOBE_VALUES) == set(LOBES)
    assert set(ELEMENT_STRATEGIES) == set(ELEMENTS)


@given(
    elements=ANY_ELEMENTS,
    name=st.from_regex(r"[a-z0-9]+(-[a-z0-9]+)*", fullmatch=True),
    summary=st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), min_size=1),
)
@settings(max_examples=60)
def test_what_is_written_down_is_read_back(elements, name, summary):
    look = Look(name=name, summary=summary, watch='"Quotes" and \\ slashes.', elements=elements)
    assert Look.from_toml(look.to_toml()) == look
    assert Look.from_toml(look.at("1/4").to_toml()) == look


@pytest.mark.parametrize("name", look_names())
def test_looks_of_the_catalogue_are_read_back_from_a_file(tmp_path, name: str):
    look, path = read_look(name), tmp_path / "again.toml"
    path.write_text(look.to_toml(), encoding="utf-8")
    assert read_look(path) == look


def test_numbers_of_numpy_are_written_as_numbers():
    veil = Veil(veil_share=np.float64(0.1) + np.float64(0.2))
    text = Look(elements=(veil,)).to_toml()
    assert "veil_share = 0.30000000000000004\n" in text
    assert "hooded" not in Look(elements=(StrayLamp(right_deg=40, illuminance=1),)).to_toml()


def test_an_element_of_ones_own_has_no_name_in_a_file():
    class Smoke(Veil):
        pass

    with pytest.raises(LookError, match="Smoke: no look file knows this kind; known are glow"):
        Look(elements=(Smoke(veil_share=0.1),)).to_toml()
