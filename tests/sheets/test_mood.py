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
from PIL import Image, PdfParser

import frontglass as fg
from frontglass.errors import ParameterError
from frontglass.picture.encoding import Encoding
from frontglass.sheets.answers import answers_from_text, read_board
from frontglass.sheets.crop import crop_of
from frontglass.sheets.mood import (
    ASPECTS,
    MoodFrame,
    MoodHead,
    MoodStill,
    aspect_from_text,
    board_of,
    mood_html,
)
from frontglass.sheets.mood_pages import mood_pages, write_mood
from frontglass.sheets.pdf import A4_LYING_PX

NASTY = 'Last <table> & "tea"\'</script><img src=x onerror=alert(1)>'


def picture(level: float, width: int = 300, height: int = 200) -> fg.Picture:
    light = np.full((height, width, 3), level, np.float32)
    light[: height // 2] *= 0.5
    return fg.Picture(radiance=light, encoding=Encoding.linear())


def codes(level: int, width: int = 300, height: int = 200) -> np.ndarray:
    return np.full((height, width, 3), level, np.uint8)


def stills() -> list[MoodStill]:
    def frames(size):
        return (
            MoodFrame("late-tram 1/2", "costs 0.2 stop", codes(140, *size), "late-tram:1/2"),
            MoodFrame("slate-roof 1", "", codes(120, *size), "slate-roof:1"),
        )

    sizes = ((300, 200), (200, 300))
    names = (NASTY, "Gate")
    return [
        MoodStill(name, f"{name}.jpg", codes(60, *size), frames(size))
        for name, size in zip(names, sizes, strict=True)
    ]


HEAD = MoodHead(
    title=f"After {NASTY}",
    project="Ferry",
    date="2 June",
    contact="Ines <ines@harbour.example>",
    foot="Simulated.",
)


def board() -> str:
    return mood_html(HEAD, stills(), has_wipe=True)


@pytest.mark.parametrize(
    ("text", "aspect"),
    [("2.39", 2.39), ("16:9", 16 / 9), ("4:3", 4 / 3), ("1.85", 1.85), ("3x2", 1.5), ("1", 1)],
)
def test_aspects(text, aspect):
    assert aspect_from_text(text) == pytest.approx(aspect)
    frame = crop_of(picture(0.5), aspect_from_text(text), share=0.5).region
    assert frame.width_px / frame.height_px == pytest.approx(aspect, rel=0.01)
    assert frame.width_px == 300 or frame.height_px == 200


@pytest.mark.parametrize("text", ["", "wide", "0", "16:0", "9", "1:9", "-2"])
def test_no_aspect(text):
    with pytest.raises(ParameterError, match="aspect"):
        aspect_from_text(text)


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
    assert len(images) == 2 * 3 + 4  # bare and two looks each, and the bare ones behind the wipes
    images = [image for image in images if "src" in image]
    assert all(image["alt"] for image in images)
    assert len({image["alt"] for image in images}) == 6
    for image in images:
        head, data = (image["src"] or "").split(",", 1)
        assert head == "data:image/jpeg;base64"
        with Image.open(io.BytesIO(base64.b64decode(data))) as held:
            assert held.size == (int(image["width"] or 0), int(image["height"] or 0))
    links = [a for _, attributes in parser.tags for a in (attributes.get("href"),) if a]
    assert links == ["data:,", "#send"]
    assert not re.search(r"https?:|url\(|@import", text)
    assert "Last &lt;table&gt; &amp; &quot;tea&quot;" in text
    assert "<img src=x" not in text
    assert [tag for tag, _ in parser.tags].count("script") == 2


def _luminance(colour: str) -> float:
    codes = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return float(light @ [0.2126, 0.7152, 0.0722])


def test_the_wipe_is_explained_where_there_is_one():
    assert "take the glass away" in board()
    plain = mood_html(HEAD, stills())
    assert "take the glass away" not in plain
    assert 'class="wipe"' not in plain
    assert plain.count('class="paper"') == 0
    assert board().count('<figure class="paper">') == 2


def test_answers_go_to_the_address_in_the_contact():
    assert '"mail": "ines@harbour.example"' in board()


@pytest.mark.source("WCAG2.2", "1.4.3: contrast of text, 4.5 at least")
def test_contrast_of_text():
    colours = dict(re.findall(r"--(ground|text|quiet|mark): (#[0-9a-f]{6})", board()))
    ground = _luminance(colours["ground"]) + 0.05
    assert (_luminance(colours["text"]) + 0.05) / ground > 7
    assert (_luminance(colours["quiet"]) + 0.05) / ground > 4.5
    # What shows focus needs 3.
    assert (_luminance(colours["mark"]) + 0.05) / ground > 3


def test_pages_hold_the_frames_and_the_files_open(tmp_path):
    pages = mood_pages(HEAD, stills())
    assert all(page.codes.shape[:2] == A4_LYING_PX[::-1] for page in pages)
    paths = write_mood(tmp_path, HEAD.title, board(), pages)
    assert [path.name for path in paths] == [
        *("board.html", "board.pdf", "board_01.png", "board_02.png")
    ]
    assert set(tmp_path.iterdir()) == set(paths)
    pdf = paths[1].read_bytes()
    assert pdf.startswith(b"%PDF")
    with PdfParser.PdfParser(paths[1]) as read:
        assert read.info.Title == HEAD.title
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
    for path, page in zip(paths[2:], pages, strict=True):
        with Image.open(path) as read:
            assert np.array_equal(np.asarray(read), page.codes)


def test_an_interrupt_while_writing_leaves_nothing(tmp_path, monkeypatch):
    from frontglass.sheets import mood_pages as module

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "save_pdf", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_mood(tmp_path, HEAD.title, board(), mood_pages(HEAD, stills()))
    assert list(tmp_path.iterdir()) == []


def test_a_board_is_read_back_from_its_file(tmp_path):
    path = tmp_path / "board.html"
    path.write_text(board(), encoding="utf-8")
    assert read_board(path) == board_of(HEAD.title, stills())


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

    def test_hearts_and_notes_become_a_text_that_is_read_back(self, page):
        page.refresh()
        for heart in page.find_elements("css selector", ".heart")[:2]:
            heart.click()
        page.find_elements("css selector", ".heart")[1].click()  # and not, after all
        page.find_elements("css selector", ".answer textarea")[3].send_keys("Softer than\nI <b>")
        page.find_element("id", "who").send_keys("Ines")
        text = page.find_element("id", "text").get_attribute("value")
        told = answers_from_text(text, board_of(HEAD.title, stills()))
        assert [(one.frame.id, one.who, one.has_heart, one.note) for one in told] == [
            ("1A", "Ines", True, ""),
            ("2B", "Ines", False, "Softer than / I <b>"),
        ]
        mail = page.find_element("id", "mail").get_attribute("href")
        assert mail.startswith("mailto:ines@harbour.example?subject=After%20Last%20%3Ctable%3E")
        page.find_element("id", "copy").click()
        assert page.find_element("id", "said").text
        assert page.get_log("browser") == []

    def test_what_was_said_is_there_after_closing(self, page):
        page.refresh()
        assert page.find_element("id", "who").get_attribute("value") == "Ines"
        pressed = page.find_elements("css selector", '.heart[aria-pressed="true"]')
        assert [heart.get_attribute("data-key") for heart in pressed] == ["1A"]

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
