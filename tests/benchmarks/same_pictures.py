"""Every command's pictures on the café, by this code and by that of another revision.

``python tests/benchmarks/same_pictures.py REVISION [COMMAND]`` checks it out and runs both. Stills
are compared in linear light, in units of 0.1 % of the place's own light and 0.01 % of white, and in
8-bit codes behind the sRGB curve; sheets in codes. Ends with 1 if a still is off by more than half
a code, or a command fails.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import OpenEXR
from numpy.typing import NDArray
from PIL import Image
from PIL.ImageSequence import Iterator as Frames

HERE = Path(__file__).parents[2]
CAMERA = ("--lens", "36.9mm", "--stop", "2.8", "--sensor", "36x20.25")
SHEET_LOOK, OTHER_LOOK = "harbour-night", "fine-net"
RELATIVE, OF_WHITE, MOST_CODES = 1e-3, 1e-4, 0.5
STILL, NO_FILES = ".exr", "no files"

Array = NDArray[np.floating]


def exr_light(path: Path) -> Array:
    channels = OpenEXR.File(str(path)).channels()
    # Colour where there is any, else the one channel of a map.
    return np.asarray(channels.get("RGB", next(iter(channels.values()))).pixels, np.float32)


def codes(light: Array) -> Array:
    """8-bit codes, with their fractions."""
    x = np.clip(light.astype(np.float64), 0, 1)
    return 255 * np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)


def write_scene(folder: Path) -> None:
    """Write the café at half its size, exposed as in the demo: EXR, PNG, a bracket, distances."""
    light = exr_light(HERE / "examples" / "cafe_1280.exr")[..., :3] * np.float32(2**2.5)
    light = light.reshape(360, 2, 640, 2, 3).mean(axis=(1, 3))
    OpenEXR.File({}, {"RGB": np.ascontiguousarray(light)}).write(str(folder / "cafe.exr"))
    for stops in (0, 3, 6):
        exposed = np.rint(codes(light / 2**stops))
        Image.fromarray(exposed.astype(np.uint8)).save(folder / f"cafe-{stops}.png")
    metres = exr_light(HERE / "examples" / "cafe_1280_distance.exr").reshape(720, 1280, -1)
    np.save(folder / "metres.npy", metres[::2, ::2, 0])


def commands() -> Iterator[tuple[str, list[str], str]]:
    """Names, words of the command line, and what to compare of the files in out/."""
    light = [*CAMERA, "--depth", "metres.npy"]
    for look in sorted(path.stem for path in (HERE / "presets").glob("*.toml")):
        for strength in ("1/4", "1"):
            words = ["apply", "cafe.exr", "--look", f"{look}:{strength}", "-o", "out/still.exr"]
            yield f"apply {look}:{strength}", [*words, *light], "still.exr"
    look, pair = ["--look", SHEET_LOOK], ["--look", SHEET_LOOK, "--look", OTHER_LOOK]
    png = ["cafe-0.png", *pair, *light]
    stacked = ["--look", f"{SHEET_LOOK}+{OTHER_LOOK}"]
    both = ["apply", "cafe-0.png", *stacked, *light, "-o", "out/still.exr"]
    yield "apply, clipped lamps", both, "still.exr"
    yield "apply, dark surround", [*both, "--surround", "dark", "--no-compensate"], "still.exr"
    yield "batch", ["batch", "cafe.exr", *png, "--format", "exr", "-o", "out"], "**/*.exr"
    bracket = ["cafe-0.png", "cafe-3.png", "cafe-6.png", "--stops", "0,-3,-6"]
    yield "merge", ["merge", *bracket, "-o", "out/merged.exr"], "merged.exr"
    yield "lamps", ["lamps", "cafe-0.png", "-o", "out/lamps.png"], "lamps.png"
    yield "ladder", ["ladder", "cafe.exr", *look, *light, "-o", "out/ladder.png"], "ladder.png"
    yield "compare", ["compare", "cafe.exr", *pair, *light, "-o", "out/sheet.png"], "sheet.png"
    yield "mood", ["mood", "cafe.exr", *pair, *light, "-o", "out"], "*.png"
    yield "distance", ["distance", "cafe.exr", *light, "-o", "out/sheet.png"], "sheet.png"
    loop = ["sway", "cafe.exr", *stacked, *CAMERA, "--width", "240"]
    yield "sway", [*loop, "-o", "out/loop.webp"], "loop.webp"
    measured = ["measure", SHEET_LOOK, OTHER_LOOK, *CAMERA, "--width", "1024"]
    yield "measure", [*measured, "-o", "out/curves.png"], "curves.png"
    yield "match", ["match", SHEET_LOOK, "--with", "lamps-only", *CAMERA], NO_FILES
    yield "demo", ["demo", "-o", "out"], "*.png"


def printed(tree: Path, scratch: Path, words: list[str], out: Path) -> str | None:
    """What a command prints, run by the code of a tree into a folder; None if it fails."""
    (scratch / "out").mkdir()
    command = ["env", f"PYTHONPATH={tree / 'src'}", sys.executable, "-m", "frontglass", *words]
    ended = subprocess.run(command, cwd=scratch, capture_output=True, text=True, check=False)
    (scratch / "out").rename(out)
    print(ended.stderr * ended.returncode, end="", file=sys.stderr)
    return None if ended.returncode else ended.stdout


def frames(path: Path) -> Array:
    with Image.open(path) as picture:
        return np.stack([np.asarray(one.convert("RGB"), np.float64) for one in Frames(picture)])


def compared(new: Path, old: Path) -> tuple[str, bool]:
    """Largest difference of two files in words, and whether it is too large."""
    if not (new.is_file() and old.is_file()):
        return "there is only one", True
    read = exr_light if new.suffix == STILL else frames
    one, other = read(new), read(old)
    if one.shape != other.shape:
        return f"{one.shape} instead of {other.shape}", True
    if new.suffix != STILL:
        off = np.abs(one - other)
        return f"{off.max():.0f} codes, {100 * (off > 1).mean():.3f} % by more than 1", False
    units = float((np.abs(one - other) / (RELATIVE * np.abs(other) + OF_WHITE)).max())
    apart = float(np.abs(codes(one) - codes(other)).max())
    return f"{units:.3f} units of light, {apart:.3f} codes", apart > MOST_CODES


def differences(before: Path, scratch: Path, only: str) -> Iterator[tuple[str, bool]]:
    """What to print of each file of each command, and whether it is too different."""
    asked = (command for command in commands() if command[0].startswith(only))
    for number, (name, words, pattern) in enumerate(asked):
        new, old = (scratch / f"{number}-{which}" for which in ("new", "old"))
        told = printed(HERE, scratch, words, new), printed(before, scratch, words, old)
        if None in told:
            yield f"{name:28} FAILED", True
        elif pattern == NO_FILES:
            yield f"{name:28} {'the same' if told[0] == told[1] else 'OTHER'} words", False
        for file in sorted({p.relative_to(out) for out in (new, old) for p in out.glob(pattern)}):
            words_of_it, is_wrong = compared(new / file, old / file)
            yield f"{name:28} {file!s:24} {words_of_it}", is_wrong


def main(revision: str, only: str = "") -> int:
    """Print the largest difference of every command; return 1 if one is too large."""
    with tempfile.TemporaryDirectory() as folder:
        scratch, before = Path(folder), Path(folder, "before")
        git = ["git", "-C", str(HERE), "worktree"]
        subprocess.run([*git, "add", "--quiet", "--detach", str(before), revision], check=True)
        try:
            write_scene(scratch)
            wrong = 0
            for line, is_wrong in differences(before, scratch, only):
                print(line + " !" * is_wrong, flush=True)
                wrong |= is_wrong
        finally:
            subprocess.run([*git, "remove", "--force", str(before)], check=True)
    return wrong


if __name__ == "__main__":
    named = sys.argv[1:]
    sys.exit(main(*named) if named else "same_pictures.py compares with a revision: name one.")
