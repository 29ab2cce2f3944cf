"""Figures against bearing, against distance and along the line, as tables: each row is what a plan would hold on it."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.exposure import Network, assess, tower_figures
from layoutplan.exposure.measured import Measured
from layoutplan.job import Rules
from layoutplan.layout.schema import tables
from layoutplan.line.model import Towers
from layoutplan.planning.tables import rounded_columns
from layoutplan.planning.words import SIDES
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, make_rays

BEARING_STEP_DEG = 2.0
OFF_DEG = 10.0  # how far a lead may well be off the bearing that was meant
REFERENCE_M = 100.0  # at which bearings are compared, where the reel reaches so far
NEAREST_M = 20.0
DISTANCE_STEP_M = 5.0
_FIRST_M, _STEP_M, _MOST = 60.0, 20.0, 6
_QUARTER_DEG = 90.0


def fan_distances_m(reach_m: float) -> FloatArray:
    """Distances of the curves against bearing: 60, 80, 100 m and so on to the reach, six at most.

    Parameters
    ----------
    reach_m : float
        Of the reel. [m]

    Returns
    -------
    ndarray
        Ascending. [m]

    Examples
    --------
    >>> print(fan_distances_m(150.0), fan_distances_m(40.0), "m")
    [ 60.  80. 100. 120. 140.] [40.] m
    """
    if reach_m < _FIRST_M:
        return np.array([reach_m])
    distance: FloatArray = np.arange(_FIRST_M, reach_m + 1e-9, _STEP_M)
    if len(distance) <= _MOST:
        return distance
    spread = np.floor(np.linspace(REFERENCE_M, reach_m, _MOST - 1) / 10) * 10
    return np.concatenate(([_FIRST_M], spread))


def bearing_table(network: Network, expected: Measured, tower: int, around: Towers, rules: Rules) -> pd.DataFrame:
    """Voltages induced in straight leads all round a tower.

    Parameters
    ----------
    network : Network
        Of the job.
    expected : Measured
        Of the same network.
    tower : int
        Row of the network's towers.
    around : Towers
        That tower alone, with all spans that end there.
    rules : Rules
        Least angle to the spans, and the reel.

    Returns
    -------
    DataFrame
        One row for each distance and bearing, in this order; NaN where unknown.
    """
    half = np.arange(0.0, 180.0, BEARING_STEP_DEG)
    distance, first = (part.ravel() for part in np.meshgrid(fan_distances_m(rules.reach_m), half, indexing="ij"))
    figures = _lead_figures(network, expected, tower, np.column_stack((first, first + 180.0)), distance)
    bearing = figures["bearing_true_deg"]
    rays = make_rays(around, np.zeros(len(bearing), dtype=np.int64), bearing, rules)
    order = np.lexsort((bearing, figures["distance_m"]))
    directions = {
        "side": SIDES[rays.side],
        "angle_to_line_deg": rays.angle_deg,
        "off_square_deg": rays.off_square_deg,
        "keeps_angle": rays.angle_deg >= rules.min_angle_deg - ANGLE_TOLERANCE_DEG,
    }
    names = ("distance_m", "bearing_true_deg", "induced_v", "induced_balanced_v", "induced_unbalance_v")
    columns = {name: figures[name] for name in names} | {"induced_fault_v": figures["induced_fault_v"]} | directions
    return _table("bearing", network, np.array([tower]), {name: value[order] for name, value in columns.items()})


def best_bearings(bearing: pd.DataFrame) -> pd.DataFrame:
    """Bearing of the least voltage on each side, and what a lead that is 10 degrees off it picks up more.

    Bearings that keep the rules' angle to all spans come first. Where the voltage in service is unknown that of a fault
    decides, and where both are, the bearing nearest to the perpendicular.

    Parameters
    ----------
    bearing : DataFrame
        From `bearing_table`.

    Returns
    -------
    DataFrame
        One row for each side; ``more_v`` and ``more_fault_v`` are the greater of 10 degrees to either hand.
    """
    reach = float(bearing["distance_m"].max())
    ring = bearing[bearing["distance_m"] == (REFERENCE_M if (bearing["distance_m"] == REFERENCE_M).any() else reach)]
    known = (name for name in ("induced_v", "induced_fault_v") if ring[name].notna().all())
    chosen_by = next(known, "off_square_deg")
    steps = round(OFF_DEG / BEARING_STEP_DEG)
    for name, more in (("induced_v", "more_v"), ("induced_fault_v", "more_fault_v")):
        value = ring[name].to_numpy()
        worse = np.maximum(np.roll(value, steps), np.roll(value, -steps)) - value
        ring = ring.assign(**{more: np.round(worse, 3) + 0.0})
    order = list(dict.fromkeys(("breaks_angle", chosen_by, "off_square_deg", "bearing_true_deg")))
    best = (
        ring.assign(chosen_by=chosen_by, breaks_angle=~ring["keeps_angle"]).sort_values(order).groupby("side").head(1)
    )
    names = ["side", "bearing_true_deg", "distance_m", "induced_v", "more_v", "induced_fault_v", "more_fault_v"]
    return best.sort_values("side")[[*names, "keeps_angle", "chosen_by"]].reset_index(drop=True)


def distance_table(network: Network, expected: Measured, tower: int, bearing_deg: FloatArray) -> pd.DataFrame:
    """Figures of two leads of one length on two bearings, from 20 m to the reach of the reel.

    Parameters
    ----------
    network : Network
        Of the job.
    expected : Measured
        Of the same network.
    tower : int
        Row of the network's towers.
    bearing_deg : ndarray, shape (2,)
        Left and right of the line. [deg]

    Returns
    -------
    DataFrame
        One row for each distance and side.
    """
    reach = network.job.rules.reach_m
    start = min(NEAREST_M, reach / 2)
    distance = np.append(np.arange(start, reach - 1e-9, DISTANCE_STEP_M), reach)
    figures = _lead_figures(network, expected, tower, np.tile(bearing_deg, (len(distance), 1)), distance)
    sides = {"side": np.repeat(SIDES, len(distance))}
    return _table("distance", network, np.array([tower]), sides | figures)


def line_table(network: Network, line_id: str) -> pd.DataFrame:
    """What a fault and the load do to each tower of a line.

    Parameters
    ----------
    network : Network
        Of the job.
    line_id : str
        Of the line.

    Returns
    -------
    DataFrame
        One row for each tower in line order.
    """
    rows = np.flatnonzero(network.towers.line_id == line_id)
    found, footing = tower_figures(network), network.ground.footing_ohm
    columns = {
        "order": network.towers.order,
        "chainage_m": network.towers.chainage_m,
        "earth_potential_rise_kv": found.potential_rise_v / 1e3,
        "tower_share_of_fault_pct": 100 * found.fault_share,
        "standing_current_a_low": found.standing_low_a,
        "standing_current_a_high": found.standing_high_a,
        "standing_voltage_v_low": found.standing_low_a * footing,
        "standing_voltage_v_high": found.standing_high_a * footing,
        "footing_ohm": footing,
        "footing_estimated": network.ground.footing_assumed,
    }
    return _table("line", network, rows, {name: value[rows] for name, value in columns.items()})


def directions_table(around: Towers) -> pd.DataFrame:
    """Bearings of the spans that end at a tower, of the normals to each of them, and of the bisector both ways.

    Parameters
    ----------
    around : Towers
        One tower.

    Returns
    -------
    DataFrame
        ``kind`` and ``bearing_true_deg``. [deg]

    Examples
    --------
    A tower of a line that runs from west to east:

    >>> from types import SimpleNamespace
    >>> tower = SimpleNamespace(adjoining_deg=np.array([[90.0, 270.0]]), line_bearing_deg=np.array([90.0]))
    >>> directions_table(tower).groupby("kind")["bearing_true_deg"].apply(list).to_dict()
    {'bisector': [0.0, 180.0], 'normal to a span': [0.0, 180.0], 'span': [90.0, 270.0]}
    """
    spans = around.adjoining_deg[0][~np.isnan(around.adjoining_deg[0])]
    normals = np.concatenate((spans - _QUARTER_DEG, spans + _QUARTER_DEG))
    bisector = around.line_bearing_deg[0] + np.array([-_QUARTER_DEG, _QUARTER_DEG])
    kinds = {"span": spans, "normal to a span": normals, "bisector": bisector}
    columns = {
        "kind": np.repeat(list(kinds), [len(bearing) for bearing in kinds.values()]),
        "bearing_true_deg": np.mod(np.round(np.concatenate(list(kinds.values())), 2), 360.0),
    }
    return pd.DataFrame(columns).drop_duplicates(ignore_index=True)


def _lead_figures(
    network: Network, expected: Measured, tower: int, bearing_deg: FloatArray, distance_m: FloatArray
) -> dict[str, FloatArray]:
    """Figures of n pairs of leads of one length (n,) on bearings (n, 2): those of all first leads, then the others'."""
    radians = np.radians(bearing_deg)
    stake = distance_m[:, None, None] * np.stack((np.sin(radians), np.cos(radians)), axis=-1)
    found = assess(network, expected, np.full(len(distance_m), tower), stake)
    leads, reading = found.leads, found.reading
    columns = {
        "distance_m": np.broadcast_to(distance_m[:, None], bearing_deg.shape),
        "bearing_true_deg": bearing_deg,
        "induced_v": leads.emf_load_v + leads.emf_unbalance_v,
        "induced_balanced_v": leads.emf_load_v,
        "induced_unbalance_v": leads.emf_unbalance_v,
        "induced_fault_v": leads.emf_fault_v,
        "transferred_fault_v": leads.transferred_fault_v,
        "bias_ohm": np.broadcast_to(reading.bias_ohm[:, None], bearing_deg.shape),
        "bias_pct": np.broadcast_to(reading.bias_pct[:, None], bearing_deg.shape),
    }
    return {name: value.T.ravel() for name, value in columns.items()}


def _table(name: str, network: Network, tower: IntArray, columns: dict[str, Any]) -> pd.DataFrame:
    """Rounded columns behind the names of the towers (one for all rows, or one for each).

    Voltages keep a hundredth of a millivolt: about the best bearing they are small, and a curve is to be smooth.
    """
    count = len(next(iter(columns.values())))
    keys = {each: np.broadcast_to(getattr(network.towers, each)[tower], count) for each in ("line_id", "tower_id")}
    return pd.DataFrame(keys | rounded_columns(columns, tables("profile")[name]))
