"""Make the README's moving picture of the live page: python examples/live_picture.py [FOLDER].

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
localStorage.setItem("frontglass-live", JSON.stringify([0, 0, false, 0.3,
  [{look: "harbour-night", strength: 0.5}, {look: "rehearsal-room", strength: 1}]]));
"""
SHOWN = ("bakery-window", "harbour-night", "late-tram", "rehearsal-room", "wet-quay", "torch-wash")
KEPT = (
    {"looks": ["harbour-night:1/2"], "why": "Lamps swell, her hair stays."},
    {"looks": ["late-tram:1/4"], "why": "Warmer; for the window."},
)


def scout(still: Path) -> None:
    """Write the café as a scout still of 8 bits, whose lamps are plain white."""
    fg.write_picture(still, fg.Recipe(exposure_stops=2.5).picture_from(HERE / "cafe_1280.exr"))


def main(folder: str = str(HERE / "pictures")) -> None:
    """Serve a page, look at it as somebody would, and keep what is to be seen."""
    target = Path(folder).absolute() / "live.webp"
    with tempfile.TemporaryDirectory() as scratch, contextlib.chdir(scratch):
        still = Path("counter.jpg")
        scout(still)
        framing = fg.Framing(lens_mm=36.9, sensor="36x20.25", f_number=2.8)
        page = page_for([str(still)], {"framing": framing}, words=WORDS)
        for choice in KEPT:
            looks = page.table.stack(choice["looks"])
            page.keeper.keep(still, looks, for_all=True, why=str(choice["why"]), name="")
        page.marker.watch(still, "hair", (1060, 160, 200, 150))
        page.table.looks = {name: page.table.looks[name] for name in SHOWN}
        listener = listening(None)
        port = listener.getsockname()[1]
        server = server_of(page, port, TOKEN)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
        thread.start()
        try:
            frames = visit(address_of(listener, TOKEN))
        finally:
            server.should_exit = True
            thread.join()
    pictures = []
    for seen, _ in frames:
        with Image.open(io.BytesIO(seen)) as whole:
            pictures.append(whole.convert("RGB"))
    first, *others = pictures
    times = [milliseconds for _, milliseconds in frames]
    first.save(
        target, save_all=True, append_images=others, duration=times, loop=0, quality=93, method=6
    )


def visit(address: str) -> list[tuple[bytes, int]]:
    """Return the page as PNG while somebody drags, wipes and watches, each for milliseconds."""
    options = webdriver.ChromeOptions()
    for word in ("--headless=new", "--no-sandbox", "--enable-unsafe-swiftshader"):
        options.add_argument(word)
    options.add_argument("--window-size=1200,900")
    # Named, so that nothing is looked for elsewhere.
    options.binary_location = shutil.which("chromium") or ""
    service = webdriver.ChromeService(executable_path=shutil.which("chromedriver") or "")
    driver = webdriver.Chrome(options=options, service=service)
    try:
        driver.get(address)
        driver.execute_script(VIEW)
        driver.refresh()
        until(
            driver,
            "document.getElementById('picture').dataset.shows == 'exact' &&"
            " [...document.querySelectorAll('#kept canvas, #looks .card:not([hidden]) canvas')]"
            ".every((one) => one.dataset.key)",
        )
        frames = [(driver.get_screenshot_as_png(), 1500)]
        for place in (*range(354, 720, 61), *range(659, 353, -61), 354):
            driver.execute_script(
                f"slider.value = {place}; slider.dispatchEvent(new Event('input'));"
            )
            until(driver, "document.getElementById('picture').dataset.shows != 'late'")
            frames.append((driver.get_screenshot_as_png(), 140))
        body = driver.find_element("css selector", "body")
        for key in ("w", "x"):
            body.send_keys(key)
            until(driver, "document.getElementById('picture').dataset.shows == 'exact'")
            frames.append((driver.get_screenshot_as_png(), 900))
        for line in (40, 60, 75):
            driver.find_element("id", "wipe").send_keys("\ue014" * ((line - 38) // 2))
            frames.append((driver.get_screenshot_as_png(), 350))
        body.send_keys("w")
        body.send_keys("o")
        until(driver, "document.querySelectorAll('.lamp').length > 3")
        frames.append((driver.get_screenshot_as_png(), 1500))
        return frames
    finally:
        driver.quit()


def until(driver: webdriver.Chrome, wanted: str) -> None:
    """Wait until a script says yes."""
    end = time.monotonic() + PATIENCE_S
    while not driver.execute_script(f"return {wanted}"):
        if time.monotonic() > end:
            raise TimeoutError(f"The page never said: {wanted}.")
        time.sleep(0.1)


if __name__ == "__main__":
    main(*sys.argv[1:])
