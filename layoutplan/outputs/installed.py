"""Formats of other installed packages, found through the entry-point group ``layoutplan.writers``."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from difflib import get_close_matches
from importlib.metadata import EntryPoint, entry_points

from layoutplan.errors import OutputError
from layoutplan.outputs.registry import DEFAULT, FORMATS, RECORD, Format, Writer
from layoutplan.text import clean

GROUP = "layoutplan.writers"
_OWN_PACKAGE = "layoutplan itself"


def known_formats() -> list[Format]:
    """Return this program's formats, then those of installed packages by name; no writer is imported.

    Returns
    -------
    list of Format
        A name that is given twice is there twice; `chosen_formats` refuses it.
    """
    return [*FORMATS.values(), *_installed()]


def chosen_formats(
    names: Iterable[str] | None, where: str = "job key 'output.formats'", there: Collection[str] = ()
) -> list[Format]:
    """Look up formats by name, in the order in which they are written: the record of the plan last.

    Parameters
    ----------
    names : iterable of str or None
        None: those written by default.
    where : str
        Where the names come from, for messages.
    there : collection of str
        Formats whose files lie in the folder already.

    Returns
    -------
    list of Format
        Each once.

    Raises
    ------
    OutputError
        If a name is not known, or is given by more than one package, or a format needs another one beside it.

    Examples
    --------
    The record of the plan comes last, whatever the order asked for:

    >>> [entry.name for entry in chosen_formats(["json", "gpx"])]
    ['gpx', 'json']
    """
    by_name: dict[str, list[Format]] = {}
    for entry in known_formats():
        by_name.setdefault(entry.name, []).append(entry)
    wanted = dict.fromkeys(DEFAULT if names is None else names)
    for name in wanted:
        _require_one(name, by_name, where)
        beside = by_name[name][0].beside
        if beside and beside not in wanted and beside not in there:
            file = FORMATS[beside].files[0]
            raise OutputError(f"{where}: '{name}' shows {file} beside it; name '{beside}' too, or leave '{name}' out.")
    return sorted((by_name[name][0] for name in by_name if name in wanted), key=lambda entry: entry.name == RECORD)


def writer_of(entry: Format) -> Writer:
    """Import the writer of a format.

    Parameters
    ----------
    entry : Format
        One of the known ones.

    Returns
    -------
    callable
        Takes a plan and a folder.

    Raises
    ------
    OutputError
        If an installed package's writer cannot be imported, or is no function, or what an own one imports is not
        installed.
    """
    if not entry.package:
        return _own_writer(entry)
    try:
        writer = entry.load()
    except (Exception, SystemExit) as err:  # whatever a foreign module does while it is imported
        raise OutputError(
            f"format '{entry.name}' of package {entry.package}: its writer '{clean(entry.writer)}' cannot be imported "
            f"({type(err).__name__}: {clean(err)}). Repair or remove that package, or leave the format out."
        ) from err
    if not callable(writer):
        raise OutputError(
            f"format '{entry.name}' of package {entry.package}: '{clean(entry.writer)}' is no function. "
            "Repair or remove that package, or leave the format out."
        )
    return writer


def _own_writer(entry: Format) -> Writer:
    try:
        return entry.load()
    except ModuleNotFoundError as err:
        if not entry.extra:
            raise
        raise OutputError(
            f"format '{entry.name}' needs {err.name}, which is not installed. Install it with "
            f'pip install "layoutplan[{entry.extra}]", or leave the format out.'
        ) from err


def require_formats(names: Iterable[str] | None) -> None:
    """Refuse a job's formats before the long work if one of them could not be written after it.

    Parameters
    ----------
    names : iterable of str or None
        None: those written by default.

    Raises
    ------
    OutputError
        As `chosen_formats` and `writer_of`.
    """
    for entry in chosen_formats(names):
        if entry.package or entry.extra:
            writer_of(entry)


def _installed() -> list[Format]:
    points = {(point.name, point.value, _package(point)) for point in entry_points(group=GROUP)}
    return [
        Format(clean(name), f"from package {package}", (), value, by_default=False, package=package)
        for name, value, package in sorted(points)
    ]


def _package(point: EntryPoint) -> str:
    return clean(f"{point.dist.name} {point.dist.version}") if point.dist else "unknown"


def _require_one(name: str, by_name: dict[str, list[Format]], where: str) -> None:
    found = by_name.get(name, [])
    if not found:
        near = get_close_matches(name, by_name, 1, 0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        raise OutputError(f"{where}: no format '{clean(name)}'; {hint}known: {', '.join(by_name)}.")
    if len(found) > 1:
        packages = " and ".join(entry.package or _OWN_PACKAGE for entry in found)
        raise OutputError(
            f"{where}: format '{clean(name)}' is given twice, by {packages}. Remove one of the packages, or leave "
            "the format out."
        )
