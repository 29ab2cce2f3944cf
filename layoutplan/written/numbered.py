"""Which plan a file belongs to: the plan number that every output carries, found again."""

from __future__ import annotations

import csv
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path

_NUMBER = r"[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}"
_NAMED = re.compile(
    rf"plan[ _-]number[^0-9a-z]{{1,16}}(?:content=[^0-9a-z]|b>)?({_NUMBER})(?![0-9a-z-])".encode(), re.I
)
_COLUMN = "plan_number"
_CHUNK, _OVERLAP = 1 << 22, 200  # bytes
_MOST_PACKED = 1 << 26  # bytes of a packed file that are looked through


def plan_numbers_in(path: Path) -> set[str]:
    """Plan numbers that a file carries, whatever its format.

    Read as bytes, so that nothing in a foreign file is run or believed.

    Parameters
    ----------
    path : Path
        Of any file.

    Returns
    -------
    set of str
        Empty if it carries none or cannot be read.
    """
    try:
        if zipfile.is_zipfile(path):
            return {number for part in _unpacked(path) for number in _found(part)}
        found = {number for part in _chunks(path) for number in _found(part)}
        return found | (_of_column(path) if path.suffix.lower() in (".csv", ".txt") else set())
    except (OSError, ValueError, zipfile.BadZipFile, csv.Error, RuntimeError, NotImplementedError):
        return set()


def _found(content: bytes) -> Iterator[str]:
    """Return the numbers in a piece of a file; PDF writes a hyphen as its octal code (ISO 32000-1, 7.3.4.2)."""
    yield from (match[1].decode("ascii").upper() for match in _NAMED.finditer(content.replace(rb"\055", b"-")))


def _chunks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        end = b""
        while chunk := file.read(_CHUNK):
            yield end + chunk
            end = chunk[-_OVERLAP:]


def _unpacked(path: Path) -> Iterator[bytes]:
    with zipfile.ZipFile(path) as archive:
        for name in archive.namelist()[:100]:
            with archive.open(name) as file:
                yield file.read(_MOST_PACKED)


def _of_column(path: Path) -> set[str]:
    """Return the numbers in the column of a table that is named after them."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        rows = csv.reader(file)
        head = [cell.strip().casefold() for cell in next(rows, [])]
        if _COLUMN not in head:
            return set()
        place = head.index(_COLUMN)
        cells = {row[place].strip().strip("'").upper() for row in rows if len(row) > place}
    return {cell for cell in cells if re.fullmatch(_NUMBER, cell)}
