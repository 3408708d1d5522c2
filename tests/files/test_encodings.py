"""Log and other encodings by name, and the show's LUT: against colour-science and OpenColorIO."""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path

import numpy as np
import PyOpenColorIO
import pytest
import tifffile
from PIL import Image
from typer.testing import CliRunner

import frontglass as fg
from frontglass.cli.app import app
from frontglass.errors import ParameterError, PictureFileError
from frontglass.picture.primaries import AP1
from frontglass.sheets.views import view

LOG = "ARRI LogC3 (EI800)"
RAMP = np.linspace(0.02, 0.98, 96 * 64).reshape(64, 96)

DECODED: dict[str, str | tuple[str]] = {
    LOG: "ARRI LogC3",
    "ARRI LogC4": "ARRI LogC4",
    "S-Log3 S-Gamut3": "S-Log3",
    "V-Log V-Gamut": "V-Log",
    "Log3G10 REDWideGamutRGB": "Log3G10",
    "CanonLog2 CinemaGamut D55": "Canon Log 2",
    "CanonLog3 CinemaGamut D55": "Canon Log 3",
    "D-Log D-Gamut": "D-Log",
    "BMDFilm WideGamut Gen5": ("oetf_inverse_BlackmagicFilmGeneration5",),
    "DaVinci Intermediate WideGamut": ("oetf_inverse_DaVinciIntermediate",),
    "Apple Log": "Apple Log Profile",
    "ACEScct": "ACEScct",
    "ACEScc": "ACEScc",
}


def tiff(path: Path, signal: np.ndarray) -> Path:
    codes = np.round(signal * 65535).astype(np.uint16)
    tifffile.imwrite(path, np.dstack([codes] * 3) if codes.ndim == 2 else codes, photometric="rgb")
    return path


@pytest.mark.source("Colour0.4", "log_decoding and cctf_decoding")
@pytest.mark.parametrize("name", DECODED)
def test_grey_in_log_is_the_light_that_colour_science_says(tmp_path: Path, name: str):
    import colour

    path = tiff(tmp_path / "a.tif", RAMP)
    got = fg.read_picture(path, encoding=name)
    method, signal = DECODED[name], np.round(RAMP * 65535) / 65535
    if isinstance(method, str):
        expected = colour.log_decoding(signal, function=method)
    else:
        expected = getattr(colour.models, method[0])(signal)
    # Grey is grey in any primaries, so that no matrix is asked.
    np.testing.assert_allclose(got.radiance[..., 1], expected, rtol=1e-4, atol=1e-4)
    np.testing.assert_allclose(np.ptp(got.radiance, axis=2), 0, atol=2e-4 * expected.max())
    assert got.primaries == AP1
    assert got.encoding.space.name == name


def test_a_changed_still_goes_back_into_its_log_and_what_stayed_keeps_its_codes(tmp_path: Path):
    path = tiff(tmp_path / "a.tif", RAMP)
    still = fg.read_picture(path, encoding=LOG)
    fg.write_picture(tmp_path / "same.tif", still)
    np.testing.assert_array_equal(tifffile.imread(tmp_path / "same.tif"), tifffile.imread(path))
    light = still.radiance.copy()
    light[:32] *= 0.5
    fg.write_picture(tmp_path / "half.tif", still.with_radiance(light))
    back = fg.read_picture(tmp_path / "half.tif", encoding=LOG)
    np.testing.assert_allclose(back.radiance[:32], light[:32], rtol=2e-3, atol=1e-4)
    np.testing.assert_array_equal(back.radiance[32:], still.radiance[32:])
    fg.write_picture(tmp_path / "light.exr", still)
    held = fg.read_picture(tmp_path / "light.exr")
    assert held.primaries.is_close_to(AP1)
    np.testing.assert_allclose(held.radiance, still.radiance, rtol=1e-3, atol=1e-3)


def test_an_alias_will_do_and_a_wrong_name_is_told_what_is_near(tmp_path: Path):
    path = tiff(tmp_path / "a.tif", RAMP)
    assert fg.read_picture(path, encoding="acescct_ap1").encoding.space.name == "ACEScct"
    with pytest.raises(ParameterError, match=r"got 'LogC3'.*Near it: .*ARRI LogC3"):
        fg.read_picture(path, encoding="LogC3")


def dpx(signal: np.ndarray, bits: int, order: str = ">") -> bytes:
    height, width = signal.shape[:2]
    head = bytearray(2048)
    head[:4] = b"SDPX" if order == ">" else b"XPDS"
    struct.pack_into(f"{order}I", head, 4, 2048)
    struct.pack_into(f"{order}II", head, 772, width, height)
    struct.pack_into("4B", head, 800, 50, 2, 2, bits)
    struct.pack_into(f"{order}HHI", head, 804, 1, 0, 2048)
    codes = np.round(signal * (2**bits - 1)).astype(np.uint32)
    if bits == 10:
        words = codes[..., 0] << 22 | codes[..., 1] << 12 | codes[..., 2] << 2
        return bytes(head) + words.astype(f"{order}u4").tobytes()
    if bits == 12:
        codes <<= 4
    return bytes(head) + codes.astype("u1" if bits == 8 else f"{order}u2").tobytes()


@pytest.mark.source("ST268", "10 bits filled to words, method A; rows at whole words")
@pytest.mark.parametrize("order", [">", "<"])
@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_a_dpx_of_any_depth_is_read_by_its_encoding(tmp_path: Path, bits: int, order: str):
    rng = np.random.default_rng(bits)
    signal = rng.integers(0, 2**bits, (20, 36, 3)) / (2**bits - 1)
    path = tmp_path / "a.dpx"
    path.write_bytes(dpx(signal, bits, order))
    plain = fg.read_picture(path)
    np.testing.assert_allclose(np.divide(plain.encoding.codes, 65535), signal, atol=1e-5)
    by_tiff = fg.read_picture(tiff(tmp_path / "a.tif", signal), encoding="ACEScct")
    by_dpx = fg.read_picture(path, encoding="ACEScct")
    np.testing.assert_allclose(by_dpx.radiance, by_tiff.radiance, rtol=1e-4, atol=1e-5)
    path.write_bytes(dpx(signal, bits, order)[:-50])
    with pytest.raises(PictureFileError, match="DPX file is cut short"):
        fg.read_picture(path)


CUBE = "LUT_3D_SIZE 2\n" + "".join(
    f"{0.2 + 0.6 * r} {0.1 + 0.8 * g} {0.9 * b}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1)
)
CDL = (
    '<ColorCorrection id="a"><SOPNode><Slope>1.1 0.9 1.2</Slope><Offset>0.01 0.02 -0.01</Offset>'
    "<Power>1.2 0.9 1.1</Power></SOPNode><SatNode><Saturation>0.8</Saturation></SatNode>"
    "</ColorCorrection>"
)


@pytest.fixture
def still(tmp_path: Path) -> fg.Picture:
    rng = np.random.default_rng(3)
    signal = rng.uniform(0.05, 0.9, (40, 60, 3))
    return fg.read_picture(tiff(tmp_path / "still.tif", signal), encoding=LOG)


def seen_through(tmp_path: Path, picture: fg.Picture, **options: str) -> np.ndarray:
    recipe = fg.Recipe(encoding=LOG, **options)
    shown = recipe.picture_from(tmp_path / "still.tif")
    fg.write_picture(tmp_path / "seen.tif", shown)
    np.testing.assert_array_equal(shown.radiance, picture.radiance)
    return tifffile.imread(tmp_path / "seen.tif") / 65535


@pytest.mark.source("OpenColorIO2", "its processor on the same numbers")
def test_a_cube_is_put_on_as_opencolorio_puts_it_on(tmp_path: Path, still: fg.Picture):
    (tmp_path / "show.cube").write_text(CUBE)
    got = seen_through(tmp_path, still, view=str(tmp_path / "show.cube"))
    signal = tifffile.imread(tmp_path / "still.tif").astype(np.float32) / 65535
    cpu = (
        PyOpenColorIO.Config.CreateRaw()
        .getProcessor(
            PyOpenColorIO.FileTransform(
                str(tmp_path / "show.cube"), interpolation=PyOpenColorIO.INTERP_BEST
            )
        )
        .getDefaultCPUProcessor()
    )
    cpu.applyRGB(signal)
    np.testing.assert_allclose(got, signal, atol=1e-4)


@pytest.mark.source("Colour0.4", "ASC CDL, by its definition")
def test_a_cdl_is_slope_offset_power_and_saturation(tmp_path: Path, still: fg.Picture):
    (tmp_path / "show.cc").write_text(CDL)
    got = seen_through(tmp_path, still, view=str(tmp_path / "show.cc"))
    signal = tifffile.imread(tmp_path / "still.tif") / 65535
    sop = np.clip(signal * [1.1, 0.9, 1.2] + [0.01, 0.02, -0.01], 0, 1) ** [1.2, 0.9, 1.1]
    luma = sop @ [0.2126, 0.7152, 0.0722]
    expected = np.clip(luma[..., np.newaxis] + 0.8 * (sop - luma[..., np.newaxis]), 0, 1)
    np.testing.assert_allclose(got, expected, atol=1e-4)


def test_a_display_of_the_configuration_is_a_view_and_sheets_show_it(tmp_path: Path, still):
    name = "sRGB - Display/ACES 2.0 - SDR 100 nits (Rec.709)"
    got = seen_through(tmp_path, still, view=name)
    transform = PyOpenColorIO.DisplayViewTransform(src="ACEScg", display=name[:14], view=name[15:])
    config = PyOpenColorIO.Config.CreateFromBuiltinConfig(
        "studio-config-v5.0.0_aces-v2.1_ocio-v2.6"
    )
    expected = np.ascontiguousarray(still.radiance)
    config.getProcessor(transform).getDefaultCPUProcessor().applyRGB(expected)
    np.testing.assert_allclose(got, np.clip(expected, 0, 1), atol=2e-3)
    shown = fg.Recipe(encoding=LOG, view=name).picture_from(tmp_path / "still.tif")
    on_sheet = view(shown, (60, 40)) / 255
    np.testing.assert_allclose(on_sheet, got, atol=2.1 / 255)


def test_light_is_spread_before_the_lut(tmp_path: Path, still: fg.Picture):
    (tmp_path / "show.cube").write_text(CUBE)
    recipe = fg.Recipe(encoding=LOG, view=str(tmp_path / "show.cube"))
    picture = recipe.picture_from(tmp_path / "still.tif")
    look = fg.read_look("harbour-night").at(1)
    seen = fg.render(picture, look)
    plain = fg.render(still, look)
    np.testing.assert_array_equal(seen.radiance, plain.radiance)
    assert seen.display is picture.display
    assert plain.display is None


WRONG = [
    ({"view": "nowhere.cube"}, "there is no such file"),
    ({"view": "sRGB/Nothing"}, "DISPLAY/VIEW of the configuration"),
    ({"view": "bad.cube"}, "is no LUT"),
    ({"view": "show.cube", "view_from": "sLog9"}, "the name of one, got 'sLog9'"),
    ({"view": "sRGB - Display/Raw", "view_from": LOG}, "left out beside DISPLAY/VIEW"),
]


@pytest.mark.parametrize(("options", "line"), WRONG)
def test_what_is_no_view_is_a_line(tmp_path: Path, monkeypatch, options: dict, line: str):
    monkeypatch.chdir(tmp_path)
    tiff(tmp_path / "still.tif", RAMP)
    Path("show.cube").write_text(CUBE)
    Path("bad.cube").write_text("LUT_3D_SIZE 900\nno numbers\n")
    recipe = fg.Recipe(encoding=LOG, **options)
    with pytest.raises((ParameterError, PictureFileError), match=line) as caught:
        recipe.picture_from(Path("still.tif"))
    assert "\n" not in str(caught.value)


def test_a_lut_asks_what_it_expects(tmp_path: Path):
    Image.new("RGB", (64, 48), (90, 90, 90)).save(tmp_path / "a.png")
    (tmp_path / "show.cube").write_text(CUBE)
    command = ["apply", str(tmp_path / "a.png"), "--look", "slate-roof:1/4", "--view"]
    refused = CliRunner().invoke(app, [*command, str(tmp_path / "show.cube")])
    assert refused.exit_code == 1
    assert "view-from must be given with a LUT" in " ".join(refused.stderr.split())
    words = [*command, str(tmp_path / "show.cube"), "--view-from", LOG]
    assert CliRunner().invoke(app, words).exit_code == 0
    with Image.open(tmp_path / "a_slate-roof_1-4.png") as out:
        assert out.getpixel((9, 9)) != (90, 90, 90)


def test_encodings_are_listed_and_found():
    result = CliRunner().invoke(app, ["encodings", "--find", "log"])
    assert result.exit_code == 0
    assert LOG in result.stdout
    assert "ACEScg" not in result.stdout
    listed = json.loads(CliRunner().invoke(app, ["encodings", "--json"]).stdout)
    assert {one["kind"] for one in listed} >= {"log", "scene-linear", "sdr-video"}
    assert CliRunner().invoke(app, ["encodings", "--find", "kelp"]).stdout == "none\n"


def test_a_configuration_of_ones_own_is_taken_and_a_broken_one_is_a_line(
    tmp_path: Path, monkeypatch
):
    name = "cg-config-v5.0.0_aces-v2.1_ocio-v2.6"
    config = PyOpenColorIO.Config.CreateFromBuiltinConfig(name)
    to_light = PyOpenColorIO.LogTransform(2.0, PyOpenColorIO.TRANSFORM_DIR_INVERSE)
    own = PyOpenColorIO.ColorSpace(name="counter log", encoding="log", toReference=to_light)
    config.addColorSpace(own)
    (tmp_path / "config.ocio").write_text(config.serialize())
    monkeypatch.setenv("OCIO", str(tmp_path / "config.ocio"))
    assert "counter log" in CliRunner().invoke(app, ["encodings"]).stdout
    light = fg.read_picture(tiff(tmp_path / "a.tif", RAMP), encoding="counter log").radiance
    np.testing.assert_allclose(light[..., 1], 2.0**RAMP, rtol=1e-3)
    (tmp_path / "config.ocio").write_text("no configuration")
    result = CliRunner().invoke(app, ["encodings"])
    assert result.exit_code == 1
    assert "$OCIO must be a configuration of OpenColorIO" in " ".join(result.stderr.split())


def test_without_opencolorio_one_line_says_what_to_install(tmp_path: Path, monkeypatch):
    monkeypatch.setitem(sys.modules, "PyOpenColorIO", None)
    with pytest.raises(PictureFileError, match=r"need an extra: pip install 'frontglass\[files\]'"):
        fg.read_picture(tiff(tmp_path / "a.tif", RAMP), encoding=LOG)
