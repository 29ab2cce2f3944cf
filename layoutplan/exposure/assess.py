"""Everything the plan says of its leads and towers, for the chosen pairs, put together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.electrical import RodPlan, exposure_ratio, handling, magnitude_range, transferred_voltage
from layoutplan.exposure.beside import beside_faults, driven_by_loads_v
from layoutplan.exposure.capacitive import Capacitive, capacitive
from layoutplan.exposure.chain import ComplexArray
from layoutplan.exposure.induced import fault_emf, load_emf
from layoutplan.exposure.limits import Limit, fault_limit, service_limits
from layoutplan.exposure.network import Network
from layoutplan.exposure.readings import Measured, Reading, electrodes, readings
from layoutplan.line.geodesy import FloatArray
from layoutplan.line.model import IntArray

H, S = 0, 1
SERVICE, FAULT = "in service", "under a fault"
BESIDE = "by a fault of a line beside"
_VOLTAGE = ("section",)
_LOAD = ("section", "load")
_UNBALANCE = (*_LOAD, "unbalance", "soil")
_STANDING = (*_UNBALANCE, "footing", "shared")
_FAULT = ("section", "fault", "soil", "shared")
_TRANSFERRED = (*_FAULT, "footing")
_BESIDE = ("beside", "soil")


@dataclass(frozen=True, slots=True)
class Exposure:
    """One kind of exposure of all leads.

    Attributes
    ----------
    name : str
    state : str
        ``SERVICE`` or ``FAULT``.
    value : ndarray, shape (t, 2)
        In the unit of the limit, H and S; NaN if unknown.
    limit : Limit
        For each tower.
    judged : bool
        Whether it counts for the handling of the lead.
    rests_on : tuple of str
        Inputs that matter, for naming those that were assumed or are missing: ``section``, ``soil``, ``footing``,
        ``load``, ``unbalance``, ``fault``, ``shared``, ``beside``.
    applies : ndarray of bool, shape (t,), or None
        Towers that it concerns; None for all.
    caused_by : list of str, or None
        For each tower the line that causes it, empty if unknown; None where it is the tower's own.
    """

    name: str
    state: str
    value: FloatArray
    limit: Limit
    judged: bool
    rests_on: tuple[str, ...]
    applies: NDArray[np.bool_] | None = None
    caused_by: list[str] | None = None

    @property
    def ratio(self) -> FloatArray:
        """Share of the limit, shape (t, 2), 0 where it does not apply. [-]."""
        ratio = exposure_ratio(self.value, self.limit.value[:, None])
        return ratio if self.applies is None else np.where(self.applies[:, None], ratio, 0.0)


@dataclass(frozen=True, slots=True)
class LeadFigures:
    """Figures of the leads, shape (t, 2) for H and S; NaN if unknown.

    Attributes
    ----------
    emf_load_v, emf_unbalance_v : ndarray
        Induced by the balanced part, and by negative and zero sequence, of the greatest load; lines added up. [V]
    emf_fault_v, transferred_fault_v : ndarray
        [V]
    expected_low_v, expected_high_v : ndarray
        Voltage between tower and stake on arrival, at the usual load at least, at the greatest at most. [V]
    capacitive : Capacitive
    exposures : tuple of Exposure
    """

    emf_load_v: FloatArray
    emf_unbalance_v: FloatArray
    emf_fault_v: FloatArray
    transferred_fault_v: FloatArray
    expected_low_v: FloatArray
    expected_high_v: FloatArray
    capacitive: Capacitive
    exposures: tuple[Exposure, ...]

    def worst_ratio(self, state: str) -> FloatArray:
        """Greatest ratio of those that count for the handling; NaN where one is unknown and none above 1."""
        ratios = self._ratios(state)
        worst = np.max(ratios, axis=-1, initial=0.0, where=~np.isnan(ratios))
        return np.where(np.isnan(ratios).any(axis=-1) & (worst <= 1), np.nan, worst)

    def handling(self, state: str) -> NDArray[np.object_]:
        """What the ratios ask of the crew, shape (t, 2)."""
        return np.asarray(handling(self._ratios(state)), dtype=object)

    def _ratios(self, state: str) -> FloatArray:
        return np.stack([item.ratio for item in self.exposures if item.judged and item.state == state], axis=-1)


@dataclass(frozen=True, slots=True)
class TowerFigures:
    """Figures of all towers of the network, NaN if unknown.

    Attributes
    ----------
    potential_rise_v, fault_share : ndarray
        Under a fault at the tower; share of the fault current in its footing. [V], [-]
    standing_low_a, standing_high_a : ndarray
        Current in the tower in service. [A]
    fault_from_start_a, fault_from_end_a : ndarray
        What feeds a fault at the tower. [A]
    """

    potential_rise_v: FloatArray
    fault_share: FloatArray
    standing_low_a: FloatArray
    standing_high_a: FloatArray
    fault_from_start_a: FloatArray
    fault_from_end_a: FloatArray


@dataclass(frozen=True, slots=True)
class Assessment:
    """Everything electrical of a plan; ``tower`` are the rows of the towers with stakes."""

    tower: IntArray
    leads: LeadFigures
    reading: Reading
    rods: RodPlan
    towers: TowerFigures
    measured: Measured

    def spread(self, values: FloatArray) -> FloatArray:
        """Values of the towers with stakes for all towers, NaN where there is no stake."""
        out = np.full(len(self.towers.potential_rise_v), np.nan)
        out[self.tower] = values
        return out


def assess(network: Network, measured: Measured, tower: IntArray, stake_xy_m: FloatArray) -> Assessment:
    """Work out all figures of a plan.

    Parameters
    ----------
    network : Network
    measured : Measured
    tower : ndarray of int, shape (t,)
        Towers with stakes, ascending.
    stake_xy_m : ndarray, shape (t, 2, 2)
        H and S in the towers' frames. [m]
    """
    standing = _standing_v(network) if network.sources else None
    return Assessment(
        tower,
        _lead_figures(network, tower, stake_xy_m, standing),
        readings(network, measured, tower, stake_xy_m[:, H], stake_xy_m[:, S]),
        electrodes(network, tower),
        tower_figures(network, standing),
        measured,
    )


def tower_figures(network: Network, standing_v: ComplexArray | None = None) -> TowerFigures:
    """Potential rise, fault share and standing current of every tower.

    The currents by the loads of a tower's own lines, and of those beside it, add up in any phase. Of the faults of its
    own lines the one that lifts it most counts; what feeds a fault is told of its own line. ``standing_v`` is what
    `_standing_v` gives, if it is known already.
    """
    footing, unknown = network.ground.footing_ohm, np.where(network.known, 0.0, np.nan)
    start, end = np.full((2, len(footing)), np.nan)
    for number, source in enumerate(network.sources):
        if source.faults is not None:
            mine = network.owner == number
            start[mine], end[mine] = (fed[source.vertex[mine]] for fed in source.faults.fed_a)
    if not network.sources:
        return TowerFigures(start, end, start, end, start, end)
    standing_v = _standing_v(network) if standing_v is None else standing_v
    current = standing_v / footing[:, None, None]
    low, _ = magnitude_range((current * _usual(network)).reshape(len(footing), -1))
    _, high = magnitude_range(current.reshape(len(footing), -1))
    rise, fed = np.abs(_fault_v(network)), _fed_a(network)
    worst = np.argmax(rise, axis=1)[:, None]  # NaN counts as the worst
    rise, fed = (np.take_along_axis(each, worst, axis=1)[:, 0] for each in (rise, fed))
    share = np.divide(rise / footing, fed, out=np.full(len(footing), np.nan), where=fed > 0)
    return TowerFigures(rise + unknown, share + unknown, low + unknown, high + unknown, start, end)


def _usual(network: Network) -> FloatArray:
    """Usual load over the greatest of each line, shape (sources, 1). [-]."""
    return np.array([source.load.usual for source in network.sources])[:, None]


def _standing_v(network: Network) -> ComplexArray:
    """Potential of each tower by the load of each line, of its own or beside, shape (towers, sources, k). [V]."""
    found = [
        np.where((source.vertex < 0)[:, None], 0.0, source.load.potential_v[source.vertex])
        for source in network.sources
    ]
    return np.asarray(np.stack(found, axis=1) + driven_by_loads_v(network))


def _fault_v(network: Network) -> ComplexArray:
    """Potential of each tower when a fault of a line is there, 0 by lines not on it, shape (towers, sources). [V]."""
    found = [
        np.where(source.vertex < 0, 0.0, np.nan if source.faults is None else source.faults.potential_v[source.vertex])
        for source in network.sources
    ]
    return np.stack(found, axis=1).astype(complex)


def _fed_a(network: Network) -> FloatArray:
    """Return what feeds that fault, shape (towers, sources). [A]."""
    found = [
        np.zeros(len(source.vertex)) if source.faults is None else np.sum(source.faults.fed_a, axis=0)[source.vertex]
        for source in network.sources
    ]
    return np.stack(found, axis=1)


def _lead_figures(
    network: Network, tower: IntArray, stake_xy_m: FloatArray, standing_v: ComplexArray | None
) -> LeadFigures:
    lead = np.stack((np.zeros_like(stake_xy_m), stake_xy_m), axis=2)
    emf = load_emf(network, tower, lead)
    unknown = np.where(network.in_the_dark(tower), np.nan, 0.0)[:, None]
    size = np.abs(emf)
    balanced = size[..., 0].sum(axis=-1) + unknown
    unbalance = size[..., 1:].sum(axis=(-2, -1)) + unknown
    low, high, standing = _expected(network, tower, stake_xy_m, emf, standing_v)
    induced, transferred = fault_emf(network, tower, lead), _transferred_fault(network, tower, stake_xy_m)
    field = capacitive(network, tower, stake_xy_m)
    service, touch = service_limits(network, tower), fault_limit(network, tower)
    voltage = service["voltage"]
    exposures: tuple[Exposure, ...] = (
        Exposure("induced by the load, balanced", SERVICE, balanced, voltage, True, _LOAD),
        Exposure("induced by the load, unbalance", SERVICE, unbalance, voltage, True, _UNBALANCE),
        Exposure("standing voltage of the tower", SERVICE, standing, voltage, True, _STANDING),
        Exposure("arithmetic sum in service", SERVICE, balanced + unbalance + standing, voltage, True, _STANDING),
        Exposure("capacitive current, lead carried", SERVICE, field.carried_a, service["current"], True, _VOLTAGE),
        Exposure("capacitive current, lead on the ground", SERVICE, field.lying_a, service["current"], True, _VOLTAGE),
        Exposure("electric field along the lead", SERVICE, field.field_v_per_m, service["field"], False, _VOLTAGE),
        Exposure("induced by a fault", FAULT, induced, touch, True, _FAULT),
        Exposure("transferred from the tower by a fault", FAULT, transferred, touch, True, _TRANSFERRED),
        Exposure("arithmetic sum under a fault", FAULT, induced + transferred, touch, True, _TRANSFERRED),
    )
    beside = beside_faults(network, tower, stake_xy_m)
    if beside.near.any():
        more = Exposure(BESIDE, FAULT, beside.value_v, beside.limit, True, _BESIDE, beside.near, beside.line_id)
        exposures = (*exposures, more)
    return LeadFigures(balanced, unbalance, induced, transferred, low, high, field, exposures)


def _expected(
    network: Network, tower: IntArray, stake_xy_m: FloatArray, emf: np.ndarray, standing_v: ComplexArray | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Voltage tower to stake on arrival (low, high), and its part without what the lead itself picks up. [V]."""
    if standing_v is None:
        nothing = np.full(stake_xy_m.shape[:2], np.nan)
        return nothing, nothing, nothing
    at_stake = network.ground.lifted_ohm(tower[:, None], np.hypot(*np.moveaxis(stake_xy_m, -1, 0)))
    potential = standing_v[tower]
    current = potential / network.ground.footing_ohm[tower][:, None, None]
    own = transferred_voltage(potential[:, None], current[:, None], at_stake[..., None, None])
    standing = np.abs(own).sum(axis=(-2, -1)) + np.where(network.known[tower], 0.0, np.nan)[:, None]
    parts = emf + own  # an open lead shows the tower's voltage and what it picks up itself
    unknown = np.where(network.known[tower] & ~network.in_the_dark(tower), 0.0, np.nan)[:, None]
    flat = (*parts.shape[:2], parts.shape[2] * parts.shape[3])
    low, _ = magnitude_range((parts * _usual(network)).reshape(flat))
    _, high = magnitude_range(parts.reshape(flat))
    return low + unknown, high + unknown, standing


def _transferred_fault(network: Network, tower: IntArray, stake_xy_m: FloatArray) -> FloatArray:
    """Voltage between the ground at each stake and a lead bonded to the tower, or the other way round. [V].

    By the worst fault of the lines that the tower carries.
    """
    if not network.sources:
        return np.full(stake_xy_m.shape[:2], np.nan)
    at_stake = network.ground.lifted_ohm(tower[:, None], np.hypot(*np.moveaxis(stake_xy_m, -1, 0)))
    potential = _fault_v(network)[tower]
    current = potential / network.ground.footing_ohm[tower][:, None]
    by_line = np.abs(transferred_voltage(potential[:, None], current[:, None], at_stake[..., None]))
    return by_line.max(axis=-1) + np.where(network.known[tower], 0.0, np.nan)[:, None]
