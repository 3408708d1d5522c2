"""What was learned of a glass in words, as a record, and in files."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import frontglass as fg
from frontglass.cli.texts import Record, table
from frontglass.learning.learn import LearnedPair
from frontglass.sheets.learned import ShownKernel, ShownPair, learned_sheet
from frontglass.units import strength_text

GREEN = 1


def name_of(out: Path) -> str:
    """Name of a look from that of its file: what a look's name may not hold becomes a hyphen."""
    name = re.sub(r"[^a-z0-9]+", "-", out.stem.lower()).strip("-")
    return name or "my-glass"


def writers(
    learned: fg.Learned, out: Path, picture: Path | None
) -> dict[Path, Callable[[str], object]]:
    """Return what fills each file: the look, and the sheet if one was asked for."""
    text = learned.look.to_toml()
    found: dict[Path, Callable[[str], object]] = {
        out: lambda beside: Path(beside).write_text(text, encoding="utf-8")
    }
    if picture is not None:
        sheet = sheet_of(learned)
        found[picture] = lambda beside: fg.write_sheet(beside, sheet)
    return found


def learned_lines(learned: fg.Learned, out: Path, picture: Path | None) -> Iterator[str]:
    """Yield what was learned in lines of text."""
    yield str(out)
    if picture is not None:
        yield str(picture)
    yield ""
    yield from _numbers(learned)
    yield ""
    yield table(
        [
            ["pair", "piece", "left over", "shift, px", "turn", "scale", "exposure", "left out"],
            *(_row(pair) for pair in learned.pairs),
        ]
    )
    yield ""
    yield from learned.told


def _numbers(learned: fg.Learned) -> Iterator[str]:
    yield (
        f"scattered beyond {learned.near_deg:.2g} degrees:"
        f" {100 * learned.scattered_share:.1f} % of green light"
        f" (+- {100 * learned.scattered_deviation:.1f}), of the first piece."
    )
    yield f"veil: {100 * learned.veil_share:.2f} % (+- {100 * learned.veil_deviation:.2f})."


def _row(pair: LearnedPair) -> list[str]:
    return [
        pair.name,
        strength_text(pair.strength),
        f"{pair.residual_stops:.3f} stops",
        f"{pair.right_px:+.2f} {pair.down_px:+.2f}",
        f"{pair.turn_deg:+.3f} degrees",
        f"{pair.scale:.4f}",
        f"{pair.exposure_stops:+.2f} stops",
        f"{100 * (1 - pair.held.mean()):.0f} %",
    ]


def learned_record(learned: fg.Learned, out: Path, picture: Path | None) -> Record:
    """Return what was learned as a script wants to read it."""
    return {
        "out": str(out),
        "picture": None if picture is None else str(picture),
        "name": learned.look.name,
        "near_deg": learned.near_deg,
        "scattered_share": learned.scattered_share,
        "scattered_deviation": learned.scattered_deviation,
        "veil_share": learned.veil_share,
        "veil_deviation": learned.veil_deviation,
        "is_nothing": learned.is_nothing,
        "angles_deg": learned.angles_deg.tolist(),
        "shares": learned.shares.tolist(),
        "deviations": learned.deviations.tolist(),
        "pairs": [_pair_record(pair) for pair in learned.pairs],
        "told": list(learned.told),
    }


def _pair_record(pair: LearnedPair) -> dict[str, Any]:
    keys = "name strength residual_stops moved_share right_px down_px turn_deg scale exposure_stops"
    return {key: getattr(pair, key) for key in keys.split()}


def sheet_of(learned: fg.Learned) -> fg.Sheet:
    """Sheet of what was learned."""
    pairs = [
        ShownPair(
            title=f"{pair.name}: {pair.residual_stops:.3f} stops rms left over",
            bare=pair.bare,
            with_glass=pair.with_glass,
            predicted=pair.predicted,
            difference_stops=pair.difference_stops,
            held=pair.held,
        )
        for pair in learned.pairs
    ]
    kernel = ShownKernel(
        angles_deg=learned.angles_deg,
        shares=learned.shares[GREEN],
        deviations=learned.deviations[GREEN],
    )
    texts = (*_numbers(learned), *learned.told)
    return learned_sheet(f"{learned.look.name}, learned", texts, pairs, kernel)
