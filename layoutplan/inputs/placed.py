"""Tables with numbered rows, with and without a place: what every source of towers comes down to."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layoutplan.errors import LayerError
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.words import listed


@dataclass(frozen=True, slots=True)
class FileRows:
    """Rows of a file.

    Attributes
    ----------
    columns : DataFrame
        Of a text file: the cells as text.
    rows : ndarray of int
        Number of each row in the file.
    where, row_word : str
        For messages: the file and layer, and what a row is called there.
    separator : str
        Between the cells of a text file; empty for all others.
    problems : tuple of str
    """

    columns: pd.DataFrame
    rows: NDArray[np.int64]
    where: str
    row_word: str = "row"
    separator: str = ""
    problems: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlacedTable(FileRows):
    """Rows with points.

    Attributes
    ----------
    geometry : ndarray of Geometry, shape (n,)
        EPSG:4326.
    """

    geometry: Geometries = field(kw_only=True)


def single_points(geometry: Geometries, rows: NDArray[np.int64], where: str, what: str) -> Geometries:
    """Return points as they are and multi-points of one point as that point; missing ones stay missing.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        As read.
    rows : ndarray of int, shape (n,)
        Numbers for the message.
    where, what : str
        File and layer, and what was expected, for the message.

    Returns
    -------
    ndarray of Point, shape (n,)

    Raises
    ------
    LayerError
        If there is another kind of geometry.
    """
    kind = shapely.get_type_id(geometry)
    several = (kind == shapely.GeometryType.MULTIPOINT) & (shapely.get_num_geometries(geometry) == 1)
    points = np.where(several, shapely.get_geometry(geometry, 0), geometry)
    wrong = ~np.isin(shapely.get_type_id(points), (-1, shapely.GeometryType.POINT))
    if wrong.any():
        raise LayerError(
            f"{where}, feature {listed(rows[wrong])}: {points[wrong][0].geom_type} where {what} was expected. "
            "Name a layer of points."
        )
    return np.asarray(points, dtype=object)
