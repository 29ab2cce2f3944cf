"""What the readers hand on: lines, map features and what is known about the map's reach."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely import LineString, Polygon

if TYPE_CHECKING:
    from layoutplan.job import Line

FEATURE_COLUMNS = ("feature_id", "obstacle_class", "name", "width_m", "road_class", "vehicle", "source", "geometry")
TOWER_FIGURES = ("base_width_m", "earth_electrode_size_m", "footing_resistance_ohm", "soil_resistivity_ohm_m")
TOWER_COLUMNS = ("tower_id", "structure", *TOWER_FIGURES, "order", "geometry")


@dataclass(frozen=True, slots=True)
class InputFile:
    """A file that was read: where it is, its fingerprint, and whom its data is credited to."""

    path: Path
    sha256: str
    used_for: str
    data_date: str | None = None
    attribution: str | None = None


@dataclass(frozen=True, slots=True)
class FaultTable:
    """Fault currents of a line by tower, as read from the file that the job names. [A]."""

    tower_id: tuple[str, ...]
    from_start_a: NDArray[np.float64]
    from_end_a: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LineInput:
    """A line as it was read, before its towers are put in order.

    Attributes
    ----------
    line : Line
        The line's part of the job file.
    towers : GeoDataFrame
        Columns ``TOWER_COLUMNS``; points in EPSG:4326, ids unique text; figures NaN where unknown.
    course : tuple of LineString
        The centreline's parts in EPSG:4326; empty if none was given.
    in_order : bool
        Whether the rows of ``towers`` are known to follow the line.
    source : str
        File (and layer) for messages.
    osm_way_ids : tuple of int
        The ways the line was taken from whole, so that it is not met again as an obstacle.
    faults : FaultTable, optional
        Where the job names a table of fault currents.
    osm_node_ids : tuple of int
        Node of each row of ``towers``; empty if the line is not from an extract.
    assumptions : tuple of str
        What was taken from the map because the job leaves it open.
    """

    line: Line
    towers: gpd.GeoDataFrame
    course: tuple[LineString, ...]
    in_order: bool
    source: str
    osm_way_ids: tuple[int, ...] = ()
    faults: FaultTable | None = None
    osm_node_ids: tuple[int, ...] = ()
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Inputs:
    """Everything read for a job.

    Attributes
    ----------
    lines : tuple of LineInput
    features : GeoDataFrame
        Map features of the corridor, columns ``FEATURE_COLUMNS``, EPSG:4326, valid, two-dimensional, not empty.
        ``width_m`` is the full width on the ground (0 for areas). ``road_class`` is that of roads, tracks and paths, on
        bridges too; ``vehicle`` says of them and of gates whether one may be driven there: ``"yes"``, ``"permit"`` or
        ``"no"``; ``"no stopping"``, that one may, but not stop; of a ``"private path"``, and of what is ``"locked"``,
        that one may not even walk there without asking. Both are empty elsewhere.
    evidence : ndarray, shape (n, 2)
        Longitude and latitude of every mapped vertex read, power lines left out: where the map has something.
    cover : ndarray, shape (n, 2)
        Longitude and latitude of places with water or land cover, some 500 m apart at most.
    extents : tuple of Polygon
        Where the map claims to reach (header boxes), EPSG:4326; empty if no file says so.
    coverage : tuple of Polygon
        Where the user vouches for the map, in the job's ``coverage.themes``, EPSG:4326; empty if not given.
    files : tuple of InputFile
    problems : tuple of str
        Warnings about what could be used, in plain words with file, layer and count.
    land : GeoDataFrame
        Parcels of the corridor with their permissions, columns :data:`layoutplan.inputs.land.LAND_COLUMNS`, EPSG:4326.
    assumptions : tuple of str
    """

    lines: tuple[LineInput, ...]
    features: gpd.GeoDataFrame
    evidence: NDArray[np.float64]
    extents: tuple[Polygon, ...]
    coverage: tuple[Polygon, ...]
    files: tuple[InputFile, ...]
    problems: tuple[str, ...]
    land: gpd.GeoDataFrame
    cover: NDArray[np.float64]
    assumptions: tuple[str, ...] = ()
