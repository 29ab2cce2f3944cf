"""The text of side-cars of survey and drawing files: system, unit, heights, grid and ground, cautions."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import FloatArray
from layoutplan.layout.model import Plan
from layoutplan.outputs.grid import Grid, Unit
from layoutplan.outputs.grid_factors import MEAN_RADIUS_M, GridFactors
from layoutplan.text import clean

_SOURCE = "J. E. Stem, State Plane Coordinate System of 1983, NOAA Manual NOS NGS 5, section 4"
_FEET = (
    "The US survey foot and the international foot differ by 2 parts in a million: 0.6 m at 300 km. Set the controller "
    "to the one named here."
)


def coordinate_notes(grid: Grid, lonlat_deg: ArrayLike) -> Iterator[str]:
    """System, unit and the way from WGS 84.

    Parameters
    ----------
    grid : Grid
        Of the plan.
    lonlat_deg : array_like, shape (n, 2)
        Its points. [deg]

    Yields
    ------
    str
        One line each.
    """
    yield "COORDINATES"
    name = "without a name, see its definition" if grid.crs.name == "unknown" else clean(grid.crs.name)
    yield f"Reference system: {' '.join(filter(None, (grid.code, name)))}"
    if not grid.code:
        yield f"Definition (WKT): {clean(grid.crs.to_wkt())}"
    yield f"Unit of eastings, northings and elevations: {grid.unit.name}"
    if not grid.unit.metric:
        yield _FEET
    for operation in grid.operations(lonlat_deg):
        yield f"From WGS 84 by: {clean(operation)}"
    yield (
        "The positions were planned on maps in WGS 84 and are good to some metres, whatever their decimals. Tie in to "
        "control before setting out."
    )


def height_notes(unit: Unit, elevation_m: ArrayLike) -> Iterator[str]:
    """Where elevations come from, and how many there are.

    Parameters
    ----------
    unit : Unit
        Of the elevations as written.
    elevation_m : array_like, shape (n,)
        NaN where unknown. [m]

    Yields
    ------
    str
        One line each.

    Examples
    --------
    >>> list(height_notes(Unit("metre", "m", 1.0, 6, True), [float("nan")]))[1]
    'Unknown: no elevation model reaches the points. The column is empty; that does not stand for zero.'
    """
    known = np.isfinite(np.asarray(elevation_m, dtype=float))
    yield "ELEVATIONS"
    if not known.any():
        yield "Unknown: no elevation model reaches the points. The column is empty; that does not stand for zero."
        return
    if not known.all():
        yield f"Unknown at {np.sum(~known)} of {len(known)} points: empty there; that does not stand for zero."
    yield f"Out of the job's elevation model, in {unit.name}; not surveyed."
    yield "Height datum: unknown to this program, the one of the elevation model; ask its publisher."


def factor_notes(factors: GridFactors) -> Iterator[str]:
    """Combined factor, convergence, and how to go from grid to ground.

    Parameters
    ----------
    factors : GridFactors
        At the points.

    Yields
    ------
    str
        One line each.
    """
    yield "GRID AND GROUND"
    yield f"Grid scale factor: {_range(factors.scale)}"
    if np.isnan(factors.scale).any():
        yield "Unknown where the projection is not conformal: there the scale depends on the direction."
    yield f"Elevation factor: {_range(factors.elevation)}"
    yield f"Combined scale factor: {_range(factors.combined)}"
    yield (
        f"Combined = grid scale factor x elevation factor; elevation factor = R / (R + h), R = {MEAN_RADIUS_M:.0f} m. "
        f"Source: {_SOURCE}. The grid scale factor is that at the point."
    )
    if np.isnan(factors.elevation).any():
        yield (
            "Where the elevation is unknown, so is the combined factor: 100 m of height change it by 16 parts in a "
            "million."
        )
    if np.isfinite(factors.elevation).any():
        yield (
            "h is the elevation as it is. If that is above sea level and not above the ellipsoid, 30 m of geoid height "
            "change the factor by 5 parts in a million."
        )
    yield f"Meridian convergence: {_range(factors.convergence_deg, 5, '°')}; grid bearing = true bearing - convergence."
    yield (
        "All coordinates are grid coordinates; nothing was scaled to ground. Grid length = horizontal length on the "
        "ground x combined factor. The plan's distances are lengths on the ellipsoid: grid length / grid scale factor."
    )


def caution_notes(plan: Plan) -> Iterator[str]:
    """What holds for every file that leads a crew to a place.

    Parameters
    ----------
    plan : Plan
        With its cautions.

    Yields
    ------
    str
        One line each.
    """
    yield "CAUTIONS"
    yield "These are proposals off a map. Local codes, the asset owner's rules and licensed practice take precedence."
    yield "A point whose status is not 'all rules met' must not be staked before its reasons (stakes.csv) are settled."
    yield from (clean(caution) for caution in plan.cautions)


def _range(values: FloatArray, decimals: int = 8, sign: str = "") -> str:
    known = values[np.isfinite(values)]
    if not len(known):
        return "unknown"
    low, mean, high = (f"{value:.{decimals}f}{sign}" for value in (known.min(), known.mean(), known.max()))
    missing = f", unknown at {len(values) - len(known)} of {len(values)} points" if len(known) < len(values) else ""
    return f"{low} to {high}, mean {mean}{missing}"
