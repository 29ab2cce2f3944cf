"""A table whose rows have a place: what every tower source comes down to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layoutplan.inputs.geodetic import Geometries


@dataclass(frozen=True, slots=True)
class PlacedTable:
    """Rows with points.

    Attributes
    ----------
    columns : DataFrame
    geometry : ndarray of Geometry, shape (n,)
        EPSG:4326.
    rows : ndarray of int
        Number of each row in the file.
    where, row_word : str
        For messages: the file and layer, and what a row is called there.
    problems : tuple of str
    """

    columns: pd.DataFrame
    geometry: Geometries
    rows: NDArray[np.int64]
    where: str
    row_word: str
    problems: tuple[str, ...] = ()
