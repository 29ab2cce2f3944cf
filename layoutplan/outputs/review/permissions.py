"""Whom to ask: the parcels that the plan needs permission for, where it holds them."""

from __future__ import annotations

from layoutplan.layout.model import Plan
from layoutplan.outputs.review.pieces import headed, plain_rows

_COLUMNS = ("parcel", "owner_ref", "state", "note", "towers", "stakes", "lead_m", "approach_m")
_LABELS = ("parcel", "owner", "permission", "note", "towers", "stakes", "lead, m", "approach, m")


def permission_table(plan: Plan) -> str:
    """Return the table of parcels; empty if the plan has none.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).

    Returns
    -------
    str
        HTML; empty if the plan has none.
    """
    table = getattr(plan, "permissions", None)
    if table is None or not len(table):
        return ""
    return headed("Parcels", _LABELS, ["".join(plain_rows(table, _COLUMNS))], "permissions")[0]
