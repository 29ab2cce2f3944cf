"""One run at a time in one folder: a lock that names who holds it, and that a dead process does not keep."""

from __future__ import annotations

import json
import os
import platform
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from layoutplan.errors import OutputError
from layoutplan.store.left_over import put_in_order
from layoutplan.store.replace import LOCK_NAME
from layoutplan.text import clean
from layoutplan.unfinished import unfinished

try:
    import fcntl
except ImportError:  # not on Windows; there a file that is open cannot be deleted
    fcntl = None  # type: ignore[assignment]

_held: dict[tuple[int, int], tuple[int, str]] = {}  # folder's device and number: thread that holds it, what was said
_guard = threading.Lock()


class BusyError(OutputError):
    """Another run works in the folder."""


@contextmanager
def alone_in(folder: Path) -> Iterator[str]:
    """Hold a folder for this run; whoever holds it already may hold it again.

    What a cut run left there is put in order first (`layoutplan.store.settle`). The folder is made if it does not
    exist, and taken away again if it then stays empty.

    Parameters
    ----------
    folder : Path
        Of a plan.

    Yields
    ------
    str
        What was put in order, in words; empty if there was nothing.

    Raises
    ------
    BusyError
        If another run holds it.
    OutputError
        If what a cut run left cannot be put in order.
    OSError
        If the folder cannot be made or written to.
    """
    made = _make(folder)
    try:
        key = _identity(folder)
        with _guard:
            holder = _held.get(key)
        if holder and holder[0] == threading.get_ident():
            yield holder[1]
            return
        with _locked(folder):
            notes = put_in_order(folder)
            _held[key] = threading.get_ident(), notes
            try:
                yield notes
            finally:
                del _held[key]
    finally:
        for path in made:
            with suppress(OSError):  # not empty
                path.rmdir()


def _make(folder: Path) -> list[Path]:
    """Make a folder; return those that were not there, the innermost first."""
    missing = []
    for path in (folder, *folder.parents):
        if path.exists():
            break
        missing.append(path)
    folder.mkdir(parents=True, exist_ok=True)
    return missing


def _identity(folder: Path) -> tuple[int, int]:
    found = folder.stat()
    return found.st_dev, found.st_ino


@contextmanager
def _locked(folder: Path) -> Iterator[None]:
    path = folder / LOCK_NAME
    handle = _taken(path, folder)
    try:
        os.ftruncate(handle, 0)
        os.write(handle, json.dumps({"pid": os.getpid(), "host": platform.node()}).encode())
        with unfinished(path):
            yield
    finally:
        if fcntl is None:
            os.close(handle)
            path.unlink(missing_ok=True)
        else:  # while it is held: who comes next makes a file of his own
            with suppress(OSError):
                path.unlink(missing_ok=True)
            os.close(handle)


def _taken(path: Path, folder: Path) -> int:
    """Open the lock's file and hold it."""
    while True:
        if fcntl is None:
            _delete_if_nobody_holds_it(path, folder)
        handle = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0), 0o644)
        if fcntl is None:
            return handle
        try:
            _hold(handle, folder)
            if _still_there(handle, path):
                return handle
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)  # its holder deleted it just now


def _hold(handle: int, folder: Path) -> None:
    """Hold an open file.

    The system lets go of it when its process ends, however it ends; only across a network, or where the file system
    knows no locks, the file's text has to tell.
    """
    known = True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise _busy(_holder(handle), folder) from None
    except OSError:  # no locks on this file system
        known = False
    holder = _holder(handle)
    here = holder.get("host") == platform.node()
    if holder and (not here or (not known and _alive(holder.get("pid")))):
        raise _busy(holder, folder)


def _holder(handle: int) -> dict[str, Any]:
    os.lseek(handle, 0, os.SEEK_SET)
    try:
        found = json.loads(os.read(handle, 4096))
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}


def _still_there(handle: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), os.lstat(path))
    except FileNotFoundError:
        return False


def _alive(pid: object) -> bool:
    if not isinstance(pid, int) or pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _delete_if_nobody_holds_it(path: Path, folder: Path) -> None:
    try:
        path.unlink(missing_ok=True)
    except PermissionError:
        raise _busy({}, folder) from None


def _busy(holder: dict[str, Any], folder: Path) -> BusyError:
    pid, host = clean(holder.get("pid", "?"))[:20], clean(holder.get("host", platform.node()))[:100]
    elsewhere = "" if host == platform.node() else f" If it is no more, delete {LOCK_NAME} there."
    return BusyError(
        f"'{folder}': another run works in this folder (process {pid} on {host}). Wait until it has ended, or choose "
        f"another folder.{elsewhere}"
    )
