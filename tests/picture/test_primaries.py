"""Primaries against published matrices and colour-science."""

from __future__ import annotations

import itertools

import colour
import numpy as np
import pytest
from PIL import ImageCms

from frontglass.errors import ParameterError
from frontglass.picture.primaries import (
    AP0,
    AP1,
    BT709,
    BT2020,
    D50,
    D65,
    OPRGB,
    P3_D65,
    ROMM,
    Primaries,
    bradford_adaptation,
    xyz_of_white,
)

COLOUR_NAMES = {
    "ITU-R BT.709": BT709,
    "ITU-R BT.2020": BT2020,
    "P3-D65": P3_D65,
    "ACES2065-1": AP0,
    "ACEScg": AP1,
}
ALL = (BT709, BT2020, P3_D65, OPRGB, ROMM, AP0, AP1)


@pytest.mark.source("Colour0.4", "WEIGHTS_YCBCR, as the recommendations print them")
@pytest.mark.parametrize("name", ["ITU-R BT.709", "ITU-R BT.2020"])
def test_luminance_weights_are_those_of_the_recommendation(name: str):
    red, blue = colour.WEIGHTS_YCBCR[name]
    # The recommendations give four digits.
    np.testing.assert_allclose(
        COLOUR_NAMES[name].luminance_weights, [red, 1 - red - blue, blue], atol=5e-5
    )


@pytest.mark.source("Colour0.4", "RGB_COLOURSPACES, the matrix that the sRGB standard prints")
def test_bt709_matrix_is_that_of_the_standard():
    published = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
    np.testing.assert_allclose(BT709.xyz_from_rgb, published, atol=5e-5)


@pytest.mark.source("Colour0.4", "RGB_COLOURSPACES, primaries and white points")
@pytest.mark.parametrize(
    ("name", "primaries"),
    [*COLOUR_NAMES.items(), ("Adobe RGB (1998)", OPRGB), ("ROMM RGB", ROMM)],
)
def test_primaries_agree_with_colour_science(name: str, primaries: Primaries):
    space = colour.RGB_COLOURSPACES[name]
    corners = [primaries.red, primaries.green, primaries.blue]
    np.testing.assert_allclose(corners, space.primaries, atol=1e-12)
    # The white of ROMM is printed in four digits, and used as profiles store it.
    np.testing.assert_allclose(primaries.white, space.whitepoint, atol=5e-5)


@pytest.mark.source("Colour0.4", "RGB_COLOURSPACES, matrices derived from primaries")
@pytest.mark.parametrize("name", COLOUR_NAMES)
def test_matrices_to_xyz_agree_with_colour_science(name: str):
    space = colour.RGB_COLOURSPACES[name]
    derived = colour.models.rgb.normalised_primary_matrix(space.primaries, space.whitepoint)
    np.testing.assert_allclose(COLOUR_NAMES[name].xyz_from_rgb, derived, atol=1e-12)


@pytest.mark.source("Colour0.4", "matrix_RGB_to_RGB, Bradford")
@pytest.mark.parametrize(("source", "target"), list(itertools.permutations(COLOUR_NAMES, 2)))
def test_matrices_between_primaries_agree_with_colour_science(source: str, target: str):
    spaces = [colour.RGB_COLOURSPACES[name].copy() for name in (source, target)]
    for space in spaces:
        space.use_derived_matrix_RGB_to_XYZ = True
        space.use_derived_matrix_XYZ_to_RGB = True
    expected = colour.matrix_RGB_to_RGB(spaces[0], spaces[1], "Bradford")
    got = COLOUR_NAMES[source].matrix_to(COLOUR_NAMES[target])
    np.testing.assert_allclose(got, expected, atol=1e-6)


@pytest.mark.source("Colour0.4", "chromatic_adaptation, method Von Kries, Bradford")
def test_chromatic_adaptation_agrees_with_colour_science():
    xyz = np.array([0.3, 0.4, 0.2])
    expected = colour.adaptation.chromatic_adaptation_VonKries(
        xyz, xyz_of_white(D65), xyz_of_white(D50), transform="Bradford"
    )
    np.testing.assert_allclose(bradford_adaptation(D65, D50) @ xyz, expected, atol=1e-9)


@pytest.mark.source("littleCMS2.18", "white of the profile connection space, as it writes it")
def test_the_connection_white_is_the_one_in_every_profile():
    white = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).profile.media_white_point
    assert white is not None
    # Profiles store four digits in s15.16.
    np.testing.assert_allclose(xyz_of_white(D50), white[0], atol=2e-5)


@pytest.mark.parametrize("primaries", ALL)
def test_white_stays_white_in_all_primaries(primaries: Primaries):
    for other in ALL:
        np.testing.assert_allclose(primaries.matrix_to(other) @ np.ones(3), 1, atol=1e-12)


@pytest.mark.parametrize("primaries", ALL)
def test_there_and_back_is_the_identity(primaries: Primaries):
    there, back = primaries.matrix_to(BT2020), BT2020.matrix_to(primaries)
    np.testing.assert_allclose(back @ there, np.eye(3), atol=1e-12)


@pytest.mark.parametrize("primaries", ALL)
def test_primaries_come_back_from_their_matrix(primaries: Primaries):
    found = Primaries.from_xyz_matrix(primaries.xyz_from_rgb)
    for name in ("red", "green", "blue", "white"):
        np.testing.assert_allclose(getattr(found, name), getattr(primaries, name), atol=1e-12)


def test_primaries_on_a_line_are_refused():
    with pytest.raises(ParameterError, match="a triangle"):
        Primaries((0.1, 0.1), (0.2, 0.2), (0.3, 0.3), D65)


def test_primaries_that_are_no_numbers_are_refused():
    with pytest.raises(ParameterError, match="finite"):
        Primaries((float("nan"), 0.1), (0.2, 0.3), (0.3, 0.3), D65)


def test_closeness_sees_through_rounding_only():
    near = Primaries((0.64005, 0.330), (0.300, 0.600), (0.150, 0.060), D65)
    assert BT709.is_close_to(near)
    assert not BT709.is_close_to(P3_D65)
