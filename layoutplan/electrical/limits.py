"""Limits that exposures are compared with, each with its standard and edition, and what the ratios mean for handling.

Nothing here declares a lead harmless. The limits hold at 50 and 60 Hz. Under a fault or lightning the potential
transferred from the tower outweighs everything else and no layout removes it (`FAULT_NOTE`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from layoutplan.arrays import FloatArray
from layoutplan.electrical._arrays import refuse
from layoutplan.electrical.touch_voltage import EN_50522_2010, IEEE_80_EDITION
from layoutplan.errors import InputRangeError

FAULT_NOTE = (
    "During an earth fault or lightning the potential transferred from the tower outweighs every figure here, and no "
    "choice of positions removes it. The asset owner's rules and the judgement of licensed persons come first."
)


@dataclass(frozen=True, slots=True)
class FixedLimit:
    """A limit that does not depend on duration."""

    value: float
    unit: str
    standard: str
    edition: str
    source: str


_QUOTED = "values as quoted in public sources"
LONG_DURATION_VOLTAGE = FixedLimit(50.0, "V", "IEC 60364-4-41, long-duration touch voltage, a.c.", "2005", _QUOTED)
LONG_DURATION_VOLTAGE_PUBLIC = FixedLimit(
    25.0,
    "V",
    "IEC 60364-7-705, conventional touch voltage, a.c., livestock; taken for children, too",
    "first edition, superseded",
    "value from memory; the asset owner's rules come first",
)
CONTACT_CURRENT = FixedLimit(1.0e-3, "A", "ICNIRP (Health Phys. 99), contact current, occupational", "2010", _QUOTED)
CONTACT_CURRENT_PUBLIC = FixedLimit(
    0.5e-3, "A", "ICNIRP (Health Phys. 99), contact current, general public", "2010", _QUOTED
)


def electric_field_limit(frequency_hz: float, *, public: bool) -> FixedLimit:
    """Reference level for the electric field at power frequency.

    Parameters
    ----------
    frequency_hz : float
        16 to 3000. [Hz]
    public : bool
        Whether the general public is exposed.

    Returns
    -------
    FixedLimit
        Workers 20 kV/m up to 25 Hz, then 500/f kV/m; public 5 kV/m up to 50 Hz, then 250/f kV/m. [V/m]

    Raises
    ------
    InputRangeError
        If the frequency is out of range.

    References
    ----------
    .. [1] ICNIRP, "Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100 kHz),"
       Health Phys. 99, 2010, tables 3 and 4 (values as quoted in public sources).

    Examples
    --------
    >>> limit = electric_field_limit(50, public=False)
    >>> print(f"{limit.value / 1e3:g} kV/m: {limit.standard}, {limit.edition}")
    10 kV/m: ICNIRP (Health Phys. 99), electric field, occupational, 2010
    """
    if not 16 <= frequency_hz <= 3000:
        raise InputRangeError(f"frequency_hz is {frequency_hz:g}; reference levels are given from 16 to 3000 Hz.")
    per_hz, corner, name = (250e3, 50, "general public") if public else (500e3, 25, "occupational")
    standard = f"ICNIRP (Health Phys. 99), electric field, {name}"
    return FixedLimit(per_hz / max(frequency_hz, corner), "V/m", standard, "2010", _QUOTED)


def en50522_basis(*, step: bool) -> str:
    """Name of the touch voltage of EN 50522, as every output prints it.

    Parameters
    ----------
    step : bool
        Whether it stands for a step voltage.

    Returns
    -------
    str
        Standard and quantity; that the values are from memory.

    References
    ----------
    .. [1] EN 50522:2010, Earthing of power installations exceeding 1 kV a.c.

    Examples
    --------
    >>> en50522_basis(step=False)
    'EN 50522 (IEC 61936-1), permissible touch voltage (values from memory)'
    """
    taken = "; it gives none for steps" if step else ""
    return f"{EN_50522_2010.standard}, permissible touch voltage (values from memory){taken}"


def ieee80_basis(body_mass_kg: int, *, step: bool) -> str:
    """Name of the tolerable voltages of IEEE Std 80, as every output prints it.

    Parameters
    ----------
    body_mass_kg : int
        50 or 70. [kg]
    step : bool
        Whether it is a step voltage.

    Returns
    -------
    str
        Standard, quantity and body mass.

    References
    ----------
    .. [1] IEEE Std 80-2013, IEEE Guide for Safety in AC Substation Grounding.

    Examples
    --------
    >>> ieee80_basis(50, step=True)
    'IEEE Std 80, tolerable step voltage, 50 kg'
    """
    quantity = "step voltage" if step else "touch voltage"
    return f"{IEEE_80_EDITION.rpartition('-')[0]}, tolerable {quantity}, {body_mass_kg} kg"


class LeadLevel(StrEnum):
    """How near the worst exposure of a lead is to its limit, as it is stored; looks and words follow from it."""

    UNKNOWN = "unknown"
    BELOW = "below"  # up to half of every limit
    NEAR = "near"
    ABOVE = "above"

    @property
    def handling(self) -> str:
        """What the level asks of the crew.

        References
        ----------
        Own choice, no published source.

        Examples
        --------
        >>> LeadLevel.NEAR.handling
        'near a limit: join and part connections only with the lead earthed and gloves worn'
        """
        return _HANDLING[self]


_HANDLING = {
    LeadLevel.UNKNOWN: "unknown: treat the lead as live until it has been measured",
    LeadLevel.BELOW: "below half of every limit: keep the lead insulated and measure before touching metal",
    LeadLevel.NEAR: "near a limit: join and part connections only with the lead earthed and gloves worn",
    LeadLevel.ABOVE: "above a limit: no bare contact; bond, earth or move the lead first",
}


def exposure_ratio(value: ArrayLike, limit: ArrayLike) -> FloatArray:
    """Size of an exposure as a share of its limit.

    Parameters
    ----------
    value : array_like, real or complex
        Exposure; NaN for unknown.
    limit : array_like
        Limit in the same unit, > 0; NaN for unknown.

    Returns
    -------
    numpy.ndarray
        Modulus over limit, NaN where either is unknown. [-]

    Raises
    ------
    InputRangeError
        If a limit is not positive.

    References
    ----------
    .. [1] ICNIRP, "Guidelines for limiting exposure to time-varying electric and magnetic fields (1 Hz to 100
       kHz)," Health Phys. 99, pp. 818-836, 2010: exposures are judged by their ratio to the reference level.

    Examples
    --------
    A lead at 30 V against 50 V, and an unknown one:

    >>> exposure_ratio([30, np.nan], 50)
    array([0.6, nan])
    """
    bound = np.asarray(limit, dtype=float)
    refuse("limit", bound, bound <= 0, "it must be greater than 0")
    return np.asarray(np.abs(np.asarray(value)) / bound)


def lead_level(ratio: ArrayLike) -> NDArray[np.object_]:
    """Level of a lead by the worst of several ratios.

    Parameters
    ----------
    ratio : array_like, shape (..., k)
        Ratios of one lead's exposures to their limits, the conservative sum among them; NaN for unknown. [-]

    Returns
    -------
    numpy.ndarray of LeadLevel, shape (...)
        ``UNKNOWN`` if any ratio is unknown and none is above 1; a limit known to be exceeded stays exceeded.

    Notes
    -----
    A known excess is not hidden by what is unknown.

    References
    ----------
    Own choice of the step at one half, no published source.

    Examples
    --------
    >>> for ratios in ([0.1, 0.4], [0.1, 1.2], [np.nan, 0.4]):
    ...     print(lead_level(ratios))
    below
    above
    unknown
    """
    ratios = np.atleast_1d(np.asarray(ratio, dtype=float))
    worst = np.max(ratios, axis=-1, initial=0.0, where=~np.isnan(ratios))
    unknown = np.isnan(ratios).any(axis=-1) | (ratios.shape[-1] == 0)
    levels = np.array([LeadLevel.BELOW, LeadLevel.NEAR, LeadLevel.ABOVE, LeadLevel.UNKNOWN], dtype=object)
    index = (worst > 0.5).astype(int) + (worst > 1)
    return np.asarray(levels[np.where(unknown & (worst <= 1), 3, index)], dtype=object)[()]
