"""A whole line by the dense reference: currents, potentials and voltages on leads, in a flat frame."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np

from .reference import A, Surface, chain, driven_ohm, point_source, raised, series_matrix, together

SEQUENCES = np.array([[1, 1, 1], [A**2, A, 1], [A, A**2, 1]])


def conductor_arrays(conductors: Any) -> dict[str, np.ndarray]:
    """Offsets, heights at two thirds of the sag, geometric mean radii and resistances of single round wires."""
    return {
        "x": np.array([c["offset_m"] for c in conductors]),
        "h": np.array([c["attachment_height_m"] - 2 / 3 * c.get("sag_m", 0.0) for c in conductors]),
        "gmr": np.array([np.exp(-0.25) * c["diameter_mm"] / 2000 for c in conductors]),
        "r": np.array([c.get("resistance_ohm_per_km", 0.1) / 1000 for c in conductors]),
    }


@cache
def _series_matrix(*figures: Any) -> np.ndarray:
    return series_matrix(*figures)


@dataclass(frozen=True)
class DenseLine:
    """One cross-section all along, phases first and then the earth wires; towers (n, 2) in metres."""

    towers_m: np.ndarray
    conductors: Any
    footing_ohm: np.ndarray
    rho: float = 100.0
    hz: float = 50.0
    start_grid_ohm: float = np.inf
    end_grid_ohm: float = np.inf
    mutual: bool = True  # whether footings and grids lift each other
    layered: Surface | None = None  # about a point of soil that is not the same all the way down

    @property
    def phases(self) -> int:
        return sum(c["phase"] != "E" for c in self.conductors)

    @property
    def lengths_m(self) -> np.ndarray:
        return np.hypot(*np.diff(self.towers_m, axis=0).T)

    @property
    def electrodes_m(self) -> np.ndarray:
        """Places of all footings, then of the grids there are: they lie where the line ends, (f, 2)."""
        return self.towers_m[self.electrode_tower]

    @property
    def earth_ohm(self) -> np.ndarray:
        """Resistances of all footings and grids with what they do to each other through the ground, (f, f)."""
        grids = [ohm for ohm in (self.start_grid_ohm, self.end_grid_ohm) if np.isfinite(ohm)]
        own = np.concatenate((self.footing_ohm, grids))
        return together(self.electrodes_m, own, self.surface) if self.mutual else np.diag(own)

    @property
    def electrode_tower(self) -> np.ndarray:
        """Tower at which each electrode is."""
        last = len(self.towers_m) - 1
        ends = [at for at, ohm in ((0, self.start_grid_ohm), (last, self.end_grid_ohm)) if np.isfinite(ohm)]
        return np.array([*range(last + 1), *ends])

    @property
    def earth(self) -> np.ndarray:
        """Admittances of the towers to remote earth, (n, n)."""
        at = np.eye(len(self.towers_m))[self.electrode_tower]
        return at.T @ np.linalg.solve(self.earth_ohm, at)

    @property
    def surface(self) -> Surface:
        """Potential of the ground per ampere, by distance."""
        return self.layered or point_source(self.rho)

    def electrode_a(self, v: np.ndarray, ground_v: Any = 0.0) -> np.ndarray:
        """What enters the ground by each electrode, the towers' own first, (f, ...).

        ``v`` (n, ...) are the towers' potentials, ``ground_v`` those that others give the ground at the electrodes.
        """
        return np.linalg.solve(self.earth_ohm, v[self.electrode_tower] - ground_v)

    def at(self, tower: int, place_m: Any) -> np.ndarray:
        """Potential of the ground at a place seen from a tower, per ampere into each electrode, (f,). [V/A]."""
        found = raised(self.towers_m[tower] + np.atleast_2d(place_m), self.electrodes_m, self.surface)[0]
        return np.minimum(found, np.diag(self.earth_ohm)) * (self.mutual | (self.electrode_tower == tower))

    def to_stake(self, v: np.ndarray, tower: int, stake_m: Any) -> Any:
        """Voltage between a tower and the ground at a place seen from it, at potentials (n, ...)."""
        return v[tower] - self.at(tower, stake_m) @ self.electrode_a(v)

    def reading(self, tower: int, h_m: Any, s_m: Any, hz: float) -> tuple[complex, complex]:
        """Voltage between tower and S, and current in the tower's own footing, for 1 A into the tower and out at H."""
        drawn = -self.at(tower, h_m)  # by reciprocity: of H on each electrode
        at = np.eye(len(self.towers_m))[self.electrode_tower]
        unit = np.zeros(len(self.towers_m), dtype=complex)
        unit[tower] = 1.0
        v, _ = self._by_wires(unit + at.T @ np.linalg.solve(self.earth_ohm, drawn), hz)
        current = self.electrode_a(v, drawn)
        apart = np.array(np.hypot(*(np.asarray(h_m) - s_m)))
        return complex(v[tower] - self.at(tower, s_m) @ current + self.surface(apart)), complex(current[tower])

    def seen_ohm(self, tower: int, hz: float) -> complex:
        """Impedance of a tower with everything that hangs on it."""
        unit = np.zeros(len(self.towers_m), dtype=complex)
        unit[tower] = 1.0
        return complex(self._by_wires(unit, hz)[0][tower])

    def _by_wires(self, injected: np.ndarray, hz: float) -> tuple[np.ndarray, np.ndarray]:
        p, n = self.phases, len(self.towers_m)
        z = self.matrix(hz)[p:, p:]
        return chain(self.earth, z * self.lengths_m[:, None, None], np.zeros((n - 1, len(z))), injected)

    def matrix(self, hz: float | None = None) -> np.ndarray:
        a = conductor_arrays(self.conductors)
        return _series_matrix(*(tuple(a[name]) for name in ("x", "h", "gmr", "r")), self.rho, hz or self.hz)

    def solved(self, phase_a: np.ndarray, injected: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Potentials (n,) and currents in all conductors (n - 1, c) for phase currents (n - 1, p) in line order."""
        p, z = self.phases, self.matrix()
        span = z[p:, p:] * self.lengths_m[:, None, None]
        drive = -(phase_a @ z[p:, :p].T) * self.lengths_m[:, None]
        v, wires = chain(self.earth, span, drive, injected)
        return v, np.hstack((phase_a, wires))

    def load(self, phase_a: Any) -> tuple[np.ndarray, np.ndarray]:
        """Under a load that is the same all along; what is left of it goes by the grids, where there are any."""
        n = len(self.towers_m)
        return self.solved(np.tile(np.asarray(phase_a, dtype=complex), (n - 1, 1)), self.exchanged(np.sum(phase_a)))

    def exchanged(self, rest_a: complex) -> np.ndarray:
        """What the current left over takes out of the grid at the start and puts into that at the end, (n,)."""
        out = np.zeros(len(self.towers_m), dtype=complex)
        out[0] -= rest_a * np.isfinite(self.start_grid_ohm)
        out[-1] += rest_a * np.isfinite(self.end_grid_ohm)
        return out

    def fault(self, tower: int, phase: int, left_a: float, right_a: float) -> tuple[np.ndarray, np.ndarray]:
        """Fault at a tower, fed from both ends; stations with a grid take their current back out of the earth."""
        return self.solved(*self.fault_causes(tower, phase, left_a, right_a))

    def fault_causes(self, tower: int, phase: int, left_a: float, right_a: float) -> tuple[np.ndarray, np.ndarray]:
        """Currents of the phases (n - 1, p), and put into the towers (n,)."""
        n = len(self.towers_m)
        flow = np.zeros((n - 1, self.phases), dtype=complex)
        flow[:tower, phase], flow[tower:, phase] = left_a, -right_a
        injected = np.zeros(n, dtype=complex)
        injected[tower] += left_a + right_a
        injected[0] -= left_a * np.isfinite(self.start_grid_ohm)
        injected[-1] -= right_a * np.isfinite(self.end_grid_ohm)
        return flow, injected

    def faults(self, left_a: float, right_a: float, phases: Any = (0, 1, 2)) -> tuple[np.ndarray, np.ndarray]:
        """Faults at every tower in each of some phases: potentials (n, n, p), by tower, then by place of the fault and
        phase; currents (n - 1, c, n, p)."""
        found = [[self.fault(at, phase, left_a, right_a) for phase in phases] for at in range(len(self.towers_m))]
        v, i = (np.array([[state[k] for state in row] for row in found]) for k in (0, 1))
        return np.moveaxis(v, -1, 0), np.moveaxis(i, (-2, -1), (0, 1))

    def points(self) -> np.ndarray:
        """Where the conductors are held (n, c, 3): crossarms on the bisector."""
        a = conductor_arrays(self.conductors)
        step = np.diff(self.towers_m, axis=0)
        step /= np.hypot(*step.T)[:, None]
        along = np.vstack((step[:1], step[1:] + step[:-1], step[-1:]))
        along /= np.hypot(*along.T)[:, None]
        right = np.column_stack((along[:, 1], -along[:, 0]))
        plan = self.towers_m[:, None] + a["x"][:, None] * right[:, None]
        return np.concatenate((plan, np.broadcast_to(a["h"][:, None], (*plan.shape[:2], 1))), axis=-1)

    def lead_ohm(self, tower: int, lead: np.ndarray) -> np.ndarray:
        """Voltage along a lead (2, 2) from a tower per ampere in each conductor of each span, (n - 1, c)."""
        points = self.points()
        start, end = (part.reshape(-1, 3) for part in (points[:-1], points[1:]))
        found = driven_ohm(lead + self.towers_m[tower], start, end, self.rho, self.hz)
        return found.reshape(points.shape[0] - 1, points.shape[1])

    def emf(self, tower: int, lead: np.ndarray, current: np.ndarray) -> Any:
        """Voltage along a lead from a tower, for currents (n - 1, c, ...) of all conductors in all spans."""
        return np.tensordot(self.lead_ohm(tower, lead), current, 2)[()]


@dataclass(frozen=True)
class DenseLines:
    """Lines side by side as one network: every wire of every span, every footing and grid; no tower in common.

    Wires of one line see each other as endless ones (Carson), those of two lines by Neumann's integral over each span.
    """

    lines: tuple[DenseLine, ...]

    @cached_property
    def first(self) -> np.ndarray:
        """First node of each line, and how many there are."""
        return np.cumsum([0, *(len(line.towers_m) for line in self.lines)])

    @cached_property
    def earth_ohm(self) -> np.ndarray:
        """As of one line."""
        places = np.concatenate([line.electrodes_m for line in self.lines])
        own = np.concatenate([np.diag(line.earth_ohm) for line in self.lines])
        return together(places, own, self.lines[0].surface)

    @cached_property
    def node(self) -> np.ndarray:
        """Node of each electrode."""
        return np.concatenate([line.electrode_tower + at for line, at in zip(self.lines, self.first, strict=False)])

    @cached_property
    def _impedances(self) -> list[list[np.ndarray]]:
        """By driven and driving line: wires of all spans (s, e) to conductors of all spans (s', c), (s, e, s', c)."""
        return [[self._between(one, other) for other in self.lines] for one in self.lines]

    def _between(self, one: DenseLine, other: DenseLine) -> np.ndarray:
        spans, p = len(one.lengths_m), one.phases
        if one is other:
            out = np.zeros((spans, len(one.conductors) - p, spans, len(one.conductors)), dtype=complex)
            k = np.arange(spans)
            out[k, :, k] = one.matrix()[p:] * one.lengths_m[:, None, None]
            return out
        mine, theirs = one.points()[:, p:], other.points()
        start, end = (part.reshape(-1, 3) for part in (theirs[:-1], theirs[1:]))
        found = [
            -driven_ohm(np.stack((a[:2], b[:2])), start, end, one.rho, one.hz, a[2])
            for a, b in zip(mine[:-1].reshape(-1, 3), mine[1:].reshape(-1, 3), strict=True)
        ]
        return np.array(found).reshape(spans, len(one.conductors) - p, len(theirs) - 1, len(other.conductors))

    @cached_property
    def _system(self) -> tuple[np.ndarray, np.ndarray, list[np.ndarray]]:
        """Wires' impedances (b, b), what joins them to the nodes (b, n), impedances to each line's phases (b, s, p)."""
        rows, phases = [], [[] for _ in self.lines]
        for one, row in zip(self.lines, self._impedances, strict=True):
            wires = len(one.lengths_m) * (len(one.conductors) - one.phases)
            flat = [z.reshape(wires, *z.shape[2:]) for z in row]
            parts = [
                z[..., other.phases :].reshape(wires, len(other.lengths_m) * (len(other.conductors) - other.phases))
                for z, other in zip(flat, self.lines, strict=True)
            ]
            rows.append(np.concatenate(parts, axis=1))
            for found, z, other in zip(phases, flat, self.lines, strict=True):
                found.append(z[..., : other.phases])
        joins = []
        for line, at in zip(self.lines, self.first, strict=False):
            span = np.repeat(np.arange(len(line.lengths_m)), len(line.conductors) - line.phases)
            join = np.zeros((len(span), self.first[-1]))
            join[np.arange(len(span)), at + span], join[np.arange(len(span)), at + span + 1] = 1.0, -1.0
            joins.append(join)
        return np.concatenate(rows), np.concatenate(joins), [np.concatenate(parts) for parts in phases]

    def solved(self, number: int, phase_a: np.ndarray, injected: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
        """Potentials (n, k), currents in all conductors of each line (s, c, k), for currents of one line's phases.

        ``phase_a`` (s, p, k), ``injected`` (n of that line, k).
        """
        z, join, phases = self._system
        at = np.eye(self.first[-1])[self.node]
        admittance = np.linalg.inv(z)
        drive = -np.tensordot(phases[number], phase_a, 2)
        put = np.zeros((self.first[-1], phase_a.shape[-1]), dtype=complex)
        put[self.first[number] : self.first[number + 1]] = injected
        y = at.T @ np.linalg.solve(self.earth_ohm, at) + join.T @ admittance @ join
        v = np.linalg.solve(y, put - join.T @ admittance @ drive)
        wires, currents, begin = admittance @ (join @ v + drive), [], 0
        for i, line in enumerate(self.lines):
            shape = (len(line.lengths_m), len(line.conductors) - line.phases, phase_a.shape[-1])
            own = phase_a if i == number else np.zeros((shape[0], line.phases, shape[2]))
            currents.append(np.concatenate((own, wires[begin : begin + shape[0] * shape[1]].reshape(shape)), axis=1))
            begin += shape[0] * shape[1]
        return v, currents

    def faults(self, number: int, left_a: float, right_a: float) -> tuple[np.ndarray, list[np.ndarray]]:
        """Faults at every tower of one line in each of its phases, as `solved`; k counts towers, then phases."""
        line = self.lines[number]
        flows, puts = zip(
            *(line.fault_causes(at, phase, left_a, right_a) for at in range(len(line.towers_m)) for phase in range(3)),
            strict=True,
        )
        return self.solved(number, np.stack(flows, axis=-1), np.stack(puts, axis=-1))

    def load(self, number: int, phase_a: Any) -> tuple[np.ndarray, list[np.ndarray]]:
        """One line under a load, as `solved` with k = 1."""
        line = self.lines[number]
        flow = np.tile(np.asarray(phase_a, dtype=complex), (len(line.lengths_m), 1))
        return self.solved(number, flow[..., None], line.exchanged(np.sum(phase_a))[:, None])

    def emf(self, place_m: Any, lead: np.ndarray, currents: list[np.ndarray]) -> np.ndarray:
        """Voltage along a lead from a place, (k,)."""
        return sum(
            np.tensordot(line.lead_ohm(0, lead + place_m - line.towers_m[0]), current, 2)
            for line, current in zip(self.lines, currents, strict=True)
        )

    def to_stake(self, v: np.ndarray, node: int, stake_m: Any) -> np.ndarray:
        """Voltage between a tower and the ground at a place seen from it, (k,)."""
        places = np.concatenate([line.electrodes_m for line in self.lines])
        here = np.concatenate([line.towers_m for line in self.lines])[node]
        at = np.minimum(raised((here + stake_m)[None], places, self.lines[0].surface)[0], np.diag(self.earth_ohm))
        return v[node] - at @ np.linalg.solve(self.earth_ohm, v[self.node])
