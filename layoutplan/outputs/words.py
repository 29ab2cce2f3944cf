"""The words of the outputs: what a status means, how a stake and its lead are described."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

from layoutplan.layout.model import Plan
from layoutplan.layout.rules import (
    ALL_MET,
    BREAKS,
    COMPROMISED,
    MAY_STAKE,
    NEEDS_AGREEMENT,
    NO_LAYOUT,
    NOT_COVERED,
    TAKE_CARE,
)
from layoutplan.layout.set_out import SET_OUT_COLUMNS, set_out, warning
from layoutplan.text import clean, three_figures

STATUS_MEANING: Mapping[str, str] = MappingProxyType(
    {
        ALL_MET: "Every rule is kept as far as the map shows, and both leads are perpendicular to the line.",
        TAKE_CARE: "Every rule is kept as far as the map shows; a lead crosses something that calls for care: a path, "
        "a ditch, a fence. Nobody need be asked.",
        COMPROMISED: "Every hard rule is kept, but a lead is off the perpendicular, both leads are on one side, "
        "something is nearer than the map is accurate, the lead passes a drop, or no way on foot is mapped; see the "
        "reasons.",
        NEEDS_AGREEMENT: "A lead crosses, or a stake stands on, something that somebody has to agree to first; see the "
        "reasons.",
        NOT_COVERED: "The map or the elevation model does not cover this place: what is there is unknown. Survey it "
        "before staking anything; the reasons say which map would remedy it.",
        BREAKS: "A stake that the job fixes breaks hard rules; see the reasons. Planning chooses no such place itself.",
        NO_LAYOUT: "No pair of positions keeps the hard rules; see the reasons and what would give a layout.",
    }
)
STATUS_SIGNS: Mapping[str, str] = MappingProxyType(  # to be told without colour
    {
        ALL_MET: "●",
        TAKE_CARE: "⬟",
        COMPROMISED: "◆",
        NEEDS_AGREEMENT: "▲",
        NOT_COVERED: "?",
        BREAKS: "!",
        NO_LAYOUT: "✗",
    }
)
ROLE_WORDS: Mapping[str, str] = MappingProxyType(
    {"H": "auxiliary current electrode H", "S": "auxiliary potential electrode S"}
)
STAKE_COLUMNS = ("line_id", "tower_id", "role", "side", "octant", "reasons", *SET_OUT_COLUMNS)
LEAD_COLUMNS = ("tower_id", "role", "lead_length_m", "crossings", "status", "map_gaps")


class StakeText(NamedTuple):
    """A line for the receiver's screen, and all of it."""

    short: str
    full: str


def figure(value: float | None, unit: str, decimals: int = 1) -> str:
    """Return a number with its unit, ``?`` for an unknown one.

    Parameters
    ----------
    value : float or None
        None or NaN if it is unknown.
    unit : str
    decimals : int

    Returns
    -------
    str

    Examples
    --------
    >>> figure(92.46, "m"), figure(None, "m")
    ('92.5 m', '? m')
    """
    return f"? {unit}" if value is None or value != value else f"{value:.{decimals}f} {unit}"


def degrees(value_deg: float | None) -> str:
    """Return an angle, ``12.5°``.

    Parameters
    ----------
    value_deg : float or None
        [deg]

    Returns
    -------
    str

    Examples
    --------
    >>> degrees(12.5)
    '12.5°'
    """
    return "?°" if value_deg is None or value_deg != value_deg else f"{value_deg:.1f}°"


def bearing(value_deg: float | None) -> str:
    """Return a bearing as three digits and a decimal: ``087.3°``.

    Parameters
    ----------
    value_deg : float or None
        [deg]

    Returns
    -------
    str

    Examples
    --------
    >>> bearing(87.26)
    '087.3°'
    """
    if value_deg is None or value_deg != value_deg:
        return "?°"
    return f"{round(value_deg, 1) % 360:05.1f}°"


def quantity(value: float | None, unit: str) -> str:
    """Return an electrical figure with its unit: three figures, at most three decimals; ``unknown`` if it is.

    Parameters
    ----------
    value : float or None
        None or NaN if it is unknown.
    unit : str

    Returns
    -------
    str

    Examples
    --------
    >>> quantity(1234.5, "V"), quantity(0.0713, "mA"), quantity(float("nan"), "V")
    ('1234 V', '0.071 mA', 'unknown')
    """
    number = three_figures(value, unit).replace("<", "less than ")
    return number if number == "unknown" else f"{number} {unit}"


def quantities(low: float | None, high: float | None, unit: str) -> str:
    """Return the least and the greatest value of an electrical figure; ``unknown`` if one of them is.

    Parameters
    ----------
    low, high : float or None
        None or NaN if unknown.
    unit : str

    Returns
    -------
    str

    Examples
    --------
    >>> quantities(0.399, 1.43, "A"), quantities(0.4, None, "A")
    ('0.399 to 1.43 A', 'unknown')
    """
    first, last = quantity(low, unit), quantity(high, unit)
    return "unknown" if "unknown" in (first, last) else f"{first.removesuffix(f' {unit}')} to {last}"


def fault_place(location: str | None) -> str:
    """Name where the fault is that governs a figure, to be put behind it.

    Parameters
    ----------
    location : str or None
        As in the tables.

    Returns
    -------
    str
        Empty where it is unknown.

    Examples
    --------
    >>> fault_place("line 'A', tower 12")
    ", by a fault at line 'A', tower 12"
    """
    return f", by a fault at {location}" if location else ""


def ratio_words(ratio: float | None) -> str:
    """Describe how an exposure compares with its limit.

    Parameters
    ----------
    ratio : float or None
        Of an exposure to its limit; None or NaN if unknown. [-]

    Returns
    -------
    str

    Examples
    --------
    >>> [ratio_words(ratio) for ratio in (0.3, 1.2, float("nan"))]
    ['0.300 times a limit', '1.20 times a limit', 'unknown']
    """
    times = quantity(ratio, "times")
    return times if times == "unknown" else f"{times} a limit"


def crossing_words(crossings: str | None, map_gaps: str | None) -> str:
    """State what a lead crosses, as far as the map shows it.

    Parameters
    ----------
    crossings, map_gaps : str or None
        Of the lead. Its status would not do: one that breaks rules may run where nothing is mapped as well.

    Returns
    -------
    str

    Examples
    --------
    >>> crossing_words("", ""), crossing_words("", "reach:few_features")
    ('crosses nothing on the map', 'what it crosses is not mapped')
    >>> crossing_words("fence or wall at 12.0 m", "buildings:bare_streets")
    'crosses fence or wall at 12.0 m; what else it crosses is not all mapped'
    """
    if crossings:
        return f"crosses {crossings}{'; what else it crosses is not all mapped' if map_gaps else ''}"
    return "what it crosses is not mapped" if map_gaps else "crosses nothing on the map"


def credit_lines(plan: Plan) -> list[str]:
    """Credit lines of the data's owners, each once."""
    return list(dict.fromkeys(clean(file.attribution) for file in plan.files if file.attribution))


def credit_text(plan: Plan) -> str:
    """All credit lines of a plan, or that there is none."""
    return "; ".join(credit_lines(plan)) or "files named by the job, without credit line"


def may_stake(status: str) -> bool:
    """Whether a crew may stake without anything else being settled first.

    Parameters
    ----------
    status : str
        Of a stake.

    Returns
    -------
    bool

    Examples
    --------
    >>> may_stake("all rules met"), may_stake("needs agreement")
    (True, False)
    """
    return status in MAY_STAKE


def stake_words(stake: Any) -> StakeText:
    """Describe a stake (``STAKE_COLUMNS``): how it is set out; from the tower's middle, status and reasons, too.

    A receiver may show the short one only, and of that the beginning: a stake that must not be staked yet begins so.
    """
    words = set_out(stake)
    first = f"{told}. " if (told := warning(stake.status)) else ""
    where = f"tower {stake.tower_id} of line {stake.line_id}, {stake.side} side, to the {stake.octant}"
    known = stake.reasons or ""
    why = known if known.startswith(stake.status) else ": ".join(filter(None, (stake.status, known)))
    return StakeText(
        clean(f"{first}{stake.role} {words.line}"),
        clean(f"{first}{ROLE_WORDS[stake.role]} of {where}. Set out {words.line}. {words.middle}. {why}"),
    )


def lead_words(lead: Any) -> str:
    """Describe a lead (``LEAD_COLUMNS``): whose it is, how long, what it crosses."""
    length, crossings = figure(lead.lead_length_m, "m"), crossing_words(lead.crossings, lead.map_gaps)
    return clean(f"Lead of the {ROLE_WORDS[lead.role]} of tower {lead.tower_id}, {length}; {crossings}.")
