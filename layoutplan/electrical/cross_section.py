"""Conductors of a line in cross-section: where they hang, what they are, which phase they carry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from layoutplan.arrays import BoolArray, ComplexArray, FloatArray
from layoutplan.electrical.electric_field import bundle_radius
from layoutplan.electrical.phasors import A
from layoutplan.errors import InputRangeError

EARTH_WIRE = "E"
PHASE_LETTERS = ("ABC", "PN")
"""Phases of a circuit: three-phase, or the two opposite poles of a single-phase traction supply."""

# phase-to-earth voltage of each phase as a multiple of the nominal voltage between phases
_VOLTAGE = {"A": 1 / 3**0.5, "B": A**2 / 3**0.5, "C": A / 3**0.5, "P": 0.5, "N": -0.5, EARTH_WIRE: 0}


@dataclass(frozen=True, slots=True)
class Conductor:
    """One phase (a single conductor or a bundle) or one earth wire.

    Parameters
    ----------
    phase : str
        A, B or C; P or N for a traction supply; E for an earth wire.
    offset_m : float
        Lateral offset, positive to the right of increasing chainage. [m]
    attachment_height_m : float
        Height above ground where it hangs at the tower. [m]
    sag_m : float
        Sag at mid-span, >= 0; the lowest point must be above ground. [m]
    radius_m : float
        Radius of one sub-conductor, > 0. [m]
    resistance_ohm_per_m : float
        Alternating-current resistance of the whole phase, >= 0. [Ω/m]
    circuit : int
        Number of its circuit; of no meaning for earth wires.
    sub_conductors : int
        Sub-conductors of the bundle, >= 1.
    bundle_spacing_m : float
        Distance of neighbouring sub-conductors. [m]
    gmr_m : float, optional
        Geometric mean radius of one sub-conductor; 0.7788 of the radius (solid round wire) if not given. [m]

    Raises
    ------
    InputRangeError
        If a value is out of range or the phase letter is unknown.
    """

    phase: str
    offset_m: float
    attachment_height_m: float
    sag_m: float
    radius_m: float
    resistance_ohm_per_m: float
    circuit: int = 1
    sub_conductors: int = 1
    bundle_spacing_m: float = 0.4
    gmr_m: float | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot hang on a tower."""
        name = f"Conductor {self.phase!r} of circuit {self.circuit}"
        if self.phase not in _VOLTAGE:
            raise InputRangeError(f"{name}: the phase must be one of {', '.join(_VOLTAGE)}.")
        if not self.sag_m >= 0 or not self.attachment_height_m - self.sag_m > 0:
            raise InputRangeError(
                f"{name}: hung at {self.attachment_height_m:g} m with a sag of {self.sag_m:g} m it is not above ground."
            )
        if not self.radius_m > 0 or not self.resistance_ohm_per_m >= 0 or not np.isfinite(self.offset_m):
            raise InputRangeError(f"{name}: radius, resistance and offset must be numbers, radius above 0.")
        if self.gmr_m is not None and not self.gmr_m > 0:
            raise InputRangeError(f"{name}: the geometric mean radius must be above 0; it is {self.gmr_m:g} m.")

    @property
    def effective_height_m(self) -> float:
        """Mean height of a sagging span, attachment less two thirds of the sag. [m].

        References
        ----------
        Derived here, no source: the mean of a parabola.
        """
        return self.attachment_height_m - self.sag_m * 2 / 3

    @property
    def equivalent_radius_m(self) -> float:
        """Radius that carries the bundle's charge. [m].

        References
        ----------
        As `bundle_radius`, no source of its own.
        """
        return float(bundle_radius(self.radius_m, self.sub_conductors, self.bundle_spacing_m))

    @property
    def equivalent_gmr_m(self) -> float:
        """Geometric mean radius of the bundle. [m].

        References
        ----------
        As `bundle_radius`, no source of its own.
        """
        gmr = np.exp(-0.25) * self.radius_m if self.gmr_m is None else self.gmr_m
        return float(bundle_radius(gmr, self.sub_conductors, self.bundle_spacing_m))


@dataclass(frozen=True, slots=True)
class CrossSection:
    """All conductors of a line, in a fixed order that every array follows.

    Parameters
    ----------
    conductors : tuple of Conductor
        Every circuit complete, no two conductors in one place.
    voltage_kv : float
        Nominal voltage between phases, > 0. [kV]
    generic : bool
        Whether it stands in for data that were not given.
    note : str
        Where the figures come from.

    Raises
    ------
    InputRangeError
        If a circuit lacks a phase or has one twice, two conductors coincide, or the voltage is not positive.
    """

    conductors: tuple[Conductor, ...]
    voltage_kv: float
    generic: bool = False
    note: str = ""

    def __post_init__(self) -> None:
        """Refuse incomplete circuits and conductors in one place."""
        if not self.voltage_kv > 0:
            raise InputRangeError(f"Cross-section: the voltage must be above 0 kV; it is {self.voltage_kv:g}.")
        places = [(c.offset_m, c.effective_height_m) for c in self.conductors]
        if len(set(places)) < len(places):
            raise InputRangeError("Cross-section: two conductors have the same offset and height.")
        for circuit, letters in self.circuits().items():
            if "".join(sorted(letters)) not in map(_sorted, PHASE_LETTERS):
                raise InputRangeError(
                    f"Circuit {circuit} has the phases {letters!r}; it needs each of ABC, or P and N."
                )

    def circuits(self) -> dict[int, str]:
        """Phase letters of every circuit in the order of its conductors.

        Returns
        -------
        dict of int to str
            By number of the circuit; earth wires belong to none.

        References
        ----------
        Bookkeeping, no source.

        Examples
        --------
        >>> from layoutplan.electrical import generic_cross_section
        >>> generic_cross_section(110).circuits()
        {1: 'ABC'}
        """
        letters: dict[int, str] = {}
        for conductor in self.conductors:
            if conductor.phase != EARTH_WIRE:
                letters[conductor.circuit] = letters.get(conductor.circuit, "") + conductor.phase
        return letters

    @property
    def is_earth_wire(self) -> BoolArray:
        """Which conductors are earth wires (c,)."""
        return np.array([c.phase == EARTH_WIRE for c in self.conductors])

    def array(self, field: str) -> FloatArray:
        """One figure of all conductors, such as ``"offset_m"`` or ``"effective_height_m"``.

        Parameters
        ----------
        field : str
            Name of a field or property of `Conductor`.

        Returns
        -------
        numpy.ndarray, shape (c,)
            In the field's own unit.

        Examples
        --------
        >>> from layoutplan.electrical import generic_cross_section
        >>> generic_cross_section(110).array("effective_height_m").round(1)
        array([13. , 13. , 13. , 18.6])
        """
        return np.array([getattr(c, field) for c in self.conductors], dtype=float)

    def with_phase_order(self, order: str) -> CrossSection:
        """Move the phases to other conductors, as a transposition does.

        Parameters
        ----------
        order : str
            Phase letters for every circuit in the order of its conductors, circuits by number, parted by a slash:
            ``"BCA"`` or ``"ABC/CBA"``.

        Returns
        -------
        CrossSection
            With the phases moved, positions unchanged.

        Raises
        ------
        InputRangeError
            If the order does not match the circuits.

        Examples
        --------
        >>> from layoutplan.electrical import generic_cross_section
        >>> generic_cross_section(110).with_phase_order("BCA").circuits()
        {1: 'BCA'}
        """
        circuits = self.circuits()
        parts = order.split("/")
        if [_sorted(part) for part in parts] != [_sorted(circuits[number]) for number in sorted(circuits)]:
            now = "/".join(circuits[number] for number in sorted(circuits))
            raise InputRangeError(f"Phase order {order!r} does not match the circuits; it must reorder {now!r}.")
        letters = {number: iter(part) for number, part in zip(sorted(circuits), parts, strict=True)}
        moved = (c if c.phase == EARTH_WIRE else replace(c, phase=next(letters[c.circuit])) for c in self.conductors)
        return replace(self, conductors=tuple(moved))


def conductor_voltages(section: CrossSection) -> ComplexArray:
    """Phase-to-earth voltages of all conductors.

    Parameters
    ----------
    section : CrossSection
        The line; its circuits run in phase with each other.

    Returns
    -------
    numpy.ndarray of complex, shape (c,)
        RMS phasors, 0 for earth wires. [V]

    References
    ----------
    .. [1] C. L. Fortescue, "Method of symmetrical co-ordinates applied to the solution of polyphase networks,"
       Trans. AIEE, vol. 37, pp. 1027-1140, 1918. Positive sequence.

    Examples
    --------
    >>> from layoutplan.electrical import generic_cross_section
    >>> print(np.abs(conductor_voltages(generic_cross_section(220))).round(-2) / 1e3, "kV")
    [127. 127. 127.   0.   0.] kV
    """
    return np.array([1e3 * section.voltage_kv * _VOLTAGE[c.phase] for c in section.conductors], dtype=complex)


def conductor_currents(section: CrossSection, phase_current_a: Mapping[int, ArrayLike]) -> ComplexArray:
    """Currents of all conductors from those of the circuits.

    Parameters
    ----------
    section : CrossSection
        The line.
    phase_current_a : mapping of int to array_like of complex, shape (3, ...) or (2, ...)
        For every circuit its currents by phase, A, B, C or P, N; see `sequence_currents`. [A]

    Returns
    -------
    numpy.ndarray of complex, shape (c, ...)
        0 for earth wires (see `earth_wire_currents`), NaN for a circuit without an entry: unknown, not zero. [A]

    Raises
    ------
    InputRangeError
        If there is no known circuit among the entries.

    References
    ----------
    .. [1] C. L. Fortescue, "Method of symmetrical co-ordinates applied to the solution of polyphase networks,"
       Trans. AIEE, vol. 37, pp. 1027-1140, 1918. Names and order of the phases.

    Examples
    --------
    >>> from layoutplan.electrical import generic_cross_section, sequence_currents
    >>> balanced = sequence_currents(300)[:, 0]
    >>> print(np.abs(conductor_currents(generic_cross_section(110), {1: balanced})).round(1), "A")
    [300. 300. 300.   0.] A
    """
    known = {n: np.asarray(phase_current_a[n], dtype=complex) for n in section.circuits() if n in phase_current_a}
    if not known:
        raise InputRangeError(f"No current for any of the circuits {sorted(section.circuits())}.")
    result = np.zeros((len(section.conductors), *next(iter(known.values())).shape[1:]), dtype=complex)
    for i, conductor in enumerate(section.conductors):
        if conductor.phase != EARTH_WIRE:
            letters = next(group for group in PHASE_LETTERS if conductor.phase in group)
            given = known.get(conductor.circuit)
            result[i] = np.nan if given is None else given[letters.index(conductor.phase)]
    return result


def _sorted(letters: str) -> str:
    return "".join(sorted(letters))
