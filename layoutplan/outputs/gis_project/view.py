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
        """Rectangle so many times as wide and high, about the same middle.

        Parameters
        ----------
        times : float
            > 0. [-]

        Returns
        -------
        Extent

        Examples
        --------
        >>> Extent(0.0, 0.0, 100.0, 50.0).around(2.0)
        Extent(west=-50.0, south=-25.0, east=150.0, north=75.0)
        """
        return self.resized(self.width * times, self.height * times)

    def resized(self, width: float, height: float) -> Extent:
        """Rectangle of another size about the same middle.

        Parameters
        ----------
        width, height : float
            In units of the grid.

        Returns
        -------
        Extent
        """
        x, y = (self.west + self.east) / 2, (self.south + self.north) / 2
        return Extent(x - width / 2, y - height / 2, x + width / 2, y + height / 2)

    def named(self) -> dict[str, float]:
        """Bounds by their names in documents.

        Returns
        -------
        dict of str to float
            In units of the grid.

        Examples
        --------
        >>> Extent(0.0, 0.0, 100.0, 50.0).named()
        {'xmin': 0.0, 'ymin': 0.0, 'xmax': 100.0, 'ymax': 50.0}
        """
        return {"xmin": self.west, "ymin": self.south, "xmax": self.east, "ymax": self.north}


def plan_extent(plan: Plan, crs: pyproj.CRS) -> Extent:
    """Rectangle around towers and stakes in a projected system.

    Parameters
    ----------
    plan : Plan
        With towers and electrodes.
    crs : CRS
        Projected.

    Returns
    -------
    Extent
        At least 400 m wide and high.
    """
    unit_m = projected_unit_m(crs)
    places = np.vstack([plan.towers[["lon", "lat"]], plan.electrodes[["lon", "lat"]]]).astype(float)
    if not len(places):
        return Extent(0.0, 0.0, _LEAST_M / unit_m, _LEAST_M / unit_m)
    x, y = pyproj.Transformer.from_crs(4326, crs, always_xy=True).transform(*places.T)
    found = Extent(x.min(), y.min(), x.max(), y.max())
    return found.resized(max(found.width, _LEAST_M / unit_m), max(found.height, _LEAST_M / unit_m))


def projected_unit_m(crs: pyproj.CRS) -> float:
    """Length of the unit of a projected system's axes.

    Parameters
    ----------
    crs : CRS
        Projected.

    Returns
    -------
    float
        [m]

    Examples
    --------
    >>> projected_unit_m(pyproj.CRS("EPSG:25832")), round(projected_unit_m(pyproj.CRS("EPSG:2263")), 6)  # feet
    (1.0, 0.304801)
    """
    return float(crs.axis_info[0].unit_conversion_factor)


def round_up(value: float, steps: Sequence[float]) -> float:
    """Next number not below ``value`` that is one of the steps times a power of ten.

    Parameters
    ----------
    value : float
        > 0.
    steps : sequence of float
        From 1 to below 10, ascending.

    Returns
    -------
    float

    Examples
    --------
    >>> round_up(4200.0, SCALE_STEPS), round_up(7600.0, SCALE_STEPS)
    (5000.0, 10000.0)
    """
    power = 10.0 ** np.floor(np.log10(value))
    return float(next((step * power for step in steps if value <= step * power * (1 + 1e-9)), 10 * power))


def round_down(value: float, steps: Sequence[float]) -> float:
    """Next number not above ``value`` that is one of the steps times a power of ten.

    Parameters
    ----------
    value : float
        > 0.
    steps : sequence of float
        From 1 to below 10, ascending.

    Returns
    -------
    float

    Examples
    --------
    >>> round_down(430.0, BAR_STEPS)
    250.0
    """
    power = 10.0 ** np.floor(np.log10(value) + 1e-12)
    return float(max(step * power for step in steps if step * power <= value * (1 + 1e-9)))
