"""How a stake is set out, and what a crew must know before: the same words, in the same order, in every output."""

from __future__ import annotations

from typing import Any, NamedTuple

from layoutplan.layout.rules import BREAKS, MAY_STAKE
from layoutplan.text import clean

MIDDLE = "tower middle"  # where stakes are set out from if no leg is known
NOT_YET = "not yet"  # behind the sign of such a stake
MARK = "NO"  # behind the waypoint's name of a stake that must not be staked yet
SET_OUT_COLUMNS = (
    "waypoint", "status", "set_out_from", "set_out_level_m", "set_out_ground_m", "set_out_bearing_deg",
    "set_out_bearing_magnetic_deg", "lead_length_m", "distance_m", "bearing_true_deg",
)  # fmt: skip


class SetOut(NamedTuple):
    """A stake in words: from where, how far, in which direction, with how much lead; then from the tower's middle."""

    start: str
    distance: str
    bearing: str
    lead: str
    middle: str

    @property
    def line(self) -> str:
        """All that a crew sets out by, in one line."""
        return f"from {self.start}: {self.distance}, {self.bearing}; lead {self.lead}"


def metres(value_m: float | None) -> str:
    """Length to a tenth of a metre.

    Parameters
    ----------
    value_m : float or None
        NaN or None where unknown. [m]

    Returns
    -------
    str
        ``? m`` for an unknown one.

    Examples
    --------
    >>> metres(87.449), metres(None)
    ('87.5 m', '? m')
    """
    return "? m" if value_m is None or value_m != value_m else f"{tenths(value_m):.1f} m"


def three_digits(value_deg: float | None) -> str:
    """Bearing as three digits and a decimal.

    Parameters
    ----------
    value_deg : float or None
        NaN or None where unknown. [deg]

    Returns
    -------
    str
        ``?°`` for an unknown one.

    Examples
    --------
    >>> three_digits(87.3), three_digits(359.98), three_digits(float("nan"))
    ('087.3°', '000.0°', '?°')
    """
    if value_deg is None or value_deg != value_deg:
        return "?°"
    return f"{tenths(value_deg) % 360:05.1f}°"


def tenths(value: float) -> float:
    """Round to tenths, to the hundredths that all tables hold before: a figure reads the same from every file.

    Parameters
    ----------
    value : float
        In any unit.

    Returns
    -------
    float

    Examples
    --------
    >>> tenths(12.3449), round(12.3449, 1)
    (12.3, 12.3)
    """
    return round(round(value, 2), 1)


def set_out(stake: Any) -> SetOut:
    """Words for setting out a stake.

    Parameters
    ----------
    stake : object
        A row of the plan's electrodes or leads, with ``SET_OUT_COLUMNS`` as attributes.

    Returns
    -------
    SetOut

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> row = SimpleNamespace(
    ...     waypoint="103-H", status="take care", set_out_from="leg right ahead", set_out_level_m=65.68,
    ...     set_out_ground_m=66.31, set_out_bearing_deg=171.61, set_out_bearing_magnetic_deg=170.5,
    ...     lead_length_m=73.0, distance_m=69.02, bearing_true_deg=172.4,
    ... )
    >>> set_out(row).line
    'from leg right ahead: 66.3 m on the ground (65.7 m level), 170.5° on the compass (171.6° true); lead 73.0 m'
    >>> set_out(row).middle
    '69.0 m level, 172.4° true from the tower middle'
    """
    level, ground = metres(stake.set_out_level_m), stake.set_out_ground_m
    known = ground is not None and ground == ground
    true, compass = three_digits(stake.set_out_bearing_deg), stake.set_out_bearing_magnetic_deg
    has_compass = compass is not None and compass == compass
    return SetOut(
        start=clean(stake.set_out_from),
        distance=f"{metres(ground)} on the ground ({level} level)" if known else f"{level} level",
        bearing=f"{three_digits(compass)} on the compass ({true} true)" if has_compass else f"{true} true",
        lead=metres(stake.lead_length_m),
        middle=f"{metres(stake.distance_m)} level, {three_digits(stake.bearing_true_deg)} true from the {MIDDLE}",
    )


def warning(status: str) -> str:
    """What a crew must read before anything else of a stake; empty where it may be staked.

    Parameters
    ----------
    status : str
        Of the stake.

    Returns
    -------
    str

    Examples
    --------
    >>> warning("needs agreement"), warning("take care")
    ('DO NOT STAKE YET: needs agreement', '')
    """
    if status in MAY_STAKE:
        return ""
    return f"DO NOT STAKE{'' if status == BREAKS else ' YET'}: {status}"


def marked_name(waypoint: str, status: str, length: int) -> str:
    """Name of a stake on a receiver, which shows names and little else: marked where nothing may be staked yet.

    Parameters
    ----------
    waypoint : str
        The plan's name of the stake.
    status : str
    length : int
        Longest name that the receiver takes.

    Returns
    -------
    str
        With ``-NO`` behind it; where that is too long, with an X for its last hyphen.

    Examples
    --------
    >>> marked_name("103-H", "needs agreement", 10), marked_name("OSTREL-1-H", "needs agreement", 10)
    ('103-H-NO', 'OSTREL-1XH')
    """
    if status in MAY_STAKE:
        return waypoint
    return next((name for name in marked_names(waypoint) if len(name) <= length), marked_names(waypoint)[-1])


def marked_names(waypoint: str) -> tuple[str, str]:
    """Both forms of the name of a waypoint that must not be staked yet, the longer one first.

    Parameters
    ----------
    waypoint : str
        Name with the role behind the last hyphen.

    Returns
    -------
    tuple of (str, str)

    Examples
    --------
    >>> marked_names("T12-H")
    ('T12-H-NO', 'T12XH')
    """
    head, _, role = waypoint.rpartition("-")
    return f"{waypoint}-{MARK}", f"{head}X{role}"


def sign_name(role: str, status: str) -> str:
    """Name of the sign of a stake: its role, or that with ``NOT_YET`` behind it; the same on every map.

    Parameters
    ----------
    role : str
        ``"H"`` or ``"S"``.
    status : str
        One of ``STATUSES``.

    Returns
    -------
    str

    Examples
    --------
    >>> sign_name("H", "all rules met"), sign_name("S", "breaks rules")
    ('H', 'S not yet')
    """
    return role if status in MAY_STAKE else f"{role} {NOT_YET}"
