"""Older names, until nothing asks for them."""

from frontglass.convolution.filters import Filter as Halo
from frontglass.convolution.filters import ScatterFilter as ScatterHalo
from frontglass.convolution.pixels import gaussian_alias_sum

__all__ = ["Halo", "ScatterHalo", "gaussian_alias_sum"]
