"""Files of a folder replaced all together or not at all, however the run ends.

The new files lie complete in a hidden folder (*staging*) before anything is moved. Then a *journal* takes its place in
the folder: from here on whoever comes next can finish. Each file that is replaced or taken away gets a second name in
the staging folder first, so that it can be put back; when that begins, the journal is renamed, and whoever comes next
goes on putting back. At every instant each name holds the earlier file or the new one.
"""

from __future__ import annotations

import errno
import json
import os
import secrets
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from layoutplan.errors import OutputError
from layoutplan.store.signals import held_back
from layoutplan.unfinished import unfinished

LOCK_NAME = ".layoutplan.lock"
JOURNAL, UNDO = ".layoutplan.journal", ".layoutplan.undo"
STAGING = ".layoutplan-"
NEW, EARLIER = "new", "earlier"  # folders in the staging folder
Mark = tuple[int, int]  # size and time of the last change, which renaming leaves alone


@dataclass(frozen=True, slots=True)
class Step:
    """What becomes of one name in the folder.

    Attributes
    ----------
    name : str
    new : tuple of int or None
        Mark of the new file; None if the earlier one is only taken away.
    earlier : tuple of int or None
        Mark of what lay there before; None if nothing did.
    kept : str
        Further name for what lay there before; empty if it need not be kept.
    """

    name: str
    new: Mark | None
    earlier: Mark | None
    kept: str = ""


@contextmanager
def staging_in(folder: Path) -> Iterator[Path]:
    """Give an empty hidden folder for new files within a folder; what is left of it afterwards is removed.

    Parameters
    ----------
    folder : Path
        Held by this run.

    Yields
    ------
    Path
        The hidden folder.
    """
    staging = folder / f"{STAGING}{secrets.token_hex(4)}"
    with unfinished(staging):  # known by its name before it is made, so that no end of the run can leave it behind
        try:
            for path in (staging, staging / NEW, staging / EARLIER):
                path.mkdir()
            yield staging / NEW
        finally:
            if not any((folder / name).exists() for name in (JOURNAL, UNDO)):
                shutil.rmtree(staging, ignore_errors=True)


def final_folder(folder: Path) -> Path:
    """Folder to which files go that are made here: the one around a staging folder, else the folder itself.

    Parameters
    ----------
    folder : Path
        Where files are made.

    Returns
    -------
    Path

    Examples
    --------
    >>> final_folder(Path("plan")).name, final_folder(Path("plan") / f"{STAGING}1a2b" / NEW).name
    ('plan', 'plan')
    """
    staged = folder.name == NEW and folder.parent.name.startswith(STAGING)
    return folder.parent.parent if staged else folder


def replace_all(folder: Path, new: Sequence[Path], kept: Mapping[str, str], stale: Iterable[str] = ()) -> list[Path]:
    """Move finished files out of a staging folder into place; if one cannot be moved, put the earlier ones back.

    Parameters
    ----------
    folder : Path
        Held by this run (`layoutplan.store.lock.alone_in`).
    new : sequence of Path
        As made in the folder that `staging_in` gave.
    kept : mapping
        Further names for files that are replaced, by their names.
    stale : iterable of str
        Names of files to be taken away.

    Returns
    -------
    list of Path
        Where the new files lie.

    Raises
    ------
    OSError
        If something could not be moved; all is as it was.
    OutputError
        As before, and something could not be put back either; the next command on this folder goes on with it.
    """
    if not new:
        return []
    staging = new[0].parent.parent
    steps = [Step(path.name, mark(path), mark(folder / path.name), kept.get(path.name, "")) for path in new] + [
        Step(name, None, mark(folder / name)) for name in stale
    ]
    for path in new:
        _to_disk(path)
    with held_back() as asked_to_end:
        try:
            _write_journal(folder, staging, steps)
            for step in steps:
                if asked_to_end():
                    raise InterruptedError(errno.EINTR, os.strerror(errno.EINTR))
                forward(folder, staging, step)
            _to_disk(folder)
            (folder / JOURNAL).unlink()
        except BaseException as err:  # also when somebody's own handler of signals stops it here
            _give_up(folder, staging, steps, err)
            raise
    return [folder / path.name for path in new]


def forward(folder: Path, staging: Path, step: Step) -> None:
    """Take one step, or what is left of it."""
    fresh, target, before = staging / NEW / step.name, folder / step.name, staging / EARLIER / step.name
    if step.new is not None and not fresh.exists():
        return  # taken already
    if (found := mark(target)) is not None:
        if found == step.earlier and step.kept:
            _second_name(target, folder / step.kept)
        elif found != step.earlier:  # somebody came between
            _second_name(target, free_name(target))
        if step.new is not None or found == step.earlier:
            _second_name(target, before)
    if step.new is None:
        target.unlink(missing_ok=True)
    else:
        os.replace(fresh, target)


def back(folder: Path, staging: Path, step: Step) -> None:
    """Put back what a step replaced or took away."""
    fresh, target, before = staging / NEW / step.name, folder / step.name, staging / EARLIER / step.name
    found = mark(target)
    if mark(before) is not None and found != step.earlier:
        if found not in (None, step.new):
            _second_name(target, free_name(target))
        os.replace(before, target)
    elif step.earlier is None and step.new is not None and not fresh.exists() and found == step.new:
        target.unlink()
    if step.kept and step.earlier is not None and mark(folder / step.kept) == step.earlier:
        (folder / step.kept).unlink()


def undo(folder: Path, staging: Path, steps: Sequence[Step]) -> list[str]:
    """Put back what the steps replaced.

    Parameters
    ----------
    folder, staging : Path
        Of the plan, and within it where the files were made.
    steps : sequence of Step
        In the order in which they were taken.

    Returns
    -------
    list of str
        Names that could not be put back.
    """
    failed = []
    for step in reversed(steps):
        try:
            back(folder, staging, step)
        except OSError:
            failed.append(step.name)
    return failed


def free_name(path: Path) -> Path:
    """Path beside a file that nothing lies at yet: ``NAME_earlier``, ``NAME_earlier_2`` and so on.

    Parameters
    ----------
    path : Path
        Of the file.

    Returns
    -------
    Path

    Examples
    --------
    >>> free_name(Path("not_there/sheets.pdf")).name
    'sheets_earlier.pdf'
    """
    number, free = 1, path.with_stem(f"{path.stem}_earlier")
    while os.path.lexists(free):
        number += 1
        free = path.with_stem(f"{path.stem}_earlier_{number}")
    return free


def mark(path: Path) -> Mark | None:
    """Size and time of the last change of what lies there, links not followed.

    Parameters
    ----------
    path : Path
        Of anything.

    Returns
    -------
    (int, int) or None
        Bytes and nanoseconds; None if nothing lies there.
    """
    try:
        found = os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return None
    return found.st_size, found.st_mtime_ns


def _give_up(folder: Path, staging: Path, steps: Sequence[Step], err: BaseException) -> None:
    if not (folder / JOURNAL).exists():
        return  # nothing was moved
    failed = [step.name for step in steps]
    with suppress(OSError):
        os.replace(folder / JOURNAL, folder / UNDO)
        failed = undo(folder, staging, steps)
        if not failed:
            (folder / UNDO).unlink()
    if failed or (folder / UNDO).exists():
        names = ", ".join(failed[:5]) or UNDO
        raise OutputError(
            f"'{folder}': the files of the new plan could not all be moved into place ({err}), and not all earlier "
            f"ones could be put back ({names}). Remove the cause and run any command on this folder again: it goes on "
            "with putting back."
        ) from err


def _write_journal(folder: Path, staging: Path, steps: Sequence[Step]) -> None:
    draft = staging / JOURNAL
    text = json.dumps({"staging": staging.name, "steps": [asdict(step) for step in steps]}, indent=1)
    draft.write_text(text, "utf-8")
    _to_disk(draft)
    for path in (staging / NEW, staging):
        _to_disk(path)
    os.replace(draft, folder / JOURNAL)
    _to_disk(folder)


def _second_name(path: Path, other: Path) -> None:
    """Give a file a second name, or a copy that bears its place's name only when it is complete."""
    if os.path.lexists(other):
        return
    try:
        os.link(path, other, follow_symlinks=False)
    except (OSError, NotImplementedError):  # file systems without hard links
        draft = other.with_name(f"{STAGING}{other.name}")
        try:
            shutil.copy2(path, draft, follow_symlinks=False)
            os.replace(draft, other)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise


def _to_disk(path: Path) -> None:
    """Have what was written survive a power cut; systems that cannot for folders need not."""
    folder = path.is_dir()
    try:
        handle = os.open(path, os.O_RDONLY if folder or os.name != "nt" else os.O_RDWR)
    except OSError:
        if folder:
            return
        raise
    try:
        os.fsync(handle)
    except OSError as err:
        if not folder or err.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EBADF):
            raise
    finally:
        os.close(handle)
