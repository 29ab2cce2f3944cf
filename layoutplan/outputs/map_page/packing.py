"""Features packed for the page: a sixth of the size of GeoJSON, unpacked there by ``features.js``.

A shape is a text: its rings, lines or points with spaces between. Each is a run of whole fractions of a degree,
longitude and latitude of the first point, then the steps from point to point. A number n is written as 2n, or as
-2n - 1 if it is negative, in digits of five bits, the lowest first, each a letter of the base64url alphabet (RFC 4648,
section 5); 32 is added to all digits but the last. Areas are filled by the even-odd rule, so that holes and several
parts need no further structure.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

PLAN_PER_DEG = 10_000_000  # towers, stakes, leads, line: a centimetre
BASE_PER_DEG = 1_000_000  # base map: a decimetre
_LETTERS = np.frombuffer(b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_", dtype=np.uint8)
_BITS, _MOST_DIGITS = 5, 7  # 35 bits: twice 360 degrees in the finest fractions


def packed(geometries: ArrayLike, per_deg: int) -> tuple[list[int], list[str]]:
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
    shapes : list of str
        The rings, lines or points of each geometry.

    Examples
    --------
    A point and a line in steps of a millionth of a degree:

    >>> line = shapely.LineString([(8.0, 47.0), (8.00001, 47.0)])
    >>> packed([shapely.Point(8.0, 47.0), line], 10**6)[0]
    [0, 1]
    """
    shapes = np.asarray(geometries, dtype=object)
    dimensions = shapely.get_dimensions(shapes)
    parts, owner = _pieces(shapes, dimensions)
    points, piece = shapely.get_coordinates(parts, return_index=True)
    steps = np.round(points * per_deg).astype(np.int64)
    inside = np.flatnonzero(piece[1:] == piece[:-1]) + 1
    steps[inside] -= steps[inside - 1]  # the right-hand side is a copy, taken first
    text, letters = _written(steps.ravel())
    each = _cut(text, np.bincount(np.repeat(piece, 2), weights=letters, minlength=len(parts)).astype(np.int64))
    return dimensions.tolist(), [" ".join(some) for some in _cut(each, np.bincount(owner, minlength=len(shapes)))]


def _written(numbers: NDArray[np.int64]) -> tuple[str, NDArray[np.int64]]:
    """Write whole numbers one after the other; return also how many letters each takes."""
    plain = np.where(numbers < 0, -2 * numbers - 1, 2 * numbers)
    place = np.arange(_MOST_DIGITS)
    letters = 1 + (plain[:, None] >= 1 << _BITS * place[1:]).sum(axis=1)
    digits = (plain[:, None] >> _BITS * place) & 31
    digits += 32 * (place < letters[:, None] - 1)
    return _LETTERS[digits[place < letters[:, None]]].tobytes().decode("ascii"), letters


def _cut(items: Any, counts: NDArray[np.int64]) -> list[Any]:
    """Cut a text or list into runs."""
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
