"""What one layer of the map gives, and how it lies to the corridor."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.geodetic import Geometries
from layoutplan.inputs.signs import Signs
from layoutplan.text import clean

LONGEST_NAME = 255  # letters, as in OpenStreetMap; more is no name and fills sheets (judgement)
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class MapLayer:
    """What one layer gives.

    Attributes
    ----------
    features : GeoDataFrame
        Columns as in :data:`layoutplan.inputs.model.FEATURE_COLUMNS`.
    evidence : ndarray, shape (n, 2)
        Longitude and latitude of what shows that the map is worked out there.
    problems, assumptions : tuple of str
    signs : Signs
        Of houses and land cover, longitudes as in the corridor's frame.
    coastlines : ndarray of LineString
        Whole, in the direction of their ways.
    """

    features: gpd.GeoDataFrame
    evidence: FloatArray
    problems: tuple[str, ...]
    assumptions: tuple[str, ...] = ()
    signs: Signs = field(default_factory=Signs)
    coastlines: Geometries = field(default_factory=lambda: np.empty(0, dtype=object))


def check_overlap(where: str, bounds_deg: Bounds | None, corridor: Corridor) -> list[str]:
    """Warn where a layer is empty or lies elsewhere.

    Parameters
    ----------
    where : str
        File and layer, for messages.
    bounds_deg : tuple of float or None
        West, south, east, north of all the layer holds; None if it is empty. [deg]
    corridor : Corridor
        Where the towers are.

    Returns
    -------
    list of str
        One warning, or none.

    Raises
    ------
    CRSError
        If it lies elsewhere, but with longitude and latitude swapped it would lie on the corridor.
    """
    if bounds_deg is None:
        return [f"{where}: empty; nothing is known from it"]
    west, south, east, north = bounds_deg
    if corridor.meets_box(bounds_deg):
        return []
    if corridor.meets_box((south, west, north, east)):
        raise CRSError(
            f"{where}: lies at longitude {west:.3f} to {east:.3f}, latitude {south:.3f} to {north:.3f}, away from all "
            "towers, but on them with the two swapped. Swap them in this file or in the towers', whichever is wrong."
        )
    (w, s), (e, n) = corridor.windows_deg[:, :2].min(axis=0), corridor.windows_deg[:, 2:].max(axis=0)
    return [
        f"{where}: does not reach any tower (it covers longitude {west:.4f} to {east:.4f}, latitude {south:.4f} to "
        f"{north:.4f}); nothing is known from it. The towers and what is near them lie at longitude {w:.4f} to "
        f"{e:.4f}, latitude {s:.4f} to {n:.4f}: if that is wrong, check their coordinates and crs"
    ]


def cleaned(texts: Iterable[object]) -> NDArray[np.object_]:
    """Return foreign texts made clean, very long ones cut; each distinct one is cleaned once.

    Parameters
    ----------
    texts : iterable
        Cells of any kind.

    Returns
    -------
    ndarray of str, shape (n,)
    """
    values = list(texts)
    made = {value: _short(clean(value)) for value in set(values)}
    return np.array([made[value] for value in values], dtype=object)


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_NAME else f"{text[: LONGEST_NAME - 1]}…"
