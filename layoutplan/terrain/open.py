"""Opening the elevation files of a job: what they hold, where they lie, and how far they reach the towers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
from numpy.typing import ArrayLike
from pyproj.exceptions import ProjError

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError, InputError
from layoutplan.inputs.words import counted, listed
from layoutplan.job.terrain import Terrain
from layoutplan.terrain.chart import Chart, Projection, chart_of, projection
from layoutplan.terrain.dem import Dem, elevation_m
from layoutplan.terrain.mosaic import Mosaic, MosaicFile
from layoutplan.terrain.raster_file import HIGHEST_M, LOWEST_M, RasterFile, read_header
from layoutplan.terrain.tiles import TileStore


@dataclass(frozen=True, slots=True)
class OpenedTerrain:
    """What opening the elevation files gave.

    Attributes
    ----------
    dem : Dem
    tower_height_m : ndarray, shape (n,)
        Ground at the towers, NaN where unknown. [m]
    files : tuple of Path
        All files on disk that heights are taken from, side-cars and parts of virtual rasters included.
    problems, assumptions : tuple of str
    """

    dem: Dem
    tower_height_m: FloatArray
    files: tuple[Path, ...]
    problems: tuple[str, ...]
    assumptions: tuple[str, ...]


def open_terrain(section: Terrain, lonlat_deg: ArrayLike, reach_m: float) -> OpenedTerrain:
    """Open the elevation files of a job and look up the towers in them.

    Parameters
    ----------
    section : Terrain
        The job's section.
    lonlat_deg : array_like, shape (n, 2)
        Towers, in line order; longitudes may run on beyond 180 degrees. [deg]
    reach_m : float
        How far from a tower heights will be asked for. [m]

    Returns
    -------
    OpenedTerrain
        The model, heights at the places [m], and what had to be assumed.

    Raises
    ------
    InputError
        If a file cannot be used, none reaches a tower, or none holds a height at any.
    CRSError
        If a file has no usable coordinate reference system.
    """
    lonlat = np.asarray(lonlat_deg, dtype=float).reshape(-1, 2)
    if not section.files or len(lonlat) == 0:
        return OpenedTerrain(Dem(), np.full(len(lonlat), np.nan), (), (), ())
    headers = [read_header(path, section) for path in section.files]
    files = [file for file, _, _ in headers]
    charts = _reaching(files, lonlat, reach_m)
    used = [file for file, found in zip(files, charts, strict=True) if found]
    if not used:
        raise InputError(_too_far(files, lonlat))
    mosaics = _mosaics(files, charts)
    sides_m = np.array([_sides_m(mosaic.chart, lonlat) for mosaic in mosaics])
    dem = Dem(mosaics, float(sides_m.min()))
    heights_m = elevation_m(dem, lonlat)
    idle = [file.where for file, found in zip(files, charts, strict=True) if not found]
    return OpenedTerrain(
        dem=dem,
        tower_height_m=heights_m,
        files=tuple(dict.fromkeys(part for file in used for part in file.parts)),
        problems=(
            *(text for _, problems, _ in headers for text in problems),
            *([f"terrain: {counted(len(idle), 'file')} far from all towers: {listed(idle)}"] if idle else []),
            *_gaps(heights_m, used),
        ),
        assumptions=(
            *(text for (_, _, notes), found in zip(headers, charts, strict=True) if found for text in notes),
            *_limits(float(sides_m.max()), section),
        ),
    )


def _reaching(files: Sequence[RasterFile], lonlat: FloatArray, reach_m: float) -> list[list[Chart]]:
    """Charts under which each file meets the reach of a tower: none or one, or one for each turn of longitude."""
    towers: dict[Projection, tuple[FloatArray, FloatArray]] = {}
    found = []
    for file in files:
        of = _projection(file)
        if of not in towers:
            towers[of] = of.xy(lonlat), of.xy_per_m(lonlat)
        charts = [chart_of(file, turns) for turns in (range(-2, 3) if of.turn else (0,))]
        found.append([chart for chart in charts if _meets(file, chart, *towers[of], reach_m)])
    return found


def _projection(file: RasterFile) -> Projection:
    try:
        return projection(file.crs)
    except ProjError as err:
        raise CRSError(
            f"{file.where}: longitude and latitude cannot be turned into {file.crs.name}. Set terrain.crs."
        ) from err


def _meets(file: RasterFile, chart: Chart, xy: FloatArray, xy_per_m: FloatArray, reach_m: float) -> bool:
    place = chart.cell(xy)
    reach = reach_m * np.linalg.norm(np.linalg.solve(chart.step, xy_per_m), axis=2)
    return bool(np.any(np.all((place + reach > -1) & (place - reach < [file.width, file.height]), axis=1)))


def _mosaics(files: Sequence[RasterFile], charts: Sequence[Sequence[Chart]]) -> tuple[Mosaic, ...]:
    """Put files that follow each other and lie on one lattice together, so that there is no seam between them."""
    bases: list[Chart] = []
    members: list[list[MosaicFile]] = []
    for file, its_charts in zip(files, charts, strict=True):
        for chart in its_charts:
            offset = bases[-1].offset_of(chart, max(file.height, file.width)) if bases else None
            if offset is None:
                bases.append(chart)
                members.append([])
            members[-1].append(MosaicFile(file, *(offset or (0, 0))))
    store = TileStore()
    return tuple(Mosaic(i, chart, placed, store) for i, (chart, placed) in enumerate(zip(bases, members, strict=True)))


def _sides_m(chart: Chart, lonlat: FloatArray) -> FloatArray:
    """Sides of a cell on the ground, about the first tower where they can be found."""
    jacobian = chart.jacobian(lonlat)
    known = jacobian[np.isfinite(jacobian).all(axis=(1, 2))]
    return np.asarray(np.linalg.norm(np.linalg.inv(known[0]), axis=0))


def _too_far(files: Sequence[RasterFile], lonlat: FloatArray) -> str:
    towers = _range_text(*lonlat.min(axis=0), *lonlat.max(axis=0))
    if len(files) > 1:
        names = listed(file.where for file in files)
        return f"terrain.files: none of {len(files)} files ({names}) reaches any tower; the towers lie at {towers}."
    (file,) = files
    return (
        f"{file.where}: does not reach any tower. It covers {_coverage_text(file)}; the towers lie at {towers}. "
        "Name a file of their area in terrain.files, or set terrain.crs if it is wrong."
    )


def _coverage_text(file: RasterFile) -> str:
    a, b, c, d, e, f = file.transform
    col, row = np.array([0, file.width, 0, file.width]), np.array([0, 0, file.height, file.height])
    x, y = a * col + b * row + c, d * col + e * row + f
    back = pyproj.Transformer.from_crs(file.crs, 4326, always_xy=True)
    west, south, east, north = back.transform_bounds(x.min(), y.min(), x.max(), y.max())
    return _range_text(west, south, east, north) if np.isfinite([west, south, east, north]).all() else "no known area"


def _range_text(west: float, south: float, east: float, north: float) -> str:
    return f"longitude {west:.3f} to {east:.3f}, latitude {south:.3f} to {north:.3f}"


def _gaps(heights_m: FloatArray, files: Sequence[RasterFile]) -> list[str]:
    """Warnings about towers without a height; none with one is an error."""
    missing = int(np.isnan(heights_m).sum())
    if missing == len(heights_m):
        raise InputError(
            f"{listed(file.where for file in files)}: no height at any tower: the cells there hold no data, or values "
            f"outside {LOWEST_M:.0f} to {HIGHEST_M:.0f} m. Check terrain.files, terrain.nodata, terrain.vertical_unit."
        )
    notes = []
    if missing:
        notes.append(
            f"terrain: no height known at {counted(missing, 'tower')} of {len(heights_m)}; slopes there are unknown"
        )
    if zero := int((heights_m == 0.0).sum()):
        notes.append(
            f"terrain: height exactly 0 at {counted(zero, 'tower')} of {len(heights_m)}; if 0 stands for no height in "
            "the file, set terrain.nodata = 0: else unknown ground counts as flat"
        )
    return notes


def _limits(cell_m: float, section: Terrain) -> list[str]:
    """What a model with cells of that size cannot show."""
    notes = ["terrain: heights are taken for the bare ground; a surface model counts trees and roofs as ground"]
    least_m = cell_m * np.tan(np.radians(section.cliff_slope_deg))
    if least_m > section.cliff_drop_m:
        notes.append(
            f"terrain: cells of {cell_m:.3g} m; steps in the ground lower than about {least_m:.0f} m do not show in "
            "them as cliffs"
        )
    return notes
