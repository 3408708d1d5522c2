"""A visit in a real browser: choose, drag, wipe, set a lamp, keep, lose the program, reload."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.lit_pixels import LitPixels
from frontglass.live.shown import shown_codes, to_screen
from frontglass.live.smooth import Smooth
from frontglass.picture.grain import FAINT
from frontglass.scene.editing import edit_scene
from tests.live.visiting import exact_codes, needs_browser

pytestmark = needs_browser

CUBE = "LUT_3D_SIZE 2\n" + "".join(
    f"{r:g} {0.5 * g + 0.2 * r:g} {1 - 0.8 * b:g}\n" for b in (0, 1) for g in (0, 1) for r in (0, 1)
)

ALL_STRENGTHS = r"/^(\d+) of \1$/.test(picture.dataset.strengths)"


@pytest.fixture(autouse=True)
def afresh(visit):
    visit.afresh()


def at_rest_the_canvas_is_what_apply_writes(visit):
    visit.until_exact("bakery-window:1/4")
    assert visit.says("document.documentElement.dataset.screen") == "webgl2"
    out = visit.folder.parent / "out.png"
    recipe = fg.Recipe(looks=(fg.read_look("bakery-window").at("1/4"),))
    fg.render_file(visit.folder / "counter.png", out, recipe, overwrite=True)
    with Image.open(out) as read:
        np.testing.assert_array_equal(visit.canvas(), np.asarray(read))


def a_hand_that_moves_sees_a_blend_and_one_that_rests_the_render(visit, screen):
    if screen == "plain":
        visit.driver.get(f"{visit.address}?plain")
    visit.until(f"document.documentElement.dataset.screen == '{screen}'")
    visit.until("document.querySelector('[data-look=harbour-night]') != null")
    visit.driver.find_element("css selector", "[data-look=harbour-night]").click()
    visit.slide(300)
    visit.until_exact("harbour-night:0.36")
    visit.until(ALL_STRENGTHS)
    shows, said, blend = visit.moved(430 if screen == "plain" else 440)
    assert shows == "blend"
    assert not said.startswith("about")
    strength = "0.74" if screen == "plain" else "0.77"
    visit.until_exact(f"harbour-night:{strength}")
    exact = visit.canvas()
    np.testing.assert_array_equal(exact, exact_codes(visit, f"harbour-night:{strength}"))
    off = np.abs(blend.astype(int) - exact).max(axis=-1)
    assert off.max() <= 3
    assert np.mean(off > 1) <= 0.001


def light_is_blended_and_then_goes_through_the_shows_lut(visit, screen):
    scene = visit.folder / "scene.toml"
    (visit.folder / "show.cube").write_text(CUBE)
    shows_lut = {"lut": "show.cube", "lut_from": "ACEScct"}
    edit_scene(scene, lambda one: replace(one, **shows_lut))
    visit.driver.get(visit.address + ("?plain" if screen == "plain" else ""))
    visit.until(f"document.documentElement.dataset.screen == '{screen}'")
    visit.until("document.querySelector('[data-look=harbour-night]') != null")
    visit.driver.find_element("css selector", "[data-look=harbour-night]").click()
    visit.slide(300)
    visit.until_exact("harbour-night:0.36")
    visit.until(ALL_STRENGTHS)
    # Where the screen before came to rest, the render would be there already.
    place, strength = (430, "0.74") if screen == "plain" else (440, "0.77")
    shows, _, blend = visit.moved(place)
    assert shows == "blend"
    visit.until_exact(f"harbour-night:{strength}")
    exact = visit.canvas()
    np.testing.assert_array_equal(exact, exact_codes(visit, f"harbour-night:{strength}"))
    off = np.abs(blend.astype(int) - exact).max(axis=-1)
    assert np.quantile(off, 0.99) <= 1
    assert off.max() <= 6
    edit_scene(scene, lambda one: replace(one, **dict.fromkeys(shows_lut)))
    visit.driver.get(visit.address)
    visit.until("document.getElementById('picture').dataset.shows == 'exact'")


def grain_and_lamps_are_laid_over_a_blend_which_comes_into_the_pages_primaries(visit, screen):
    rng = np.random.default_rng(5)
    light = rng.random((2, 8, 16, 3)).astype(np.float16)
    grain = rng.normal(0, 0.05, (8, 16, 3)).astype(np.float16)
    wide = fg.Picture(radiance=light[0], primaries="bt2020")
    lamp = fg.Picture(radiance=light[0].astype(np.float32)).but(
        recovered=LitPixels((8, 16, 3), (np.arange(8), np.arange(8)), np.full((8, 3), 0.3, "f4"))
    )
    lost, direct = Smooth(lamp, None).lost(), np.array([0.25, 0.5, 0.75])
    words = [np.ravel(own).view(np.uint16).tolist() for own in (*light, grain)]
    visit.driver.get(f"{visit.address}?plain" if screen == "plain" else visit.address)
    seen = visit.driver.execute_async_script(
        """
        const [first, second, grain, toScreen, rows, direct, done] = arguments;
        const { screenOn } = await import("./page/screen.js");
        const { pixels } = await import("./page/api.js");
        const canvas = document.createElement("canvas"), screen = screenOn(canvas);
        screen.noise(new Float32Array((await pixels("noise")).data));
        screen.size(16, 8);
        const planes = [[first, 0.25], [second, 0.75]].map(
          ([own, weight], key) => ({ key, weight, data: new Uint16Array(own) }));
        const laid = { width: 16, height: 8, data: new Uint16Array(grain).buffer };
        const lost = { data: new Uint16Array(rows).buffer };
        screen.draw([{ planes, toScreen, grain: laid, lost, direct }], 17);
        const copy = document.createElement("canvas");
        Object.assign(copy, { width: 16, height: 8 });
        const context = copy.getContext("2d");
        context.drawImage(canvas, 0, 0);
        done([...context.getImageData(0, 0, 16, 8).data]);
        """,
        *words,
        to_screen(wide),
        np.ravel(lost).tolist(),
        direct.tolist(),
    )
    blend = np.tensordot((0.25, 0.75), light.astype(np.float32), 1)
    at = lamp.recovered.at
    blend[at] = np.minimum(blend[at] + 0.3 * direct, np.maximum(blend[at], lamp.radiance[at]))
    blend += grain * np.sqrt(blend + np.float32(FAINT))
    codes = shown_codes(replace(wide, radiance=blend.astype(np.float32)))
    off = np.abs(np.reshape(seen, (8, 16, 4))[..., :3] - codes.astype(int))
    assert off.max() <= 1
    assert off.mean() < 0.02


def keys_alone_choose_step_and_show_bare(visit):
    from selenium.webdriver import ActionChains, Keys

    visit.driver.get(visit.address)
    visit.until("document.getElementById('picture').dataset.shows == 'exact'")
    visit.key(Keys.PAGE_UP)
    visit.until_exact("harbour-night:1")
    visit.key(Keys.ARROW_RIGHT)
    visit.until_exact("harbour-night:1.1")
    visit.key(Keys.ARROW_DOWN)
    visit.until_exact("lamps-only:1.1")
    visit.key(Keys.ARROW_UP)
    ActionChains(visit.driver).key_down("b").perform()
    visit.until_exact("bare")
    with Image.open(visit.folder / "counter.png") as read:
        np.testing.assert_array_equal(visit.canvas(), np.asarray(read))
    ActionChains(visit.driver).key_up("b").perform()
    visit.until_exact("harbour-night:1.1")
    typed = visit.driver.find_element("id", "strength")
    typed.send_keys(Keys.CONTROL, "a")
    typed.send_keys("1/3", Keys.ENTER)
    visit.until_exact("harbour-night:0.3333")


def two_looks_on_both_sides_of_a_line(visit):
    visit.key("w")
    visit.until("picture.dataset.what.includes('|')")
    visit.until("picture.dataset.shows == 'exact'")
    left, right = visit.says("picture.dataset.what").split(" | ")
    seen = visit.canvas()
    np.testing.assert_array_equal(seen[:, :80], exact_codes(visit, left)[:, :80])
    np.testing.assert_array_equal(seen[:, 80:], exact_codes(visit, right)[:, 80:])
    line = visit.driver.find_element("id", "wipe")
    line.send_keys("\ue014" * 5)  # arrow right
    assert float(line.get_attribute("aria-valuenow")) == 60
    visit.key("w")


def a_lamp_is_made_brighter_and_the_picture_follows(visit):
    from selenium.webdriver import ActionChains, Keys

    visit.until_exact("harbour-night:0.3333")
    before, light = visit.canvas(), visit.says("picture.dataset.light")
    bare = (
        "performance.getEntriesByType('resource').filter((one) => one.name.endsWith('/exact?'))"
        ".length"
    )
    visit.until(f"{bare} == 1")
    visit.key("o")
    circle = visit.driver.find_element("css selector", ".lamp")
    ActionChains(visit.driver).click_and_hold(circle).move_by_offset(0, -48).release().perform()
    visit.until(f"picture.dataset.light != {light}")
    visit.until_exact("harbour-night:0.3333")
    brighter = visit.canvas()
    assert brighter.astype(int).sum() > before.astype(int).sum()
    np.testing.assert_array_equal(brighter, exact_codes(visit, "harbour-night:0.3333"))
    visit.driver.find_element("css selector", ".lamp:not(.unsure)").send_keys(Keys.DELETE)
    visit.until("document.querySelector('.lamp:not(.unsure)') == null")
    visit.until_exact("harbour-night:0.3333")
    visit.key("o")
    # Bare it is as it was, and not asked for again.
    assert visit.says(bare) == 1


def what_is_kept_outlives_the_page_and_the_program(visit):
    from selenium.webdriver import Keys

    visit.key("k")
    visit.driver.find_element("id", "why").send_keys("Lamps <i>swell</i>.", Keys.ENTER)
    visit.until("document.querySelector('#kept code') != null")
    said = visit.driver.find_element("id", "kept").text
    assert "Lamps <i>swell</i>." in said
    assert "--look harbour-night:0.3333" in said
    assert [str(c) for c in fg.read_scene(visit.folder / "scene.toml").choices] == [
        "harbour-night:0.3333"
    ]
    visit.stop()
    visit.until("!lost.hidden")
    assert "gone" in visit.driver.find_element("id", "lost").text
    visit.start()
    visit.until("lost.hidden")
    visit.until_exact("harbour-night:0.3333")
    visit.driver.refresh()
    visit.until("document.querySelector('#kept code') != null")
    visit.until("document.querySelector('#kept canvas').dataset.key != null")
    visit.until_exact("harbour-night:0.3333")


def a_damaged_still_is_a_line_in_the_filmstrip(visit):
    visit.until("document.querySelector('#stills .problem:not(:empty)') != null")
    line = visit.driver.find_element("css selector", "#stills .problem:not(:empty)").text
    assert "torn.png" in line
    visit.key(".", ".")
    visit.until("picture.hidden")
    visit.key(",")
    visit.until("!picture.hidden && picture.width == 120 && picture.dataset.shows == 'exact'")


def on_a_phone_nothing_sticks_out_and_a_finger_sees_bare(visit):
    visit.driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True},
    )
    visit.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
    visit.until("document.documentElement.scrollWidth <= 390")
    small = visit.says(
        "[...document.querySelectorAll('button, input')].filter((one) => one.offsetHeight"
        " && (one.offsetHeight < 24 || one.offsetWidth < 24) && one.type != 'checkbox').length"
    )
    assert small == 0
    visit.until("picture.dataset.shows == 'exact'")
    box = visit.driver.find_element("id", "picture").rect

    def touch(kind: str, *points: dict[str, float]) -> None:
        asked = {"type": kind, "touchPoints": list(points)}
        visit.driver.execute_cdp_cmd("Input.dispatchTouchEvent", asked)

    touch("touchStart", {"x": box["x"] + 60, "y": box["y"] + 60})
    visit.until_exact("bare")
    touch("touchEnd")
    visit.until("picture.dataset.what != 'bare'")


def everything_has_a_name_and_the_console_is_quiet(visit):
    unnamed = visit.says(
        "[...document.querySelectorAll('button, input, [role]')].filter((one) =>"
        " !(one.textContent.trim() || one.getAttribute('aria-label') || one.labels?.length"
        " || one.id == 'lost' || one.id == 'here' || one.id == 'said')).map((one) => one.outerHTML)"
    )
    assert unnamed == []
    # The program was gone for a while, and it is the tests that read the canvas back.
    expected = ("ERR_CONNECTION", "GPU stall due to ReadPixels")
    said = [one["message"] for one in visit.driver.get_log("browser")]
    assert [one for one in said if not any(words in one for words in expected)] == []


def test_a_visit(visit):
    # In one test: each step goes on where the one before it ended.
    at_rest_the_canvas_is_what_apply_writes(visit)
    a_hand_that_moves_sees_a_blend_and_one_that_rests_the_render(visit, "webgl2")
    a_hand_that_moves_sees_a_blend_and_one_that_rests_the_render(visit, "plain")
    light_is_blended_and_then_goes_through_the_shows_lut(visit, "webgl2")
    light_is_blended_and_then_goes_through_the_shows_lut(visit, "plain")
    for screen in ("webgl2", "plain"):
        grain_and_lamps_are_laid_over_a_blend_which_comes_into_the_pages_primaries(visit, screen)
    keys_alone_choose_step_and_show_bare(visit)
    two_looks_on_both_sides_of_a_line(visit)
    a_lamp_is_made_brighter_and_the_picture_follows(visit)
    what_is_kept_outlives_the_page_and_the_program(visit)
    a_damaged_still_is_a_line_in_the_filmstrip(visit)
    on_a_phone_nothing_sticks_out_and_a_finger_sees_bare(visit)
    everything_has_a_name_and_the_console_is_quiet(visit)
