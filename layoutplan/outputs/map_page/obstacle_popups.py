"""What the map shows of a feature of the base map."""

from __future__ import annotations

import pandas as pd

from layoutplan.outputs.columns import records
from layoutplan.outputs.map_page.popups import Popups, capital
from layoutplan.outputs.words import figure

_RULE_WORDS = {"no": "no", "agree": "to be agreed", "care": "yes, with care", "free": "no rule against it"}


def obstacle_popups(obstacles: pd.DataFrame) -> Popups:
    """Name the rules that were used, and where they come from.

    Parameters
    ----------
    obstacles : DataFrame
        Of the plan.

    Returns
    -------
    Popups
        One for each feature.
    """
    rows = list(records(obstacles, "feature_id", "obstacle_class", "label", "name", "width_m", "keep_out_m", "stake",
                        "lead_crossing", "basis", "source"))  # fmt: skip
    return Popups(
        ("Known to the planner as",),
        [row.name for row in rows],
        [(row.feature_id,) for row in rows],
        ("Kind", "Stake there", "Lead across", "Width used", "Basis", "Source"),
        [
            (
                row.label,
                f"no, nor within {figure(row.keep_out_m, 'm')}" if row.stake == "no" else _RULE_WORDS[row.stake],
                _RULE_WORDS[row.lead_crossing],
                figure(row.width_m, "m") if row.width_m else "",
                row.basis,
                (row.source or "").partition(", layer ")[0],
            )
            for row in rows
        ],
        [(row.obstacle_class, capital(row.label)) for row in rows],
    )
