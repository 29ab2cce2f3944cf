"""What the tags of a power line state: voltage, frequency, circuits, and the obstacle class that follows from them.

The limits of voltage are those of public supply (EN 50160: low voltage up to 1 kV, medium voltage up to 36 kV; from
memory). What a tag leaves open, or what cannot be meant, is taken for the graver class.
"""

from __future__ import annotations

from collections.abc import Mapping

from layoutplan.job.classes import the
from layoutplan.job.roles import Role

LINE, DISTRIBUTION, LOW_VOLTAGE = the(Role.LINE), the(Role.DISTRIBUTION), the(Role.LOW_VOLTAGE)
LOW_V, MEDIUM_V = 1_000.0, 36_000.0
_LEAST_V = 100.0  # nothing hangs at less: such a tag gives kilovolts (judgement)
_TRACTION_DC_V = 3_600.0  # EN 50163: 3 kV systems reach this; a higher direct voltage is for transmission
_TRACTION_HZ = ((15.0, 17.5), (24.0, 26.0))
_KILO = 1_000.0


def numbers(tags: Mapping[str, str], key: str) -> tuple[float, ...]:
    """Return the numbers that a tag lists, in its order; what is no number is left out.

    Parameters
    ----------
    tags : mapping of str to str
        Of a power line.
    key : str
        Of the tag.

    Returns
    -------
    tuple of float

    Examples
    --------
    >>> numbers({"voltage": "110000;20000"}, "voltage"), numbers({"voltage": "medium"}, "voltage")
    ((110000.0, 20000.0), ())
    """
    parts = (part.strip() for part in tags.get(key, "").split(";"))
    return tuple(float(part) for part in parts if part.replace(".", "", 1).isdecimal())


def overhead_class(name: str, tags: Mapping[str, str]) -> str:
    """Return the obstacle class of an overhead line by its supply and its highest voltage.

    Parameters
    ----------
    name : str
        Class that its main tag names: that of transmission or distribution lines, or of cables for one that hangs.
    tags : mapping of str to str
        Of the line.

    Returns
    -------
    str

    Examples
    --------
    A minor line of 20 kV, and one that is tagged as minor but carries 110 kV:

    >>> minor = {"power": "minor_line"}
    >>> [overhead_class(DISTRIBUTION, minor | {"voltage": volts}) for volts in ("20000", "110000")]
    ['distribution_line', 'power_line']
    """
    if not _is_power(tags):
        return LOW_VOLTAGE  # a telephone line
    highest_v, hertz = max(numbers(tags, "voltage"), default=0.0), numbers(tags, "frequency")
    if _is_traction(hertz, highest_v):
        return the(Role.TRACTION)
    if name == LINE:
        # a main line of 400 V has its kilovolts given for volts
        return DISTRIBUTION if LOW_V < highest_v <= MEDIUM_V else name
    if highest_v > MEDIUM_V:
        return LINE
    return LOW_VOLTAGE if _LEAST_V <= highest_v <= LOW_V else DISTRIBUTION


def _is_power(tags: Mapping[str, str]) -> bool:
    return any(key.rpartition(":")[2] == "power" for key in tags)


def _is_traction(hertz: tuple[float, ...], highest_v: float) -> bool:
    direct = 0.0 in hertz and 0.0 < highest_v <= _TRACTION_DC_V
    return direct or any(low <= value <= high for value in hertz for low, high in _TRACTION_HZ)
