"""Small pieces of messages: lists cut to a readable length, counts with their noun."""

from __future__ import annotations

from collections.abc import Iterable


def listed(items: Iterable[object], most: int = 5) -> str:
    """Return the items with commas, cut after ``most`` of them: ``3, 7, 9 and 4 more``.

    Parameters
    ----------
    items : iterable
        What is to be named.
    most : int
        How many of them.

    Returns
    -------
    str

    Examples
    --------
    >>> listed(range(7), most=3)
    '0, 1, 2 and 4 more'
    """
    texts = [str(item) for item in items]
    rest = len(texts) - most
    return ", ".join(texts[:most]) + (f" and {rest} more" if rest > 0 else "")


def counted(number: int, noun: str) -> str:
    """Return a number with its noun: ``1 feature``, ``1,200 features``.

    Parameters
    ----------
    number : int
    noun : str
        For one of them.

    Returns
    -------
    str

    Examples
    --------
    >>> counted(1, "feature"), counted(1200, "feature")
    ('1 feature', '1,200 features')
    """
    return f"{number:,} {noun}" + ("" if number == 1 else "s")
