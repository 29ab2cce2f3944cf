"""The product and the reference side by side: the same job, the same towers, stakes and faults."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache, cached_property
from pathlib import Path

import numpy as np

from layoutplan.exposure import Assessment, assess, build_network, measured
from layoutplan.exposure.fault_figures import FaultFigures, causes, fault_figures
from layoutplan.exposure.induced import lead_transfers
from layoutplan.exposure.limits import touch_values
from layoutplan.exposure.measured import Measured
from layoutplan.exposure.readings import bias_ohm
from layoutplan.exposure.standing import standing_state
from layoutplan.inputs import read_inputs
from layoutplan.job import load_job
from layoutplan.job.stations import Station
from layoutplan.line import build_lines
from layoutplan.line.geodesy import direct

from .adapter import JobWorld
from .data import Excitation, Options, State
from .reference import Network

A = np.exp(2j * np.pi / 3)
SEQUENCES = {"positive": (1, A**2, A), "negative": (1, A, A**2), "zero": (1, 1, 1)}
OPTIONS = Options(mutual_footings=True, own_line="carson")
ANGLES, LENGTH_M = (70.0, -100.0), 100.0  # of the leads to H and to S, from the way the line runs


class Product:
    """What the package says of a job; H and S stand 100 m off every tower."""

    def __init__(self, path: Path) -> None:
        job = load_job(path)
        inputs = read_inputs(job)
        self.network = build_network(job, build_lines(inputs.lines), [(i.line, i.faults) for i in inputs.lines])
        self.towers = self.network.towers
        self.names = list(zip(self.towers.line_id.tolist(), self.towers.tower_id.tolist(), strict=True))
        self.every = np.arange(len(self.towers))
        way = np.array([self._bearing(*name) for name in self.names])
        self.bearing_deg = way[:, None] + np.array(ANGLES)
        turn = np.radians(self.bearing_deg)
        self.stakes_m = LENGTH_M * np.stack((np.sin(turn), np.cos(turn)), axis=-1)

    def _bearing(self, line: str, tower: str) -> float:
        """Which way the line runs at a tower: ahead of it, or at its end behind it. [deg]."""
        course = next(source.course for source in self.network.sources if source.line.id == line)
        at = course.names.index(tower)
        return float(course.axis.bearing_deg[min(at, len(course.axis.bearing_deg) - 1)])

    @property
    def stakes_deg(self) -> np.ndarray:
        """Where the stakes are, (towers, 2, 2)."""
        place = np.repeat(self.towers.lonlat_deg, 2, axis=0)
        return direct(place, self.bearing_deg.ravel(), np.full(len(place), LENGTH_M)).reshape(-1, 2, 2)

    @cached_property
    def worst(self) -> FaultFigures:
        """The worst faults for all towers."""
        return self.faults(self.every)

    def faults(self, tower: np.ndarray) -> FaultFigures:
        """The worst faults for some towers and their leads."""
        leads = np.stack((np.zeros_like(self.stakes_m), self.stakes_m), axis=2)[tower]
        made = {hz: lead_transfers(self.network, tower, leads, hz) for hz in self.network.systems}
        return fault_figures(self.network, tower, self.stakes_m[tower], made)

    def causes(self) -> list[str]:
        """Places of the faults, by number."""
        return causes(self.network)

    def limit_v(self, duration_s: float) -> np.ndarray:
        """Permissible touch voltage at every tower."""
        return touch_values(self.network, self.every, duration_s)

    @cached_property
    def measured(self) -> Measured:
        """What the readings should be."""
        return measured(self.network)

    @cached_property
    def standing(self) -> np.ndarray:
        """Potentials of the towers by line and sequence, (t, lines, 3). [V]."""
        return standing_state(self.network).potential_v

    def bias(self, tower: np.ndarray) -> np.ndarray:
        """Bias of the pairs at every test frequency, (f, t). [ohm]."""
        h, s = self.stakes_m[tower].transpose(1, 0, 2)
        return bias_ohm(self.network, self.measured, tower, h, s)

    def assessed(self) -> Assessment:
        """Everything of all towers."""
        return assess(self.network, self.measured, self.every, self.stakes_m)


class Dense:
    """The same by the reference.

    Earth return and grids see the geometric mean of the soil at the towers, lines each other and the leads by the image
    at the complex depth: choices of the product's model. The kernel "exact" is Carson's integral instead. A stake sees
    a grid about the line end nearest to its tower.
    """

    def __init__(self, path: Path, product: Product, kernel: str = "deri") -> None:
        self.job, self.kernel = JobWorld(path), kernel
        world, self.product = self.job.world, product
        self.soil = float(np.exp(np.log(self.job.soil).mean()))
        stations = tuple(replace(station, soil_ohm_m=self.soil) for station in world.stations)
        self.world = replace(world, stations=stations, soil_ohm_m=self.soil)
        (self.hz,) = {line.frequency_hz for line in self.job.job.lines}
        self.net = self.at(self.hz)
        self.node = np.array([self.net.node(*name) for name in product.names])
        self.xy, self.stakes = self.job.xy(product.towers.lonlat_deg), self.job.xy(product.stakes_deg)

    @cache  # noqa: B019
    def at(self, hz: float) -> Network:
        """The network at a frequency."""
        return Network(self.world, hz, replace(OPTIONS, kernel=self.kernel))

    # ---- faults

    def _excitations(self) -> Iterator[tuple[str, float, list[Excitation]]]:
        """Every fault by its place, with its clearing time: of each phase, or in a station."""
        for line in self.job.job.lines:
            for name, (start, end) in self.job.faults(line.id).items():
                place = f"line '{line.id}', tower {name}"
                phases = [self.net.fault(line.id, name, start, end, phase) for phase in "ABC"]
                yield place, line.fault.clearing_time_s, phases
        for station in self.job.job.stations:
            if station.fault is not None:
                yield station.id, station.fault.clearing_time_s, [self._in_station(station)]

    def _in_station(self, station: Station) -> Excitation:
        """Current into a station; where the job tells the part by the grid, so much that the grid carries that."""
        fault, node = station.fault, self.net.station_node(station.id)
        unit = self.net.unit(node)
        if fault.grid_current_ka is None and fault.earth_wire_share_pct is None:
            return Excitation(unit.phase_a, 1000 * fault.current_ka * unit.injected_a)
        grid_ka = fault.grid_current_ka or fault.current_ka * (1 - fault.earth_wire_share_pct / 100)
        number = len(self.net.electrodes) - len(self.world.stations)
        number += [each.name for each in self.world.stations].index(station.id)
        carried = self.net.solve(unit).electrode_a[number]
        return Excitation(unit.phase_a, 1000 * grid_ka / carried * unit.injected_a)

    @cached_property
    def causes(self) -> tuple[list[str], np.ndarray, list[Excitation]]:
        """Place of every fault and phase, its clearing time, and what it drives."""
        rows = [(name, time, one) for name, time, phases in self._excitations() for one in phases]
        return [row[0] for row in rows], np.array([row[1] for row in rows]), [row[2] for row in rows]

    @cached_property
    def states(self) -> State:
        """All faults side by side."""
        every = self.causes[2]
        return self.net.solve(Excitation(*(np.stack([getattr(e, key) for e in every], 1) for key in _PARTS)))

    def share(self, value: np.ndarray) -> np.ndarray:
        """The greatest part of its limit that any of some values (t, ..., faults) takes."""
        limit = {time: self.product.limit_v(time) for time in np.unique(self.causes[1]).tolist()}
        table = np.stack([limit[time] for time in self.causes[1].tolist()], axis=1)
        return (value / table.reshape(len(value), *[1] * (value.ndim - 2), -1)).max(axis=-1)

    @cached_property
    def rise(self) -> np.ndarray:
        """Potential of every tower for every fault, (t, faults). [V]."""
        return np.abs(self.states.potential_v[self.node])

    @cached_property
    def transferred(self) -> np.ndarray:
        """Tower less ground at the stake, (t, 2, faults). [V]."""
        every = zip(self.stakes, self.job.soil, self.xy, strict=True)
        ground = np.array([[self.net.ground_ohm(xy, rho, tower) for xy in pair] for pair, rho, tower in every])
        return np.abs(self.states.potential_v[self.node][:, None] - ground @ self.states.electrode_a)

    @cached_property
    def induced(self) -> np.ndarray:
        """Voltage in every lead for every fault, (t, 2, faults). [V]."""
        net = self.net
        leads = [[net.lead_ohm(np.stack((a, b))) for b in pair] for a, pair in zip(self.xy, self.stakes, strict=True)]
        return np.abs(np.array(leads) @ np.concatenate([self.states.branch_a, self.states.excitation.phase_a]))

    # ---- in service and measured

    @cached_property
    def loaded(self) -> np.ndarray:
        """Potential of every node by the load of each line and sequence, (nodes, lines, 3). [V]."""
        lines = self.job.job.lines
        out = np.zeros((self.net.nodes, len(lines), 3), complex)
        for i, line in enumerate(lines):
            most = line.load.maximum_a or line.load.current_a
            share = (1.0, line.load.negative_sequence_pct / 100, line.load.zero_sequence_pct / 100)
            for k, phases in enumerate(SEQUENCES.values()):
                amps = dict(zip("ABC", most * share[k] * np.array(phases), strict=True))
                out[:, i, k] = self.net.solve(self.net.load(line.id, amps)).potential_v
        return out

    def driving_point(self, hz: float) -> np.ndarray:
        """Impedance of every tower with all that hangs on it, (t,). [ohm]."""
        return np.diagonal(self.at(hz).node_ohm)[self.node]

    @cache  # noqa: B019
    def bias(self, hz: float) -> np.ndarray:
        """Bias of every pair, (t,). [ohm]."""
        net, legs = self.at(hz), self.job.job.method.legs_only
        expected = self.job.footing if legs else np.abs(self.driving_point(hz))
        rows = zip(self.node, self.stakes, self.xy, strict=True)
        found = [net.reading(node, h, s, xy) for node, (h, s), xy in rows]
        return np.array([(v / a).real if legs else abs(v) for v, a in found]) - expected


_PARTS = ("phase_a", "injected_a")
