"""``frontglass match --among``: which looks may stand in for one."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import frontglass as fg
from frontglass.cli.progress import shown
from frontglass.cli.texts import Record, named, table
from frontglass.errors import LookError
from frontglass.measurement.match import Effects
from frontglass.measurement.stand_ins import Ranking, StandIn
from frontglass.units import strength_text

ALL = "all"


def candidates(among: Sequence[str]) -> list[fg.Look]:
    """Return the looks that "all", names, look files and folders of them name, each once."""
    looks: list[fg.Look] = []
    for name in among:
        if name == ALL:
            looks += fg.catalogue()
        elif Path(name).is_dir():
            files = sorted(Path(name).glob("*.toml"))
            found = [look for look in map(_look_in, files) if look is not None]
            if not found:
                msg = f"{name}: holds no look (a .toml file with elements)."
                raise LookError(msg)
            looks += found
        else:
            looks.append(fg.read_look(name))
    return list({look.name: look for look in looks}.values())


def _look_in(path: Path) -> fg.Look | None:
    """Return the look in a file; None if it is a file of something else, such as a scene."""
    try:
        with path.open("rb") as file:
            is_look = "element" in tomllib.load(file)
    except (OSError, ValueError):
        is_look = True  # Reading it as a look says what is wrong.
    return fg.read_look(path) if is_look else None


def looked_through(looks: Sequence[fg.Look]) -> Iterator[fg.Look]:
    """Hand on looks one by one, and show meanwhile how far it is."""
    return shown(looks, lambda look: look.name)


def ranking_lines(found: Ranking) -> Iterator[str]:
    """Yield a ranking in lines of text."""
    head = ["", "look", "closest", "apart", "stock", "apart", *EFFECTS, "also different"]
    wanted = ["", found.reference.name, strength_text(found.reference.strength), "", "", ""]
    rows = [_row(number, one) for number, one in enumerate(found.stand_ins, 1)]
    yield table([head, [*wanted, *_effects(found.wanted), ""], *rows])
    yield ""
    yield "halo: of a lamp's light, 0.1 to 3 degrees away; on a still, light round its lamps."
    yield "apart: octaves between both, of halo, black lift, texture lost and halo width."
    if any(not one.is_measured for one in found.stand_ins):
        yield "~ by closed forms; the others are measured."
    for name, reason in found.left_out:
        yield f"left out: {name}, which {reason}."


EFFECTS = ("halo, %", "black, stops", "texture, %", "loss, stops")


def _effects(effects: Effects) -> list[str]:
    return [
        f"{100 * effects.halo:.2f}",
        f"+{effects.black_stops:.2f}",
        f"-{100 * effects.texture:.1f}",
        f"{effects.light_loss_stops:.2f}",
    ]


def _row(number: int, one: StandIn) -> list[str]:
    about = "" if one.is_measured else "~"
    return [
        str(number),
        one.look.name,
        f"{about}{one.look.strength:.2g}",
        f"{one.apart:.2f}",
        strength_text(one.stock.strength),
        f"{one.stock_apart:.2f}",
        *_effects(one.effects),
        ", ".join(one.words),
    ]


def ranking_record(found: Ranking) -> Record:
    """Return a ranking as a script wants to read it."""
    return {
        "reference": named(found.reference),
        "wanted": {**asdict(found.wanted), "half_deg": found.half_deg},
        "stand_ins": [
            {
                **named(one.look),
                "apart_octaves": one.apart,
                "effects": {**asdict(one.effects), "half_deg": one.half_deg},
                "stock": one.stock.strength,
                "stock_apart_octaves": one.stock_apart,
                "measured": one.is_measured,
                "also_different": list(one.words),
            }
            for one in found.stand_ins
        ],
        "left_out": dict(found.left_out),
    }
