"""Soil and footings at each tower, with what had to be assumed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.electrical import soil_potential
from layoutplan.job import Job
from layoutplan.line.model import Towers


@dataclass(frozen=True, slots=True)
class SoilAndFootings:
    """Soil and footing at each tower; one entry each.

    Attributes
    ----------
    soil_ohm_m : ndarray
        Of uniform soil, or of the upper layer. [Ω·m]
    soil_assumed : ndarray of bool
    lower_ohm_m, thickness_m : float or None
        Lower layer and thickness of the upper one.
    footing_ohm : ndarray
        Of the tower alone. [Ω]
    footing_assumed : ndarray of bool
    deep_ohm_m : float
        What currents that return deep in the earth see. [Ω·m]
    size_m : ndarray
        Largest dimension of the tower's earth electrode. [m]
    assumptions : tuple of str
    """

    soil_ohm_m: FloatArray
    soil_assumed: NDArray[np.bool_]
    lower_ohm_m: float | None
    thickness_m: float | None
    footing_ohm: FloatArray
    footing_assumed: NDArray[np.bool_]
    deep_ohm_m: float
    size_m: FloatArray
    assumptions: tuple[str, ...]

    def layers(self, tower: IntArray) -> dict[str, FloatArray | float | None]:
        """Soil at some towers, under the names of the formulas' parameters.

        Parameters
        ----------
        tower : ndarray of int
            Rows of the towers.

        Returns
        -------
        dict
            Resistivities [Ω·m] and thickness [m]; None for a lower layer that is not given.
        """
        return {
            "soil_resistivity_ohm_m": self.soil_ohm_m[tower],
            "lower_resistivity_ohm_m": self.lower_ohm_m,
            "upper_thickness_m": self.thickness_m,
        }

    def potential_ohm(self, tower: IntArray, distance_m: FloatArray) -> FloatArray:
        """Potential of the surface per ampere at a distance from towers.

        Parameters
        ----------
        tower : ndarray of int
            Rows of the towers.
        distance_m : ndarray, broadcast with ``tower``
            From a point source, > 0. [m]

        Returns
        -------
        ndarray
            See `soil_potential`. [V/A]

        Examples
        --------
        100 m from a footing in 100 Ω·m, ρ/(2πr):

        >>> no, one = np.array([False]), np.array([10.0])
        >>> ground = SoilAndFootings(np.array([100.0]), no, None, None, one, no, 100.0, np.array([8.0]), ())
        >>> print(ground.potential_ohm(np.array([0]), np.array([100.0])).round(3), "V/A")
        [0.159] V/A
        """
        return soil_potential(distance_m, **self.layers(tower))  # type: ignore[arg-type]

    def transfer_resistance_ohm(self, tower: IntArray, distance_m: FloatArray) -> FloatArray:
        """Potential of the surface per ampere in the legs, never more than footing and electrode size allow.

        No footing has less resistance than the surface has potential per ampere at the edge of its electrode. Where it
        is given lower, soil or size must be wrong, and the potential is scaled down: the voltage between tower and
        stake comes out rather high, and does not vanish where the two figures happen to meet.

        Parameters
        ----------
        tower : ndarray of int
            Rows of the towers.
        distance_m : ndarray, broadcast with ``tower``
            From the tower's middle, > 0. [m]

        Returns
        -------
        ndarray
            At most ``potential_ohm``. [V/A]

        Examples
        --------
        A footing of 1 Ω with an electrode of 8 m cannot be in 100 Ω·m, where the potential at its edge is 3.98 V/A:

        >>> no, one = np.array([False]), np.array([1.0])
        >>> ground = SoilAndFootings(np.array([100.0]), no, None, None, one, no, 100.0, np.array([8.0]), ())
        >>> print(ground.transfer_resistance_ohm(np.array([0]), np.array([4.0, 100.0])).round(3), "V/A")
        [1.   0.04] V/A
        """
        edge = self.potential_ohm(tower, self.size_m[tower] / 2)
        return self.potential_ohm(tower, distance_m) * np.minimum(1.0, self.footing_ohm[tower] / edge)


def ground_at(towers: Towers, job: Job) -> SoilAndFootings:
    """Soil and footing of every tower.

    Parameters
    ----------
    towers : Towers
        Of the line model.
    job : Job
        Its soil section.

    Returns
    -------
    SoilAndFootings
        [Ω·m], [Ω], one entry for each tower.

    Notes
    -----
    An unknown footing is estimated as a flat disc as wide as the largest dimension of the tower's earth electrode,
    R = ρ/(2 D): a disc on the surface of uniform soil, Laurent's and IEEE Std 80's ρ/4·√(π/A); that a tower is like one
    is judgement.
    """
    soil = job.soil
    unknown = np.isnan(towers.soil_ohm_m)
    upper = np.where(unknown, soil.resistivity_ohm_m, towers.soil_ohm_m)
    soil_assumed = unknown & ("resistivity_ohm_m" not in soil.model_fields_set)
    given = np.where(np.isnan(towers.footing_ohm), job.method.footing_resistance_ohm or np.nan, towers.footing_ohm)
    footing_assumed = np.isnan(given)
    deep = soil.lower_resistivity_ohm_m or float(np.exp(np.log(upper).mean()))
    ground = SoilAndFootings(
        upper,
        soil_assumed,
        soil.lower_resistivity_ohm_m,
        soil.upper_thickness_m,
        np.where(footing_assumed, upper / (2 * towers.electrode_size_m), given),
        footing_assumed,
        deep,
        towers.electrode_size_m,
        _assumptions(soil_assumed, footing_assumed, soil.resistivity_ohm_m, deep),
    )
    edge = ground.potential_ohm(np.arange(len(towers)), ground.size_m / 2)
    if not (count := int((~footing_assumed & (given < edge)).sum())):
        return ground
    text = (
        f"footing resistance of {count} tower(s) is lower than soil and size of the earth electrode allow: one of the "
        "three is wrong; the potential at the stakes is scaled down to the footing"
    )
    return replace(ground, assumptions=(*ground.assumptions, text))


def _assumptions(
    soil: NDArray[np.bool_], footing: NDArray[np.bool_], resistivity_ohm_m: float, deep_ohm_m: float
) -> tuple[str, ...]:
    texts = []
    if soil.any():
        texts.append(
            f"soil resistivity not known at {int(soil.sum())} tower(s): {resistivity_ohm_m:g} ohm m taken (judgement); "
            "measure it"
        )
    if footing.any():
        texts.append(
            f"footing resistance not known for {int(footing.sum())} tower(s): estimated from soil and size of the "
            "earth electrode as a flat disc (judgement)"
        )
    texts.append(f"currents that return through the earth see uniform soil of {deep_ohm_m:.0f} ohm m")
    return tuple(texts)
