"""The projected grid of survey and drawing files: its axes and unit, positions in it, and how they were come by."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj
import shapely
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import OutputError
from layoutplan.inputs.geodetic import accuracy_m
from layoutplan.layout.model import Plan
from layoutplan.outputs.gpkg import named_crs

_WGS84 = "EPSG:4326"


@dataclass(frozen=True, slots=True)
class Unit:
    """Unit of length of a grid.

    Attributes
    ----------
    name, symbol : str
        In words, and for column names.
    metres : float
        Length of the unit. [m]
    dxf_code : int
        ``$INSUNITS`` of a drawing in this unit; 0 if there is none.
    metric : bool
    """

    name: str
    symbol: str
    metres: float
    dxf_code: int
    metric: bool


# Both feet are exact by definition and differ by 2 parts in a million. Codes of $INSUNITS: DXF reference, header
# section.
_UNITS = (
    Unit("metre", "m", 1.0, 6, True),
    Unit("international foot (0.3048 m)", "ft", 0.3048, 2, False),
    Unit("US survey foot (1200/3937 m)", "us_ft", 1200 / 3937, 21, False),
)


@dataclass(frozen=True, slots=True)
class Grid:
    """Grid of eastings and northings.

    Attributes
    ----------
    crs : CRS
        Its horizontal part.
    unit : Unit
    """

    crs: pyproj.CRS
    unit: Unit

    @property
    def code(self) -> str:
        """Authority and code, ``EPSG:25832``; empty if it has none."""
        return ":".join(self.crs.to_authority(min_confidence=100) or ())

    def positions(self, lonlat_deg: ArrayLike) -> FloatArray:
        """Easting and northing of WGS 84 positions.

        Parameters
        ----------
        lonlat_deg : array_like, shape (n, 2)
            Longitude and latitude, of any turn. [deg]

        Returns
        -------
        ndarray, shape (n, 2)
            In the grid's unit.

        Raises
        ------
        OutputError
            If the grid does not reach them.

        Examples
        --------
        The middle meridian of UTM zone 32 has an easting of 500 km:

        >>> utm = Grid(pyproj.CRS("EPSG:32632"), Unit("metre", "m", 1.0, 6, True))
        >>> print(utm.positions([[9.0, 0.0]]).round(3) + 0.0, "m")
        [[500000.      0.]] m
        """
        lonlat = np.asarray(lonlat_deg, dtype=float).reshape(-1, 2)
        lon = np.mod(lonlat[:, 0] + 180.0, 360.0) - 180.0
        placed = np.column_stack(_transformer(self.crs).transform(lon, lonlat[:, 1]))
        if not np.isfinite(placed).all():
            raise OutputError(
                f"job key 'output.grid_crs': '{self.crs.name}' does not reach the whole plan. Choose a projected "
                "system that covers the line."
            )
        return placed

    def shapes(self, geometries: ArrayLike) -> NDArray[np.object_]:
        """WGS 84 geometries in the grid.

        Parameters
        ----------
        geometries : array_like of Geometry, shape (n,)
            Longitude and latitude. [deg]

        Returns
        -------
        ndarray of Geometry, shape (n,)
            In the grid's unit.

        Raises
        ------
        OutputError
            If the grid does not reach them.
        """
        return np.asarray(shapely.transform(np.asarray(geometries, dtype=object), self.positions), dtype=object)

    def operations(self, lonlat_deg: ArrayLike) -> list[str]:
        """In words, the transformations from WGS 84 that hold at some positions, each with its stated accuracy.

        Parameters
        ----------
        lonlat_deg : array_like, shape (n, 2)
            Longitude and latitude. [deg]

        Returns
        -------
        list of str
            As PROJ names them.
        """
        transformer = _transformer(self.crs)
        found: dict[str, float] = {}
        for lon, lat in np.asarray(lonlat_deg, dtype=float).reshape(-1, 2).tolist():
            transformer.transform((lon + 180.0) % 360.0 - 180.0, lat)
            used = transformer.get_last_used_operation()
            found[_steps(used)] = accuracy_m(used)
        return [f"{name}; {_accuracy(metres)}" for name, metres in found.items()]


def grid_of(plan: Plan) -> Grid:
    """Grid of a plan.

    Parameters
    ----------
    plan : Plan
        With its ``grid_crs``.

    Returns
    -------
    Grid

    Raises
    ------
    OutputError
        If it is no projected system whose axes run east and north; eastings and northings would be wrong in it.
    """
    crs = _horizontal(named_crs(plan.grid_crs, "output.grid_crs"))
    axes = crs.axis_info[:2]
    runs = sorted(axis.direction.lower() for axis in axes)
    if not crs.is_projected or runs != ["east", "north"]:
        what = f"its axes run {' and '.join(runs)}" if crs.is_projected else "it is not a projected system"
        raise OutputError(
            f"job key 'output.grid_crs': '{plan.grid_crs}' gives no eastings and northings ({what}). Choose a "
            "projected system with axes to the east and north, or take 'survey' and 'dxf' out of output.formats."
        )
    return Grid(crs, _unit(axes[0].unit_name, axes[0].unit_conversion_factor))


def _horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    return crs.sub_crs_list[0] if crs.is_compound else crs


def _unit(name: str, metres: float) -> Unit:
    """Go by the length: files call the same unit by many names."""
    for unit in _UNITS:
        if math.isclose(unit.metres, metres, rel_tol=1e-9):
            return unit
    return Unit(f"{name} ({metres:.12g} m)", "units", metres, 0, False)


def _transformer(crs: pyproj.CRS) -> pyproj.Transformer:
    return pyproj.Transformer.from_crs(_WGS84, crs, always_xy=True)  # as the plan's own eastings and northings


def _steps(used: pyproj.Transformer) -> str:
    """Name the steps one by one: how PROJ words the whole, and the order of axes in it, depends on its version."""
    names = [step.name for step in used.operations or ()] or [used.description]
    return " + ".join(name for name in names if not name.startswith("axis order change"))


def _accuracy(metres: float) -> str:
    if metres < 0:
        return "accuracy unknown, metres may be lost"
    return f"stated accuracy {metres:g} m" if metres else "no change of datum"
