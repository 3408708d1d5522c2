"""A browser on a page of small stills, and what somebody does there."""

from __future__ import annotations

import base64
import shutil
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import frontglass as fg
from frontglass.live.making import Making
from frontglass.live.serving import address_of, listening, server_of
from frontglass.live.shown import shown_codes
from tests.live.pages import TOKEN, page_of

BROWSER = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), ""
)
DRIVER = shutil.which("chromedriver") or ""
PATIENCE_S = 30
SHOWN = ("bakery-window", "engine-shed", "harbour-night", "lamps-only", "wet-quay")
"""Looks of the strip; all of them take long, and are tried elsewhere."""


needs_browser = pytest.mark.skipif(
    not (BROWSER and DRIVER), reason="needs chromium and its driver (apt-get install)"
)


PAINTED = """(from) => {
    const to = document.createElement('canvas');
    to.width = from.width; to.height = from.height;
    const context = to.getContext('2d'); context.drawImage(from, 0, 0);
    const { data } = context.getImageData(0, 0, to.width, to.height);
    let text = ''; for (let k = 0; k < data.length; k += 8192)
      text += String.fromCharCode(...data.subarray(k, k + 8192));
    return [btoa(text), to.height, to.width]; }"""


def _codes(text: str, height: int, width: int) -> np.ndarray:
    return np.frombuffer(base64.b64decode(text), np.uint8).reshape(height, width, 4)[..., :3]


def _no_more_than_a_file(words: Sequence[str]) -> tuple[int, str]:
    """Stand in for a command: what the page has made is tried elsewhere."""
    Path(words[words.index("-o") + 1]).write_bytes(b"made")
    return 0, ""


@dataclass
class Visit:
    """A browser on a page that is served beside it."""

    folder: Path
    driver: Any
    port: int | None = None
    address: str = ""
    running: list[tuple[Any, threading.Thread]] = field(default_factory=list)

    def start(self) -> None:
        page = page_of(self.folder)
        page.table.looks = {name: page.table.looks[name] for name in SHOWN}
        page.making = Making(page.table.stills, page.keeper, run=_no_more_than_a_file)
        listener = listening(self.port)
        self.port = listener.getsockname()[1]
        self.address = address_of(listener, TOKEN)
        server = server_of(page, self.port, TOKEN)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        self.running.append((server, thread))

    def stop(self) -> None:
        server, thread = self.running.pop()
        server.should_exit = True
        thread.join()

    def says(self, script: str) -> Any:
        return self.driver.execute_script(f"return {script}")

    def until(self, script: str) -> None:
        end = time.monotonic() + PATIENCE_S
        while not self.says(script):
            assert time.monotonic() < end, f"never: {script}"
            time.sleep(0.05)

    def until_exact(self, what: str) -> None:
        shown = "document.getElementById('picture').dataset"
        self.until(f"{shown}.what == '{what}' && {shown}.shows == 'exact'")

    def canvas(self, which: str = "picture") -> np.ndarray:
        """Codes that the large picture, or another, is painted with."""
        return _codes(*self.says(f"({PAINTED})({which})"))

    def moved(self, place: int) -> tuple[str, str, np.ndarray]:
        """Move the slider; return what the page says and paints at once, before the hand rests."""
        shows, said, painted = self.says(
            f"(async () => {{ slider.value = {place}; slider.dispatchEvent(new Event('input'));"
            " await new Promise(requestAnimationFrame);"
            f"return [picture.dataset.shows, tag0.textContent, ({PAINTED})(picture)]; }})()"
        )
        return shows, said, _codes(*painted)

    def key(self, *keys: str) -> None:
        self.driver.find_element("css selector", "body").send_keys(*keys)

    def element(self, name: str) -> Any:
        return self.driver.find_element("id", name)

    def slide(self, place: int) -> None:
        """Move the slider as a hand does, and leave it there."""
        script = f"slider.value = {place}; slider.dispatchEvent(new Event('input'));"
        self.says(f"(() => {{ {script} }})()")

    def choose(self, name: str, value: str) -> None:
        """Choose from a list as a hand does."""
        script = f"{name}.value = '{value}'; {name}.dispatchEvent(new Event('change'));"
        self.says(f"(() => {{ {script} }})()")

    def afresh(self) -> None:
        """Begin as on the first day, whatever was tried before."""
        self.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        self.driver.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": False})
        (self.folder / "scene.toml").unlink(missing_ok=True)
        self.says("localStorage.clear()")
        self.driver.get(self.address)
        self.until("document.getElementById('picture').dataset.shows == 'exact'")


def visited(folder: Path) -> Iterator[Visit]:
    """Yield a visit to stills in a folder; the browser is gone after it."""
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = BROWSER
    for word in ("--headless=new", "--no-sandbox", "--enable-unsafe-swiftshader"):
        options.add_argument(word)
    options.add_argument("--window-size=1200,900")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    service = webdriver.ChromeService(executable_path=DRIVER)
    driver = webdriver.Chrome(options=options, service=service)
    visit = Visit(folder, driver)
    visit.start()
    driver.get(visit.address)
    yield visit
    driver.quit()
    visit.stop()


def exact_codes(visit: Visit, *texts: str) -> np.ndarray:
    """What `frontglass apply` makes of the first still, by the files that lie there now."""
    still = visit.folder / "counter.png"
    scene = visit.folder / "scene.toml"
    pairs = [text.split(":") for text in texts]
    looks = tuple(fg.read_look(name).at(strength) for name, strength in pairs)
    recipe = (
        fg.read_scene(scene).recipe(still, looks=looks)
        if scene.exists()
        else fg.Recipe(looks=looks)
    )
    picture = recipe.picture_from(still)
    return shown_codes(recipe.rendered(picture, recipe.framing.camera_for(picture).camera))
