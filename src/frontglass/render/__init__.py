"""From a picture and looks to the picture seen through them."""

from __future__ import annotations

from frontglass.render.render import Compensation, render
from frontglass.render.spread import Surround

__all__ = ["Compensation", "Surround", "render"]
