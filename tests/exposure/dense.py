"""A whole line by the dense reference: currents, potentials and voltages on leads, in a flat frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .reference import A, chain, series_matrix, summed_emf

SEQUENCES = np.array([[1, 1, 1], [A**2, A, 1], [A, A**2, 1]])


def conductor_arrays(conductors: Any) -> dict[str, np.ndarray]:
    """Offsets, heights at two thirds of the sag, geometric mean radii and resistances of single round wires."""
    return {
        "x": np.array([c["offset_m"] for c in conductors]),
        "h": np.array([c["attachment_height_m"] - 2 / 3 * c.get("sag_m", 0.0) for c in conductors]),
        "gmr": np.array([np.exp(-0.25) * c["diameter_mm"] / 2000 for c in conductors]),
        "r": np.array([c.get("resistance_ohm_per_km", 0.1) / 1000 for c in conductors]),
    }


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

    @property
    def phases(self) -> int:
        return sum(c["phase"] != "E" for c in self.conductors)

    @property
    def lengths_m(self) -> np.ndarray:
        return np.hypot(*np.diff(self.towers_m, axis=0).T)

    @property
    def earthed_ohm(self) -> np.ndarray:
        footing = 1 / self.footing_ohm
        footing[0] += 1 / self.start_grid_ohm
        footing[-1] += 1 / self.end_grid_ohm
        return 1 / footing

    def matrix(self, hz: float | None = None) -> np.ndarray:
        a = conductor_arrays(self.conductors)
        return series_matrix(a["x"], a["h"], a["gmr"], a["r"], self.rho, hz or self.hz)

    def solved(self, phase_a: np.ndarray, injected: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Potentials (n,) and currents in all conductors (n - 1, c) for phase currents (n - 1, p) in line order."""
        p, z = self.phases, self.matrix()
        span = z[p:, p:] * self.lengths_m[:, None, None]
        drive = -(phase_a @ z[p:, :p].T) * self.lengths_m[:, None]
        v, wires = chain(self.earthed_ohm, span, drive, injected)
        return v, np.hstack((phase_a, wires))

    def load(self, phase_a: Any) -> tuple[np.ndarray, np.ndarray]:
        """Under a load that is the same all along."""
        n = len(self.towers_m)
        return self.solved(np.tile(np.asarray(phase_a, dtype=complex), (n - 1, 1)), np.zeros(n))

    def fault(self, tower: int, phase: int, left_a: float, right_a: float) -> tuple[np.ndarray, np.ndarray]:
        """Fault at a tower, fed from both ends; stations with a grid take their current back out of the earth."""
        n = len(self.towers_m)
        flow = np.zeros((n - 1, self.phases), dtype=complex)
        flow[:tower, phase], flow[tower:, phase] = left_a, -right_a
        injected = np.zeros(n, dtype=complex)
        injected[tower] += left_a + right_a
        injected[0] -= left_a * np.isfinite(self.start_grid_ohm)
        injected[-1] -= right_a * np.isfinite(self.end_grid_ohm)
        return self.solved(flow, injected)

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

    def emf(self, tower: int, lead: np.ndarray, current: np.ndarray) -> complex:
        """Voltage along a lead (2, 2) from a tower, for the currents of all conductors in all spans."""
        points = self.points()
        start, end = (part.reshape(-1, 3) for part in (points[:-1], points[1:]))
        found = summed_emf(lead + self.towers_m[tower], start, end, current.reshape(-1), self.rho, self.hz)
        return complex(found)
