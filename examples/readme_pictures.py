"""Make the pictures of the README anew: python examples/readme_pictures.py [FOLDER]."""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

HERE = Path(__file__).parent
PROGRAM = (sys.executable, "-m", "frontglass")
SCENE = str(HERE / "cafe_1280.exr")
# What the scene was rendered with: a horizontal field of 52 degrees, shown 2.5 stops brighter.
LENS = ("--lens", "36.9mm", "--sensor", "36x20.25", "--stop", "2.8")
EXPOSURE = ("--exposure", "2.5")
CAMERA = (*LENS, *EXPOSURE)

LAMP, HAIR, HARBOUR = "60,340,200,120", "1060,150,200,120", "340,190,200,120"

# A filter in the thread of a fast lens: there glass throws ghosts of most lamps.
FAST = ("--lens", "36.9mm", "--sensor", "36x20.25", "--stop", "1.4", "--filter-distance", "25mm")
SCREWED_IN = (*FAST, *EXPOSURE, "--focus", "3m")
JPEG_OUT = ("--overwrite", "--out")

DISTANCE = ("--depth", str(HERE / "cafe_1280_distance.exr"))

COMMANDS = {
    "ladder.jpg": ("ladder", SCENE, "--look", "harbour-night", "--width", "1500"),
    "close-ups.jpg": (
        *("ladder", SCENE, "--look", "rehearsal-room", "--strengths", "1/4,1", "--width", "1500"),
        *("--columns", "3", "--close-up", LAMP, "--close-up", HAIR),
    ),
    "harbour-night.jpg": ("apply", SCENE, "--look", "harbour-night:1/2"),
    "late-tram.jpg": ("apply", SCENE, "--look", "late-tram:1/2"),
    "wet-quay.jpg": ("apply", SCENE, "--look", "wet-quay:1/2"),
    "rehearsal-room.jpg": ("apply", SCENE, "--look", "rehearsal-room:1/2"),
    "powder-room.jpg": ("apply", SCENE, "--look", "powder-room:1"),
    "slate-roof.jpg": ("apply", SCENE, "--look", "slate-roof:1/2"),
    "bakery-window.jpg": ("apply", SCENE, "--look", "bakery-window:1/2"),
    "engine-shed.jpg": ("apply", SCENE, "--look", "engine-shed:1/2"),
    "lamps-only.jpg": ("apply", SCENE, "--look", "lamps-only:1/2"),
    "fine-net.jpg": ("apply", SCENE, "--look", "fine-net:1/2"),
    "wide-net.jpg": ("apply", SCENE, "--look", "wide-net:1/2"),
    "old-matinee.jpg": ("apply", SCENE, "--look", "old-matinee:1/2"),
    "tallow.jpg": ("apply", SCENE, "--look", "tallow:1"),
    "keyhole.jpg": ("apply", SCENE, "--look", "keyhole:1"),
    "torch-wash.jpg": ("apply", SCENE, "--look", "torch-wash:1"),
    "net-close-ups.jpg": (
        *("ladder", SCENE, "--look", "fine-net", "--strengths", "1/4,1", "--width", "1500"),
        *("--columns", "3", "--close-up", HARBOUR, "--close-up", LAMP),
    ),
    "haze-beside-glass.jpg": (
        *("ladder", SCENE, "--look", "wharf-morning", "--strengths", "1/4,1", *DISTANCE),
        *("--beside", "harbour-night", "--beside", "engine-shed", "--width", "1500"),
    ),
    "distances.jpg": ("distance", SCENE, *DISTANCE, "--width", "1400"),
    "columns.jpg": ("apply", SCENE, "--look", str(HERE / "counter-spot.toml"), *DISTANCE),
    "stacked.jpg": ("apply", SCENE, "--look", "late-tram:1/2+powder-room:1/2"),
}

WATCHED = ("--watch", f"lamp:{LAMP}", "--watch", f"hair:{HAIR}", "--watch", "black:960,180,90,110")
BOARD = (
    "--aspect",
    "2.39",
    "--title",
    "After the last ferry",
    "--caption",
    "Gate 2, eleven at night",
)

OTHERS = {
    "measure.png": (
        *("measure", "harbour-night:1/2", "powder-room:1/2", "rehearsal-room:1/2"),
        *("--lens", "50mm", "--stop", "2.8", "--sensor", "super35", "--overwrite", "--picture"),
    ),
    "compare.jpg": (
        *("compare", SCENE, "--look", "harbour-night:1/2", "--look", "rehearsal-room:1/2"),
        *("--look", "fine-net:1", *WATCHED, *CAMERA, "--quality", "68", "--overwrite", "--out"),
    ),
    "sway.webp": (
        *("sway", SCENE, "--look", "fine-net:1", "--width", "340", "--exaggerate", "4"),
        *(*CAMERA, "--overwrite", "--out"),
    ),
    "ghosts.webp": (
        *("sway", SCENE, "--look", "harbour-night:1/4", "--look", "grain-loft:1", "--beside"),
        *("--pan", "3", "--width", "480", *SCREWED_IN, *DISTANCE, "--overwrite", "--out"),
    ),
    "ghosts.jpg": ("ghosts", SCENE, "--look", "harbour-night:1/4", *SCREWED_IN, *JPEG_OUT),
}
"""Whole commands, to end in the name of their picture."""


def board(folder: Path) -> None:
    """Make a client board, and keep its first page."""
    look = ("--look", "late-tram:1/2", "--look", "harbour-night:1/4", "--look", "fine-net:1")
    with tempfile.TemporaryDirectory() as made:
        subprocess.run(
            [*PROGRAM, "mood", SCENE, *look, *BOARD, *CAMERA, "--wipe", "--out", made], check=True
        )
        with Image.open(Path(made) / "board_01.png") as page:
            page.reduce(2).save(folder / "mood.jpg", quality=85)


# The same scene as a scout still of 8 bits, which holds its lamps as plain white.
SCOUT_COMMANDS = {
    "clipped.jpg": ("--clipped", "off"),
    "recovered.jpg": (
        *("--white", "25", "--lamp", "147,415,globe", "--lamp", "502,62,bulb"),
        *("--lamp", "1128,110,bulb", "--lamp", "916,110,bulb", "--lamp", "352,115,bulb"),
    ),
}


def main(folder: str = str(HERE / "pictures")) -> None:
    """Run each command, and put its picture where the README looks for it."""
    Path(folder).mkdir(parents=True, exist_ok=True)
    for name, command in COMMANDS.items():
        out = str(Path(folder) / name)
        subprocess.run(
            [*PROGRAM, *command, *CAMERA, "--out", out, "--overwrite", "--quality", "82"],
            check=True,
        )
    for name, command in OTHERS.items():
        subprocess.run([*PROGRAM, *command, str(Path(folder) / name)], check=True)
    board(Path(folder))
    with tempfile.TemporaryDirectory() as scratch:
        scout = str(Path(scratch) / "scout.jpg")
        subprocess.run(
            [*PROGRAM, "apply", SCENE, "--look", "slate-roof:0", *CAMERA, "--out", scout],
            check=True,
        )
        for name, options in SCOUT_COMMANDS.items():
            command = ("apply", scout, "--look", "harbour-night:1/2", *LENS, *options)
            out = ("--out", str(Path(folder) / name), "--overwrite", "--quality", "82")
            subprocess.run([*PROGRAM, *command, *out], check=True)
    traced = str(Path(folder) / "haze-traced.jpg")
    subprocess.run([sys.executable, str(HERE / "haze_beside_traced.py"), traced], check=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
