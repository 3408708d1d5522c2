"""A lobe that was measured: densities at angles, for each channel if they differ."""

from __future__ import annotations

from dataclasses import dataclass

from frontglass.elements.lobes import WIDEST_DEG, Lobe
from frontglass.errors import ParameterError
from frontglass.optics.profiles import Profile
from frontglass.optics.table import Table, check_densities, check_rising
from frontglass.units import rad_from_deg

Row = tuple[float, ...]
GREEN = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class TableLobe(Lobe):
    """A halo as it was measured: its density at some angles.

    Parameters
    ----------
    angles_deg : tuple of float
        Rising; 2 to 256 of them. [degree], in (0, 60].
    densities : tuple of float
        Light per solid angle at each; only their ratios count. The last is 0. [1], >= 0.
    red_densities, blue_densities : tuple of float or None
        Those of red and blue where they have another shape.

    Raises
    ------
    ParameterError
        If the numbers of angles and densities differ, angles do not rise, or there is no light.

    Notes
    -----
    Within the first angle the density is even, beyond the last there is none; see `optics.table`
    for what is between.

    Examples
    --------
    >>> import math, frontglass as fg
    >>> lobe = fg.TableLobe(angles_deg=(0.1, 0.2, 0.4, 0.8), densities=(8, 4, 1, 0))
    >>> round(math.degrees(lobe.profile(1).half_energy_radius_rad), 2)
    0.23
    """

    angles_deg: Row
    densities: Row
    red_densities: Row | None = None
    blue_densities: Row | None = None

    def __post_init__(self) -> None:
        Lobe.__post_init__(self)
        check_rising("angles_deg", self.angles_deg)
        if self.angles_deg[-1] > WIDEST_DEG:
            rule = f"at most {WIDEST_DEG:g}"
            raise ParameterError("angles_deg", rule, self.angles_deg[-1], "Farther out is a veil.")
        for name in ("densities", "red_densities", "blue_densities"):
            own = getattr(self, name)
            if own is not None or name == "densities":
                check_densities(name, own, len(self.angles_deg))

    def shape(self) -> Profile:
        """Return the profile at 540 nm."""
        return self.own_shape(GREEN)

    def own_shape(self, channel: int) -> Profile:
        """See `Lobe`."""
        own = (self.red_densities, None, self.blue_densities)[channel] or self.densities
        angles = tuple(float(rad_from_deg(angle)) for angle in self.angles_deg)
        return Table(angles_rad=angles, densities=own)
