"""Having formats made in a folder, and holding what their writers return against what was asked of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pandas as pd

from layoutplan.errors import LayoutPlanError, OutputError
from layoutplan.layout.model import Plan
from layoutplan.outputs.installed import writer_of
from layoutplan.outputs.registry import FORMATS, Format, Writer
from layoutplan.text import clean

_AUTHOR = "Leave the format out, or inform the package's author."
_OWN_FILES = {name for entry in FORMATS.values() for name in entry.files}


def make_files(plan: Plan, formats: Iterable[Format], folder: Path) -> list[Path]:
    """Have files made in a folder.

    Writers of installed packages work in a folder of their own, so that they cannot change what others have made.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    formats : iterable of Format
        Those to be written.
    folder : Path
        It is there, and nobody else writes in it.

    Returns
    -------
    list of Path
        All in ``folder``, in the order of the formats.

    Raises
    ------
    OutputError
        If an installed writer fails, returns nothing or something other than new files of its folder.
    """
    made: list[Path] = []
    for entry in formats:
        writer = writer_of(entry)
        made += _made_apart(plan, entry, writer, folder) if entry.package else _as_list(writer(plan, folder))
    return made


def _made_apart(plan: Plan, entry: Format, writer: Writer, folder: Path) -> list[Path]:
    with TemporaryDirectory(prefix="writer-", dir=folder) as own:
        paths = _checked(_run(plan, entry, writer, Path(own)), entry, Path(own), folder)
        return [path.rename(folder / path.name) for path in paths]


def _run(plan: Plan, entry: Format, writer: Writer, own: Path) -> object:
    try:
        return writer(_copied(plan), own)
    except (LayoutPlanError, OSError):
        raise  # says itself what is wrong, or is a matter of the disk
    except (Exception, SystemExit) as err:
        raise OutputError(
            f"{_named(entry)} its writer failed ({type(err).__name__}: {clean(err)}). Leave the format out, or "
            "inform the package's author; --debug shows where."
        ) from err


def _checked(returned: object, entry: Format, own: Path, folder: Path) -> list[Path]:
    paths = _as_list(returned)
    if not paths or not all(isinstance(path, Path) for path in paths):
        raise OutputError(f"{_named(entry)} its writer returned no path of a file. {_AUTHOR}")
    for path in paths:
        if path.parent.resolve() != own.resolve() or path.is_symlink() or not path.is_file():
            raise OutputError(
                f"{_named(entry)} its writer returned '{clean(path)}', which is no file directly in the folder it was "
                f"given. {_AUTHOR}"
            )
    taken = _OWN_FILES | {path.name.casefold() for path in folder.iterdir()}
    for path in paths:
        if path.name.casefold() in taken:  # two names that differ in case are one file on many systems
            raise OutputError(f"{_named(entry)} its file '{clean(path.name)}' bears the name of another one. {_AUTHOR}")
        taken.add(path.name.casefold())
    return paths


def _copied(plan: Plan) -> Plan:
    """Return the plan with tables of its own, so that a writer changes them for nobody else."""
    tables: dict[str, Any] = {
        item.name: table.copy() for item in fields(plan) if isinstance(table := getattr(plan, item.name), pd.DataFrame)
    }
    return replace(plan, **tables)


def _named(entry: Format) -> str:
    return f"format '{entry.name}' of package {entry.package}:"


def _as_list(returned: object) -> list[Path]:
    if isinstance(returned, list | tuple):
        return list(returned)
    return [returned] if isinstance(returned, Path) else []
