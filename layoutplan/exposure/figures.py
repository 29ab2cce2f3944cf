"""The electrical figures of leads and towers, and each exposure against its limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.electrical import exposure_ratio, lead_level
from layoutplan.exposure.capacitive import Capacitive
from layoutplan.exposure.limits import Limit

SERVICE, FAULT = "in service", "under a fault"


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
        ``load``, ``unbalance``, ``fault``, ``shared``, ``station``.
    caused_by : ndarray of str, shape (t, 2), or None
        Where the fault is that governs, empty if unknown; None in service.
    """

    name: str
    state: str
    value: FloatArray
    limit: Limit
    judged: bool
    rests_on: tuple[str, ...]
    caused_by: NDArray[np.object_] | None = None

    @property
    def ratio(self) -> FloatArray:
        """Share of the limit, shape (t, 2). [-]."""
        return exposure_ratio(self.value, self.limit.each)


@dataclass(frozen=True, slots=True)
class LeadFigures:
    """Figures of the leads, shape (t, 2) for H and S; NaN if unknown.

    Attributes
    ----------
    emf_load_v, emf_unbalance_v : ndarray
        Induced by the balanced part, and by negative and zero sequence, of the greatest load; lines added up. [V]
    emf_fault_v, transferred_fault_v : ndarray
        By the worst fault for each. [V]
    stake_touch_v, stake_step_v : ndarray
        From the stake to the ground 1 m away, and between the feet of a step of 1 m beside it, under the fault that is
        the worst for both together, the lead bonded to the tower. [V]
    fault_location : ndarray of str
        Where that fault is; empty if unknown.
    expected_low_v, expected_high_v : ndarray
        Voltage between tower and stake on arrival, at the usual load at least, at the greatest at most. [V]
    capacitive : Capacitive
    exposures : tuple of Exposure
    """

    emf_load_v: FloatArray
    emf_unbalance_v: FloatArray
    emf_fault_v: FloatArray
    transferred_fault_v: FloatArray
    stake_touch_v: FloatArray
    stake_step_v: FloatArray
    fault_location: NDArray[np.object_]
    expected_low_v: FloatArray
    expected_high_v: FloatArray
    capacitive: Capacitive
    exposures: tuple[Exposure, ...]

    def worst_ratio(self, state: str) -> FloatArray:
        """Greatest ratio of those that count for the handling of the leads.

        Parameters
        ----------
        state : str
            ``SERVICE`` or ``FAULT``.

        Returns
        -------
        ndarray, shape (t, 2)
            Of H and S; NaN where one is unknown and none above 1. [-]
        """
        ratios = self._ratios(state)
        worst = np.max(ratios, axis=-1, initial=0.0, where=~np.isnan(ratios))
        return np.where(np.isnan(ratios).any(axis=-1) & (worst <= 1), np.nan, worst)

    def level(self, state: str) -> NDArray[np.object_]:
        """How near the worst of these ratios is to 1.

        Parameters
        ----------
        state : str
            ``SERVICE`` or ``FAULT``.

        Returns
        -------
        ndarray of LeadLevel, shape (t, 2)
            Of H and S.
        """
        return np.asarray(lead_level(self._ratios(state)), dtype=object)

    def handling(self, state: str) -> NDArray[np.object_]:
        """What these levels ask of the crew.

        Parameters
        ----------
        state : str
            ``SERVICE`` or ``FAULT``.

        Returns
        -------
        ndarray of str, shape (t, 2)
            Of H and S.
        """
        level = self.level(state)
        return np.array([each.handling for each in level.ravel()], dtype=object).reshape(level.shape)

    def _ratios(self, state: str) -> FloatArray:
        return np.stack([item.ratio for item in self.exposures if item.judged and item.state == state], axis=-1)


@dataclass(frozen=True, slots=True)
class TowerFigures:
    """Figures of all towers of the network, NaN if unknown.

    Attributes
    ----------
    potential_rise_v : ndarray
        By the worst fault anywhere. [V]
    fault_location : ndarray of str
        Where that is; empty if unknown.
    fault_share : ndarray
        Part of the current of a fault at the tower itself that enters the ground by its footing. [-]
    standing_low_a, standing_high_a : ndarray
        Current in the tower in service. [A]
    fault_from_start_a, fault_from_end_a : ndarray
        What feeds a fault at the tower. [A]
    """

    potential_rise_v: FloatArray
    fault_location: NDArray[np.object_]
    fault_share: FloatArray
    standing_low_a: FloatArray
    standing_high_a: FloatArray
    fault_from_start_a: FloatArray
    fault_from_end_a: FloatArray
