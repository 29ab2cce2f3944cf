"""Writing a plan's files all together or not at all, and nothing over a file of somebody else."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from layoutplan.errors import OutputError
from layoutplan.layout.model import Plan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.earlier import LEDGER_NAME, kept_copies, write_ledger
from layoutplan.outputs.installed import chosen_formats
from layoutplan.outputs.making import make_files
from layoutplan.outputs.record import paths_in, sha256
from layoutplan.outputs.targets import identities, identity, refuse_inputs
from layoutplan.store import alone_in, replace_all, staging_in
from layoutplan.store.record import RECORD_NAME, read_plan_record

_A_FEW_PAGES = 32 * 1024  # bytes
_DISK_FULL = ("disk is full", "no space left", "disk quota")


def write_plan(plan: Plan, folder: str | Path) -> list[Path]:
    """Write the files that the job asks for.

    They are made in a hidden folder inside ``folder`` and moved into place when all are complete; if anything fails,
    an earlier plan is as it was. One folder holds one plan: what an earlier plan wrote there in other formats is
    removed, unless somebody has changed it since. What somebody else wrote or changed and is written anew is kept under
    another name (`outputs.earlier.kept_copies`).

    Parameters
    ----------
    plan : Plan
        Complete.
    folder : str or Path
        Made if it does not exist.

    Returns
    -------
    list of Path
        The files, in the order of the formats, the record of the plan last.

    Raises
    ------
    OutputError
        If the folder cannot be written to, the disk is full, a file is in use or an input of the plan, another run
        works there, or a format is not known or fails.
    """
    folder = Path(folder)
    formats = [entry for entry in chosen_formats(plan.job.output.formats) if entry.applies_to(plan)]
    inputs = [*paths_in(plan.job.model_dump()), *(file.path for file in plan.files)]
    refuse_inputs(folder, [name for entry in formats for name in entry.files], inputs)
    ready = on_the_globe(plan)
    return write_together(folder, lambda staging: make_files(ready, formats, staging), inputs=inputs, whole_plan=True)


def write_together(
    folder: Path,
    make: Callable[[Path], list[Path]],
    *,
    inputs: Iterable[Path] = (),
    whole_plan: bool = False,
    keep: bool = True,
) -> list[Path]:
    """Have files made in a hidden folder and move them into place when all are complete.

    What somebody else wrote or changed there is kept under another name (`outputs.earlier`).

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    make : callable
        Makes the files in the folder it is given and returns their paths.
    inputs : iterable of Path
        Files that are never written over or removed.
    whole_plan : bool
        Whether what an earlier plan left in other formats goes.
    keep : bool
        False if the user has said that files of these names are replaced.

    Returns
    -------
    list of Path
        Where the new files lie.

    Raises
    ------
    OutputError
        As `write_plan`.
    """
    with _plain_errors(folder), alone_in(folder):
        _refuse_in_use(folder)
        with staging_in(folder) as staging:
            new = make(staging)
            refuse_inputs(folder, [path.name for path in new], inputs)
            names = {path.name for path in new}
            stale = _stale(folder, names, inputs) if whole_plan else []
            kept = kept_copies(folder, new) if keep else {}
            if keep and RECORD_NAME not in names:
                new = [*new, write_ledger(folder, new, staging)]
            moved = replace_all(folder, new, kept, stale)
    return [path for path in moved if path.name != LEDGER_NAME]


def _stale(folder: Path, names: set[str], inputs: Iterable[Path]) -> list[str]:
    """Files that an earlier plan wrote here and nobody changed or uses since, other than ``names``."""
    try:
        record = read_plan_record(folder)
    except OutputError:
        return []
    known = {file["file"]: file["sha256"] for file in record.get("files", ())}
    used = identities(inputs)
    listed = [folder / name for name in known if name not in names and Path(name).name == name]
    files = [path for path in listed if path.is_file() and not path.is_symlink() and identity(path) not in used]
    stale = [path.name for path in files if sha256(path) == known[path.name]]
    return stale if RECORD_NAME in names else [*stale, RECORD_NAME]


def _refuse_in_use(folder: Path) -> None:
    for side in (*folder.glob("*.gpkg-wal"), *folder.glob("*.gpkg-journal")):
        if side.stat().st_size:
            raise OutputError(
                f"'{folder}': {side.name.rpartition('-')[0]} is open in another program ({side.name} lies beside it). "
                "Close it there and run again, or choose another folder."
            )


@contextmanager
def _plain_errors(folder: Path) -> Iterator[None]:
    try:
        yield
    except (OSError, DataSourceError, DataLayerError, FeatureError) as err:
        raise OutputError(f"'{folder}': {_reason(err, folder)} Nothing was changed there.") from err


def _no_room(folder: Path) -> bool:
    """Report a full disk where GDAL only reports a failure; asked before the unfinished files are removed."""
    return folder.is_dir() and shutil.disk_usage(folder).free < _A_FEW_PAGES


def _reason(err: Exception, folder: Path) -> str:
    code = err.errno if isinstance(err, OSError) else None
    if (
        code in (errno.ENOSPC, errno.EDQUOT)
        or any(words in str(err).lower() for words in _DISK_FULL)
        or _no_room(folder)
    ):
        return "the disk is full. Free some space or choose another folder."
    if code in (errno.EEXIST, errno.ENOTDIR):
        return "is not a folder, or lies below a file. Choose another folder."
    if isinstance(err, PermissionError) or code == errno.EROFS:
        file = Path(err.filename2 or err.filename or folder).name if isinstance(err, OSError) else ""
        return (
            f"'{file}' cannot be written ({os.strerror(code or errno.EACCES)}). Close programs that have it open, or "
            "choose a folder that you may write to."
        )
    return f"the plan could not be written ({err}). Choose another folder."
