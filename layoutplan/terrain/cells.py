"""Arithmetic on a rectangle of cells: bilinear values and Horn's gradient. Integers are cell centres.

Gradients are complex numbers: in cells ``dz/dcolumn + i dz/drow``, on the ground ``dz/deast + i dz/dnorth``.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import FloatArray

Cells = NDArray[Any]  # float32 or float64 heights, complex gradients
_SNAP = 1e-6  # cells; a place so near a row or column of centres lies on it, in spite of rounding
_TOGETHER = 16_384  # places looked up together: what they need stays in the processor's cache, three times as fast


def bilinear(cells: Cells, row: FloatArray, col: FloatArray) -> Cells:
    """Values between cell centres.

    Parameters
    ----------
    cells : ndarray, shape (h, w)
        Real or complex; NaN where unknown.
    row, col : ndarray, shape (n,)
        In cells; 0 is the centre of the first row or column.

    Returns
    -------
    ndarray, shape (n,)
        NaN outside the centres of the outermost cells, and where a cell that has weight is NaN.

    Examples
    --------
    Between four centres, and beyond them:

    >>> bilinear(np.array([[1.0, 2.0], [3.0, 4.0]]), np.array([0.5, 5.0]), np.array([0.5, 0.0]))
    array([2.5, nan])
    """
    out = np.empty(len(row), dtype=cells.dtype)
    for first in range(0, len(row), _TOGETHER):
        some = slice(first, first + _TOGETHER)
        out[some] = _bilinear(cells, row[some], col[some])
    return out


def _bilinear(cells: Cells, row: FloatArray, col: FloatArray) -> Cells:
    inside = _inside(row, cells.shape[0]) & _inside(col, cells.shape[1])
    if not inside.all():
        out = np.full(len(row), np.nan, dtype=cells.dtype)
        if inside.any():
            out[inside] = _bilinear(cells, row[inside], col[inside])
        return out
    above, down = _whole_and_share(row, cells)
    left, along = _whole_and_share(col, cells)
    # a neighbour without weight is not looked at: it may be unknown, or not there
    first, right, under = above * cells.shape[1] + left, along > 0, (down > 0) * cells.shape[1]
    flat = cells.reshape(-1)
    upper = _between(flat.take(first), flat.take(first + right), along)
    first += under
    lower = _between(flat.take(first), flat.take(first + right), along)
    return _between(upper, lower, down)


def _inside(place: FloatArray, count: int) -> NDArray[np.bool_]:
    return (place > -_SNAP / 2) & (place < count - 1 + _SNAP / 2)


def _whole_and_share(place: FloatArray, cells: Cells) -> tuple[NDArray[np.int64], FloatArray]:
    whole = (place + _SNAP).astype(np.int64)
    share = place - whole
    share[share <= _SNAP] = 0.0
    return whole, share.astype(cells.real.dtype)


def _between(one: Cells, other: Cells, share: FloatArray) -> Cells:
    return one + share * (other - one)


def horn(cells: Cells) -> Cells:
    """Gradient at each inner cell from its eight neighbours.

    Parameters
    ----------
    cells : ndarray, shape (h, w)
        Heights. [m]

    Returns
    -------
    ndarray of complex, shape (h - 2, w - 2)
        ``dz/dcolumn + i dz/drow``; NaN where the cell or a neighbour is unknown. [m per cell]

    Notes
    -----
    Weights 1, 2, 1 across the direction of the difference, over two cells, hence one eighth.

    References
    ----------
    B. K. P. Horn, "Hill shading and the reflectance map," Proc. IEEE, vol. 69, no. 1, pp. 14-47, Jan. 1981.

    Examples
    --------
    A plane that rises by 2 m per column and falls by 1 m per row:

    >>> row, column = np.mgrid[:3, :3]
    >>> horn(2.0 * column - row)
    array([[2.-1.j]])
    """
    down = cells[:-2] + 2 * cells[1:-1] + cells[2:]
    along = cells[:, :-2] + 2 * cells[:, 1:-1] + cells[:, 2:]
    gradient = np.empty((max(len(cells) - 2, 0), max(cells.shape[1] - 2, 0)), dtype=np.result_type(cells, np.complex64))
    gradient.real = down[:, 2:] - down[:, :-2]
    gradient.imag = along[2:] - along[:-2]
    gradient *= 0.125
    gradient[np.isnan(cells[1:-1, 1:-1])] = np.nan
    return gradient


def gradient_between(cells: Cells, row: FloatArray, col: FloatArray) -> Cells:
    """Horn's gradient, bilinear between the centres of the four cells around.

    Parameters
    ----------
    cells : ndarray, shape (h, w)
        Heights; NaN where unknown. [m]
    row, col : ndarray, shape (n,)
        In cells; 0 is the centre of the first row or column.

    Returns
    -------
    ndarray of complex, shape (n,)
        As `horn`. [m per cell]

    Examples
    --------
    >>> row, column = np.mgrid[:4, :4]
    >>> gradient_between(2.0 * column - row, np.array([1.5]), np.array([1.5]))
    array([2.-1.j])
    """
    return bilinear(horn(cells), row - 1, col - 1)


def on_the_ground(gradient: Cells, jacobian: FloatArray) -> Cells:
    """Turn gradients from cells to true east and north, whatever the shape and direction of the cells.

    Parameters
    ----------
    gradient : ndarray of complex, shape (n,)
        ``dz/dcolumn + i dz/drow``. [m per cell]
    jacobian : ndarray, shape (2, 2) or (n, 2, 2)
        Rows: column, row; columns: per metre east, per metre north. [cells per m]

    Returns
    -------
    ndarray of complex, shape (n,)
        ``dz/deast + i dz/dnorth``.

    Examples
    --------
    Cells of 30 m, rows to the south: 3 m up per column and 3 m down per row are a tenth to the east and to the north.

    >>> on_the_ground(np.array([3 - 3j]), np.array([[1 / 30, 0], [0, -1 / 30]])).round(3)
    array([0.1+0.1j])
    """
    per_metre = np.asarray(jacobian[..., 0] + 1j * jacobian[..., 1]).astype(gradient.dtype)
    return gradient.real * per_metre[..., 0] + gradient.imag * per_metre[..., 1]


def slope_deg(gradient: ArrayLike) -> FloatArray:
    """Angle of steepest descent below the horizontal.

    Parameters
    ----------
    gradient : array_like of complex
        ``dz/deast + i dz/dnorth``. [-]

    Returns
    -------
    ndarray
        0 to 90; NaN where unknown. [deg]

    Examples
    --------
    >>> print(slope_deg([0, 1, 0.3 - 0.4j]).round(1), "deg")
    [ 0.  45.  26.6] deg
    """
    return np.degrees(np.arctan(np.abs(np.asarray(gradient)))).astype(float)


def aspect_deg(gradient: ArrayLike) -> FloatArray:
    """Direction that the slope faces (downhill), clockwise from true north.

    Parameters
    ----------
    gradient : array_like of complex
        ``dz/deast + i dz/dnorth``. [-]

    Returns
    -------
    ndarray
        In [0, 360); NaN on level ground. [deg]

    Examples
    --------
    Uphill to the north, to the east, nowhere:

    >>> print(aspect_deg([1j, 1.0, 0]), "deg")
    [180. 270.  nan] deg
    """
    uphill = np.asarray(gradient)
    bearing = np.mod(np.degrees(np.arctan2(-uphill.real, -uphill.imag)), 360.0).astype(float)
    bearing[bearing >= 360.0] = 0.0  # a tiny negative angle rounds up
    return np.where(uphill == 0, np.nan, bearing)
