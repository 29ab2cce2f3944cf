"""What no number or text of a job can be: values beyond come from a wrong unit, a lost decimal sign, a wrong cell.

All are engineering judgement, far beyond what any line has; no published source. They keep slips of the pen out, and
what would otherwise take the machine for itself; they are no limits of what is sensible.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

LEAST = 1e-6
"""The smallest number, zero apart, in whatever unit."""

GREATEST: Mapping[str, float] = MappingProxyType(
    {
        "reel_m": 1_500.0,
        "radius_m": 20_000.0,
        "base_width_m": 60.0,
        "half_width_m": 60.0,
        "earth_electrode_size_m": 2_000.0,
        "width_m": 5_000.0,
        "keep_out_m": 5_000.0,
        "attachment_height_m": 500.0,
        "sag_m": 500.0,
        "footing_resistance_ohm": 100_000.0,
        "upper_thickness_m": 10_000.0,
        "clearing_time_s": 604_800.0,  # a week: earth faults of resonant-earthed networks last for hours
        "workers": 1_024.0,
        "_kv": 2_000.0,
        "_ka": 1_000.0,
        "_ohm_m": 1_000_000.0,
        "_ohm_per_km": 100_000_000.0,
        "_ohm": 100_000.0,
        "_hz": 100_000.0,
        "_mm": 10_000.0,
        "_min": 10_000.0,
        "_pct": 100_000.0,
        "_deg": 100_000.0,
        "_a": 100_000.0,
        "_v": 1_000_000.0,
        "_s": 1_000.0,
        "_m": 100_000.0,
        "": 1_000_000_000_000.0,  # without a unit: ids, numbers of things, weights
    }
)
"""The greatest number, sign apart, by the key or by the unit at its end."""

LONGEST: Mapping[str, int] = MappingProxyType({"id": 200, "title": 500, "label": 200, "where": 10_000, "": 4_000})
"""The longest text by the key. [letters]"""

MILLIMETRES = frozenset({"base_width_m", "half_width_m", "earth_electrode_size_m"})
"""Lengths that drawings give in millimetres: where one is too great, that is the likely slip."""

NESTED_LEVELS = 30
"""Tables and lists within each other in a job file; it needs no more than six."""

JOB_BYTES = 5_000_000
"""The largest job file."""


def greatest(key: str) -> float:
    """Return the greatest number that a key takes, sign apart.

    Parameters
    ----------
    key : str
        Of the job file, with its unit at the end.

    Returns
    -------
    float
        In the key's unit.

    Examples
    --------
    >>> greatest("reel_m"), greatest("voltage_kv")
    (1500.0, 2000.0)
    """
    return GREATEST.get(key) or next(value for end, value in GREATEST.items() if key.endswith(end) and end[:1] in "_")


def wrong_number(key: str, value: float) -> str:
    """State what is wrong with the size of a number; empty if nothing is.

    Parameters
    ----------
    key : str
        Of the job file, with its unit at the end.
    value : float
        As the job gives it.

    Returns
    -------
    str
        For people to read.

    Examples
    --------
    >>> wrong_number("reel_m", 150.0)
    ''
    >>> wrong_number("base_width_m", 6500.0)
    '6500 m cannot be meant: at most 60 m is expected (6.5 m if it is in millimetres)'
    """
    if abs(value) > greatest(key) and key in MILLIMETRES:
        return (
            f"{value:g} m cannot be meant: at most {greatest(key):g} m is expected ({value / 1000:g} m if it is in "
            "millimetres)"
        )
    if abs(value) > greatest(key):
        return f"a number beyond {greatest(key):,g} cannot be meant here: look at its unit and its decimal sign"
    if 0 < abs(value) < LEAST:
        return f"a number so near to zero, below {LEAST:g}, cannot be meant here: look at its unit"
    return ""


def too_long(key: str, text: str) -> str:
    """State that a text is too long; empty if it is not.

    Parameters
    ----------
    key : str
        Of the job file.
    text : str
        As the job gives it.

    Returns
    -------
    str
        For people to read.

    Examples
    --------
    >>> too_long("title", "Valley line")
    ''
    """
    most = LONGEST.get(key, LONGEST[""])
    return f"a text of {len(text):,} letters; at most {most:,} are taken. Shorten it" if len(text) > most else ""
