"""What a notebook shows of pictures and looks."""

from __future__ import annotations

import io
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.notebook import DEEPEST_STOPS, halo_svg, lamp_halo
from frontglass.picture.display import display_codes
from frontglass.sheets.views import view


def shown(picture: fg.Picture) -> np.ndarray:
    with Image.open(io.BytesIO(picture._repr_png_())) as image:
        assert (image.format, image.mode) == ("PNG", "RGB")
        return np.asarray(image)


def noise(height: int, width: int) -> fg.Picture:
    light = np.random.default_rng(4).uniform(0, 1.2, (height, width, 3))
    return fg.Picture(radiance=light)


class TestPicture:
    def test_a_small_one_is_shown_pixel_for_pixel_as_a_screen_shows_it(self):
        picture = noise(30, 40)
        np.testing.assert_array_equal(shown(picture), display_codes(picture.radiance))

    @pytest.mark.parametrize(
        ("size", "size_shown"), [((64, 2048), (32, 1024)), ((2000, 100), (1024, 51))]
    )
    def test_a_large_one_is_reduced(self, size: tuple[int, int], size_shown: tuple[int, int]):
        picture = noise(*size)
        codes = shown(picture)
        assert codes.shape[:2] == size_shown
        np.testing.assert_array_equal(codes, view(picture, size_shown[::-1]))

    def test_its_primaries_are_those_of_the_screen(self):
        light = np.zeros((4, 4, 3))
        light[..., 1] = 0.5
        wide = fg.Picture.from_array(light, primaries="bt2020")
        # Outside of BT.709: red and blue are negative there.
        assert (shown(wide)[..., [0, 2]] == 0).all()
        narrow = fg.Picture.from_array(light)
        assert shown(wide)[..., 1].mean() > shown(narrow)[..., 1].mean() + 3


class TestLook:
    def test_its_words_numbers_and_halo_are_there(self):
        look = fg.read_look("harbour-night").at("1/2")
        text = look._repr_html_()
        root = ET.fromstring(text.replace("<br>", "<br/>"))
        assert root.find("strong").text == "harbour-night 1/2"
        cells = [cell.text for cell in root.iter("td")]
        # As `frontglass show` says them in the README.
        assert "97.8 %" in cells
        assert "0.873 degrees" in cells
        assert "1.5 stops" in cells
        assert len(list(root.iter("{http://www.w3.org/2000/svg}polyline"))) == 3

    def test_words_are_no_markup(self):
        look = replace(fg.read_look("harbour-night"), summary='Lamps <b>& "more"')
        assert "Lamps &lt;b&gt;&amp; &quot;more&quot;" in look._repr_html_()

    @pytest.mark.parametrize(
        "name", ["torch-wash", "grain-loft", "keyhole", "fine-net", "lamps-only"]
    )
    def test_every_sort_of_look_shows_itself(self, name: str):
        look = fg.read_look(name)
        ET.fromstring(halo_svg(look))
        angles, stops = lamp_halo(look)
        assert (np.diff(angles) > 0).all()
        assert stops[0].max() > -DEEPEST_STOPS


class TestHalo:
    def test_a_bare_lamp_has_none(self):
        bare = fg.read_look("harbour-night").at(0)
        assert (lamp_halo(bare)[1] == -np.inf).all()

    def test_light_of_an_exponential_lobe_is_where_its_density_says(self):
        # Once deviated, tau of the light lands by s / (2 pi (s^2 + r^2)^(3/2)) in square degrees:
        # the transform of exp(-s k). Beyond a degree the lamp's own width is nothing.
        scale, tau = 0.4, 1e-3
        lobe = fg.ExponentialLobe(scale_deg=scale)
        angles, stops = lamp_halo(fg.Look(elements=(fg.Glow(optical_depth=tau, lobes=(lobe,)),)))
        px_deg = 0.1005  # 2 tan(10 degrees) over 201 pixels, in degrees at the middle
        lamp_deg2 = 9 * px_deg**2  # those of its pixels whose middles it covers
        density = scale / (2 * np.pi * (scale**2 + angles**2) ** 1.5)
        far = angles > 1
        np.testing.assert_allclose(
            stops[far, 1], np.log2(tau * lamp_deg2 * density[far]), atol=0.15
        )

    def test_twice_as_much_of_a_thin_glow_is_a_stop_more(self):
        glow = fg.Glow(optical_depth=1e-3, lobes=(fg.ExponentialLobe(scale_deg=0.4),))
        look = fg.Look(elements=(glow,))
        difference = lamp_halo(look.at(2))[1] - lamp_halo(look)[1]
        np.testing.assert_allclose(difference, 1, atol=0.01)
