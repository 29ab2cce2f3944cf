"""OpenStreetMap extracts as text (``.osm``, packed or not), looked through before the library that reads them does.

That library holds a tag or a comment whole, however long, and unpacks without end. PBF files have limits of their own.
"""

from __future__ import annotations

import bz2
import gzip
import zlib
from pathlib import Path
from typing import BinaryIO, cast
from xml.parsers import expat

from layoutplan.errors import InputError
from layoutplan.inputs.door import limits_now, require_at_most
from layoutplan.text import clean

_CHUNK = 1 << 16
_LONGEST_TAG = 1 << 20  # bytes; the parser has to hold a tag, or a comment, whole
_DEEPEST = 16  # OpenStreetMap's own files are 4 deep, change files 5


def check_osm_text(path: Path) -> None:
    """Refuse an extract if reading it would fill the memory, or read other files.

    Parameters
    ----------
    path : Path
        PBF files are let pass.

    Raises
    ------
    InputError
        If it is no well-formed text of that kind.
    """
    name = path.name.lower()
    if not name.endswith((".osm", ".osm.gz", ".osm.bz2")):
        return
    try:
        with _unpacked(path, name) as stream:
            _look_through(stream, path.name)
    except expat.ExpatError as err:
        raise _unreadable(path.name, f"line {err.lineno}: broken XML, {expat.ErrorString(err.code)}") from err
    except (OSError, EOFError, zlib.error, LookupError, ValueError) as err:
        raise _unreadable(path.name, clean(err)[:100]) from err


def _unreadable(where: str, why: str) -> InputError:
    return InputError(
        f"{where}: cannot be read to its end as an OpenStreetMap file ({why}). It is truncated, damaged or of another "
        "kind: fetch it again."
    )


def _unpacked(path: Path, name: str) -> BinaryIO:
    if name.endswith(".gz"):
        return cast(BinaryIO, gzip.open(path, "rb"))
    return cast(BinaryIO, bz2.open(path, "rb")) if name.endswith(".bz2") else path.open("rb")


def _look_through(stream: BinaryIO, where: str) -> None:
    depth = fed = 0
    parser = expat.ParserCreate()

    def start(*_: object) -> None:
        nonlocal depth
        depth += 1
        if depth > _DEEPEST:
            raise _error("elements nested more than 16 deep")

    def end(_tag: str) -> None:
        nonlocal depth
        depth -= 1

    def _error(what: str) -> InputError:
        return _unreadable(where, f"line {parser.CurrentLineNumber}: {what}")

    def doctype(*_: object) -> None:
        raise _error("a document type declaration (<!DOCTYPE), which extracts have not")

    parser.StartElementHandler, parser.EndElementHandler, parser.StartDoctypeDeclHandler = start, end, doctype
    most = limits_now().limits.max_unpacked_mb * 1_000_000
    while chunk := stream.read(_CHUNK):
        parser.Parse(chunk, False)
        fed += len(chunk)
        if fed - parser.CurrentByteIndex > _LONGEST_TAG + _CHUNK:
            raise _error("a tag or comment of more than a megabyte")
        if fed > most:
            require_at_most(fed / 1e6, "max_unpacked_mb", "MB unpacked or more", where, "Cut out what the line needs")
    parser.Parse(b"", True)
