"""A new element: one class, one registration, and all of frontglass knows it."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np
import pytest
from typer.testing import CliRunner

import frontglass as fg
from frontglass.checks import check_not_negative, check_positive
from frontglass.cli.app import app
from frontglass.convolution.filters import Filter, ScatterFilter
from frontglass.elements import ELEMENTS, Element, Fact, Place
from frontglass.looks.reading import look_from_toml
from frontglass.optics.camera import Camera
from frontglass.optics.profiles import Gaussian
from frontglass.optics.scatter import CompoundScatter
from frontglass.picture.encoding import Encoding
from frontglass.units import rad_from_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class Breath(Element):
    """Breath on the front glass: fine drops that blur a part of the light and take some."""

    kind: ClassVar[str] = "breath"
    place: ClassVar[Place] = Place.FRONT

    drops: float
    blur_deg: float
    clear_share: float = 1.0

    def __post_init__(self) -> None:
        check_not_negative("drops", self.drops)
        check_positive("blur_deg", self.blur_deg)

    @property
    def transmittance(self) -> float:
        return self.clear_share

    def at(self, strength: float) -> Self:
        clear_share = self.clear_share**strength
        return replace(self, drops=self.drops * strength, clear_share=clear_share)

    @property
    def is_round(self) -> bool:
        return True

    def scatter(self, channel: int) -> CompoundScatter:
        del channel
        profile = Gaussian(sigma_rad=rad_from_deg(self.blur_deg))
        return CompoundScatter(optical_depth=self.drops, profile=profile)

    def direct_share(self, channel: int) -> float:
        return self.scatter(channel).direct

    def encircled_flux(self, radius_rad: float, channel: int) -> float:
        return float(self.scatter(channel).encircled_flux(radius_rad))

    def filter(self, channel: int, px_per_rad: float) -> Filter:
        scatterers = ((self.drops, self.scatter(channel).profile),)
        return ScatterFilter(scatterers=scatterers, px_per_rad=px_per_rad)

    def facts(self, camera: Camera, width_px: int) -> tuple[Fact, ...]:
        blur_px = self.blur_deg * camera.px_per_deg(width_px)
        return (Fact(name="blur", values=(blur_px,), unit="px"),)


LOOK = """
name = "cold-morning"
summary = "Breath on the glass."
watch = "It dries."

[[element]]
kind = "breath"
drops = 0.25
blur_deg = 2.0
clear_share = 0.9

[[element]]
kind = "veil"
veil_share = 0.01
"""
CAMERA = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=36)
OPTICS = ("--lens", "50mm", "--stop", "f/2.8", "--sensor", "36x24")


@pytest.fixture
def look(monkeypatch, tmp_path):
    monkeypatch.setitem(ELEMENTS, Breath.kind, Breath)
    path = tmp_path / "cold-morning.toml"
    path.write_text(LOOK)
    return path


def run(*words: object) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.stdout


def test_it_is_read(look):
    read = fg.read_look(str(look))
    assert read.elements[0] == Breath(drops=0.25, blur_deg=2.0, clear_share=0.9)
    with pytest.raises(fg.LookError, match=r"breath\): unknown key 'drop'.*blur_deg"):
        look_from_toml(LOOK.replace("drops", "drop"), "mine")
    with pytest.raises(fg.LookError, match="blur_deg must be > 0"):
        look_from_toml(LOOK.replace("2.0", "0.0"), "mine")


def test_it_is_rendered(look):
    light = np.full((90, 140, 3), 0.1, np.float32)
    light[45, 70] = 1000
    still = fg.Picture(radiance=light, encoding=Encoding.linear())
    seen = fg.render(still, [fg.read_look(str(look))], camera=CAMERA).radiance
    # exp(-.25) goes straight on, .01 of that into the veil; of the halo the lamp's pixel has about
    # as much as those beside it.
    direct = seen[45, 70, 1] - seen[45, 71, 1]
    assert direct == pytest.approx(1000 * 0.99 * math.exp(-0.25), rel=2e-3)
    assert seen.mean() == pytest.approx(light.mean(), rel=1e-5)
    lost = fg.render(still, [fg.read_look(str(look))], camera=CAMERA, compensate=False).radiance
    np.testing.assert_allclose(lost, 0.9 * seen, rtol=1e-5)
    bare = fg.render(still, [fg.read_look(str(look)).at(0)], camera=CAMERA).radiance
    assert bare.tobytes() == light.tobytes()


def test_it_is_shown(look):
    told = run("show", look, *OPTICS, "--width", "3600")
    assert "breath: drops 0.25, blur 2 degrees, clear share 0.9" in told
    # 50 mm on 36 mm: 87.27 px a degree.
    assert "blur: 175 px" in told
    record = json.loads(run("show", look, *OPTICS, "--width", "3600", "--json"))
    one = next(row for row in record["numbers"] if row["strength"] == 1)
    assert one["direct_share"] == pytest.approx([math.exp(-0.25)] * 3)
    # Once deviated, half lies within 1.1774 sigma; some is deviated twice.
    assert 2.355 < one["glow"]["half_energy_radius_deg"][1] < 2.6


def test_it_is_measured(look):
    record = json.loads(run("measure", look, *OPTICS, "--width", "512", "--json"))
    (got,) = record["looks"]
    assert got["halo"]["direct_share"] == pytest.approx(math.exp(-0.25), abs=2e-3)
    assert got["plateau"] == pytest.approx(0.99 * math.exp(-0.25), abs=5e-3)
    assert got["light_loss_stops"] == pytest.approx(math.log2(1 / 0.9), abs=1e-4)
    # Told and measured alike.
    shown = json.loads(run("show", look, *OPTICS, "--width", "512", "--json"))
    told = next(row for row in shown["numbers"] if row["strength"] == 1)
    assert got["veiling_glare_index"] == pytest.approx(told["veiling_glare_index"], rel=0.02)
