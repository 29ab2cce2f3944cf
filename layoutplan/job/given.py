"""Which keys of a job its user gave: what rests on a default is an assumption, in a reopened plan too."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from pydantic import BaseModel

from layoutplan.job.model import Job


def given_keys(job: Job) -> list[str]:
    """Dotted keys that were given, not taken by default.

    Parameters
    ----------
    job : Job
        As it was read.

    Returns
    -------
    list of str
        Sorted: ``lines.0.load.current_a``.

    Examples
    --------
    >>> from layoutplan.job import load_job
    >>> keys = given_keys(load_job("sample_gis/job.toml"))
    >>> "rules.reel_m" in keys, "score.margin_m" in keys
    (True, False)
    """
    return sorted(key for key, model, name in _keys(job, "") if name in model.model_fields_set)


def with_given(job: Job, given: Collection[str]) -> Job:
    """Return the job with only these keys counted as given; all values stay.

    Parameters
    ----------
    job : Job
        As it was read.
    given : collection of str
        Dotted keys, as from `given_keys`.

    Returns
    -------
    Job
        A copy.
    """
    known = frozenset(given)
    copy = job.model_copy(deep=True)
    for key, model, name in list(_keys(copy, "")):
        if key not in known:
            model.model_fields_set.discard(name)
    return copy


def _keys(node: Any, at: str) -> Iterator[tuple[str, BaseModel, str]]:
    """All single settings of a tree, each with the section it belongs to and its name there."""
    if isinstance(node, BaseModel):
        for name in type(node).model_fields:
            value = getattr(node, name)
            if not _holds_sections(value):
                yield f"{at}{name}", node, name
            yield from _keys(value, f"{at}{name}.")
    elif isinstance(node, tuple):
        for number, item in enumerate(node):
            yield from _keys(item, f"{at}{number}.")


def _holds_sections(value: Any) -> bool:
    return isinstance(value, BaseModel) or (isinstance(value, tuple) and any(map(_holds_sections, value)))
