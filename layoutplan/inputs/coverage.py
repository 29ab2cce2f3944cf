"""Does the map reach a tower's surroundings? No map data is not free ground."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import Polygon, STRtree

from layoutplan.arrays import FloatArray
from layoutplan.inputs.gaps import FEW_FEATURES, LAND_COVER, NO_LAND_COVER, NO_MAP, OUTSIDE_BOX, OUTSIDE_POLYGON, REACH
from layoutplan.inputs.geodetic import geocentric, metres_per_degree
from layoutplan.inputs.mercator import mercator, scale_at
from layoutplan.inputs.model import Inputs
from layoutplan.inputs.signs import COVER_M
from layoutplan.job import Job

_CORNERS = 64
_CELLS_PER_RADIUS = 20  # evidence is thinned to cells of this share of the radius
_CHUNK = 1_000  # towers looked at together
ROADS_M = 1000.0  # with a road so near the map is looked at here (judgement)


def map_gaps(job: Job, inputs: Inputs, towers_lonlat: FloatArray) -> tuple[NDArray[np.bool_], list[list[str]]]:
    """Find out for each tower whether the map covers its surroundings, and why not.

    Parameters
    ----------
    job : Job
        Its coverage section and reach.
    inputs : Inputs
        What was read.
    towers_lonlat : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    covers : ndarray of bool, shape (n,)
        Whether there is no cause.
    causes : list of list of str
        Codes (:mod:`layoutplan.inputs.gaps`), in order; none where the map covers the place. What is silent in parts
        only (houses, the shore) is drawn as areas instead and asked lead by lead.
    """
    choice, reach_m = job.coverage, job.rules.reach_m
    polygons = inputs.coverage if REACH in choice.themes else ()
    causes = uncovered_reasons(
        towers_lonlat, reach_m, inputs.evidence, inputs.extents, polygons, choice.radius_m, choice.octants
    )
    vouched = np.zeros(len(towers_lonlat), dtype=bool)
    if inputs.coverage and LAND_COVER in choice.themes:
        vouched = _disc_within(towers_lonlat, reach_m, inputs.coverage)
    bare = _without_cover(towers_lonlat, inputs) & ~vouched
    causes = [[*found, NO_LAND_COVER] if lacks else found for found, lacks in zip(causes, bare, strict=True)]
    return np.array([not found for found in causes], dtype=bool), causes


def _without_cover(towers_lonlat: FloatArray, inputs: Inputs) -> NDArray[np.bool_]:
    """Towers near a mapped road with neither water nor land cover for kilometres: such a map is one of roads only."""
    roads = inputs.features.geometry.to_numpy()[(inputs.features["road_class"] != "").to_numpy()]
    towers = np.asarray(shapely.points(towers_lonlat), dtype=object)
    flat, scale = mercator(towers), scale_at(towers)
    near = np.zeros(len(towers), dtype=bool)
    near[STRtree(mercator(roads)).query(flat, predicate="dwithin", distance=scale * ROADS_M)[0]] = True
    if len(inputs.cover) == 0:
        return near
    away, _ = cKDTree(geocentric(inputs.cover)).query(geocentric(towers_lonlat), distance_upper_bound=COVER_M)
    return np.asarray(near & ~np.isfinite(away))


def uncovered_reasons(
    towers_lonlat: FloatArray,
    reach_m: float,
    evidence: FloatArray,
    extents: Sequence[Polygon],
    coverage: Sequence[Polygon],
    radius_m: float,
    octants: int,
) -> list[list[str]]:
    """Find out for each tower why the map does not reach its surroundings.

    Parameters
    ----------
    towers_lonlat : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    reach_m : float
        The map must be complete within this distance of the tower. [m]
    evidence : ndarray, shape (m, 2)
        Places where the map has something. [deg]
    extents : sequence of Polygon
        Where the map declares to reach; none if it declares nothing.
    coverage : sequence of Polygon
        Where the user states that the map reaches: if given, it alone decides.
    radius_m : float
        Evidence is looked for within this distance. [m]
    octants : int
        In so many of the eight directions (N, NE, …) there must be some.

    Returns
    -------
    list of list of str
        Codes of causes; none where the map reaches the place.

    Notes
    -----
    Without a polygon of the user's, a tower is covered if its disc of ``reach_m`` lies within the union of the extents
    (where there are any) and evidence lies around it. Extracts keep whole power lines but cut everything else at their
    edge, so a tower beyond it has evidence on one side at most. Radius and octants are judgement.

    References
    ----------
    Own choice of radius and octants, no published source.

    Examples
    --------
    Everything mapped lies to the north of the tower: the edge of an extract runs there.

    >>> north = np.array([[8.0, 47.001], [8.001, 47.001], [7.999, 47.001]])
    >>> uncovered_reasons(np.array([[8.0, 47.0]]), 150.0, north, [], [], 500.0, 6)
    [['few_features']]
    """
    count = len(towers_lonlat)
    if coverage:
        return _causes({OUTSIDE_POLYGON: _disc_within(towers_lonlat, reach_m, coverage)})
    if len(evidence) == 0:
        return [[NO_MAP] for _ in range(count)]
    inside = _disc_within(towers_lonlat, reach_m, extents) if extents else np.ones(count, dtype=bool)
    found = octants_with_evidence(towers_lonlat, evidence, radius_m)
    return _causes({OUTSIDE_BOX: inside, FEW_FEATURES: found >= octants})


def complete_within_m(
    towers_lonlat: FloatArray,
    covers: NDArray[np.bool_],
    steps_m: Sequence[float],
    extents: Sequence[Polygon],
    coverage: Sequence[Polygon],
    evidence_m: float,
) -> FloatArray:
    """Find out how far about each tower the map is complete.

    Parameters
    ----------
    towers_lonlat : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    covers : ndarray of bool, shape (n,)
        As :func:`uncovered_reasons` finds it.
    steps_m : sequence of float
        Distances to try, ascending. [m]
    extents, coverage : sequence of Polygon
        As in :func:`uncovered_reasons`.
    evidence_m : float
        Within which evidence was looked for: if there are neither, the map counts as complete so far, no farther. [m]

    Returns
    -------
    ndarray, shape (n,)
        0 where it does not cover the tower. [m]
    """
    polygons = coverage or extents
    if not polygons:
        return np.where(covers, min(steps_m[-1], evidence_m), 0.0)
    found = np.zeros(len(towers_lonlat))
    for step_m in steps_m:
        found[covers & _disc_within(towers_lonlat, step_m, polygons)] = step_m
    return found


def octants_with_evidence(towers_lonlat: FloatArray, evidence: FloatArray, radius_m: float) -> NDArray[np.int64]:
    """Count in how many of the eight directions (45° wide, the first about north) each tower has evidence.

    Parameters
    ----------
    towers_lonlat : ndarray, shape (n, 2)
        Longitude and latitude. [deg]
    evidence : ndarray, shape (m, 2)
        Places where the map has something. [deg]
    radius_m : float
        Within this distance. [m]

    Returns
    -------
    ndarray of int, shape (n,)
        0 to 8.

    Examples
    --------
    Something to the north and something to the east; what lies to the south is 1.1 km away:

    >>> about = np.array([[8.0, 47.001], [8.002, 47.0], [8.0, 46.99]])
    >>> octants_with_evidence(np.array([[8.0, 47.0]]), about, 500.0)
    array([2])
    """
    points = _thinned(evidence, radius_m / _CELLS_PER_RADIUS)
    tree = cKDTree(geocentric(points))
    seen = np.zeros((len(towers_lonlat), 8), dtype=bool)
    for first in range(0, len(towers_lonlat), _CHUNK):
        towers = towers_lonlat[first : first + _CHUNK]
        pairs = cKDTree(geocentric(towers)).sparse_distance_matrix(tree, radius_m, output_type="ndarray")
        away = points[pairs["j"]] - towers[pairs["i"]]
        east = np.mod(away[:, 0] + 180.0, 360.0) - 180.0
        bearing = np.degrees(np.arctan2(east * np.cos(np.radians(towers[pairs["i"], 1])), away[:, 1]))
        there = pairs["v"] > 0.0
        seen[first + pairs["i"][there], np.round(bearing[there] / 45.0).astype(np.int64) % 8] = True
    return np.asarray(seen.sum(axis=1))


def _disc_within(lonlat: FloatArray, radius_m: float, polygons: Sequence[Polygon]) -> NDArray[np.bool_]:
    """Whether all ground within a distance of each point lies in the union of some polygons."""
    area = shapely.union_all(np.array(polygons, dtype=object))
    shapely.prepare(area)
    return np.asarray(shapely.contains(area, _discs(lonlat, radius_m)))


def _discs(lonlat: FloatArray, radius_m: float) -> NDArray[np.object_]:
    """Polygons about discs of a radius: they hold the disc and a little more, never less."""
    angle = np.linspace(0.0, 2.0 * np.pi, _CORNERS, endpoint=False)
    around = np.column_stack((np.cos(angle), np.sin(angle))) * radius_m / np.cos(np.pi / _CORNERS)
    per_degree = np.column_stack(metres_per_degree(lonlat[:, 1]))
    return np.asarray(shapely.polygons(lonlat[:, None] + around[None] / per_degree[:, None]))


def _thinned(lonlat: FloatArray, cell_m: float) -> FloatArray:
    """Keep one point (the southernmost, then westernmost) in each cell, whatever their order."""
    lon_m, lat_m = metres_per_degree(lonlat[:, 1])
    row = np.floor(lonlat[:, 1] * lat_m.mean() / cell_m)
    column = np.floor(lonlat[:, 0] * lon_m.mean() / cell_m)
    order = np.lexsort((lonlat[:, 0], lonlat[:, 1], column, row))
    row, column = row[order], column[order]
    first = np.ones(len(order), dtype=bool)
    first[1:] = (row[1:] != row[:-1]) | (column[1:] != column[:-1])
    return np.asarray(lonlat[order][first])


def _causes(fine: Mapping[str, NDArray[np.bool_]]) -> list[list[str]]:
    """Codes of what is not fine, tower by tower."""
    rows = zip(*(each.tolist() for each in fine.values()), strict=True)
    return [[code for code, yes in zip(fine, row, strict=True) if not yes] for row in rows]
