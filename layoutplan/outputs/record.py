"""``plan.json``: what was decided on, from what, with what, and what to beware of."""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections.abc import Iterable, Mapping
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyproj
import shapely

from layoutplan.job.classes import ObstacleClass
from layoutplan.job.given import given_keys
from layoutplan.layout.model import Plan
from layoutplan.outputs.page_notes import page_note
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.words import STATUS_MEANING
from layoutplan.store import final_folder
from layoutplan.store.record import FORMAT_VERSION, RECORD_NAME, TABLES_NAME, tables_sha256

_PATH_KEYS = ("path", "files", "raster", "font", "folders")  # of the job file
_TIME_ONLY = "search.workers"  # changes the time taken, not the plan


def write_record(plan: Plan, folder: Path) -> Path:
    """Write the record of the plan and of the files that lie in ``folder`` already.

    No clock, no machine: the same inputs and settings with the same software give the same bytes, in folders that lie
    to the inputs alike. Files go by their names, and inputs by how they lie to the plan's folder, not by their places
    on this machine.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        The record.
    """
    path = folder / RECORD_NAME
    path.write_text(json.dumps(_record(plan, folder), indent=2, ensure_ascii=False, allow_nan=False) + "\n", "utf-8")
    return path


def _record(plan: Plan, folder: Path) -> dict[str, Any]:
    names = short_names({*(file.path for file in plan.files), *paths_in(plan.job.model_dump())})
    return {
        "format_version": FORMAT_VERSION,
        "title": plan.job.title,
        "plan_number": plan_number(plan),
        "summary": plan.summary,
        "status_meaning": dict(STATUS_MEANING),
        "grid_crs": plan.grid_crs,
        "cautions": without_folders(plan.cautions, names),
        "assumptions": without_folders(plan.assumptions, names),
        "problems": without_folders(plan.problems, names),
        "notes": [f"{page.name}: {note}" for page in sorted(folder.glob("*.html")) if (note := page_note(page))],
        "inputs": [
            {
                "file": names[file.path],
                "path": _place(file.path, final_folder(folder)),
                "sha256": file.sha256,
                "used_for": file.used_for,
                "data_date": file.data_date,
                "attribution": file.attribution,
            }
            for file in plan.files
        ],
        "settings": _settings(plan, names),
        "given": [key for key in given_keys(plan.job) if key != _TIME_ONLY],
        "obstacle_classes": {name: _class(row) for name, row in plan.job.obstacle_classes.items()},
        "software": software_versions(),
        "tables_sha256": tables_sha256(tables) if (tables := folder / TABLES_NAME).is_file() else None,
        "files": [{"file": file.name, "sha256": sha256(file)} for file in sorted(folder.iterdir())],
    }


def _place(path: Path, folder: Path) -> str | None:
    """Place of a file relative to the plan's folder; None if that would tell more than how the two lie together."""
    try:
        there, here = path.absolute(), folder.absolute()
        common = Path(os.path.commonpath((there, here)))
    except ValueError:  # on another drive
        return None
    homes = Path.home().parent
    if common == Path(common.anchor) or homes.is_relative_to(common):
        return None
    return Path(os.path.relpath(there, here)).as_posix()


def _settings(plan: Plan, names: Mapping[Path, str]) -> dict[str, Any]:
    settings = plan.job.model_dump(mode="json")
    del settings["search"]["workers"]  # _TIME_ONLY
    texts = {str(path): name for path, name in names.items()}
    return dict(_with_short_paths(settings, texts))


def _with_short_paths(node: Any, names: Mapping[str, str]) -> Any:
    if isinstance(node, dict):
        return {
            key: _short(value, names) if key in _PATH_KEYS else _with_short_paths(value, names)
            for key, value in node.items()
        }
    return [_with_short_paths(item, names) for item in node] if isinstance(node, list) else node


def _short(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, list):
        return [_short(item, names) for item in value]
    return names.get(value, value) if isinstance(value, str) else _with_short_paths(value, names)


def paths_in(node: Any) -> Iterable[Path]:
    """All paths in a tree of settings.

    Parameters
    ----------
    node : object
        Tables and lists within each other.

    Returns
    -------
    iterable of Path

    Examples
    --------
    >>> [path.name for path in paths_in({"lines": [{"towers": {"path": Path("in/towers.csv")}}], "title": "Valley"})]
    ['towers.csv']
    """
    if isinstance(node, Path):
        yield node
    elif isinstance(node, dict | list | tuple):
        for item in node.values() if isinstance(node, dict) else node:
            yield from paths_in(item)


def _class(row: ObstacleClass) -> dict[str, Any]:
    """What decides where stakes and leads may go, and whom to ask."""
    left_out = {"name", "osm_width_m", "role", "road", "moving_traffic", "growth", "on_foot", "tells", "tagged", "look"}
    return {key: getattr(row, key) for key in ObstacleClass.model_fields if key not in left_out}


def short_names(paths: Iterable[Path]) -> dict[Path, str]:
    """Name files by as much of the end of their paths as is needed to keep them apart.

    Parameters
    ----------
    paths : iterable of Path
        Of files.

    Returns
    -------
    dict of Path to str

    Examples
    --------
    >>> sorted(short_names([Path("in/north/towers.csv"), Path("in/south/towers.csv"), Path("in/map.osm")]).values())
    ['map.osm', 'north/towers.csv', 'south/towers.csv']
    """
    wanted = {path: path.name for path in sorted(paths)}
    for size in range(2, max((len(path.parts) for path in wanted), default=0) + 1):
        names = list(wanted.values())
        for path in [path for path, name in wanted.items() if names.count(name) > 1]:
            wanted[path] = "/".join(path.parts[-size:]).lstrip("/")
    return wanted


def without_folders(texts: Iterable[str], names: Mapping[Path, str]) -> list[str]:
    """Replace the places of files on this machine by their names.

    Parameters
    ----------
    texts : iterable of str
        Notes and messages.
    names : mapping of Path to str
        From `short_names`.

    Returns
    -------
    list of str

    Examples
    --------
    >>> without_folders(["/home/crew/in/towers.csv: 2 rows left out"], {Path("/home/crew/in/towers.csv"): "towers.csv"})
    ['towers.csv: 2 rows left out']
    """
    longest_first = sorted(names, key=lambda path: -len(str(path)))
    shown = []
    for text in texts:
        for path in longest_first:
            text = text.replace(str(path), names[path])
        shown.append(text)
    return shown


def software_versions() -> dict[str, str]:
    """Return the versions of what computed the plan.

    Returns
    -------
    dict of str to str
        By name of the software.
    """
    try:
        own = version("layoutplan")
    except PackageNotFoundError:
        own = "not installed"
    return {
        "layoutplan": own,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "shapely": shapely.__version__,
        "GEOS": shapely.geos_version_string,
        "pyproj": pyproj.__version__,
        "PROJ": pyproj.proj_version_str,
        "GDAL": pyogrio.__gdal_version_string__,
    }


def sha256(path: Path) -> str:
    """Return the fingerprint of a file.

    Parameters
    ----------
    path : Path
        Of the file.

    Returns
    -------
    str
        SHA-256, hexadecimal.
    """
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
