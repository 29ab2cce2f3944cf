"""How much is tried: few examples of each property in the ordinary run, all of them with ``-m ""`` or in CI."""

import os
from collections.abc import Sequence
from typing import Any

import pytest

EVERYTHING = "LAYOUTPLAN_EVERYTHING"  # set by conftest.py when tests marked ``long`` are not left out


def examples(count: int) -> int:
    """A fifth of the examples, three at the least, unless everything is asked for."""
    return count if EVERYTHING in os.environ else min(count, max(count // 5, 3))


def few(things: Sequence[Any], count: int) -> Sequence[Any]:
    """The first few, unless everything is asked for; for loops within one test."""
    return things if EVERYTHING in os.environ else things[:count]


def some(cases: Sequence[Any], count: int) -> list[Any]:
    """Parameters of which the first few are tried in the ordinary run, the others among the long ones."""
    rest = [case if isinstance(case, tuple) else (case,) for case in cases[count:]]
    return [*cases[:count], *(pytest.param(*case, marks=pytest.mark.long) for case in rest)]
