"""Where current enters the ground: every structure's own earth electrode, every station's grid; and who lifts whom."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import soil_potential
from layoutplan.exposure.ground import SoilAndFootings
from layoutplan.exposure.joints import Joints
from layoutplan.exposure.sources import LineConductors
from layoutplan.line.geodesy import local_axes, to_ecef
from layoutplan.line.model import Towers

# Footings farther off are left out of each other's potential. With 2 km towers a few kilometres from a station under a
# fault would be shown up to 7 % low; with 8 km all agrees with a dense solve (docs, "The earthing network").
TOWER_M = STATION_M = 8000.0
_NEAR_M, _MOST = 1000.0, 8  # footings of which every stake has its own distance, the tower's own included
_BELOW = 0.98  # a footing lifts another by less than itself; two in one place are nearly one


@dataclass(frozen=True, slots=True)
class Footings:
    """Every footing of the network; structures first, then stations.

    Attributes
    ----------
    node : ndarray of int, shape (f,)
    ohm : ndarray, shape (f,)
        Resistance to remote earth. [Ω]
    soil_ohm_m : ndarray, shape (f,)
    scale : ndarray, shape (f,)
        By how much the potential about it is less than soil and distance say, see `Ground.transfer_resistance_ohm`.
    point_m : ndarray, shape (p, 3)
        Where it is, geocentric; a station at each of its line ends.
    point : ndarray of int, shape (p,)
        Footing of each point.
    station : ndarray of bool, shape (f,)
    of_tower : ndarray of int, shape (towers,)
        The tower's own footing; -1 for towers of lines of which nothing electrical is known.
    lower_ohm_m, thickness_m : float or None
        Lower layer of the soil and thickness of the upper one.
    """

    node: IntArray
    ohm: FloatArray
    soil_ohm_m: FloatArray
    scale: FloatArray
    point_m: FloatArray
    point: IntArray
    station: np.ndarray
    of_tower: IntArray
    lower_ohm_m: float | None
    thickness_m: float | None

    def transfer_resistance_ohm(self, footing: IntArray, distance_m: FloatArray, soil_ohm_m: FloatArray) -> FloatArray:
        """Potential of the ground per ampere at a distance from footings, never above their own.

        Parameters
        ----------
        footing : ndarray of int
            Rows of the footings.
        distance_m : ndarray, same shape
            From their middles, > 0. [m]
        soil_ohm_m : ndarray, same shape
            Resistivity of the upper layer. [Ω·m]

        Returns
        -------
        ndarray, same shape
            At most the footing's resistance. [V/A]
        """
        found = soil_potential(
            distance_m,
            soil_resistivity_ohm_m=soil_ohm_m,
            lower_resistivity_ohm_m=self.lower_ohm_m,
            upper_thickness_m=self.thickness_m,
        )
        return np.asarray(np.minimum(found * self.scale[footing], self.ohm[footing]))

    def pairs(self) -> tuple[IntArray, FloatArray]:
        """Footings that lift each other, each pair once, and by how much.

        Returns
        -------
        pair : ndarray of int, shape (p, 2)
            Rows of the footings.
        transfer_resistance_ohm : ndarray, shape (p,)
            Potential of the one per ampere of the other. [V/A]
        """
        tree = cKDTree(self.point_m)
        near = tree.query_pairs(TOWER_M, output_type="ndarray")
        grids = np.flatnonzero(self.station[self.point])
        about = [np.array(tree.query_ball_point(self.point_m[i], STATION_M), dtype=np.int64) for i in grids]
        wide = [np.column_stack((np.full(len(found), i), found)) for i, found in zip(grids, about, strict=True)]
        pair = np.concatenate([near, *wide]).astype(np.int64).reshape(-1, 2)
        away = np.linalg.norm(self.point_m[pair[:, 0]] - self.point_m[pair[:, 1]], axis=1)
        both = np.sort(self.point[pair], axis=1)
        keep = both[:, 0] != both[:, 1]
        both, away = both[keep], away[keep].clip(1.0)
        order = np.lexsort((away, both[:, 1], both[:, 0]))
        both, away = both[order], away[order]
        first = np.ones(len(both), dtype=bool)
        first[1:] = (np.diff(both, axis=0) != 0).any(axis=1)
        both, away = both[first], away[first]
        soil = np.sqrt(self.soil_ohm_m[both].prod(axis=1))
        raised = np.minimum(*(self.transfer_resistance_ohm(side, away, soil) for side in both.T))
        return both, np.minimum(raised, _BELOW * self.ohm[both].min(axis=1))


@dataclass(frozen=True, slots=True)
class NearFootings:
    """What lifts the ground about each tower: n - 1 footings near it, its own first, and all others together.

    Attributes
    ----------
    footing : ndarray of int, shape (towers, n - 1)
        -1 where there is none.
    xy_m : ndarray, shape (towers, n - 1, 2)
        In the tower's frame. [m]
    soil_ohm_m : ndarray, shape (towers, n - 1)
        Between the footing and the tower.
    others : csr_array, shape (towers, footings)
        Potential at the tower per ampere of footings farther off; its stakes are taken to be lifted alike. [V/A]
    """

    footing: IntArray
    xy_m: FloatArray
    soil_ohm_m: FloatArray
    others: sparse.csr_array

    def transfer_resistance_ohm(self, footings: Footings, tower: IntArray, place_xy_m: FloatArray) -> FloatArray:
        """Potential per ampere of each part at places about towers.

        Parameters
        ----------
        footings : Footings
            Of the network.
        tower : ndarray of int, shape (t,)
            Rows of the towers.
        place_xy_m : ndarray, shape (t, ..., 2)
            In the towers' frames. [m]

        Returns
        -------
        ndarray, shape (t, ..., n)
            0 where there is no such footing; the last, of `currents`' last column, is 1. [V/A], [-]
        """
        shape = (len(tower), *[1] * (place_xy_m.ndim - 2), self.footing.shape[1])
        away = np.linalg.norm(place_xy_m[..., None, :] - self.xy_m[tower].reshape(*shape, 2), axis=-1).clip(0.5)
        index = np.broadcast_to(self.footing[tower].reshape(shape), away.shape)
        soil = np.broadcast_to(self.soil_ohm_m[tower].reshape(shape), away.shape)
        near = np.zeros(away.shape)
        there = index >= 0
        near[there] = footings.transfer_resistance_ohm(index[there], away[there], soil[there])
        return np.concatenate((near, np.ones((*near.shape[:-1], 1))), axis=-1)

    def currents(self, tower: IntArray) -> sparse.csr_array:
        """Which footings' currents make up each part: tower by tower, all others last.

        Parameters
        ----------
        tower : ndarray of int, shape (t,)
            Rows of the towers.

        Returns
        -------
        csr_array, shape (t·n, footings)
            Weights of the footings' currents. [-], in the last part of each tower [V/A]
        """
        near = np.column_stack((self.footing[tower], np.full(len(tower), -1)))
        row, column = np.arange(near.size)[near.ravel() >= 0], near.ravel()[near.ravel() >= 0]
        single = sparse.csr_array((np.ones(len(row)), (row, column)), shape=(near.size, self.others.shape[1]))
        last = np.arange(1, len(tower) + 1) * near.shape[1] - 1
        place = sparse.csr_array((np.ones(len(tower)), (last, np.arange(len(tower)))), shape=(near.size, len(tower)))
        return sparse.csr_array(single + place @ self.others[tower])


def footings_of(
    courses: Sequence[LineConductors],
    vertex: Sequence[IntArray],
    joints: Joints,
    towers: Towers,
    ground: SoilAndFootings,
) -> Footings:
    """Lay out the footings of a network.

    Parameters
    ----------
    courses : sequence of LineConductors
        Lines as they hang.
    vertex : sequence of ndarray of int, shape (towers,)
        Vertex at which each line hangs on each planned tower, -1 where it does not.
    joints : Joints
        Nodes of towers and stations.
    towers : Towers
        The planned ones.
    ground : SoilAndFootings
        Their soil and footings.

    Returns
    -------
    Footings
        Nodes, resistances and places.

    Notes
    -----
    Footings of lines that are not planned are not measured: they are taken as the median of the others (judgement).
    """
    count, stations = joints.structures, joints.stations
    ohm = np.full(count, float(np.median(ground.footing_ohm)))
    soil = np.full(count, float(np.median(ground.soil_ohm_m)))
    scale, place, of_tower = np.ones(count), np.zeros((count, 3)), np.full(len(towers), -1)
    edge = ground.potential_ohm(np.arange(len(towers)), ground.size_m / 2)
    for course, structure, at in zip(courses, joints.structure, vertex, strict=True):
        place[structure[course.towers]] = course.axis.place_m[course.towers]
        rows = np.flatnonzero(at >= 0)
        mine = structure[at[rows]]
        ohm[mine], soil[mine] = ground.footing_ohm[rows], ground.soil_ohm_m[rows]
        scale[mine] = np.minimum(1.0, ground.footing_ohm[rows] / edge[rows])
        of_tower[rows] = mine
    ends = [len(station.place_m) for station in stations]
    return Footings(
        node=np.concatenate((joints.structure_node, [s.node for s in stations])).astype(np.int64),
        ohm=np.concatenate((ohm, [s.grid_ohm for s in stations])),
        soil_ohm_m=np.concatenate((soil, np.full(len(stations), ground.deep_ohm_m))),
        scale=np.concatenate((scale, np.ones(len(stations)))),
        point_m=np.concatenate((place, *(s.place_m for s in stations))),
        point=np.concatenate((np.arange(count), count + np.repeat(np.arange(len(stations)), ends))).astype(np.int64),
        station=np.arange(count + len(stations)) >= count,
        of_tower=of_tower,
        lower_ohm_m=ground.lower_ohm_m,
        thickness_m=ground.thickness_m,
    )


def near_footings(
    footings: Footings, pairs: tuple[IntArray, FloatArray], towers: Towers, ground: SoilAndFootings
) -> NearFootings:
    """Find what lifts the ground at the stakes of each tower.

    Parameters
    ----------
    footings : Footings
        Of the network.
    pairs : tuple
        From `Footings.pairs`.
    towers : Towers
        The planned ones.
    ground : SoilAndFootings
        Their soil.

    Returns
    -------
    NearFootings
        Pairs of tower and footing with what an ampere lifts. [V/A]
    """
    count = len(towers)
    if not len(footings.ohm):
        none = np.full((count, 1), -1)
        return NearFootings(none, np.zeros((count, 1, 2)), np.ones((count, 1)), sparse.csr_array((count, 1)))
    here = to_ecef(towers.lonlat_deg)
    index, point = _nearest(footings, here)
    axes = np.stack(local_axes(towers.lonlat_deg), axis=1)
    xy = np.einsum("tni,tki->tnk", footings.point_m[point] - here[:, None], axes)
    soil = np.sqrt(footings.soil_ohm_m[np.maximum(index, 0)] * ground.soil_ohm_m[:, None])
    size, (pair, raised) = len(footings.ohm), pairs
    both = np.concatenate((pair, pair[:, ::-1]))
    table = sparse.csr_array((np.tile(raised, 2), (both[:, 0], both[:, 1])), shape=(size, size))
    others = sparse.coo_array(table[np.maximum(footings.of_tower, 0)])
    far = (footings.of_tower[others.row] >= 0) & ~(index[others.row] == others.col[:, None]).any(axis=1)
    kept = sparse.csr_array((others.data[far], (others.row[far], others.col[far])), shape=(count, size))
    return NearFootings(index, xy, soil, kept)


def _nearest(footings: Footings, here_m: FloatArray) -> tuple[IntArray, IntArray]:
    """Footings near places, -1 where there are fewer, and the point of each that is nearest; (t, n) both.

    The tower's own comes first, stations next.
    """
    most = min(len(footings.point), 2 * _MOST)
    away, point = cKDTree(footings.point_m).query(here_m, k=np.arange(1, most + 1), distance_upper_bound=_NEAR_M)
    grids = np.flatnonzero(footings.station[footings.point])
    to_grid = np.linalg.norm(here_m[:, None] - footings.point_m[grids], axis=-1)
    rank = np.column_stack((np.where(to_grid <= STATION_M, to_grid / STATION_M - 1.0, np.inf), away))
    point = np.column_stack((np.broadcast_to(grids, to_grid.shape), np.minimum(point, len(footings.point) - 1)))
    index = np.where(np.isinf(rank), -1, footings.point[point])
    rank[(index == footings.of_tower[:, None]) & (index >= 0)] = -2.0
    order = np.argsort(rank, axis=1, kind="stable")
    index, point = (np.take_along_axis(part, order, axis=1) for part in (index, point))
    for column in range(1, index.shape[1]):
        index[(index[:, :column] == index[:, column : column + 1]).any(axis=1), column] = -1
    order = np.argsort(index < 0, axis=1, kind="stable")[:, :_MOST]
    return np.take_along_axis(index, order, axis=1), np.take_along_axis(point, order, axis=1)
