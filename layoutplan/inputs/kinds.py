"""What kind of vector file a path leads to, by its first bytes: only the kinds that are read come before GDAL."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable
from pathlib import Path

from layoutplan.errors import InputError
from layoutplan.files import why_not_read
from layoutplan.inputs import database
from layoutplan.inputs.door import require_at_most
from layoutplan.inputs.virtual import check_vrt
from layoutplan.text import clean

READ = (
    "GeoPackage, Shapefile, GeoJSON, FlatGeobuf, GeoParquet, tables of text, GML, KML, GPX, DXF, MapInfo, File "
    "Geodatabase and SQLite are read"
)
_HEAD = 1 << 16  # bytes
_TEXT_SUFFIXES = (".csv", ".tsv", ".txt", ".tab", ".mif", ".dxf")
_PARTS = (".shp", ".dbf", ".shx", ".dat", ".mid", ".map", ".id", ".ind", ".csvt")
DATABASE, VIRTUAL, GML = "database", "ogrvrtdatasource", "gml"
_XML_ROOTS = {"kml", "gpx", VIRTUAL}
_GML_SPACE = b"http://www.opengis.net/gml"
_ROOT = re.compile(rb"<([A-Za-z_][\w.-]*:)?([A-Za-z_][\w.-]*)")
_PROLOG = re.compile(rb"\s*(?:<\?.*?\?>|<!--.*?-->|\s+)*", re.DOTALL)
_ENCODED = ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))
_MARKS = (b"\xef\xbb\xbf",)
_PIPELINES = (b"gdal_streamed_alg", b"WFS_Capabilities", b"<OGRWFSDataSource>")  # what GDAL would run or fetch


def look_at(path: Path) -> str:
    """Look at a vector file, or a folder that is one, before GDAL does.

    Parameters
    ----------
    path : Path
        A file or folder.

    Returns
    -------
    str
        What it is by its first bytes: ``database``, ``json``, ``gml``, …

    Raises
    ------
    InputError
        If it is of no kind that is read, or names something that is not read.
    """
    if path.is_dir():
        _look_into(path)
        return "folder"
    if odd := set("!;") & set(str(path)):
        raise InputError(f"{path}: a name with '{min(odd)}' is taken for a place within an archive. Rename it.")
    kind = _looked_at(path, views=True)
    if kind == VIRTUAL:
        check_vrt(path, _look_at_part)
    return kind


def _look_at_part(part: Path) -> bool:
    """Look at what a virtual layer names, and return whether it is another one."""
    if part.is_dir():
        _look_into(part)
        return False
    return _looked_at(part, views=False) == VIRTUAL


def _looked_at(path: Path, *, views: bool) -> str:
    head = _first_bytes(path)
    if head.startswith(b"PK\x03\x04"):
        check_archive(path, _packed)
        return "archive"
    kind = _kind(path.name, head)
    if kind == DATABASE:
        database.check_database(path, views=views)
    return kind


def _packed(name: str, head: bytes) -> None:
    """Refuse what can be looked at only once it is unpacked."""
    if _kind(name, head) in (VIRTUAL, DATABASE):
        raise InputError(f"{name}: is read only when it is unpacked. Unpack it.")


def check_archive(path: Path, look: Callable[[str, bytes], object]) -> None:
    """Look at the members of a zip archive, and at how much they come to.

    Parameters
    ----------
    path : Path
        A zip archive.
    look : callable
        Takes a member's name and first bytes; raises an InputError if it is of no kind that is read.

    Raises
    ------
    InputError
        If it is damaged, too large when unpacked, or a member is not read.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            members = [member for member in archive.infolist() if not member.is_dir()]
            size_mb = sum(member.file_size for member in members) / 1e6
            require_at_most(
                size_mb, "max_unpacked_mb", "MB unpacked", path.name, "Unpack it and name the file you mean"
            )
            if path.suffix.lower() == ".kmz":
                members = [member for member in members if member.filename.lower().endswith(".kml")]
            for member in members:
                with archive.open(member) as stream:
                    if Path(member.filename).suffix.lower() not in _SIDE:
                        look(f"{path.name}: {clean(member.filename)}", stream.read(_HEAD))
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError, ValueError) as err:
        raise InputError(f"{path.name}: cannot be read as an archive: {clean(err)[:100]}. Unpack it.") from err


_SIDE = (*_PARTS[1:], ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".qpj", ".xml", ".qmd", ".cst", ".pdf", ".html", ".txt")


def _look_into(folder: Path) -> None:
    parts = sorted(folder.iterdir())
    for part in parts:
        if why := why_not_read(part):
            raise InputError(f"{part}: {why}")
    suffixes = {part.suffix.lower() for part in parts}
    if folder.suffix.lower() != ".gdb" and not suffixes & {".shp", ".tab", ".mif"}:
        raise InputError(f"{folder}: a folder, and no File Geodatabase (.gdb). Name a file in it.")
    if folder.suffix.lower() != ".gdb":
        for part in parts:
            if part.is_file() and part.suffix.lower() not in _SIDE:
                _kind(part.name, _first_bytes(part))


def _first_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return stream.read(_HEAD)
    except OSError as err:
        raise InputError(f"{path}: cannot be read: {err.strerror}.") from err


def _kind(name: str, head: bytes) -> str:
    """Kind of a file by its first bytes, or by its name where the format has no mark of its own."""
    if head.startswith(database.MAGIC):
        return DATABASE
    text = _plain(head)
    if text.startswith((b"{", b"[", b"\x1e{", b"<")) and any(mark in text for mark in _PIPELINES):
        raise _refused(name, "names services or steps to be run")
    if text.startswith((b"{", b"[", b"\x1e{")):
        return "json"
    if text.startswith(b"<"):
        return _xml(name, text)
    suffix = Path(name).suffix.lower()
    if head.startswith((b"fgb", b"\x00\x00\x27\x0a")) or suffix in _PARTS:
        return "binary"
    if head and suffix in _TEXT_SUFFIXES:
        return "text"
    raise _refused(name, "the file is empty" if not head else "its first bytes are of none of them")


def _plain(head: bytes) -> bytes:
    """First bytes of a text without mark of order, as if in ASCII."""
    for mark, encoding in _ENCODED:
        if head.startswith(mark):
            return head[2:].decode(encoding, "replace").encode("utf-8", "replace").lstrip()
    for mark in _MARKS:
        head = head.removeprefix(mark)
    return head.lstrip()


def _xml(name: str, text: bytes) -> str:
    start = _PROLOG.match(text)
    rest = text[start.end() :] if start else text
    if b"<!DOCTYPE" in text[: len(text) - len(rest) + 9].upper() or b"<!ENTITY" in text.upper():
        raise InputError(
            f"{name}: a document type declaration (<!DOCTYPE). What is declared there can read other files: delete it."
        )
    root = _ROOT.match(rest)
    found = root[2].decode("ascii", "replace").lower() if root else ""
    if found in _XML_ROOTS and (found != VIRTUAL or name.lower().endswith(".vrt")):
        return found
    if found and _GML_SPACE in rest:
        return GML
    raise _refused(name, f"XML of another kind ('{clean(found)[:40]}')")


def _refused(name: str, why: str) -> InputError:
    return InputError(f"{name}: cannot be read as a vector file: {why}. {READ}: save it as a GeoPackage from a GIS.")
