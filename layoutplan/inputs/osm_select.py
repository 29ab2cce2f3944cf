"""Picking a power line out of those an extract holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from layoutplan.errors import LineError
from layoutplan.inputs.osm_file import PowerWay
from layoutplan.inputs.osm_power import numbers
from layoutplan.inputs.words import counted, listed
from layoutplan.job import OsmLine
from layoutplan.text import clean


def select_ways(ways: Sequence[PowerWay], choice: OsmLine, where: str, key: str) -> list[PowerWay]:
    """Return the ways that meet every condition given, in the order of ``way_ids``, else of their ids.

    Parameters
    ----------
    ways : sequence of PowerWay
        All of the extract.
    choice : OsmLine
        The job's conditions.
    where, key : str
        File, and the job's key, for messages.

    Returns
    -------
    list of PowerWay

    Raises
    ------
    LineError
        If a way named by id is no overhead power line of the extract, or none meets the conditions.
    """
    by_id = {way.way_id: way for way in ways}
    if absent := [way_id for way_id in choice.way_ids if way_id not in by_id]:
        raise LineError(
            f"{where}: osm way {listed(absent)} ({key}.way_ids) is not in the extract, or no way with power=line or "
            f"minor_line. The extract has {counted(len(by_id), 'such way')}: {_offer(ways)}."
        )
    pool = [by_id[way_id] for way_id in dict.fromkeys(choice.way_ids)] or [by_id[way_id] for way_id in sorted(by_id)]
    chosen = [way for way in pool if _meets(way.tags, choice) and len(way.nodes) > 1]
    if not chosen:
        raise LineError(
            f"{where}: no power line meets what {key} asks for ({_asked(choice)}); there are: {_offer(ways)}."
        )
    return chosen


def _meets(tags: Mapping[str, str], choice: OsmLine) -> bool:
    return (
        (choice.name is None or clean(tags.get("name")) == clean(choice.name))
        and (choice.ref is None or clean(choice.ref) in _values(tags, "ref"))
        and (choice.voltage_kv is None or f"{choice.voltage_kv * 1000:g}" in _volts(tags))
    )


def _values(tags: Mapping[str, str], key: str) -> list[str]:
    """Return the values of a tag that may list several; the whole text first, should it hold a semicolon itself."""
    text = clean(tags.get(key))
    return [text, *(part.strip() for part in text.split(";"))]


def _volts(tags: Mapping[str, str]) -> list[str]:
    return [f"{value:g}" for value in numbers(tags, "voltage")]


def _asked(choice: OsmLine) -> str:
    given = {"name": choice.name, "ref": choice.ref, "voltage_kv": choice.voltage_kv}
    return ", ".join(f"{name} = {value!r}" for name, value in given.items() if value is not None) or "way_ids"


def _offer(ways: Sequence[PowerWay]) -> str:
    """Describe the lines there are, the longest lists of towers first."""
    best = sorted(ways, key=lambda way: (-len(way.nodes), way.way_id))
    return listed((_label(way) for way in best), 6) or "none"


def _label(way: PowerWay) -> str:
    about = [clean(way.tags[key]) for key in ("name", "ref") if key in way.tags]
    volts = [f"{float(volt) / 1000:g} kV" for volt in dict.fromkeys(_volts(way.tags))]
    return f"{way.way_id}" + (f" ({'; '.join(about + volts)})" if about or volts else "")
