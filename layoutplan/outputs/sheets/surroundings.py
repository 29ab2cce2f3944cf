"""What lies around all towers of a plan, for the maps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.job.classes import ObstacleClass
from layoutplan.outputs.sheets.contours import ContourHeights
from layoutplan.outputs.sheets.facts import Sheet
from layoutplan.outputs.sheets.layers import Features
from layoutplan.outputs.sheets.panel import Panel


@dataclass(frozen=True)
class Surroundings:
    """What is around all towers of a plan.

    Attributes
    ----------
    features : Features
    spans : ndarray of LineString
        Planned lines. [deg]
    measured : ndarray of bool
        Whether each span is of a line that is measured.
    corridor_m : ndarray
        Each span's axis to where stakes may stand.
    towers : ndarray, shape (n, 2)
        Longitude and latitude.
    tower_ids : list of str
    reach_m : float
        Of the reel.
    ground : ContourHeights
    classes : mapping
        Obstacle classes in words.
    """

    features: Features
    spans: np.ndarray
    measured: np.ndarray
    corridor_m: FloatArray
    towers: FloatArray
    tower_ids: list[str]
    reach_m: float
    ground: ContourHeights
    classes: Mapping[str, ObstacleClass]

    def near_spans(self, window: tuple[float, float, float, float]) -> NDArray[np.bool_]:
        """Which spans reach into a window of longitudes and latitudes.

        Parameters
        ----------
        window : (float, float, float, float)
            West, south, east, north. [deg]

        Returns
        -------
        ndarray of bool, shape (spans,)
        """
        return np.asarray(shapely.intersects(self.spans, shapely.box(*window)))

    def other_towers(self, panel: Panel, sheet: Sheet) -> list[tuple[float, float, str]]:
        """Place on the page and id of every other tower on a map.

        Parameters
        ----------
        panel : Panel
            The map.
        sheet : Sheet
            Facts of the tower.

        Returns
        -------
        list of (float, float, str)
            x and y [mm], and id.
        """
        west, south, east, north = panel.window()
        lon, lat = self.towers.T
        shown = (lon > west) & (lon < east) & (lat > south) & (lat < north)
        shown &= (lon != sheet.tower.lon) | (lat != sheet.tower.lat)
        places = panel.mm_of(panel.metres_of(self.towers[shown])).tolist()
        return [(x, y, self.tower_ids[row]) for (x, y), row in zip(places, np.flatnonzero(shown).tolist(), strict=True)]
