"""Everything the plan holds on its leads and towers, for the chosen pairs, put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.electrical import RodPlan, magnitude_range, rod_voltage_share
from layoutplan.exposure.capacitive import capacitive
from layoutplan.exposure.fault_figures import FaultFigures, causes, fault_figures
from layoutplan.exposure.figures import FAULT, SERVICE, Exposure, LeadFigures, TowerFigures
from layoutplan.exposure.induced import emf_by_loads, lead_transfers
from layoutplan.exposure.limits import fault_limit, service_limits, step_values
from layoutplan.exposure.measured import Measured
from layoutplan.exposure.network import Network
from layoutplan.exposure.readings import ReadingFigures, electrodes, readings
from layoutplan.exposure.standing import Standing, standing_state
from layoutplan.exposure.worst import Worst

H, S = 0, 1
REACH_M, STEP_FROM_M = 1.0, 0.25  # how far a hand reaches; the middle of a boot beside the stake (judgement)
_VOLTAGE = ("section",)
_LOAD = ("section", "load")
_UNBALANCE = (*_LOAD, "unbalance", "soil")
_STANDING = (*_UNBALANCE, "footing", "shared")
_FAULT = ("section", "fault", "soil", "shared", "footing", "station")


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything electrical of a plan; ``tower`` are the rows of the towers with stakes."""

    tower: IntArray
    leads: LeadFigures
    reading: ReadingFigures
    rods: RodPlan
    towers: TowerFigures
    measured: Measured

    def spread(self, values: FloatArray) -> FloatArray:
        """Spread values of the towers with stakes over all towers.

        Parameters
        ----------
        values : ndarray, shape (t,)
            One for each tower with stakes, in any unit.

        Returns
        -------
        ndarray, shape (towers,)
            NaN where there is no stake.
        """
        out = np.full(len(self.towers.potential_rise_v), np.nan)
        out[self.tower] = values
        return out


def assess(network: Network, measured: Measured, tower: IntArray, stake_xy_m: FloatArray) -> Assessment:
    """Work out all figures of a plan.

    Parameters
    ----------
    network : Network
        Of the job.
    measured : Measured
        What the readings should be.
    tower : ndarray of int, shape (t,)
        Towers with stakes, ascending.
    stake_xy_m : ndarray, shape (t, 2, 2)
        H and S in the towers' frames. [m]

    Returns
    -------
    Assessment
        Figures of towers and leads; NaN where unknown.
    """
    state = standing_state(network) if network.sources else None
    every = np.arange(len(network.towers))
    lead = np.stack((np.zeros_like(stake_xy_m), stake_xy_m), axis=2)
    made = {hz: lead_transfers(network, tower, lead, hz) for hz in network.systems}
    if len(np.unique(tower)) == len(tower):  # all towers in one go, those without stakes with none
        stakes = np.full((len(every), *stake_xy_m.shape[1:]), np.nan)
        stakes[tower] = stake_xy_m
        places = {hz: [part.renumbered(_leads(tower), _leads(every).size) for part in made[hz]] for hz in made}
        faults = fault_figures(network, every, stakes, places)
        at_stakes = faults.rows(tower)
    else:
        faults, at_stakes = fault_figures(network, every, None, {}), fault_figures(network, tower, stake_xy_m, made)
    return Assessment(
        tower,
        _lead_figures(network, tower, stake_xy_m, emf_by_loads(network, tower, 2, made), at_stakes, state),
        readings(network, measured, tower, stake_xy_m[:, H], stake_xy_m[:, S]),
        electrodes(network, tower),
        _tower_figures(network, faults, state),
        measured,
    )


def _leads(tower: IntArray) -> IntArray:
    """Numbers of both leads of towers, one after the other."""
    return np.asarray((2 * tower[:, None] + np.arange(2)).ravel())


def tower_figures(network: Network) -> TowerFigures:
    """Potential rise, fault share and standing current of every tower, as `assess` gives them.

    Parameters
    ----------
    network : Network
        Of the job.

    Returns
    -------
    TowerFigures
        One entry for each tower. [V], [-], [A]
    """
    every = np.arange(len(network.towers))
    state = standing_state(network) if network.sources else None
    return _tower_figures(network, fault_figures(network, every, None, {}), state)


def _tower_figures(network: Network, faults: FaultFigures, state: Standing | None) -> TowerFigures:
    """Potential rise, fault share and standing current of every tower.

    The currents by the loads of all lines add up in any phase. Of the faults of all lines and stations the one that
    takes most of its limit counts; what feeds a fault is that of the tower's own line.
    """
    count = len(network.towers)
    start, end = np.full((2, count), np.nan)
    for number, source in enumerate(network.sources):
        if source.faults is not None:
            mine = np.flatnonzero(network.owner == number)
            row = np.searchsorted(source.faults.vertex, source.vertex[mine])
            feed = np.where(source.faults.known[row][:, None], source.faults.feed_a[row], np.nan)
            start[mine], end[mine] = feed.T
    if state is None:
        return TowerFigures(start, np.full(count, "", dtype=object), end, start, end, start, end)
    low, _ = magnitude_range((state.current_a * network.loads.usual[:, None]).reshape(count, -1))
    _, high = magnitude_range(state.current_a.reshape(count, -1))
    unknown = np.where(network.known, 0.0, np.nan)
    where = _places(network, faults.rise)
    return TowerFigures(faults.rise.value_v, where, faults.share + unknown, low + unknown, high + unknown, start, end)


def _places(network: Network, worst: Worst) -> NDArray[np.object_]:
    """Where the governing faults are; empty where unknown."""
    names = np.array([*causes(network), ""], dtype=object)
    return np.asarray(names[worst.cause])


def _lead_figures(
    network: Network,
    tower: IntArray,
    stake_xy_m: FloatArray,
    emf: ComplexArray,
    faults: FaultFigures,
    state: Standing | None,
) -> LeadFigures:
    unknown = np.where(network.by_unknown_lines(tower), np.nan, 0.0)[:, None]
    size = np.abs(emf)
    balanced = size[..., 0].sum(axis=-1) + unknown
    unbalance = size[..., 1:].sum(axis=(-2, -1)) + unknown
    low, high, standing = _expected(network, tower, stake_xy_m, emf, state)
    field = capacitive(network, tower, stake_xy_m)
    service = service_limits(network, tower)
    voltage = service["voltage"]
    exposures: tuple[Exposure, ...] = (
        Exposure("induced by the load, balanced", SERVICE, balanced, voltage, True, _LOAD),
        Exposure("induced by the load, unbalance", SERVICE, unbalance, voltage, True, _UNBALANCE),
        Exposure("standing voltage of the tower", SERVICE, standing, voltage, True, _STANDING),
        Exposure("arithmetic sum in service", SERVICE, balanced + unbalance + standing, voltage, True, _STANDING),
        Exposure("capacitive current, lead carried", SERVICE, field.carried_a, service["current"], True, _VOLTAGE),
        Exposure(
            "capacitive current, lead on the ground", SERVICE, field.on_ground_a, service["current"], True, _VOLTAGE
        ),
        Exposure("electric field along the lead", SERVICE, field.field_v_per_m, service["field"], False, _VOLTAGE),
        *_fault_exposures(network, tower, faults),
    )
    touch, step = exposures[-2:]
    return LeadFigures(
        balanced,
        unbalance,
        faults.induced.value_v,
        faults.transferred.value_v,
        touch.value,
        step.value,
        _places(network, faults.together),
        low,
        high,
        field,
        exposures,
    )


def _fault_exposures(network: Network, tower: IntArray, faults: FaultFigures) -> list[Exposure]:
    """Exposures under the worst faults; the last two beside the stake, for someone who stands there."""
    rows = [
        ("induced by a fault", faults.induced),
        ("transferred from the tower by a fault", faults.transferred),
        ("arithmetic sum under a fault", faults.together),
    ]
    found = [
        Exposure(
            name,
            FAULT,
            worst.value_v,
            fault_limit(network, worst.limit_v, worst.duration_s),
            True,
            _FAULT,
            _places(network, worst),
        )
        for name, worst in rows
    ]
    worst, method = faults.together, network.job.method
    rod = {"length_m": method.rod_length_m, "radius_m": method.rod_diameter_mm / 2000}
    touch = worst.value_v * rod_voltage_share(0.0, REACH_M, **rod)
    step = worst.value_v * rod_voltage_share(STEP_FROM_M, STEP_FROM_M + 1.0, **rod)
    step_limit = fault_limit(network, step_values(network, tower, worst.duration_s), worst.duration_s, step=True)
    where = _places(network, worst)
    touch_limit = fault_limit(network, worst.limit_v, worst.duration_s)
    found.append(Exposure("from the stake to the ground 1 m away", FAULT, touch, touch_limit, False, _FAULT, where))
    found.append(Exposure("step of 1 m beside the stake", FAULT, step, step_limit, False, _FAULT, where))
    return found


def _expected(
    network: Network, tower: IntArray, stake_xy_m: FloatArray, emf: ComplexArray, state: Standing | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Voltage tower to stake on arrival (low, high), and its part without what the lead itself picks up. [V]."""
    if state is None:
        nothing = np.full(stake_xy_m.shape[:2], np.nan)
        return nothing, nothing, nothing
    own = state.to_ground_v(network, tower, stake_xy_m)
    standing = np.abs(own).sum(axis=(-2, -1)) + np.where(network.known[tower], 0.0, np.nan)[:, None]
    parts = emf + own  # an open lead shows the tower's voltage and what it picks up itself
    unknown = np.where(network.known[tower] & ~network.by_unknown_lines(tower), 0.0, np.nan)[:, None]
    flat = (*parts.shape[:2], parts.shape[2] * parts.shape[3])
    low, _ = magnitude_range((parts * network.loads.usual[:, None]).reshape(flat))
    _, high = magnitude_range(parts.reshape(flat))
    return low + unknown, high + unknown, standing
