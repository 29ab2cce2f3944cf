"""Folders of unfinished files, made known to whoever watches over the run, so that they go when the run is ended."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # not on Windows
    fcntl = None  # type: ignore[assignment]

_ENDINGS = (".layoutplan.journal", ".layoutplan.undo")  # beside them lies what is needed to put files back
_watcher: list[int] = []  # the pipe to it, if there is one


def report_to(pipe: int) -> None:
    """Make folders known through a pipe from now on.

    Parameters
    ----------
    pipe : int
        File descriptor.
    """
    _watcher[:] = [pipe]


@contextmanager
def unfinished(folder: Path) -> Iterator[Path]:
    """Hold a folder of unfinished files, or a lock file; who made it removes it, and until it is gone it is known.

    Parameters
    ----------
    folder : Path
        The folder, or the lock file.

    Yields
    ------
    Path
        ``folder``.
    """
    path = folder.resolve()
    _announce(f"+{path}")
    try:
        yield folder
    finally:
        if not os.path.lexists(path):
            _announce(f"-{path}")


def remove_left(announced: bytes) -> None:
    r"""Remove the folders that were made known and not taken back; what holds files of an earlier plan stays.

    Parameters
    ----------
    announced : bytes
        All that came through the pipe: a path on each line, behind ``+`` or ``-``.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     for name in ("cut", "done"):
    ...         (Path(folder) / name).mkdir()
    ...     remove_left(f"+{folder}/cut\n+{folder}/done\n-{folder}/done\n".encode())
    ...     print([path.name for path in Path(folder).iterdir()])
    ['done']
    """
    left: dict[str, None] = {}
    for line in os.fsdecode(announced).split("\n"):
        if line.startswith("+"):
            left[line[1:]] = None
        else:
            left.pop(line[1:], None)
    for folder in map(Path, left):
        with suppress(OSError):
            if folder.is_file():
                _remove_unheld(folder)
            elif not any((folder.parent / name).exists() for name in _ENDINGS) and not _holds_earlier(folder):
                shutil.rmtree(folder, ignore_errors=True)


def _remove_unheld(path: Path) -> None:
    """Remove a lock file that nobody holds any more."""
    if fcntl is None:
        path.unlink(missing_ok=True)
        return
    handle = os.open(path, os.O_RDWR)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)  # an OSError where another run holds it already
        path.unlink(missing_ok=True)
    finally:
        os.close(handle)


def _holds_earlier(folder: Path) -> bool:
    earlier = folder / "earlier"
    return earlier.is_dir() and any(earlier.iterdir())


def _announce(line: str) -> None:
    for pipe in _watcher:
        with suppress(OSError):  # nobody watches any more
            os.write(pipe, os.fsencode(line.replace("\n", "")) + b"\n")
