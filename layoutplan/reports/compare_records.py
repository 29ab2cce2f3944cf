"""What differs between the records of two plans: settings, obstacle classes, inputs and software."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from difflib import SequenceMatcher
from itertools import zip_longest
from typing import Any

import pandas as pd

NOT_THERE = "not there"  # in place of a setting, class or program that the other plan does not name
Record = Mapping[str, Any]
RECORDED = ("settings", "obstacle_classes", "grid_crs", "inputs", "software")


def compare_records(old: Record | None, new: Record | None) -> pd.DataFrame:
    """What differs in two records.

    Parameters
    ----------
    old, new : mapping or None
        ``plan.json`` of both plans.

    Returns
    -------
    DataFrame
        Dotted ``key``, ``old`` and ``new`` value; empty where a record is missing.
    """
    pair = (old, new) if old is not None and new is not None else ({}, {})
    before, now = ({name: record.get(name, NOT_THERE) for name in RECORDED} for record in pair)
    return pd.DataFrame(list(_differences(before, now, "")), columns=["key", "old", "new"], dtype=object)


def _differences(old: Any, new: Any, key: str) -> Iterator[tuple[str, Any, Any]]:
    """Dotted key, old and new value of everything that differs in two trees."""
    if isinstance(old, dict) and isinstance(new, dict):
        for name in dict.fromkeys([*old, *new]):
            part = name if re.fullmatch(r"[\w-]+", name) else json.dumps(name, ensure_ascii=False)
            yield from _differences(old.get(name, NOT_THERE), new.get(name, NOT_THERE), f"{key}.{part}".lstrip("."))
    elif isinstance(old, list) and isinstance(new, list) and all(isinstance(item, dict) for item in old + new):
        for part, before, now in _matched(old, new):
            yield from _differences(before, now, f"{key}[{part}]")
    elif old != new:
        yield key, old, new


def _matched(old: list[dict[str, Any]], new: list[dict[str, Any]]) -> list[tuple[str, Any, Any]]:
    """Entries of two lists that belong together: by their names, else by what is left alone around them."""
    before, now = ({item.get("id", item.get("file")): item for item in items} for items in (old, new))
    if None not in before | now:
        return [(str(name), before.get(name, NOT_THERE), now.get(name, NOT_THERE)) for name in before | now]
    texts = [[json.dumps(item, sort_keys=True) for item in items] for items in (old, new)]
    return [
        (str(step + (i if pair[1] is NOT_THERE else j)), *pair)
        for _, i, i_end, j, j_end in SequenceMatcher(None, texts[0], texts[1], autojunk=False).get_opcodes()
        for step, pair in enumerate(zip_longest(old[i:i_end], new[j:j_end], fillvalue=NOT_THERE), 1)
    ]
