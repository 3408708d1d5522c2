"""Preview diffusion glass, nets, grease, glare and haze on stills, in linear light.

Names below are loaded when first used, so that ``import frontglass`` costs nothing:
numpy, scipy and the picture formats come in with the first still.

Examples
--------
>>> import frontglass as fg
>>> round(fg.Camera(focal_length_mm=50, sensor_width_mm=24.9).horizontal_field_deg, 1)
28.0
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from frontglass.batch.run import render_batch
    from frontglass.choices import Surround
    from frontglass.errors import (
        AccuracyWarning,
        FrontglassError,
        LookError,
        ParameterError,
        PictureFileError,
    )
    from frontglass.files import NonFinite, read_picture, write_picture
    from frontglass.looks import Look, catalogue, look_names, read_look
    from frontglass.measurement.match import Criterion, match, meter_on_targets
    from frontglass.measurement.measure import LookMeasures, measure
    from frontglass.optics.camera import Camera, ShotData, choose_camera
    from frontglass.picture.bracket import MergedBracket, merged_bracket
    from frontglass.picture.lamps import Lamp, LampMark, Recovery, with_recovered_light
    from frontglass.picture.picture import Picture
    from frontglass.picture.region import Region
    from frontglass.pipeline.light_path import render
    from frontglass.pipeline.recipe import Framing, Recipe, RenderedStill, render_file
    from frontglass.pipeline.space import Space
    from frontglass.sheets.compare import compare
    from frontglass.sheets.ladder import ladder
    from frontglass.sheets.sheet import Sheet, write_sheet

__all__ = [
    "AccuracyWarning",
    "Camera",
    "Criterion",
    "Framing",
    "FrontglassError",
    "Lamp",
    "LampMark",
    "Look",
    "LookError",
    "LookMeasures",
    "MergedBracket",
    "NonFinite",
    "ParameterError",
    "Picture",
    "PictureFileError",
    "Recipe",
    "Recovery",
    "Region",
    "RenderedStill",
    "Sheet",
    "ShotData",
    "Space",
    "Surround",
    "__version__",
    "catalogue",
    "choose_camera",
    "compare",
    "ladder",
    "look_names",
    "match",
    "measure",
    "merged_bracket",
    "meter_on_targets",
    "read_look",
    "read_picture",
    "render",
    "render_batch",
    "render_file",
    "with_recovered_light",
    "write_picture",
    "write_sheet",
]

_HOMES = {
    "frontglass.pipeline.recipe": ("Framing", "Recipe", "RenderedStill", "render_file"),
    "frontglass.batch.run": ("render_batch",),
    "frontglass.pipeline.space": ("Space",),
    "frontglass.errors": (
        "AccuracyWarning",
        "FrontglassError",
        "LookError",
        "ParameterError",
        "PictureFileError",
    ),
    "frontglass.files": ("NonFinite", "read_picture", "write_picture"),
    "frontglass.measurement.match": ("Criterion", "meter_on_targets", "match"),
    "frontglass.measurement.measure": ("LookMeasures", "measure"),
    "frontglass.looks": ("Look", "catalogue", "look_names", "read_look"),
    "frontglass.optics.camera": ("Camera", "ShotData", "choose_camera"),
    "frontglass.picture.bracket": ("MergedBracket", "merged_bracket"),
    "frontglass.picture.lamps": ("Lamp", "LampMark", "Recovery", "with_recovered_light"),
    "frontglass.picture.picture": ("Picture",),
    "frontglass.choices": ("Surround",),
    "frontglass.pipeline.light_path": ("render",),
    "frontglass.picture.region": ("Region",),
    "frontglass.sheets.compare": ("compare",),
    "frontglass.sheets.ladder": ("ladder",),
    "frontglass.sheets.sheet": ("Sheet", "write_sheet"),
}


def __getattr__(name: str) -> object:
    if name == "__version__":
        from importlib.metadata import version

        return version("frontglass")
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(home), name)
    msg = f"module 'frontglass' has no attribute {name!r}"
    raise AttributeError(msg)


def __dir__() -> list[str]:
    return __all__
