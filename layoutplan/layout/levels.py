"""How near the exposures of leads are to their limits, as a written plan holds it, and the words for it."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from layoutplan.electrical import LeadLevel

UNKNOWN_LEVEL = LeadLevel.UNKNOWN
LEAD_LEVELS: Mapping[LeadLevel, str] = MappingProxyType(  # as legends list them
    {
        LeadLevel.ABOVE: "above a limit",
        LeadLevel.UNKNOWN: "unknown, a figure is missing: treat as live until measured",
        LeadLevel.NEAR: "near a limit, beyond half of it",
        LeadLevel.BELOW: "up to half of every limit: measure before touching metal",
    }
)


def known_level(code: object) -> LeadLevel:
    """Level that a code stands for; whatever is none counts as unknown.

    Parameters
    ----------
    code : object
        Cell of the columns ``lead_level`` and ``lead_level_fault``.

    Returns
    -------
    LeadLevel
        ``UNKNOWN`` for anything else.

    Examples
    --------
    >>> str(known_level("above")), str(known_level(None))
    ('above', 'unknown')
    """
    return LeadLevel(str(code)) if code in LEAD_LEVELS else UNKNOWN_LEVEL
