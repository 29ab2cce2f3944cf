"""What a cut run left in a folder: recognised, finished or put back, and reported."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

from layoutplan.errors import OutputError
from layoutplan.store.replace import EARLIER, JOURNAL, LOCK_NAME, NEW, STAGING, UNDO, Step, forward, undo
from layoutplan.store.signals import held_back

_FINISHED = "a run that was cut while it moved its files into place was finished: the plan here is the newer one"
_PUT_BACK = (
    "a run that was cut while it put the earlier files back was put back to the end: the plan here is the earlier one"
)
_REMOVED = "unfinished files of a run that was cut were removed; what lies here was not touched by it"


def put_in_order(folder: Path) -> str:
    """Put a folder in order if a run was cut there; the caller holds it.

    Parameters
    ----------
    folder : Path
        Of a plan.

    Returns
    -------
    str
        What was done, in words; empty if there was nothing to do.

    Raises
    ------
    OutputError
        If it cannot be put in order.
    """
    notes = []
    with held_back():
        for journal in journals(folder):
            staging, steps = _read(journal)
            if journal.name == JOURNAL and _finish(folder, staging, steps, journal):
                notes.append(_FINISHED)
            else:
                _undo(folder, staging, steps, journal)
                notes.append(_PUT_BACK)
    left = [path for path in left_over(folder) if path.name.startswith(STAGING)]
    for path in left:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)
    return "; ".join(notes or ([_REMOVED] if left else []))


def left_over(folder: Path) -> list[Path]:
    """Files and folders of a run that is at work or was cut.

    Parameters
    ----------
    folder : Path
        Of a plan.

    Returns
    -------
    list of Path
        Sorted by name; none where there is no such folder.
    """
    try:
        names = os.listdir(folder)
    except OSError:
        return []
    return [folder / name for name in sorted(names) if name in (LOCK_NAME, JOURNAL, UNDO) or name.startswith(STAGING)]


def journals(folder: Path) -> list[Path]:
    """Journals of a run that was moving files, or putting them back.

    Parameters
    ----------
    folder : Path
        Of a plan.

    Returns
    -------
    list of Path
        Those that are there.
    """
    return [path for name in (UNDO, JOURNAL) if (path := folder / name).is_file()]


def _finish(folder: Path, staging: Path, steps: list[Step], journal: Path) -> bool:
    try:
        for step in steps:
            forward(folder, staging, step)
        journal.unlink()
    except OSError:
        return False
    return True


def _undo(folder: Path, staging: Path, steps: list[Step], journal: Path) -> None:
    try:
        if journal.name == JOURNAL:
            journal = journal.replace(folder / UNDO)
        failed = undo(folder, staging, steps)
        if not failed:
            journal.unlink()
            return
    except OSError as err:
        failed = [err.strerror or str(err)]
    raise OutputError(
        f"'{folder}': a run was cut here, and its files can neither be moved into place nor the earlier ones put back "
        f"({', '.join(failed[:5])}). Do not use these files. Close programs that have them open, free some space, and "
        "run again; or plan into another folder."
    )


def _read(journal: Path) -> tuple[Path, list[Step]]:
    """Read a journal; it may have come with a folder from anybody, and may name files of that folder only."""
    try:
        found = json.loads(journal.read_text("utf-8"))
        staging = journal.parent / _plain(found["staging"])
        steps = [
            Step(
                _plain(row["name"]),
                _mark(row["new"]),
                _mark(row["earlier"]),
                _plain(row["kept"]) if row["kept"] else "",
            )
            for row in found["steps"]
        ]
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as err:
        raise _unusable(journal) from err
    folders = (staging, staging / NEW, staging / EARLIER)
    if not staging.name.startswith(STAGING) or not all(path.is_dir() and not path.is_symlink() for path in folders):
        raise _unusable(journal)
    return staging, steps


def _plain(name: Any) -> str:
    if not isinstance(name, str) or not name or name in (".", "..") or set(name) & set("/\\:\0"):
        raise ValueError(name)
    return name


def _mark(value: Any) -> tuple[int, int] | None:
    if value is None:
        return None
    size, changed = value
    return int(size), int(changed)


def _unusable(journal: Path) -> OutputError:
    return OutputError(
        f"'{journal.parent}': a run was cut here, and {journal.name}, which says how to go on, cannot be used. Do "
        f"not use these files. Delete {journal.name} and plan again into this folder."
    )
