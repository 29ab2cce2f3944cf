"""Short names for waypoints that hand-held receivers take as they are."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import count, takewhile

import numpy as np
from anyascii import anyascii

from layoutplan.errors import InputRangeError

SHORTEST = 6


def waypoint_names(
    line_ids: Sequence[str],
    tower_ids: Sequence[str],
    roles: Sequence[str],
    length: int = 10,
    taken: Iterable[str] = (),
) -> list[str]:
    """Name each stake by its tower and its role, ``012-H``; unique over all rows given.

    Capital letters A-Z, digits and hyphens only: older receivers change or refuse the rest, and then number the names
    themselves. Other scripts are spelt out (``Башня 12`` becomes ``BASHNYA-12``). A name too long loses what all towers
    have in common at the front, then its hyphens, then its beginning: the number at the end is what tells towers apart.
    Where two lines have towers of the same name, every name starts with a short code of its line. Towers that still
    fall together are numbered behind an X, in the order of the rows.

    The part before the role depends only on which towers are given, not on the roles: give all towers of the job (those
    without a layout too) in each call, and a tower has the same name everywhere.

    Parameters
    ----------
    line_ids, tower_ids, roles : sequence of str
        One row for each waypoint; all of one length.
    length : int
        Longest name allowed, at least 6.
    taken : iterable of str
        Names already given away.

    Returns
    -------
    list of str
        In the order of the rows.

    Raises
    ------
    InputRangeError
        If ``length`` is below 6.

    Examples
    --------
    >>> waypoint_names(["A", "A"], ["Башня 12", "Башня 12"], ["H", "S"], length=12)
    ['BASHNYA-12-H', 'BASHNYA-12-S']
    """
    if length < SHORTEST:
        raise InputRangeError(f"waypoint names of {length} characters are too short; at least {SHORTEST} are needed.")
    endings = [f"-{ending}" if (ending := _plain(role)[:2]) else "" for role in roles]
    room = length - max(map(len, endings), default=0)
    keys = list(zip(line_ids, tower_ids, strict=True))
    places = list(dict.fromkeys(keys))
    bodies = dict(zip(places, _bodies(places, room), strict=True))
    return _unique([bodies[key] for key in keys], endings, length, taken)


def _bodies(places: list[tuple[str, str]], room: int) -> list[str]:
    """Return one unique name for each (line, tower)."""
    labels = [_plain(tower) or f"NO{number}" for number, (_, tower) in enumerate(places, 1)]
    codes = _line_codes([line for line, _ in places]) if _lines_clash(places, labels) else [""] * len(places)
    space = room - max(map(len, codes), default=0)
    if any(len(label) > space - bool(code) for label, code in zip(labels, codes, strict=True)):
        labels = _without_common_start(labels)
    bodies = [_fitted(code, label, room) for code, label in zip(codes, labels, strict=True)]
    return _unique(bodies, [""] * len(bodies), room)


def _plain(text: str) -> str:
    return re.sub(r"[^A-Z0-9]+", "-", anyascii(text).upper()).strip("-")


def _lines_clash(places: list[tuple[str, str]], labels: list[str]) -> bool:
    owner: dict[str, str] = {}
    return any(owner.setdefault(label, line) != line for label, (line, _) in zip(labels, places, strict=True))


def _line_codes(lines: list[str]) -> list[str]:
    """Return the shortest distinct piece of each line's name after what they share, else A, B, C …, row by row."""
    names = list(dict.fromkeys(lines))
    plain = _without_common_start([_plain(name) for name in names])
    for size in (1, 2):
        codes = [name.replace("-", "")[:size] for name in plain]
        if all(codes) and len(set(codes)) == len(codes):
            break
    else:
        codes = [_letters(number) for number in range(len(names))]
    by_line = dict(zip(names, codes, strict=True))
    return [by_line[line] for line in lines]


def _letters(number: int) -> str:
    """Count A … Z, AA, AB …, as spreadsheets do with columns."""
    text, number = "", number + 1
    while number:
        number, digit = divmod(number - 1, 26)
        text = chr(ord("A") + digit) + text
    return text


def _without_common_start(labels: list[str]) -> list[str]:
    """Drop what all labels begin with, but no part of a number."""
    pairs = takewhile(lambda pair: pair[0] == pair[1], zip(min(labels), max(labels), strict=False))
    shared = "".join(char for char, _ in pairs)
    if any(label[len(shared) :][:1].isdigit() for label in labels):
        shared = shared.rstrip("0123456789")
    rest = [label[len(shared) :].strip("-") for label in labels]
    return rest if all(rest) else labels


def _fitted(code: str, label: str, room: int) -> str:
    """Code and label within ``room`` characters, the end of the label kept."""
    for joined in (f"{code}-{label}".strip("-"), code + label.replace("-", "")):
        if len(joined) <= room:
            return joined
    return code + label.replace("-", "")[len(code) - room :]


def _unique(bodies: list[str], endings: list[str], length: int, taken: Iterable[str] = ()) -> list[str]:
    """Join bodies and endings; the second and later of equal names are numbered, all others stay as they are."""
    wanted = [body + ending for body, ending in zip(bodies, endings, strict=True)]
    natural, used = set(wanted), set(taken)
    counters: dict[tuple[str, str], Iterator[int]] = {}
    for row, (body, ending) in enumerate(zip(bodies, endings, strict=True)):
        if wanted[row] in used:
            room = length - len(ending)
            stem = body if len(body) + len("X9999") <= room else body[:1]  # cut bodies share numbers: no long searches
            numbers = counters.setdefault((stem, ending), count(2))
            names = (_numbered(body, number, room) + ending for number in numbers)
            wanted[row] = next(name for name in names if name not in used and name not in natural)
        used.add(wanted[row])
    return wanted


def _numbered(body: str, number: int, room: int) -> str:
    mark = f"X{number}"
    if len(mark) > room:  # thousands of equal names: count in base 36, no longer readable but still unique
        mark = np.base_repr(number, 36).zfill(room)
    return body[: room - len(mark)].rstrip("-") + mark
