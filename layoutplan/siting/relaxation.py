"""Single changes that would give a tower a layout: how far they may go, and in which order a planner would ask.

All of it is judgement. What is least trouble comes first: a means of the crew's own, or an agreement on land. Then what
lets a stake nearer to people, traffic or water, or onto guarded land, each down to a floor of its class. Then whatever
brings people nearer to conductors. Last of all a lead across what must not be crossed.
"""

from __future__ import annotations

from dataclasses import dataclass

from layoutplan.job import Rules

MEANS, DISTANCE, CONDUCTORS, CROSSING = 0, 1, 2, 3  # the order of asking; within a step the relative change decides
AGREEMENT_SHARE = 0.3  # an agreement is put on a par with a reel longer by this share
FARTHEST = 2.0  # the reel, and a limit on voltage, are not stretched beyond this multiple
LEAST_ANGLE_DEG = 20.0  # of a lead to the spans: nearer to their direction it is a conductor beside them
LEAST_BETWEEN_DEG = 45.0  # between two leads on one side: nearer together they are one lead
LEAST_SIZES = 0.5  # of the least distance by the size of the tower's earth electrode
STEEPEST_DEG = 35.0  # of the ground at a stake: beyond, hands are needed


@dataclass(frozen=True, slots=True)
class Relaxation:
    """One change that would give the tower a layout.

    Attributes
    ----------
    rule : str
    needed, limit : float
        Value that would do, and the value as it is; NaN for a permission.
    unit : str
    effort : float
        For ordering, see :func:`effort`.
    text : str
        What a planner could do.
    reference : str
        Number of the map feature that it is about; empty where it is about none.
    """

    rule: str
    needed: float
    limit: float
    unit: str
    effort: float
    text: str
    reference: str = ""


def effort(step: int, share: float) -> float:
    """Place in the order of asking.

    Parameters
    ----------
    step : int
        ``MEANS``, ``DISTANCE``, ``CONDUCTORS`` or ``CROSSING``.
    share : float
        Relative change of the number that gives way, or ``AGREEMENT_SHARE``.

    Returns
    -------
    float
        The step, and within it the share; greater is asked later.

    References
    ----------
    Judgement, no published source.

    Examples
    --------
    A reel longer by a tenth comes before an agreement, and both before a stake nearer to conductors:

    >>> print([effort(MEANS, 0.1), effort(MEANS, AGREEMENT_SHARE), effort(CONDUCTORS, 0.05)])
    [0.1, 0.3, 2.05]
    """
    return step + min(0.99, share)  # an unknown share comes last


def least_angle_deg(rules: Rules) -> float:
    """Angle of a lead to the spans below which none is proposed, whatever would be agreed.

    Parameters
    ----------
    rules : Rules

    Returns
    -------
    float
        The job's own limit if that is less. [deg]

    References
    ----------
    Judgement, no published source.

    Examples
    --------
    >>> least_angle_deg(Rules(min_angle_deg=60.0)), least_angle_deg(Rules(min_angle_deg=10.0))
    (20.0, 10.0)
    """
    return min(rules.min_angle_deg, LEAST_ANGLE_DEG)


def least_between_deg(rules: Rules) -> float:
    """Angle between two leads on one side below which none is proposed, whatever would be agreed.

    Parameters
    ----------
    rules : Rules

    Returns
    -------
    float
        The job's own limit if that is less. [deg]

    References
    ----------
    Judgement, no published source.

    Examples
    --------
    >>> least_between_deg(Rules())
    45.0
    """
    return min(rules.same_side_min_angle_deg, LEAST_BETWEEN_DEG)
