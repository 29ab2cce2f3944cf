"""What the reading at each tower should be, and how it answers to H and S: one small matrix for each tower."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from layoutplan.arrays import ComplexArray, FloatArray, IntArray
from layoutplan.exposure.earthing import Excerpt, earthing_system, units
from layoutplan.exposure.network import Network


@dataclass(frozen=True, slots=True)
class Measured:
    """What is to be measured at each of the network's towers, at each test frequency.

    Attributes
    ----------
    frequency_hz : ndarray, shape (f,)
    expected_ohm : ndarray, shape (f, towers)
        What the reading should be: the footing alone if only the legs' current is taken, else footing and earth wires;
        NaN where the line is not known.
    response : ndarray of complex, shape (f, towers, 1 + n, 1 + n)
        Potential of the tower, then the currents of what lifts the ground about it (`Near`), by 1 A into the tower,
        then by 1 V in the ground at each of those. Symmetric; NaN where the line is not known.
    """

    frequency_hz: FloatArray
    expected_ohm: FloatArray
    response: ComplexArray

    def worst_expected_ohm(self) -> FloatArray:
        """Greatest expected reading over the test frequencies.

        Returns
        -------
        ndarray, shape (towers,)
            NaN where the line is not known. [Ω]

        Examples
        --------
        Where the earth wires' inductance lifts the reading from 2.1 Ω at 50 Hz to 3.4 Ω at 128 Hz:

        >>> each_hz = np.array([[2.1, np.nan], [3.4, np.nan]])
        >>> Measured(np.array([50.0, 128.0]), each_hz, np.zeros((2, 2, 1, 1), dtype=complex)).worst_expected_ohm()
        array([3.4, nan])
        """
        return np.asarray(self.expected_ohm.max(axis=0))


def measured(network: Network) -> Measured:
    """State for every tower what the reading should be, and what it depends on.

    Parameters
    ----------
    network : Network
        Of the job.

    Returns
    -------
    Measured
        One entry for each tower and test frequency. [Ω]
    """
    frequency = np.array(network.job.method.test_frequencies_hz)
    footing = network.ground.footing_ohm
    shape = (len(frequency), len(footing))
    response = np.full((*shape, *[2 + network.near.footing.shape[1]] * 2), np.nan, dtype=complex)
    for number, hz in enumerate(frequency.tolist() if network.sources else []):
        courses = [source.course for source in network.sources]
        system = earthing_system(
            courses, network.joints, network.footings, network.pairs, network.ground.deep_ohm_m, hz, wires_only=True
        )
        for rows, excerpt in system.excerpts(network.node, np.arange(len(footing))):
            response[number, rows] = _response(network, excerpt, rows)
    response[:, ~network.known | network.in_a_grid] = np.nan
    whole = np.abs(response[..., 0, 0])
    return Measured(frequency, np.tile(footing, (shape[0], 1)) if network.job.method.legs_only else whole, response)


def _response(network: Network, excerpt: Excerpt, rows: IntArray) -> ComplexArray:
    """Small matrices of a block of towers, shape (t, 1 + n, 1 + n)."""
    system, size = excerpt.system, excerpt.system.network.size
    parts = 1 + network.near.footing.shape[1]
    current = sparse.coo_array(network.near.currents(rows))
    every, column = np.unique(current.row, return_inverse=True)
    ground = sparse.csr_array(
        (current.data.astype(complex), (system.footing_row(current.col), column)), shape=(size, len(every))
    )
    asked = sparse.csr_array(sparse.hstack((units(size, network.node[rows]), ground), format="csr"))
    found = excerpt.product(asked, excerpt.solve(asked))
    place = np.full(len(rows) * parts, -1)
    place[every] = len(rows) + np.arange(len(every))
    at = np.column_stack((np.arange(len(rows)), place.reshape(len(rows), parts)))
    there = at >= 0
    return np.where(there[:, :, None] & there[:, None, :], found[at[:, :, None], at[:, None, :]], 0.0)
