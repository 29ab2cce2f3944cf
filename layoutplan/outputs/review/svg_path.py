"""Shapes on a small map as the text of an SVG path, in whole units and steps from corner to corner."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

SIDE = 200  # units of a map: on paper a fifth of a millimetre each


def path_text(shapes: NDArray[np.object_]) -> str:
    """Return lines and outlines of areas; what falls on one unit is left out.

    Parameters
    ----------
    shapes : ndarray of Geometry
        In units of the map, y down; of any kind.

    Returns
    -------
    str

    Examples
    --------
    >>> path_text(np.array([shapely.LineString([(1, 2), (30.2, 2), (30, -1)]), shapely.Point(3, 3)]))
    'M1 2l29 0 0-3'
    >>> path_text(np.array([shapely.box(0, 0, 10, 10)]))
    'M10 0l0 10-10 0 0-10z'
    """
    parts = shapely.get_parts(shapely.get_parts(shapes))  # of collections that hold multi-part ones, too
    kind = shapely.get_type_id(parts)
    rings = shapely.get_rings(parts[kind == 3])
    return _strokes(parts[kind == 1], "") + _strokes(rings, "z")


def _strokes(lines: NDArray[np.object_], close: str) -> str:
    coords, line = shapely.get_coordinates(lines, return_index=True)
    corners = np.rint(coords).astype(np.int64)
    if len(corners) == 0:
        return ""
    steps = np.diff(corners, axis=0, prepend=corners[:1])
    first = np.diff(line, prepend=-1) > 0
    kept = first | (steps != 0).any(axis=1)
    if close:  # the path itself goes back to where it began
        kept &= np.append(line[1:] == line[:-1], False)
    texts: list[str] = []
    for begins, (x, y), (dx, dy) in zip(
        first[kept].tolist(), corners[kept].tolist(), steps[kept].tolist(), strict=True
    ):
        if begins:
            texts.append(f"M{x} {y}")
        else:
            texts[-1] += f"{' ' if 'l' in texts[-1] else 'l'}{dx} {dy}"
    return "".join(text.replace(" -", "-") + close for text in texts if "l" in text)
