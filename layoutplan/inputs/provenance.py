"""The fingerprint of every file that is read, so that a plan can be traced to its inputs."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from datetime import date
from pathlib import Path

from layoutplan.errors import InputError
from layoutplan.inputs.model import InputFile
from layoutplan.inputs.virtual import parts_of

OLD_DAYS = 730  # after which a map's age is a problem that is named (judgement)
_SIDECARS = {".shp": (".shx", ".dbf", ".prj", ".cpg")}


class Ledger:
    """Files in the order they were first named; each is hashed once, whatever it serves."""

    def __init__(self) -> None:
        self._uses: dict[Path, list[str]] = {}
        self._details: dict[Path, dict[str, str | None]] = {}

    def note(self, path: Path, used_for: str, *, data_date: str | None = None, attribution: str | None = None) -> None:
        """Enter a file (and its sidecars) with what it is used for.

        Parameters
        ----------
        path : Path
            Of the file.
        used_for : str
            In words, for instance ``towers of line 'A'``.
        data_date : str, optional
            State of the data, as the file says it; the youngest if it is entered with several.
        attribution : str, optional
            Credit line of the data's owner.
        """
        uses = self._uses.setdefault(path, [])
        if used_for not in uses:
            uses.append(used_for)
        details = self._details.setdefault(path, {"data_date": None, "attribution": None})
        details["data_date"] = max(filter(None, (details["data_date"], data_date)), default=None)
        details["attribution"] = details["attribution"] or attribution

    def files(self) -> tuple[InputFile, ...]:
        """Hash everything that was entered.

        Returns
        -------
        tuple of InputFile
            With SHA-256.

        Raises
        ------
        InputError
            If a file cannot be read any more.
        """
        return tuple(
            InputFile(part, sha256_of(part), "; ".join(uses), **self._details[path])
            for path, uses in self._uses.items()
            for part in (path, *(part for part in _sidecars(path) if part not in self._uses))
        )


def ages(files: Iterable[InputFile], days: tuple[date, date] | None) -> list[str]:
    """State how old maps will be on the first day of the work, where that is known and more than two years (judgement).

    Nothing is worked out from today's date: the same inputs give the same plan on any day.

    Parameters
    ----------
    files : iterable of InputFile
        From `Ledger.files`.
    days : (date, date) or None
        First and last day of the work.

    Returns
    -------
    list of str
        Warnings.
    """
    if days is None:
        return []
    dated = [(file, data_day) for file in files if (data_day := _day(file.data_date)) is not None]
    return [
        f"{file.path.name}: map data of {data_day}, {(days[0] - data_day).days / 365.25:.0f} years old when the work "
        "begins: what was built or moved since is not on it. Fetch a newer one"
        for file, data_day in dated
        if (days[0] - data_day).days > OLD_DAYS
    ]


def _day(text: str | None) -> date | None:
    try:
        return date.fromisoformat((text or "")[:10])
    except ValueError:
        return None


def sha256_of(path: Path) -> str:
    """SHA-256 of a file, or of a folder's files in order of their names (some vector formats are folders).

    Parameters
    ----------
    path : Path
        File or folder.

    Returns
    -------
    str
        Hexadecimal.

    Raises
    ------
    InputError
        If a file cannot be read.

    References
    ----------
    .. [1] NIST FIPS 180-4, Secure Hash Standard, 2015.
    """
    try:
        if path.is_dir():
            parts = sorted(part for part in path.rglob("*") if part.is_file())
            lines = (f"{part.relative_to(path).as_posix()} {sha256_of(part)}\n" for part in parts)
            return hashlib.sha256("".join(lines).encode()).hexdigest()
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as err:
        raise InputError(f"{path}: cannot be read: {err.strerror}.") from err


def _sidecars(path: Path) -> Iterable[Path]:
    """Return the files that belong to ``path`` and hold part of its data."""
    if parts := parts_of(path):
        return parts
    candidates = (path.with_suffix(suffix) for suffix in _SIDECARS.get(path.suffix.lower(), ()))
    return (part for part in candidates if part.exists())
