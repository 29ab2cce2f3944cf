"""One job file laid over another: what a desktop program asks of the user, over a job file with everything else."""

from __future__ import annotations

from typing import Any

_ADDED = ("layers", "land", "fixed")  # what keeps stakes away is added, so that laying over never takes an obstacle off
_SOURCES = ("towers", "centreline", "osm")  # a source is one thing: its keys mean nothing beside those of another


def laid_over(base: dict[str, Any], over: dict[str, Any]) -> dict[str, Any]:
    """Job table with another one laid over it.

    Parameters
    ----------
    base, over : dict
        As they come from TOML; neither is changed.

    Returns
    -------
    dict
        Tables are joined key by key, ``over`` counts. Layers, land and fixed stakes are added. The first line of
        ``over`` is joined with the first of ``base``, and so on; where one names towers, the sources of the other are
        left out.

    Examples
    --------
    Layers are added, other values are replaced:

    >>> base = {"title": "Valley", "layers": [{"path": "map.osm.pbf"}], "rules": {"reel_m": 150.0, "slack_pct": 5.0}}
    >>> laid_over(base, {"layers": [{"path": "pipes.gpkg"}], "rules": {"reel_m": 200.0}})["layers"]
    [{'path': 'map.osm.pbf'}, {'path': 'pipes.gpkg'}]
    >>> laid_over(base, {"rules": {"reel_m": 200.0}})["rules"]
    {'reel_m': 200.0, 'slack_pct': 5.0}
    """
    joined = dict(base)
    for key, value in over.items():
        if key in _ADDED and isinstance(value, list) and isinstance(base.get(key), list):
            joined[key] = [*base[key], *value]
        elif key == "lines" and isinstance(value, list) and isinstance(base.get(key), list):
            joined[key] = _lines(base[key], value)
        elif isinstance(value, dict) and isinstance(base.get(key), dict):
            joined[key] = laid_over(base[key], value)
        else:
            joined[key] = value
    return joined


def _lines(base: list[Any], over: list[Any]) -> list[Any]:
    both = [_line(below, above) for below, above in zip(base, over, strict=False)]
    return [*both, *base[len(over) :], *over[len(base) :]]


def _line(base: Any, over: Any) -> Any:
    if not isinstance(base, dict) or not isinstance(over, dict):
        return over
    replaced = _SOURCES if "towers" in over or "osm" in over else ()
    return laid_over({key: value for key, value in base.items() if key not in replaced}, over)
