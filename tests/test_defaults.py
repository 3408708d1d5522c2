"""What public functions and parts take where nobody says anything: one table.

README and docstrings lean on these; a default that moves changes every script that leans on it.
"""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from typing import Any

import pytest

import frontglass as fg
from frontglass.batch.cluster import Sender
from frontglass.batch.run import Batch, Outcome, planned_batch
from frontglass.batch.work import Job, Made, Task
from frontglass.batch.workers import Limit
from frontglass.choices import PastWhite
from frontglass.picture.curves import ParametricCurve
from frontglass.picture.gain_map import GainMap, LogGain
from frontglass.picture.primaries import BT709
from frontglass.pipeline.rendering import Conditions
from frontglass.sheets.distance_page import distance_sheet
from frontglass.sheets.learned import learned_sheet
from frontglass.sheets.mood import MoodHead
from frontglass.sheets.plots import Axis, Series
from frontglass.sheets.spec import spec_sheet
from frontglass.sheets.sway import sway

RENDERED = {"surround": "lampless", "compensate": True, "grain": True}
SHEET = {**RENDERED, "facts": (), "notices": (), "seen_on": "desk", "ends": (), "progress": iter}

FUNCTIONS: dict[Callable[..., Any], dict[str, Any]] = {
    fg.render: {"camera": None, **RENDERED},
    fg.merged_bracket: {"response": "profile", "alignment": "shift"},
    fg.with_recovered_light: {"recovery": None, "white": 1.0, "camera": None, "is_last": False},
    fg.render_file: {"overwrite": False},
    fg.render_batch: {"choices": None, "processes": None},
    fg.write_sheet: {"quality": None},
    fg.compare: {**SHEET, "watched": (), "numbers": ..., "width_px": 1240},
    fg.ladder: {
        **SHEET,
        "strengths": None,
        "close_ups": (),
        "width_px": None,
        "columns": None,
        "beside": (),
    },
    fg.Picture.from_array: {
        "primaries": BT709,
        "curve": None,
        "white": None,
        "non_finite": "refuse",
    },
    fg.Encoding.srgb: {"sample": "uint8"},
    fg.Recovery.from_text: {"marks": ()},
    fg.OwnDepth.distance_m: {"points": ()},
    Batch.run: {"processes": None, "small": None, "patience_s": None, "cluster": None},
    planned_batch: {
        "choices_of": None,
        "typed": None,
        "suffix": None,
        "naming": "name",
        "again": False,
        "overwrite": False,
    },
    sway: {
        **RENDERED,
        "pan_deg": 1.0,
        "exaggerate": 1.0,
        "width_px": 640,
        "progress": iter,
    },
    distance_sheet: {"notices": (), "width_px": 1600},
    spec_sheet: {"notices": ()},
    learned_sheet: {},
}

PARTS: dict[type, dict[str, Any]] = {
    fg.Framing: {
        **dict.fromkeys(("lens_mm", "f_number", "sensor", "filter_distance_mm"), None),
        **dict.fromkeys(("taking", "aim", "focus_m"), None),
        "lens_from": "file",
    },
    fg.Space: {
        **dict.fromkeys(("depth", "depth_scale_m", "depth_kind", "room", "lamps"), None),
        "points": (),
        "always": False,
    },
    fg.Recipe: {
        **RENDERED,
        **dict.fromkeys(("quality", "encoding", "view", "view_from", "max_megapixels"), None),
        "looks": (),
        "framing": fg.Framing(),
        "space": fg.Space(),
        "exposure_stops": 0.0,
        "non_finite": "refuse",
        "recovery": fg.Recovery(),
        "past_white": "hue",
        "gain_map": "on",
        "damage": "note",
    },
    LogGain: {
        "gamma": (1.0, 1.0, 1.0),
        "base_offset": (0.0, 0.0, 0.0),
        "other_offset": (0.0, 0.0, 0.0),
    },
    GainMap: {"primaries": None},
    ParametricCurve: {"a": 1.0, **dict.fromkeys("bcdef", 0.0)},
    Job: {"choice": 0},
    Made: {"small": b"", "bare": b""},
    Task: {"small": None},
    Outcome: {"is_kept": False},
    Limit: {"later_s": None, "per_megapixel_s": 0.0},
    Sender: {"count": None, "topic": ""},
    Axis: {"tens": False},
    Series: {"number": None},
    MoodHead: dict.fromkeys(("project", "date", "contact", "foot"), ""),
    Conditions: {"camera": None, **RENDERED, "axis_px": None, "again": None},
    fg.Recovery: {
        "clipped": "auto",
        "marks": (),
        "white_cd_per_m2": None,
        "lamp_range": "likely",
    },
    fg.LampMark: {"stops": None, "kind": None},
    fg.LampPlace: {"distance_m": None},
    fg.OwnDepth: {"scale": "about"},
    fg.RenderedStill: {"frame": None},
    fg.Sheet: {"notices": ()},
    fg.Room: {
        "camera_m": 1.5,
        **dict.fromkeys(("back_m", "left_m", "right_m", "ceiling_m"), None),
        **dict.fromkeys(("horizon_px", "vanishing_px"), None),
    },
    fg.Picture: {
        **dict.fromkeys(("distance_m", "recovered", "beyond", "display", "own_depth"), None),
        **dict.fromkeys(("lamps", "wider"), None),
        "primaries": BT709,
        "encoding": ...,  # of floats, which test_picture.py holds
        "shot": fg.ShotData(),
        "lift": 1.0,
        "past_white": PastWhite.HUE,
        "notices": (),
    },
}


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda one: one.__qualname__)
def test_what_a_function_takes_unasked(function: Callable[..., Any]):
    own = inspect.signature(function).parameters.values()
    given = {one.name: one.default for one in own if one.default is not one.empty}
    wanted = FUNCTIONS[function]
    assert set(given) == set(wanted)
    for name, value in wanted.items():
        assert value is ... or given[name] == value, name


@pytest.mark.parametrize("part", PARTS, ids=lambda one: one.__qualname__)
def test_what_a_part_is_unasked(part: type):
    given = {}
    for field in dataclasses.fields(part):
        if field.default is not dataclasses.MISSING:
            given[field.name] = field.default
        elif field.default_factory is not dataclasses.MISSING:
            given[field.name] = field.default_factory()
    wanted = PARTS[part]
    assert {name: ... if wanted.get(name) is ... else one for name, one in given.items()} == wanted
