"""Writing a plan's files all together or not at all."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from pyogrio.errors import DataLayerError, DataSourceError, FeatureError

from layoutplan.errors import OutputError
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.earlier import kept_copies
from layoutplan.outputs.installed import chosen_formats
from layoutplan.outputs.making import make_files
from layoutplan.outputs.record import sha256
from layoutplan.planning.model import Plan
from layoutplan.planning.read import RECORD_NAME, read_plan_record
from layoutplan.unfinished import unfinished

_A_FEW_PAGES = 32 * 1024  # bytes
_DISK_FULL = ("disk is full", "no space left", "disk quota")


def write_plan(plan: Plan, folder: Path) -> list[Path]:
    """Write the files that the job asks for.

    They are made in a hidden folder inside ``folder`` and moved into place when all are complete; if anything fails,
    an earlier plan is as it was. One folder holds one plan: what an earlier plan wrote there in other formats is
    removed, unless somebody has changed it since; what somebody has changed and is written anew is kept under another
    name (`outputs.earlier.kept_copies`).

    Parameters
    ----------
    plan : Plan
    folder : Path
        Made if it does not exist.

    Returns
    -------
    list of Path
        The files, in the order of the formats, the record of the plan last.

    Raises
    ------
    OutputError
        The folder cannot be written to, the disk is full, a file is in use, or a format is not known or fails.
    """
    formats = [entry for entry in chosen_formats(plan.job.output.formats) if entry.applies_to(plan)]
    ready = on_the_globe(plan)
    stale: list[Path] = []

    def make(staging: Path) -> list[Path]:
        new = make_files(ready, formats, staging)
        stale.extend(_stale(folder, {path.name for path in new}))
        return new

    written = write_together(folder, make)
    _remove(stale)
    return written


def write_together(folder: Path, make: Callable[[Path], list[Path]]) -> list[Path]:
    """Have files made in a hidden folder and move them into place when all are complete.

    What a plan wrote there and somebody changed since is kept under another name (`outputs.earlier`).

    Parameters
    ----------
    folder : Path
        Made if it does not exist.
    make : callable
        Makes the files in the folder it is given and returns their paths.

    Raises
    ------
    OutputError
        As `write_plan`.
    """
    with _plain_errors(folder):
        folder.mkdir(parents=True, exist_ok=True)
        _refuse_in_use(folder)
        staging = TemporaryDirectory(prefix=".layoutplan-", dir=folder, ignore_cleanup_errors=True)
    with staging, unfinished(Path(staging.name)), _plain_errors(folder):
        new = make(Path(staging.name))
        return _move(new, folder, Path(staging.name), kept_copies(folder))


def _move(new: Sequence[Path], folder: Path, staging: Path, kept: Mapping[Path, Path]) -> list[Path]:
    """Move finished files into place; if one cannot be moved, or it is stopped, put the earlier ones back."""
    earlier = staging / "earlier"
    earlier.mkdir()
    moved: list[Path] = []
    copies: list[Path] = []
    try:
        for path in new:
            target = folder / path.name
            if target in kept:
                copies.append(kept[target])
                _keep(target, kept[target])
            if target.exists():
                _keep(target, earlier / path.name)
            moved.append(target)  # before it is moved: stopped right after, it is put back too
            os.replace(path, target)
    except BaseException:  # also when the user or the system stops it here
        for target in (*moved, *copies):
            with suppress(OSError):  # one that cannot be put back was not replaced either
                _put_back(target, earlier / target.name)
        raise
    return moved


def _put_back(target: Path, before: Path) -> None:
    if before.exists():
        os.replace(before, target)
    else:
        target.unlink(missing_ok=True)


def _keep(path: Path, copy: Path) -> None:
    try:
        os.link(path, copy)
    except OSError:  # file systems without hard links
        shutil.copy2(path, copy)


def _stale(folder: Path, names: set[str]) -> list[Path]:
    """Files that an earlier plan wrote here and nobody changed since, other than ``names``."""
    try:
        record = read_plan_record(folder)
    except OutputError:
        return []
    known = {file["file"]: file["sha256"] for file in record.get("files", ())}
    listed = [folder / name for name in known if name not in names and Path(name).name == name]
    stale = [path for path in listed if path.is_file() and sha256(path) == known[path.name]]
    return stale if RECORD_NAME in names else [*stale, folder / RECORD_NAME]


def _remove(stale: Sequence[Path]) -> None:
    for path in stale:
        try:
            path.unlink()
        except OSError as err:
            raise OutputError(
                f"'{path}' belongs to an earlier plan and cannot be removed ({err.strerror}). "
                "The new plan is written; delete that file yourself."
            ) from err


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
    """Tell a full disk where GDAL only says that something failed; asked before the unfinished files are removed."""
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
        return "is not a folder, or lies below a file. Choose another folder for the plan."
    if isinstance(err, PermissionError) or code == errno.EROFS:
        file = Path(err.filename2 or err.filename or folder).name if isinstance(err, OSError) else ""
        return (
            f"'{file}' cannot be written ({os.strerror(code or errno.EACCES)}). Close programs that have it open, or "
            "choose a folder that you may write to."
        )
    return f"the plan could not be written ({err}). Choose another folder."
