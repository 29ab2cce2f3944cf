"""What the loads of all lines make of the towers' potentials in service."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.exposure.axis import Axis
from layoutplan.exposure.network import UNKNOWN_MATTERS_M, Network, Source
from layoutplan.exposure.windows import FAR_M


@dataclass(frozen=True, slots=True)
class Standing:
    """Potentials and currents of towers at the greatest loads, by line and sequence; NaN where unknown.

    Attributes
    ----------
    potential_v, current_a : ndarray of complex, shape (towers, lines, 3)
        Of each tower, and in its own footing. [V], [A]
    unknown : ndarray of bool, shape (towers, lines)
    """

    potential_v: ComplexArray
    current_a: ComplexArray
    unknown: np.ndarray

    def to_ground_v(self, network: Network, tower: IntArray, place_xy_m: FloatArray) -> ComplexArray:
        """Voltage between towers and the ground at places about them.

        Parameters
        ----------
        network : Network
            Of the job.
        tower : ndarray of int, shape (t,)
            Rows of the towers.
        place_xy_m : ndarray, shape (t, m, 2)
            In the towers' frames. [m]

        Returns
        -------
        ndarray of complex, shape (t, m, lines, 3)
            By line and sequence; NaN where unknown. [V]
        """
        raised = network.near.transfer_resistance_ohm(network.footings, tower, place_xy_m)
        known = (network.loads.footing_a * network.loads.known[:, None]).reshape(len(network.footings.ohm), -1)
        current = (network.near.currents(tower) @ known).reshape(*raised.shape[::2], *self.potential_v.shape[1:])
        ground = np.einsum("tmn,tnls->tmls", raised, current)
        gap = np.where(self.unknown[tower], np.nan, 0.0)[:, None, :, None]
        return np.asarray(self.potential_v[tower][:, None] - ground + gap)


def standing_state(network: Network) -> Standing:
    """Gather what the loads do to each tower.

    An unknown load of a line makes every tower unknown that it may lift: those that carry the line, and those that a
    usual load would lift by more than a tenth of a volt. So does a line of which nothing electrical is known, near the
    earth wires of a line that the tower carries.

    Parameters
    ----------
    network : Network
        Of the job.

    Returns
    -------
    Standing
        Potentials and currents by tower, line and sequence. [V], [A]
    """
    node = network.node
    loads = network.loads
    at = np.maximum(node, 0)
    unknown = loads.matters[at] | (node < 0)[:, None]
    for number, source in enumerate(network.sources):
        if not loads.known[number]:
            unknown[source.vertex >= 0, number] = True
    for axis in network.unknown_axes:
        for source in network.sources:
            unknown[_reached(source, axis)] = True
    zero = np.where(loads.known, 1.0, 0.0)[:, None]
    gap = np.where(unknown, np.nan, 0.0)[..., None]
    footing = np.maximum(network.footings.of_tower, 0)
    return Standing(loads.potential_v[at] * zero + gap, loads.footing_a[footing] * zero + gap, unknown)


def _reached(own: Source, axis: Axis) -> np.ndarray:
    """Mark towers of a line with earth wires to which these may carry what an unknown load beside them drives."""
    found = np.zeros(len(own.vertex), dtype=bool)
    near = np.flatnonzero(axis.nearest(own.course.axis.lonlat_deg)[0] <= UNKNOWN_MATTERS_M)
    if len(near) and any(section.is_earth_wire.any() for section in own.course.sections):
        chainage = own.course.axis.chainage_m
        rows = np.flatnonzero(own.vertex >= 0)
        away = np.abs(chainage[own.vertex[rows], None] - chainage[near]).min(axis=1)
        found[rows] = away <= FAR_M
    return found
