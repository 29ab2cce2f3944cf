"""The objects of an OpenStreetMap extract, one after the other, as the library gives them, and its errors in words."""

from __future__ import annotations

import shlex
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


def require_sorted(path: Path, lacking: Collection[int]) -> None:
    """Refuse an extract that holds nodes behind the ways that need them: those ways would have no place.

    Servers that answer queries write such files. The library reads them without a word.

    Parameters
    ----------
    path : Path
        Of the extract.
    lacking : collection of int
        Ids of nodes whose places were not known when their ways went by.

    Raises
    ------
    InputError
        If the file holds one of them.
    """
    if not lacking:
        return
    with clear_osm_errors(path):
        nodes = osmium.FileProcessor(str(path), osmium.osm.NODE).with_filter(osmium.filter.IdFilter(lacking))
        late = next((node.id for node in nodes), None)
    if late is not None:
        raise InputError(
            f"{path.name}: is not sorted: node {late} comes after a way that it belongs to, and what is drawn "
            f"through such nodes would be missing from the map. {how_to_sort(path)}"
        )


def how_to_sort(path: Path) -> str:
    """What puts an extract in order, as it is typed.

    Parameters
    ----------
    path : Path
        Of the extract.

    Returns
    -------
    str

    Examples
    --------
    >>> how_to_sort(Path("maps/valley north.osm.pbf")).partition(": ")[2]
    "osmium sort 'valley north.osm.pbf' -o 'valley north-sorted.osm.pbf'"
    """
    name = path.name
    for suffix in (".bz2", ".gz", ".pbf", ".osm"):
        name = name.removesuffix(suffix)
    return (
        "Sort it by kind and id, and name the new file in the job: "
        f"osmium sort {shlex.quote(path.name)} -o {shlex.quote(name + '-sorted.osm.pbf')}"
    )


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
        fix = how_to_sort(path) if "out of order" in why else fetch
        raise InputError(f"{path.name}: cannot be read to its end as an OpenStreetMap file ({why}). {fix}") from err
