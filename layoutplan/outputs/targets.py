"""Files that are to be written, held against those that are read: no input is ever written over."""

from __future__ import annotations

import os
from collections.abc import Iterable
from fnmatch import fnmatch
from pathlib import Path

from layoutplan.errors import OutputError
from layoutplan.job import Job
from layoutplan.layout.schema import TABLES
from layoutplan.outputs.installed import chosen_formats
from layoutplan.outputs.record import paths_in

Identity = tuple[int, int]


def refuse_job_inputs(folder: Path, job: Job, further: Iterable[Path | None] = ()) -> None:
    """Refuse a folder in which a plan of the job would write over one of its inputs; checked before any work.

    Parameters
    ----------
    folder : Path
        Need not exist.
    job : Job
        Its formats and inputs.
    further : iterable of Path or None
        The job files.

    Raises
    ------
    OutputError
        If so; it names the file, and what to do.
    """
    patterns = [
        pattern
        for entry in chosen_formats(job.output.formats)
        if not entry.needs or getattr(job, entry.needs)
        for name in entry.files
        for pattern in ([name.replace("*", table) for table in TABLES] if name.startswith("plan_") else [name])
    ]
    refuse_inputs(folder, patterns, [*paths_in(job.model_dump()), *(path for path in further if path is not None)])


def refuse_inputs(folder: Path, patterns: Iterable[str], inputs: Iterable[Path]) -> None:
    """Refuse to write files of these names into a folder if one of them is an input.

    Files are compared by what they are, not by how they are called: links lead to what they stand for, and on some
    systems two names that differ in case are one.

    Parameters
    ----------
    folder : Path
        Where the files go; need not exist.
    patterns : iterable of str
        Names of new files, with ``*`` for any letters.
    inputs : iterable of Path
        Files that were read.

    Raises
    ------
    OutputError
        If so; it names the file, and what to do.
    """
    used = identities(inputs)
    wanted = [pattern.casefold() for pattern in patterns]
    if not used or not folder.is_dir():
        return
    for path in sorted(folder.iterdir()):
        named = any(fnmatch(path.name.casefold(), pattern) for pattern in wanted)
        if named and (source := used.get(identity(path) or (-1, -1))):
            same = "" if source.absolute() == path.absolute() else f" (the same file as '{source}')"
            raise OutputError(
                f"'{path}'{same} is an input and would be written over. Choose another folder for the new files, give "
                "the input another name, or leave that format out."
            )


def identities(paths: Iterable[Path]) -> dict[Identity, Path]:
    """Files that are there, by what they are.

    Parameters
    ----------
    paths : iterable of Path
        Some may be missing.

    Returns
    -------
    dict of (int, int) to Path
    """
    return {found: path for path in paths if (found := identity(path))}


def identity(path: Path) -> Identity | None:
    """Device and number of a file, links followed.

    Parameters
    ----------
    path : Path
        Of the file.

    Returns
    -------
    (int, int) or None
        None if there is none.
    """
    try:
        found = os.stat(path)
    except (OSError, ValueError):
        return None
    return found.st_dev, found.st_ino
