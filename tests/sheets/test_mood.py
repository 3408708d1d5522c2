"""The client board: whole in one file, cropped as asked, and a wipe that moves in a browser."""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.picture.encoding import Encoding
from frontglass.sheets.mood import (
    ASPECTS,
    PAGE_PX,
    MoodFrame,
    aspect_from_text,
    cropped,
    mood_html,
    mood_pages,
    write_mood,
)


def picture(level: float, width: int = 300, height: int = 200) -> fg.Picture:
    light = np.full((height, width, 3), level, np.float32)
    light[: height // 2] *= 0.5
    return fg.Picture(radiance=light, encoding=Encoding.linear())


def board() -> str:
    frames = [
        MoodFrame('Last <table> & "tea"', "late-tram 1/2", picture(0.5), picture(0.2)),
        MoodFrame("Gate", "late-tram 1/2", picture(0.4)),
    ]
    return mood_html("After closing", "2 frames", frames, foot="Simulated.")


@pytest.mark.parametrize(
    ("text", "aspect"),
    [("2.39", 2.39), ("16:9", 16 / 9), ("4:3", 4 / 3), ("1.85", 1.85), ("3x2", 1.5), ("1", 1)],
)
def test_aspects(text, aspect):
    assert aspect_from_text(text) == pytest.approx(aspect)
    frame = cropped(picture(0.5), aspect_from_text(text))
    assert frame.width_px / frame.height_px == pytest.approx(aspect, rel=0.01)
    assert frame.width_px == 300 or frame.height_px == 200


@pytest.mark.parametrize("text", ["", "wide", "0", "16:0", "9", "1:9", "-2"])
def test_no_aspect(text):
    with pytest.raises(ParameterError, match="aspect"):
        aspect_from_text(text)


def test_a_crop_stands_where_asked():
    top, bottom = (cropped(picture(0.4), 3.0, height_share=s).radiance.mean() for s in (0, 1))
    assert (top, bottom) == pytest.approx((0.2, 0.4))
    whole = picture(0.4)
    assert cropped(whole, None) is whole


def test_a_crop_of_a_line_keeps_a_pixel():
    narrow = cropped(picture(0.4, width=300, height=1), 0.25)
    assert (narrow.width_px, narrow.height_px) == (1, 1)
    flat = cropped(picture(0.4, width=1, height=300), 4.0)
    assert (flat.width_px, flat.height_px) == (1, 1)


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_the_file_needs_nothing_else_and_says_what_each_picture_is():
    text = board()
    parser = _Tags()
    parser.feed(text)
    images = [attributes for tag, attributes in parser.tags if tag == "img"]
    assert len(images) == 3
    assert all(image["alt"] for image in images)
    assert len({image["alt"] for image in images}) == 3
    for image in images:
        head, data = (image["src"] or "").split(",", 1)
        assert head == "data:image/jpeg;base64"
        with Image.open(io.BytesIO(base64.b64decode(data))) as held:
            assert held.size == (int(image["width"] or 0), int(image["height"] or 0))
    links = [a for _, attributes in parser.tags for a in (attributes.get("href"),) if a]
    assert links == ["data:,"]
    assert not re.search(r"https?:|url\(|@import", text)
    assert "Last &lt;table&gt; &amp; &quot;tea&quot;" in text


def _luminance(colour: str) -> float:
    codes = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return float(light @ [0.2126, 0.7152, 0.0722])


def test_the_wipe_is_explained_where_there_is_one():
    frame = MoodFrame("Gate", "late-tram 1/2", picture(0.4))
    assert '<p class="help">' in board()
    assert '<p class="help">' not in mood_html("A", "1 frame", [frame], foot="Simulated.")


@pytest.mark.source("WCAG2.2", "1.4.3: contrast of text, 4.5 at least")
def test_contrast_of_text():
    colours = dict(re.findall(r"--(ground|text|quiet|mark): (#[0-9a-f]{6})", board()))
    ground = _luminance(colours["ground"]) + 0.05
    assert (_luminance(colours["text"]) + 0.05) / ground > 7
    assert (_luminance(colours["quiet"]) + 0.05) / ground > 4.5
    # What shows focus needs 3.
    assert (_luminance(colours["mark"]) + 0.05) / ground > 3


def test_pages_hold_the_frames_and_the_files_open(tmp_path):
    frames = [MoodFrame("One", "x", picture(0.5)), MoodFrame("Two", "x", picture(0.4, 100, 300))]
    pages = mood_pages("Title", "about", frames)
    assert all(page.codes.shape[:2] == PAGE_PX[::-1] for page in pages)
    paths = write_mood(tmp_path, board(), pages)
    assert [path.name for path in paths] == [
        *("board.html", "board.pdf", "board_01.png", "board_02.png")
    ]
    pdf = paths[1].read_bytes()
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
    for path, page in zip(paths[2:], pages, strict=True):
        with Image.open(path) as read:
            assert np.array_equal(np.asarray(read), page.codes)


BROWSER = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), ""
)
DRIVER = shutil.which("chromedriver") or ""


@pytest.fixture(scope="module")
def page(tmp_path_factory) -> Iterator[object]:
    webdriver = pytest.importorskip("selenium.webdriver")
    path: Path = tmp_path_factory.mktemp("board") / "board.html"
    path.write_text(board(), encoding="utf-8")
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=900,900"):
        options.add_argument(word)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    service = webdriver.ChromeService(executable_path=DRIVER)
    driver = webdriver.Chrome(options=options, service=service)
    driver.get(path.as_uri())
    yield driver
    driver.quit()


@pytest.mark.skipif(
    not (BROWSER and DRIVER), reason="needs chromium and its driver (apt-get install)"
)
class TestInABrowser:
    def share(self, page) -> float:
        wipe = page.find_element("css selector", ".wipe")
        return float(wipe.get_attribute("aria-valuenow"))

    def test_no_request_leaves_and_the_console_is_quiet(self, page):
        self.share(page)
        assert page.get_log("browser") == []
        messages = [
            json.loads(entry["message"])["message"] for entry in page.get_log("performance")
        ]
        asked = [
            message["params"]["request"]["url"]
            for message in messages
            if message["method"] == "Network.requestWillBeSent"
        ]
        assert asked
        assert all(url.startswith(("file:", "data:")) for url in asked)

    def test_the_mouse_drags_the_wipe(self, page):
        from selenium.webdriver import ActionChains

        wipe = page.find_element("css selector", ".wipe")
        width = wipe.size["width"]
        chain = ActionChains(page).move_to_element_with_offset(wipe, 0, 0).click_and_hold()
        chain.move_by_offset(round(0.25 * width), 0).release().perform()
        assert self.share(page) == pytest.approx(75, abs=1)
        bare = page.find_element("css selector", ".wipe .bare")
        clip = bare.value_of_css_property("clip-path")
        assert re.search(r"2[45](\.\d+)?%|calc\(100% - 7[456]", clip), clip
        # Once let go it no longer follows.
        ActionChains(page).move_by_offset(-60, 0).perform()
        assert self.share(page) == pytest.approx(75, abs=1)

    def test_keys_move_the_wipe_and_focus_shows(self, page):
        from selenium.webdriver import Keys

        # Else Tab goes on from where the mouse was.
        page.refresh()
        body = page.find_element("css selector", "body")
        body.send_keys(Keys.TAB)
        wipe = page.switch_to.active_element
        assert wipe.get_attribute("role") == "slider"
        assert wipe.get_attribute("aria-label")
        assert wipe.value_of_css_property("outline-style") == "solid"
        wipe.send_keys(Keys.HOME)
        assert self.share(page) == 0
        wipe.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
        assert self.share(page) == 4
        wipe.send_keys(Keys.END)
        assert self.share(page) == 100

    def test_a_finger_drags_the_wipe(self, page):
        wipe = page.find_element("css selector", ".wipe")
        box = wipe.rect
        y = box["y"] + box["height"] / 2

        def touch(kind: str, share: float) -> None:
            points = [] if kind == "touchEnd" else [{"x": box["x"] + share * box["width"], "y": y}]
            page.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        page.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
        touch("touchStart", 0.9)
        touch("touchMove", 0.5)
        touch("touchMove", 0.2)
        touch("touchEnd", 0)
        assert self.share(page) == pytest.approx(20, abs=1)

    def test_a_phone_scrolls_down_only(self, page):
        page.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": 360, "height": 740, "deviceScaleFactor": 2, "mobile": True},
        )
        wide = page.execute_script("return document.documentElement.scrollWidth")
        assert wide <= 360
        images = page.find_elements("css selector", "img")
        assert all(page.execute_script("return arguments[0].naturalWidth", i) > 0 for i in images)


def test_the_trades_names_of_a_shape_are_its_numbers():
    assert {name: aspect_from_text(name) for name in ASPECTS} == ASPECTS
