"""Tables with numbered rows, with and without a place: what every source of towers comes down to."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.inputs.geodetic import Geometries


@dataclass(frozen=True, slots=True)
class Table:
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
class PlacedTable(Table):
    """Rows with points.

    Attributes
    ----------
    geometry : ndarray of Geometry, shape (n,)
        EPSG:4326.
    """

    geometry: Geometries = field(kw_only=True)
