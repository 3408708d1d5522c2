"""Preview diffusion glass, nets, grease, glare and haze on stills, in linear light.

Names are loaded when first used, so that ``import frontglass`` costs nothing: numpy, scipy and the
picture formats come in with the first still. Which names there are, and where each lives, is
written once, in the stub ``__init__.pyi`` beside this file.

Examples
--------
>>> import frontglass as fg
>>> round(fg.Camera(focal_length_mm=50, sensor_width_mm=24.9).horizontal_field_deg, 1)
28.0
"""

from __future__ import annotations

from functools import cache
from importlib import import_module


def __getattr__(name: str) -> object:
    if name == "__version__":
        from importlib.metadata import version

        return version("frontglass")
    if name == "__all__":
        return __dir__()
    home = _homes().get(name)
    if home is None:
        msg = f"module 'frontglass' has no attribute {name!r}"
        raise AttributeError(msg)
    return getattr(import_module(home), name)


def __dir__() -> list[str]:
    return sorted([*_homes(), "__version__"])


@cache
def _homes() -> dict[str, str]:
    """Return the module of every public name, as the stub says."""
    import re
    from pathlib import Path

    stub = Path(__file__).with_suffix(".pyi").read_text(encoding="utf-8")
    return {name: home for home, name in re.findall(r"^from (\S+) import (\w+)", stub, re.M)}
