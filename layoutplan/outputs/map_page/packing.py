"""Features packed for the page: a third of the size of GeoJSON, unpacked there by ``features.js``.

A shape is a list of rings, lines or points; each is a flat list of whole fractions of a degree: longitude and latitude
of the first point, then the steps from point to point. Areas are filled by the even-odd rule, so that holes and several
parts need no further structure.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

PLAN_PER_DEG = 10_000_000  # towers, stakes, leads, line: a centimetre
BASE_PER_DEG = 1_000_000  # base map: a decimetre


def packed(geometries: ArrayLike, per_deg: int) -> tuple[list[int], list[list[list[int]]]]:
    """Pack geometries.

    Parameters
    ----------
    geometries : array_like of geometry
        Longitude, latitude; not empty. Of a collection only the parts of the highest dimension are kept.
    per_deg : int
        Fractions of a degree.

    Returns
    -------
    dimensions : list of int
        0 points, 1 lines, 2 areas.
    shapes : list of list of list of int
        The rings, lines or points of each geometry.
    """
    shapes = np.asarray(geometries, dtype=object)
    dimensions = shapely.get_dimensions(shapes)
    parts, owner = _pieces(shapes, dimensions)
    points, piece = shapely.get_coordinates(parts, return_index=True)
    steps = np.round(points * per_deg).astype(np.int64)
    inside = np.flatnonzero(piece[1:] == piece[:-1]) + 1
    steps[inside] -= steps[inside - 1]  # the right-hand side is a copy, taken first
    lists = _grouped(steps.ravel().tolist(), 2 * np.bincount(piece, minlength=len(parts)))
    return dimensions.tolist(), _grouped(lists, np.bincount(owner, minlength=len(shapes)))


def _grouped(items: list[Any], counts: NDArray[np.int64]) -> list[list[Any]]:
    ends = np.cumsum(counts)
    return [items[start:end] for start, end in zip((ends - counts).tolist(), ends.tolist(), strict=True)]


def _pieces(
    shapes: NDArray[np.object_], dimensions: NDArray[np.int32]
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return rings, lines and points one by one, with the row each belongs to, in order of the rows."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    for _ in range(2):  # a collection may hold multi-part geometries
        parts, inner = shapely.get_parts(parts, return_index=True)
        owner = owner[inner]
    kept = shapely.get_dimensions(parts) == dimensions[owner]
    parts, owner = parts[kept], owner[kept]
    areas = dimensions[owner] == 2
    rings, of_area = shapely.get_rings(parts[areas], return_index=True)
    pieces = np.concatenate((parts[~areas], rings))
    owners = np.concatenate((owner[~areas], owner[areas][of_area]))
    order = np.argsort(owners, kind="stable")
    return pieces[order], owners[order]
