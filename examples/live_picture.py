"""Make the README's picture of the live page anew: python examples/live_picture.py [FOLDER].

It needs Chromium with its driver, and what the development tools bring.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import sys
import tempfile
import threading
import time
from pathlib import Path

from PIL import Image
from selenium import webdriver

import frontglass as fg
from frontglass.cli.live import page_for
from frontglass.live.serving import address_of, listening, server_of

HERE = Path(__file__).parent
TOKEN = "for-the-picture-of-the-readme-and-for-nothing-else"
PATIENCE_S = 240
WORDS = ["--lens", "36.9mm", "--sensor", "36x20.25", "--stop", "2.8"]
VIEW = """
localStorage.setItem("frontglass-live", JSON.stringify([0, 0, true, 0.52,
  [{look: "harbour-night", strength: 0.5}, {look: "rehearsal-room", strength: 1}]]));
"""
KEPT = (
    {"looks": ["harbour-night:1/2"], "why": "Lamps swell, her hair stays."},
    {"looks": ["late-tram:1/4"], "why": "Warmer; for the window."},
)


def scout(still: Path) -> None:
    """Write the café as a scout still of 8 bits, whose lamps are plain white."""
    fg.write_picture(still, fg.Recipe(exposure_stops=2.5).picture_from(HERE / "cafe_1280.exr"))


def main(folder: str = str(HERE / "pictures")) -> None:
    """Serve a page, look at it as somebody would, and keep what is to be seen."""
    target = Path(folder).absolute() / "live.jpg"
    with tempfile.TemporaryDirectory() as scratch, contextlib.chdir(scratch):
        still = Path("counter.jpg")
        scout(still)
        framing = fg.Framing(lens_mm=36.9, sensor="36x20.25", f_number=2.8)
        page = page_for([str(still)], {"framing": framing}, words=WORDS)
        for choice in KEPT:
            looks = page.table.stack(choice["looks"])
            page.keeper.keep(still, looks, for_all=True, why=str(choice["why"]), name="")
        listener = listening(None)
        port = listener.getsockname()[1]
        server = server_of(page, port, TOKEN)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            seen = screenshot(address_of(listener, TOKEN))
        finally:
            server.should_exit = True
            thread.join()
    with Image.open(io.BytesIO(seen)) as whole:
        whole.convert("RGB").save(target, quality=82)


def screenshot(address: str) -> bytes:
    """Return the page as PNG, once all its small pictures are there."""
    options = webdriver.ChromeOptions()
    for word in ("--headless=new", "--no-sandbox", "--enable-unsafe-swiftshader"):
        options.add_argument(word)
    options.add_argument("--window-size=1400,1010")
    # Named, so that nothing is looked for elsewhere.
    options.binary_location = shutil.which("chromium") or ""
    service = webdriver.ChromeService(executable_path=shutil.which("chromedriver") or "")
    driver = webdriver.Chrome(options=options, service=service)
    try:
        driver.get(address)
        driver.execute_script(VIEW)
        driver.refresh()
        wanted = (
            "return document.getElementById('picture').dataset.shows == 'exact' &&"
            " [...document.querySelectorAll('#kept canvas, #looks .card:not([hidden]) canvas')]"
            ".every((one) => one.dataset.key)"
        )
        end = time.monotonic() + PATIENCE_S
        while not driver.execute_script(wanted):
            if time.monotonic() > end:
                raise TimeoutError("The page never had all its pictures.")
            time.sleep(0.2)
        return driver.get_screenshot_as_png()
    finally:
        driver.quit()


if __name__ == "__main__":
    main(*sys.argv[1:])
