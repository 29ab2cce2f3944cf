"""A short number by which plans are distinct, for everything that is written and printed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import as_lists, turned_lon

_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"  # no I, L, O, U: they are misread, or read like others
_KNOWN = "_plan_number"
_TOWER = ("line_id", "tower_id", "status")
_STAKE = ("line_id", "tower_id", "role", "waypoint", "status")


def plan_number(plan: Plan) -> str:
    """Eight letters and digits: a hash of settings, inputs' SHA-256, positions and statuses.

    The same plan has the same number on every machine, and when it is opened again: places of files count for nothing,
    neither does what only changes how the plan is written (``output``), how much is read (``reading``) or how long it
    takes (``search.workers``).
    What ``terrain`` asks for shows in the positions and in the files' hashes; a written plan does not hold it.

    Parameters
    ----------
    plan : Plan
        With its job, files, positions and statuses.

    Returns
    -------
    str
        Worked out once for each plan; of a part, that of the whole.
    """
    if plan.whole is not None:
        return plan_number(plan.whole)
    if (known := plan.__dict__.get(_KNOWN)) is not None:
        return str(known)
    number = _worked_out(plan)
    object.__setattr__(plan, _KNOWN, number)  # every writer asks; a changed plan is another object
    return number


def _worked_out(plan: Plan) -> str:
    content = {
        "settings": _settings(plan),
        "grid_crs": plan.grid_crs,
        "inputs": sorted(file.sha256 for file in plan.files),
        "towers": _rows(plan.towers, _TOWER),
        "stakes": _rows(plan.electrodes, _STAKE),
    }
    text = json.dumps(content, sort_keys=True, ensure_ascii=True, default=str)
    number = int.from_bytes(hashlib.sha256(text.encode()).digest()[:5], "big")
    letters = "".join(_LETTERS[number >> shift & 31] for shift in range(35, -1, -5))
    return f"{letters[:4]}-{letters[4:]}"


def _settings(plan: Plan) -> dict[str, Any]:
    settings = plan.job.model_dump()
    del settings["output"], settings["terrain"], settings["reading"], settings["search"]["workers"]
    return dict(_without_paths(settings))


def _without_paths(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _without_paths(value) for key, value in node.items() if not isinstance(value, Path)}
    if isinstance(node, list | tuple):
        return [_without_paths(item) for item in node if not isinstance(item, Path)]
    return node


def _rows(frame: pd.DataFrame, columns: Iterable[str]) -> list[list[Any]]:
    if frame.empty:
        return []
    places = np.column_stack((turned_lon(frame["lon"]), frame["lat"].to_numpy(dtype=float)))
    return [*as_lists(frame, columns), [f"{lon:.8f} {lat:.8f}" for lon, lat in places.tolist()]]
