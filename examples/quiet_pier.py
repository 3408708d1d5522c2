"""A look of one's own on the café, from Python: python examples/quiet_pier.py [OUT]."""

from __future__ import annotations

import sys
from pathlib import Path

import frontglass as fg

HERE = Path(__file__).parent


def main(out: str = "quiet-pier.png") -> None:
    """Render the café through two looks, one from a file, and write it."""
    still = fg.read_picture(HERE / "cafe_1280.exr", exposure_stops=2.5)
    looks = [fg.read_look(HERE / "quiet-pier.toml").at("1/2"), fg.read_look("powder-room").at(1)]
    seen = fg.render(still, looks, camera=fg.Camera.from_field(52))
    for notice in fg.write_picture(out, seen):
        print(notice)


if __name__ == "__main__":
    main(*sys.argv[1:])
