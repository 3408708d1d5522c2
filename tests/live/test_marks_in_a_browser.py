"""A visit in a real browser: watch, second piece, lens, metres, loupe, hand out, share."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import frontglass as fg
from tests.live.visiting import exact_codes, needs_browser

pytestmark = needs_browser


@pytest.fixture(autouse=True)
def afresh(visit):
    visit.afresh()
    visit.driver.find_element("css selector", "[data-look=harbour-night]").click()
    visit.until_exact("harbour-night:1/4")


def drawn(visit, name: str, corner: tuple[int, int], size: tuple[int, int]) -> None:
    from selenium.webdriver import ActionChains

    visit.choose("part", name)
    drag = ActionChains(visit.driver).move_to_element_with_offset(visit.element("stage"), *corner)
    drag.click_and_hold().move_by_offset(*size).release().perform()
    visit.until(f"[...document.querySelectorAll('#parts strong')].at(-1)?.textContent == '{name}'")


def watched(visit) -> list[tuple[int, int, int, int]]:
    still = fg.read_scene(visit.folder / "scene.toml").still_of(visit.folder / "counter.png")
    return [part.region_px for part in still.watched]


def a_part_is_drawn_magnified_and_has_its_numbers(visit):
    from selenium.webdriver import Keys

    visit.key("p")
    drawn(visit, "face", (-100, -60), (120, 90))
    visit.until("document.querySelectorAll('#parts p').length == 2")
    before = visit.says("document.querySelector('#parts p').textContent")
    assert before.startswith("key to shadow")
    # By the keys alone: the box is moved, made smaller, and watched as another part.
    visit.choose("part", "black")
    keys = (Keys.ARROW_LEFT, Keys.ARROW_LEFT, Keys.SHIFT, Keys.ARROW_UP, Keys.ARROW_UP)
    visit.element("box").send_keys(*keys, Keys.NULL, Keys.ENTER)
    visit.until("document.querySelectorAll('#parts li p').length == 6")
    face, black = watched(visit)
    assert black[0] < face[0]
    assert black[3] < face[3]
    # Magnified pixels are those of the large picture.
    left, top, width, height = face
    whole = visit.canvas()[top : top + height, left : left + width]
    part = visit.canvas("document.querySelector('#parts canvas')")
    scale = part.shape[0] // height
    assert scale >= 2
    np.testing.assert_array_equal(part[scale // 2 :: scale, scale // 2 :: scale], whole)
    # The numbers follow the strength.
    visit.slide(1000)
    visit.until_exact("harbour-night:4")
    visit.until(f"document.querySelector('#parts p').textContent != '{before}'")
    visit.key("p")


def a_second_piece_and_the_lens_show(visit):
    from selenium.webdriver import Keys

    visit.choose("over", "wet-quay")
    both = ("wet-quay:1/4", "harbour-night:4")
    visit.until_exact("+".join(both))
    np.testing.assert_array_equal(visit.canvas(), exact_codes(visit, *both))
    visit.says("(() => { document.getElementById('path').open = true; })()")
    light = visit.says("picture.dataset.light")
    visit.element("set-lens").send_keys("85mm", Keys.TAB)
    visit.until(f"picture.dataset.light != {light}")
    visit.until_exact("+".join(both))
    assert "85 mm" in visit.element("camera").text
    np.testing.assert_array_equal(visit.canvas(), exact_codes(visit, *both))
    visit.element("set-lens").clear()
    visit.element("set-lens").send_keys(Keys.TAB)
    visit.until("camera.textContent != '' && !camera.textContent.includes('85')")
    visit.choose("over", "")
    visit.until_exact("harbour-night:4")


def metres_are_typed_where_one_clicks(visit):
    from selenium.webdriver import ActionChains, Keys

    visit.key("d")
    visit.until("here.textContent.startsWith('No distances')")
    for across, metres, said in ((-250, "2", "2.00"), (250, "7,5", "7.50")):
        place = ActionChains(visit.driver).move_to_element_with_offset(
            visit.element("stage"), across, 0
        )
        place.click().perform()
        visit.element("metres").send_keys(metres, Keys.ENTER)
        visit.until(f"here.textContent == 'here: {said} m'")
    visit.until("points.children.length == 2 && !away.hidden")
    visit.until("away.dataset.key.endsWith('|' + picture.dataset.light)")
    shades = visit.canvas("away")
    assert shades[45, 20].mean() > shades[45, 140].mean() + 20  # near is light, far is dark
    visit.key("d")


def a_lamps_kind_is_chosen_and_one_handle_moves_all(visit):
    visit.key("o")
    visit.until("which.options.length > 1")
    visit.choose("kind", "bulb")
    # Lamps are numbered by their light: what becomes dimmer stays in hand under its new number.
    in_hand = "document.querySelector(`.lamp[data-lamp='${which.value}'] span`)"
    visit.until(f"{in_hand}.textContent.includes('bulb') && kind.value == 'bulb'")
    stops = "[...document.querySelectorAll('.lamp span')].map((one) =>"
    stops += " parseFloat(one.textContent.split(': ')[1]))"
    before = visit.says(stops)
    visit.says("(() => { shift.value = 2; shift.dispatchEvent(new Event('change')); })()")
    visit.until(f"{stops}[0] > {before[0]} + 1.5")
    np.testing.assert_allclose(visit.says(stops), np.array(before) + 2, atol=0.11)
    assert visit.says("shift.value") == "0"
    visit.key("o")


def the_loupe_has_four_pixels_for_one(visit):
    visit.until_exact("harbour-night:4")
    visit.key("l")
    visit.until("!loupe.hidden && !loupe.classList.contains('late')")
    visit.element("loupe").send_keys("l")
    visit.until("zoom.textContent == '4:1' && !loupe.classList.contains('late')")
    seen = visit.canvas("loupe")
    np.testing.assert_array_equal(seen[0::4, 0::4], seen[3::4, 3::4])
    whole = visit.canvas()
    np.testing.assert_array_equal(seen[2::4, 2::4][:80, :80], whole[5:85, 40:120])
    visit.element("loupe").send_keys("l")
    visit.until("loupe.hidden")


def what_is_kept_is_moved(visit):
    from selenium.webdriver import Keys

    for strength in ("1", "2"):
        visit.element("strength").send_keys(Keys.CONTROL, "a")
        visit.element("strength").send_keys(strength, Keys.ENTER)
        visit.until_exact(f"harbour-night:{strength}")
        visit.key("k")
        visit.element("why").send_keys(f"At {strength}.", Keys.ENTER)
        visit.until(f"document.querySelectorAll('#kept code').length == {strength}")
    visit.driver.find_element("css selector", "#kept li:last-child [aria-label^=up]").click()
    visit.until("document.querySelector('#kept li').textContent.includes('At 2.')")
    scene = fg.read_scene(visit.folder / "scene.toml")
    assert [one.why for one in scene.choices] == ["At 2.", "At 1."]


def a_list_is_made_from_the_page(visit):
    visit.driver.find_element("css selector", "[data-make=list]").click()
    visit.until("document.querySelector('#made [data-state=done] a') != null")
    said = visit.element("made").text
    assert "list for the rental counter: made" in said
    assert "frontglass list -o" in said
    assert (visit.folder / "list.pdf").read_bytes() == b"made"


def axe_finds_nothing_hard_to_use(visit):
    axe = pytest.importorskip("axe_core_python")
    script = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    every = "document.querySelectorAll('details').forEach((one) => { one.open = true; })"
    visit.says(f"(() => {{ {every} }})()")
    visit.driver.execute_script(script)  # through the driver, which no policy holds back
    for keys in ("w", "wo", "op", "pd", "dk"):
        visit.key(*keys)
        found = visit.driver.execute_async_script(
            "const done = arguments[arguments.length - 1];"
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa',"
            " 'best-practice']}).then((found) => done(found.violations))"
        )
        said = [(one["id"], [node["html"] for node in one["nodes"]][:3]) for one in found]
        assert said == [], keys
    visit.element("dont").click()


def the_tab_key_reaches_everything_in_the_order_it_is_seen(visit):
    from selenium.webdriver import Keys

    visit.says("document.getElementById('strength').focus()")
    seen = ["strength"]
    for _ in range(70):
        visit.driver.switch_to.active_element.send_keys(Keys.TAB)
        name = visit.says("document.activeElement.id || document.activeElement.className")
        seen.append(name)
    order = ("strength", "slider", "bare", "wiping", "loupes", "keeping", "over", "set-tilt")
    places = [seen.index(name) for name in order]
    assert places == sorted(places)


def test_a_visit(visit):
    # In one test: each step goes on where the one before it ended.
    a_part_is_drawn_magnified_and_has_its_numbers(visit)
    a_second_piece_and_the_lens_show(visit)
    metres_are_typed_where_one_clicks(visit)
    a_lamps_kind_is_chosen_and_one_handle_moves_all(visit)
    the_loupe_has_four_pixels_for_one(visit)
    what_is_kept_is_moved(visit)
    a_list_is_made_from_the_page(visit)
    axe_finds_nothing_hard_to_use(visit)
    the_tab_key_reaches_everything_in_the_order_it_is_seen(visit)
