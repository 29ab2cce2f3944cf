"""The objects of an OpenStreetMap extract, one after the other, as the library gives them, and its errors in words."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import osmium

from layoutplan.errors import InputError
from layoutplan.inputs.osm_tags import TagRules
from layoutplan.text import clean

_TICK = 25_000  # objects between two signs of life
_SMALL = 50_000_000  # bytes of an extract; the places of a larger one's nodes go to the disk
_PLACES = 8  # bytes that they take for each byte of an extract, at most; 2.5 were measured


def header(path: Path) -> Any:
    """Return the header of an extract.

    Parameters
    ----------
    path : Path
        Of the extract.

    Returns
    -------
    osmium.io.Header

    Raises
    ------
    InputError
        If the file is no OpenStreetMap file.
    """
    with clear_osm_errors(path):
        return osmium.FileProcessor(str(path)).header


def objects(path: Path, rules: TagRules | None, tick: Callable[[], None]) -> Iterator[Any]:
    """Iterate over the objects that may matter, chosen by the library before Python sees them.

    Parameters
    ----------
    path : Path
        Of the extract.
    rules : TagRules or None
        What makes an obstacle; None leaves all but power lines and towers out.
    tick : callable
        Called now and then.

    Yields
    ------
    osmium.osm.OSMObject
        Nodes, ways, areas and relations.

    Raises
    ------
    InputError
        If the file is truncated, damaged or no OpenStreetMap file.
    """
    with clear_osm_errors(path):
        processor = osmium.FileProcessor(str(path)).with_locations(_places(path))
        if rules is None:
            chosen = processor.with_filter(osmium.filter.KeyFilter("power"))
        else:
            only_tagged = osmium.filter.EmptyTagFilter()
            only_tagged.enable_for(osmium.osm.NODE | osmium.osm.WAY)  # the others are only corners and edges
            chosen = processor.with_areas(osmium.filter.KeyFilter(*rules.keys)).with_filter(only_tagged)
    yield from _told(path, chosen, tick)


def ways(path: Path, ids: Collection[int], tick: Callable[[], None]) -> Iterator[Any]:
    """Iterate over some ways of an extract, with the places of their nodes.

    Parameters
    ----------
    path : Path
        Of the extract.
    ids : collection of int
        Of the ways.
    tick : callable
        Called now and then.

    Yields
    ------
    osmium.osm.Way

    Raises
    ------
    InputError
        As `objects`.
    """
    if not ids:
        return
    with clear_osm_errors(path):
        processor = osmium.FileProcessor(str(path)).with_locations(_places(path))
        only_ways = processor.with_filter(osmium.filter.EntityFilter(osmium.osm.WAY))
        chosen = only_ways.with_filter(osmium.filter.IdFilter(ids))
    yield from _told(path, chosen, tick)


def is_large(path: Path) -> bool:
    """Whether an extract is so large that what it holds does not belong into the memory as a whole."""
    return path.is_file() and path.stat().st_size > _SMALL


def _places(path: Path) -> Any:
    """Return what the library keeps the places of nodes in, so that a country's extract does not fill the memory.

    The file on the disk has no name any more where the system allows that: whatever happens, nothing is left.
    """
    if not is_large(path) or shutil.disk_usage(tempfile.gettempdir()).free < _PLACES * path.stat().st_size:
        return osmium.index.create_map("flex_mem")
    folder = Path(tempfile.mkdtemp(prefix="layoutplan-"))
    try:
        return osmium.index.create_map(f"sparse_file_array,{folder / 'places'}")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _told(path: Path, chosen: Iterable[Any], tick: Callable[[], None]) -> Iterator[Any]:
    with clear_osm_errors(path, ValueError, IndexError, OverflowError):  # of the library: whoever takes them is outside
        for number, thing in enumerate(chosen):
            if number % _TICK == 0:
                tick()
            yield thing


@contextmanager
def clear_osm_errors(path: Path, *further: type[Exception]) -> Iterator[None]:
    """Turn what the library raises into an InputError; further kinds where nothing but the library runs.

    Parameters
    ----------
    path : Path
        Of the extract, for the message.
    *further : type
        Further kinds of exceptions.

    Yields
    ------
    None

    Raises
    ------
    InputError
        If the library cannot read on.
    """
    try:
        yield
    except UnicodeDecodeError as err:
        raise InputError(
            f"{path.name}: holds a tag that is not UTF-8 text ({err.object[:40]!r}). Correct that tag, or fetch the "
            "file again."
        ) from err
    except (RuntimeError, OSError, osmium.InvalidLocationError, *further) as err:  # type: ignore[misc]
        why = clean(err)[:150]
        fetch = "It is truncated, damaged or of another kind: fetch it again."
        fix = "Sort it by kind and id." if "out of order" in why else fetch
        raise InputError(f"{path.name}: cannot be read to its end as an OpenStreetMap file ({why}). {fix}") from err
