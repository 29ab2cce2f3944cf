"""What part of the ground a map shows, and at which scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyproj

from layoutplan.layout.model import Plan

_LEAST_M = 400.0  # of a plan of one tower
BAR_STEPS = (1.0, 2.0, 2.5, 5.0)
SCALE_STEPS = (1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5)


@dataclass(frozen=True, slots=True)
class Extent:
    """A rectangle in the units of a grid."""

    west: float
    south: float
    east: float
    north: float

    @property
    def width(self) -> float:
        """From west to east."""
        return self.east - self.west

    @property
    def height(self) -> float:
        """From south to north."""
        return self.north - self.south

    def around(self, times: float) -> Extent:
        """Rectangle so many times as wide and high, about the same middle."""
        return self.resized(self.width * times, self.height * times)

    def resized(self, width: float, height: float) -> Extent:
        """Rectangle of another size about the same middle."""
        x, y = (self.west + self.east) / 2, (self.south + self.north) / 2
        return Extent(x - width / 2, y - height / 2, x + width / 2, y + height / 2)

    def named(self) -> dict[str, float]:
        """Bounds by their names in documents."""
        return {"xmin": self.west, "ymin": self.south, "xmax": self.east, "ymax": self.north}


def plan_extent(plan: Plan, crs: pyproj.CRS) -> Extent:
    """Rectangle around towers and stakes in a projected system."""
    unit_m = projected_unit_m(crs)
    places = np.vstack([plan.towers[["lon", "lat"]], plan.electrodes[["lon", "lat"]]]).astype(float)
    if not len(places):
        return Extent(0.0, 0.0, _LEAST_M / unit_m, _LEAST_M / unit_m)
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(*places.T)
    found = Extent(x.min(), y.min(), x.max(), y.max())
    return found.resized(max(found.width, _LEAST_M / unit_m), max(found.height, _LEAST_M / unit_m))


def projected_unit_m(crs: pyproj.CRS) -> float:
    """Length of the unit of a projected system's axes."""
    return float(crs.axis_info[0].unit_conversion_factor)


def round_up(value: float, steps: Sequence[float]) -> float:
    """Next number not below ``value`` that is one of the steps, from 1 to below 10, times a power of ten."""
    power = 10.0 ** np.floor(np.log10(value))
    return float(next((step * power for step in steps if value <= step * power * (1 + 1e-9)), 10 * power))


def round_down(value: float, steps: Sequence[float]) -> float:
    """Next number not above ``value``, as in `round_up`."""
    power = 10.0 ** np.floor(np.log10(value) + 1e-12)
    return float(max(step * power for step in steps if step * power <= value * (1 + 1e-9)))
