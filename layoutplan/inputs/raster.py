"""Rasters of any kind GDAL reads: opening them with clear messages, and their values at points."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj.exceptions import ProjError
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError, InputError
from layoutplan.inputs.raster_door import look_at_raster, opened_raster, require_sizes
from layoutplan.inputs.systems import from_wgs84
from layoutplan.text import clean

MOST_CELLS = 4_000_000  # in one reading
_EDGE = 1e-6  # of a cell: points so little off the raster's edge are off it by rounding only


@contextmanager
def open_raster(path: Path) -> Iterator[Any]:
    """Open a raster that lies on this machine and knows its place on the ground.

    Parameters
    ----------
    path : Path
        Of the raster.

    Yields
    ------
    rasterio.DatasetReader

    Raises
    ------
    InputError
        If the file is missing, is no raster, has no band of plain numbers, or breaks off while it is read.
    CRSError
        If it has no coordinate reference system, or is not placed in it.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said below, with the fix
            look_at_raster(path)
            with opened_raster(str(path.absolute())) as raster:
                _check(raster, path.name)
                require_sizes(raster, path.name)
                yield raster
    except (RasterioError, OSError, UnicodeDecodeError) as err:  # a damaged file may hold names that are no text
        why = clean(err.__cause__ or err)[:200]
        raise InputError(f"{path.name}: cannot be read as a raster: {why}") from err


def values_at(raster: Any, lonlat_deg: FloatArray) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Values of band 1 in the cells that points lie in.

    Parameters
    ----------
    raster : rasterio.DatasetReader
        From `open_raster`.
    lonlat_deg : ndarray, shape (n, 2)
        EPSG:4326; longitudes may go beyond ±180°. [deg]

    Returns
    -------
    values : ndarray, shape (n,)
        Scale and offset of the band applied; NaN outside the raster and where a cell holds no data.
    inside : ndarray of bool, shape (n,)
        Whether the point lies on the raster.

    Raises
    ------
    CRSError
        If longitude and latitude cannot be turned into the raster's system.
    """
    column, row = _positions(raster, lonlat_deg)
    inside = (np.abs(column - raster.width / 2) <= raster.width / 2 + _EDGE) & (
        np.abs(row - raster.height / 2) <= raster.height / 2 + _EDGE
    )
    values = np.full(len(lonlat_deg), np.nan)
    if inside.any():
        cells = np.floor(np.stack((row[inside], column[inside]))).astype(np.int64)
        values[inside] = _read(raster, *np.clip(cells, 0, [[raster.height - 1], [raster.width - 1]]))
    return values, inside


def _check(raster: Any, where: str) -> None:
    if raster.count == 0:
        parts = ", ".join(clean(name).rsplit(":", 1)[-1] for name in raster.subdatasets[:5]) or "none"
        raise InputError(f"{where}: no band of its own; rasters in it: {parts}. Save the one you mean as a GeoTIFF.")
    if np.dtype(raster.dtypes[0]).kind not in "iuf":
        raise InputError(f"{where}, band 1: {raster.dtypes[0]} where plain numbers were expected.")
    if raster.crs is None:
        raise CRSError(f"{where}: no coordinate reference system. Write it into the file, or save it as a GeoTIFF.")
    if raster.transform.is_identity or raster.transform.is_degenerate:
        raise CRSError(f"{where}: does not say where on the ground its cells lie. Georeference it.")


def _positions(raster: Any, lonlat_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Column and row of points, with fractions, from the raster's outer corner; infinite where there is none."""
    try:
        crs = pyproj.CRS.from_user_input(raster.crs).to_2d()
        change = from_wgs84(crs)
    except ProjError as err:
        raise CRSError(
            f"{Path(raster.name).name}: longitude and latitude cannot be turned into its coordinate reference system. "
            "Give the file a geodetic one."
        ) from err
    x, y = change.transform(*lonlat_deg.T)
    if crs.is_geographic:  # its longitudes may run from 0 to 360, or across the antimeridian
        turn = 2 * np.pi / crs.axis_info[0].unit_conversion_factor
        a, b, c = raster.transform[:3]
        west = c + min(0.0, a * raster.width) + min(0.0, b * raster.height)
        x = x - turn * np.floor((x - west + _EDGE * np.hypot(a, b)) / turn)
    with np.errstate(invalid="ignore"):
        a, b, c, d, e, f = tuple(~raster.transform)[:6]
        return a * x + b * y + c, d * x + e * y + f


def _read(raster: Any, row: NDArray[np.int64], column: NDArray[np.int64]) -> FloatArray:
    values = np.empty(len(row))
    for at in _groups(raster, row, column):
        top, left = row[at].min(), column[at].min()
        window = Window(left, top, np.ptp(column[at]) + 1, np.ptp(row[at]) + 1)
        cells = raster.read(1, window=window, masked=True)[row[at] - top, column[at] - left]
        values[at] = cells.astype(float).filled(np.nan)
    return values * raster.scales[0] + raster.offsets[0]


def _groups(raster: Any, row: NDArray[np.int64], column: NDArray[np.int64]) -> list[NDArray[np.int64]]:
    """Cells to read in one go: all of them, or where they lie far apart those of each block of the file."""
    if (np.ptp(row) + 1) * (np.ptp(column) + 1) <= MOST_CELLS:
        return [np.arange(len(row))]
    side = int(MOST_CELLS**0.5)
    height, width = np.minimum(raster.block_shapes[0], side)  # a block may be as large as the whole raster
    block = np.unique(np.stack((row // height, column // width)), axis=1, return_inverse=True)[1].ravel()
    return [np.flatnonzero(block == number) for number in range(block.max() + 1)]
