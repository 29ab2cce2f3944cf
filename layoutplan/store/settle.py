"""A folder put in order before anything is read there."""

from __future__ import annotations

from pathlib import Path

from layoutplan.errors import OutputError
from layoutplan.store.left_over import journals, left_over
from layoutplan.store.lock import BusyError, alone_in


def settle(folder: str | Path) -> str:
    """Put a folder in order if a run was cut there.

    Parameters
    ----------
    folder : str or Path
        Of a plan.

    Returns
    -------
    str
        What was done, in words; empty if there was nothing to do.

    Raises
    ------
    OutputError
        If a run is moving files there right now, or what a cut one left cannot be put in order.
    """
    folder = Path(folder)
    if not left_over(folder):
        return ""
    try:
        with alone_in(folder) as notes:
            return notes
    except BusyError:
        if journals(folder):
            raise
        return ""  # it is still making its files; those here are whole
    except OSError as err:
        if not journals(folder):
            return ""  # a folder that nobody may write to; what lies there is whole
        raise OutputError(
            f"'{folder}': a run was cut here while it moved its files, and that cannot be put in order "
            f"({err.strerror}). Do not use these files; make the folder writable, or plan again elsewhere."
        ) from err
