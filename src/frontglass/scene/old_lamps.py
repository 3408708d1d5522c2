"""`lamps.toml`, where lamps of stills were kept before there were scenes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from frontglass.errors import FrontglassError, ParameterError
from frontglass.picture.marks import marks_from_texts
from frontglass.scene.marks import SceneLamp
from frontglass.scene.parts import SceneStill
from frontglass.scene.scene import Scene
from frontglass.strict_toml import check_keys, document_of, text_of

OLD_NAME = "lamps.toml"
KEYS = ("white", "lamps", "lamp")


def scene_from_old_lamps(path: Path) -> Scene:
    """Scene that says what `lamps.toml` says: one table for each still, under its file's name.

    Examples
    --------
    ::

        ["night1.jpg"]
        white = 30                        # cd/m2
        lamps = "bulb"                    # what all are that have no mark
        lamp = ["363,397,candle", "80,90,8"]
    """
    document = document_of(text_of(path, "a list of lamps"), str(path))
    stills = []
    for name, table in document.items():
        if not isinstance(table, dict):
            hint = f'put it under the name of a still, such as ["{name}.jpg"]'
            raise FrontglassError(f"{path}: {name!r} stands alone; {hint}.")
        if not path.with_name(name).is_file():
            raise FrontglassError(f"{path}: no still {name!r} lies beside it; name it as it is.")
        origin = f"{path}: {name}"
        check_keys(table, KEYS, (), origin)
        try:
            stills.append(_still(name, table))
        except ParameterError as error:
            raise FrontglassError(f"{origin}: {error}") from None
    return Scene(stills=tuple(stills), path=path)


def _still(name: str, table: Mapping[str, Any]) -> SceneStill:
    texts = table.get("lamp", [])
    if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
        raise ParameterError("lamp", 'a list of texts such as "80,90,bulb"', texts)
    return SceneStill(
        file=name,
        white_cd_per_m2=table.get("white"),
        others=table.get("lamps"),
        lamps=lamps_from_texts(texts),
    )


def lamps_from_texts(texts: list[str]) -> tuple[SceneLamp, ...]:
    """Lamps of texts "X,Y[,METRESm][,STOPS|KIND]"; of two at one place the last.

    Examples
    --------
    >>> lamps_from_texts(["640,212,4.5m"])[0].distance_m
    4.5
    """
    lamps: dict[tuple[float, float], SceneLamp] = {}
    for text in texts:
        places, levels = marks_from_texts([text])
        at = (places or levels)[0]
        lamp = SceneLamp(
            at_px=(at.x_px, at.y_px),
            kind=levels[0].kind if levels else None,
            stops=levels[0].stops if levels else None,
            distance_m=places[0].distance_m if places else None,
            in_haze=bool(places) and places[0].distance_m is None,
        )
        lamps.pop(lamp.at_px, None)
        lamps[lamp.at_px] = lamp
    return tuple(lamps.values())
