"""Cross-sections that stand in when nothing but the voltage of a line is known.

One circuit in a flat configuration, the widest of the usual ones, so that induced voltages come out rather high.
Dimensions are typical values of each class: common practice, no source. Every result based on them must say so.
"""

from __future__ import annotations

from typing import NamedTuple

from layoutplan.electrical.cross_section import EARTH_WIRE, Conductor, CrossSection
from layoutplan.errors import InputRangeError


class _Class(NamedTuple):
    highest_kv: float
    phase_spacing_m: float
    attachment_height_m: float
    sag_m: float
    radius_m: float
    sub_conductors: int
    resistance_ohm_per_m: float
    earth_wire_offset_m: tuple[float, ...]
    earth_wire_height_m: float


_CLASSES = (
    _Class(52, 1.5, 11, 3.0, 0.0070, 1, 3.0e-4, (), 0),
    _Class(100, 3.0, 14, 4.5, 0.0090, 1, 1.9e-4, (0,), 18),
    _Class(170, 4.5, 17, 6.0, 0.0110, 1, 1.2e-4, (0,), 22),
    _Class(300, 7.5, 21, 9.0, 0.0143, 1, 0.6e-4, (-5.5, 5.5), 28),
    _Class(420, 10.5, 25, 11.0, 0.0143, 2, 0.3e-4, (-8, 8), 33),
    _Class(550, 12.0, 29, 13.0, 0.0153, 3, 0.18e-4, (-9.5, 9.5), 38),
    _Class(800, 14.5, 36, 16.0, 0.0153, 4, 0.14e-4, (-11.5, 11.5), 46),
)
_EARTH_WIRE_RADIUS_M = 0.0075
_EARTH_WIRE_RESISTANCE_OHM_PER_M = 3.0e-4


def generic_cross_section(voltage_kv: float) -> CrossSection:
    """Cross-section typical of a voltage class, marked as generic.

    Parameters
    ----------
    voltage_kv : float
        Nominal voltage between phases, above 0 and up to 800. [kV]

    Returns
    -------
    CrossSection
        One flat circuit; no earth wire up to 52 kV, one up to 170 kV, two above.

    Raises
    ------
    InputRangeError
        If the voltage is not positive or above the highest class.

    References
    ----------
    Common practice, no source: typical dimensions of each class.

    Examples
    --------
    >>> section = generic_cross_section(132)
    >>> print([conductor.phase for conductor in section.conductors], section.array("offset_m"), "m")
    ['A', 'B', 'C', 'E'] [-4.5  0.   4.5  0. ] m
    >>> section.note
    'generic flat cross-section of the class up to 170 kV, typical values, no source'
    """
    if not 0 < voltage_kv <= _CLASSES[-1].highest_kv:
        raise InputRangeError(
            f"No generic cross-section for {voltage_kv:g} kV (0 to {_CLASSES[-1].highest_kv:g}); give the conductors."
        )
    found = next(entry for entry in _CLASSES if voltage_kv <= entry.highest_kv)
    phases = [
        Conductor(
            phase=letter,
            offset_m=place * found.phase_spacing_m,
            attachment_height_m=found.attachment_height_m,
            sag_m=found.sag_m,
            radius_m=found.radius_m,
            resistance_ohm_per_m=found.resistance_ohm_per_m,
            sub_conductors=found.sub_conductors,
        )
        for letter, place in zip("ABC", (-1, 0, 1), strict=True)
    ]
    earth_wires = [
        Conductor(
            phase=EARTH_WIRE,
            offset_m=offset,
            attachment_height_m=found.earth_wire_height_m,
            sag_m=0.85 * found.sag_m,
            radius_m=_EARTH_WIRE_RADIUS_M,
            resistance_ohm_per_m=_EARTH_WIRE_RESISTANCE_OHM_PER_M,
        )
        for offset in found.earth_wire_offset_m
    ]
    note = f"generic flat cross-section of the class up to {found.highest_kv:g} kV, typical values, no source"
    return CrossSection((*phases, *earth_wires), voltage_kv, generic=True, note=note)
