"""How soon the live page shows what is asked for, in a headless Chromium, and in what memory.

Run ``python tests/benchmarks/live.py [WORD]``: parts with WORD in their names. It needs Chromium
with its driver. Seconds are wall time of one run on one machine; what counts are the ratios to
renders and to decoding in the same process, with the same load. The graphics card is Chromium's
software rasteriser, so frames say more of the processor than of the page; script alone is what
the page itself costs.
"""

from __future__ import annotations

import contextlib
import io
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from PIL import Image
from selenium import webdriver

import frontglass as fg
from frontglass.cli.live import page_for
from frontglass.elements import Place
from frontglass.live.app import Page
from frontglass.live.blending import nodes_of
from frontglass.live.serving import address_of, listening, server_of
from frontglass.shipped import shipped_folder

if __package__ is None or not __package__:
    sys.path.insert(0, str(Path(__file__).parents[2]))
from tests.benchmarks.whole_command import write_still

TOKEN = "for-the-benchmark-of-the-page-and-for-nothing-else"
PATIENCE_S, TIMES = 300, 3
WORDS = {"framing": fg.Framing(lens_mm=36.9, sensor="36x20.25")}
LOOKS = ("harbour-night", "powder-room", "keyhole", "wet-quay")
NET = "fine-net"
GIB = 2**20
EXACT = "picture.dataset.shows == 'exact' && picture.dataset.what == '{}'"


class Tab:
    """A page in a browser, and how long it takes."""

    def __init__(self, driver: webdriver.Chrome) -> None:
        self.driver = driver

    def says(self, script: str) -> object:
        return self.driver.execute_script(f"return {script}")

    def seconds_until(self, script: str, *, after: str = "") -> float:
        """Wait in the page itself, so that asking costs it nothing; return seconds waited.

        What is to be done first is counted.
        """
        waiting = (
            f"const done = arguments[arguments.length - 1], from = performance.now(); {after};"
            f"const look = () => ({script}) ? done((performance.now() - from) / 1000)"
            " : setTimeout(look, 4); look();"
        )
        return float(self.driver.execute_async_script(waiting))

    def choose(self, look: str) -> float:
        """Choose a look; return seconds to its exact picture."""
        strength = self.says("document.getElementById('strength').value")
        click = f"document.querySelector('[data-look={look}]').click()"
        return self.seconds_until(EXACT.format(f"{look}:{strength}"), after=click)


@contextlib.contextmanager
def served(sources: list[Path], names: Sequence[str] = ()) -> Iterator[tuple[Page, str]]:
    """Serve stills beside this process' other work; without names through some looks."""
    page = page_for(list(map(str, sources)), WORDS)
    page.table.looks = {name: page.table.looks[name] for name in names or (*LOOKS, NET)}
    listener = listening(None)
    server = server_of(page, listener.getsockname()[1], TOKEN)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    try:
        yield page, address_of(listener, TOKEN)
    finally:
        server.should_exit = True
        thread.join()


@contextlib.contextmanager
def browser() -> Iterator[Tab]:
    options = webdriver.ChromeOptions()
    for word in ("--headless=new", "--no-sandbox", "--enable-unsafe-swiftshader"):
        options.add_argument(word)
    options.add_argument("--window-size=1400,1000")
    options.binary_location = shutil.which("chromium") or ""
    service = webdriver.ChromeService(executable_path=shutil.which("chromedriver") or "")
    driver = webdriver.Chrome(options=options, service=service)
    driver.set_script_timeout(PATIENCE_S)
    try:
        yield Tab(driver)
    finally:
        driver.quit()


def times_of(work: Callable[[], object]) -> list[float]:
    """Return a few times [s]."""
    times = []
    for _ in range(TIMES):
        before = time.perf_counter()
        work()
        times.append(time.perf_counter() - before)
    return times


def best(work: Callable[[], object]) -> float:
    """Return the shortest of a few times [s]."""
    return min(times_of(work))


def ratio(what: str, seconds: float, of: float, allowed: float) -> None:
    """Print a ratio beside what it must hold."""
    verdict = "holds" if seconds <= allowed * of else "MISSED"
    print(f"  {what}: {seconds:.2f} s, {seconds / of:.2f} times, at most {allowed:g}: {verdict}")


def scout(folder: Path, width: int) -> Path:
    """Write the café as a scout still of some width."""
    still = folder / f"counter_{width}.jpg"
    cafe = fg.Recipe(exposure_stops=2.5).picture_from(shipped_folder("examples") / "cafe_1280.exr")
    fg.write_picture(still, cafe)
    with Image.open(still) as small:
        small.resize((width, width * 9 // 16), Image.Resampling.LANCZOS).save(still, quality=92)
    return still


def hand(tab: Tab) -> None:
    """Print what a frame of a blend costs script, and what with the rasteriser's work."""
    script = """
    const done = arguments[arguments.length - 1], slider = document.getElementById('slider');
    const own = [], whole = [];
    let kinds = new Set(), last = performance.now(), k = 0;
    const raf = window.requestAnimationFrame;
    window.requestAnimationFrame = (work) => raf((now) => {
      const from = performance.now();
      work(now);
      own.push(performance.now() - from);
    });
    const step = () => {
      slider.value = 300 + 4 * (k % 60);
      slider.dispatchEvent(new Event('input'));
      kinds.add(document.getElementById('picture').dataset.shows);
      const now = performance.now();
      whole.push(now - last);
      last = now;
      if (++k < 90) raf(step);
      else {
        window.requestAnimationFrame = raf;
        done([own.slice(20), whole.slice(20), [...kinds]]);
      }
    };
    raf(step);
    """
    own, whole, kinds = tab.driver.execute_async_script(script)
    own.sort()
    whole.sort()
    middle, late = own[len(own) // 2], own[int(0.95 * len(own))]
    verdict = "holds" if middle <= 4 else "MISSED"
    print(f"  script of a frame: {middle:.2f} ms, 95 % under {late:.2f}, at most 4: {verdict}")
    print(f"  a frame with the software rasteriser: {whole[len(whole) // 2]:.1f} ms ({kinds})")


@contextlib.contextmanager
def idle(still: Path, names: Sequence[str] = ()) -> Iterator[tuple[Page, Tab]]:
    """Have a still on the page, with all of a look's strengths and nothing more to do."""
    with served([still], names) as (page, address), browser() as tab:
        tab.driver.get(address)
        tab.seconds_until("document.getElementById('picture').dataset.shows == 'exact'")
        tab.seconds_until("document.querySelectorAll('.card canvas:not([data-key])').length == 0")
        opened = page.table.opened(0)
        print(f"{opened.small.width_px} x {opened.small.height_px} of {still.name}")
        yield page, tab


def choosing(still: Path) -> None:
    """Print what it takes from another look, lamp or stop to its picture."""
    with idle(still) as (page, tab):
        for look in LOOKS[1:]:
            chosen_at(page, tab, look)
        hand(tab)
        changed(page, tab, LOOKS[-1])


def net(still: Path) -> None:
    """Print the same of a net."""
    with idle(still) as (page, tab):
        chosen_at(page, tab, NET)
        changed(page, tab, NET)


def every(still: Path) -> None:
    """Print what all strengths of every shipped look take that asks for no distances."""
    looks = [look for look in fg.catalogue() if Place.AIR not in {e.place for e in look.elements}]
    names = [look.name for look in looks]
    with idle(still, names) as (page, tab):
        for look in names[1:]:  # the first one is there already
            chosen_at(page, tab, look)


CHANGES = {
    "a moved lamp": "shift.value = 1; shift.dispatchEvent(new Event('change'))",
    "another stop": "document.getElementById('set-stop').value = '8';"
    "document.getElementById('set-stop').dispatchEvent(new Event('change'))",
    "a lamp moved back": "shift.value = -1; shift.dispatchEvent(new Event('change'))",
    "another stop at once": "document.getElementById('set-stop').value = '4';"
    "document.getElementById('set-stop').dispatchEvent(new Event('change'))",
}


def changed(page: Page, tab: Tab, look: str) -> None:
    """Print what it takes from a change to its picture, in renders just before."""
    # As a hand does that has come to rest.
    tab.seconds_until("picture.dataset.shows == 'exact'")
    strength = tab.says("document.getElementById('strength').value")
    before: list[float] = []
    for what, script in CHANGES.items():
        is_at_once = "at once" in what  # else once all strengths are there
        if not is_at_once:
            tab.seconds_until(f"picture.dataset.strengths == '{all_of(page, look)}'")
            before = renders(page, look)
        light = tab.says("picture.dataset.light")
        shown = EXACT.format(f"{look}:{strength}") + f" && picture.dataset.light != '{light}'"
        seconds = tab.seconds_until(shown, after=script)
        ratio(f"{what}, {look}", seconds, statistics.median(before), 2)


def all_of(page: Page, look: str) -> str:
    """Return what the page says once it holds all strengths of a look."""
    count = len(nodes_of(page.table.looks[look])["strengths"])
    return f"{count} of {count}"


def renders(page: Page, look: str) -> list[float]:
    """Return how long a few renders take [s], at a strength that nobody asks the page for."""
    still, chosen = page.table.opened(0), page.table.looks[look].at(0.26)
    return times_of(lambda: still.seen([chosen]))


def chosen_at(page: Page, tab: Tab, look: str) -> None:
    """Print what it takes to a look's first picture and to all strengths, in later renders.

    Nothing of the look was rendered at this size before; its renders are, but for the first.
    """
    began, worked = time.perf_counter(), time.process_time()
    first = tab.choose(look)
    tab.seconds_until(f"picture.dataset.strengths == '{all_of(page, look)}'")
    every, work = time.perf_counter() - began, time.process_time() - worked
    new = renders(page, look)[0]
    worked = time.process_time()
    render = statistics.median(renders(page, look))
    own = (time.process_time() - worked) / TIMES
    print(f"  one render of {look}: {render:.2f} s, {own:.2f} CPU s; the first {new:.2f} s")
    print(f"  all strengths of it take the program {work / own:.1f} renders' CPU time")
    ratio(f"{look}, first exact picture", first, render, 3)
    ratio(f"{look}, all strengths ({all_of(page, look)})", every, render, 8)
    if not all(element.is_steady for element in page.table.looks[look].elements):
        # Each strength of a net takes planes of its own, which a later render finds there.
        ratio(f"{look}, first exact picture, in renders whose planes are not there", first, new, 3)
        ratio(f"{look}, all strengths, in the same", every, new, 8)


def large(folder: Path) -> None:
    """Print what 24 MP take to be on the screen, and ten of them in memory."""
    still = folder / "large_0.jpg"
    write_still(still, 24)
    stills = [still]
    for number in range(1, 10):
        stills.append(folder / f"large_{number}.jpg")
        shutil.copy(still, stills[-1])

    def decoded() -> None:
        with Image.open(still) as picture:
            picture.load()

    decoding = best(decoded)
    command = [sys.executable, __file__, "--serve", *map(str, stills)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process, browser() as tab:
        assert process.stdout is not None
        address = process.stdout.readline().strip()
        before = time.perf_counter()
        tab.driver.get(address)
        tab.seconds_until("document.getElementById('picture').dataset.shows != undefined")
        seconds = time.perf_counter() - before
        print("24 MP JPEG")
        verdict = "holds" if seconds <= 2.5 * decoding + 1 else "MISSED"
        allowed = f"{2.5 * decoding + 1:.2f} s (2.5 x {decoding:.2f} + 1)"
        print(f"  on the screen after {seconds:.2f} s, at most {allowed}: {verdict}")
        tab.seconds_until("picture.dataset.shows == 'exact'")
        print(f"  its lamps found and through a look after {time.perf_counter() - before:.2f} s")
        waited = []
        for number in range(1, len(stills)):
            tab.says("(() => dispatchEvent(new KeyboardEvent('keydown', {key: '.'})))()")
            waited.append(tab.seconds_until(f"picture.dataset.still == {number}"))
            tab.seconds_until("picture.dataset.shows == 'exact'")
        middle = sorted(waited)[len(waited) // 2]
        print(f"  the next one on the screen after {middle:.2f} s, {max(waited):.2f} at most")
        tell_peak("ten of them, each looked at", process.pid)
        tab.says("(() => dispatchEvent(new KeyboardEvent('keydown', {key: 'l'})))()")
        for look in (None, "fine-net"):
            if look is not None:
                tab.choose(look)
            for _ in range(2):
                tab.says("(() => dispatchEvent(new KeyboardEvent('keydown', {key: ','})))()")
                time.sleep(0.5)
                tab.seconds_until("picture.dataset.shows == 'exact'")
                tab.seconds_until("!document.getElementById('loupe').classList.contains('late')")
            tell_peak(f"and with the loupe on two, through {look or LOOKS[0]}", process.pid)
        process.terminate()


def tell_peak(what: str, pid: int) -> None:
    """Print the most memory that a process has taken so far."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    peak = next(int(line.split()[1]) for line in status.splitlines() if "VmHWM" in line)
    verdict = "holds" if peak <= 1.5 * GIB else "MISSED"
    print(f"  {what}: {peak / GIB:.2f} GiB, at most 1.5: {verdict}")


def serve_alone(stills: list[str]) -> None:
    """Serve stills in a process of its own, whose memory is its alone."""
    with served(list(map(Path, stills))) as (_, address):
        print(address, flush=True)
        with contextlib.suppress(io.UnsupportedOperation):
            threading.Event().wait()


def main(word: str = "") -> None:
    """Run the parts whose names hold a word."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        for width in (1280, 1920):
            for part in (choosing, net, every):
                if word in f"{part.__name__} {width}":
                    part(scout(folder, width))
        if word in "large":
            large(folder)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--serve"]:
        serve_alone(sys.argv[2:])
    else:
        main(*sys.argv[1:])
