"""Virtual rasters and layers (.vrt): they may name files on this machine only, and only where the job may look."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from xml.parsers import expat

from layoutplan.errors import InputError
from layoutplan.files import why_not_read
from layoutplan.inputs.door import limits_now
from layoutplan.text import clean

SUFFIX = ".vrt"
_DEEPEST = 8  # virtual files that name virtual files
_MOST_BYTES = 50_000_000
_NAMES = {"SourceFilename", "SourceDataset", "SrcDataSource"}
_CODE = {"PixelFunctionCode", "PixelFunctionLanguage", "SrcSQL", "ProcessingSteps", "PansharpeningOptions", "Group"}
_SHAPES = {"VRTDataset", "OGRVRTDataSource"}
_BLOCK = "VRTRawRasterBand"
_PREFIXED = re.compile(r"^[A-Za-z0-9_]{2,}:")


def check_vrt(path: Path, look: Callable[[Path], bool]) -> tuple[Path, ...]:
    """Find the files that a virtual file takes its data from, and look at each.

    Parameters
    ----------
    path : Path
        Of the virtual file.
    look : callable
        Looks at a file before it is opened; raises an InputError if it is not read; returns whether it is virtual, too.

    Returns
    -------
    tuple of Path
        In the order they are met.

    Raises
    ------
    InputError
        If it is no well-formed virtual file, holds code, or names what is no file on this machine, is missing, or lies
        neither below its own folder or the job's nor in one that ``reading.folders`` of the job names.
    """
    found: dict[Path, None] = {}
    level = [path]
    for _ in range(_DEEPEST):
        inner = []
        for virtual in level:
            for name, relative in dict.fromkeys(_named(virtual)):
                part = _part(virtual, name, relative)
                if part not in found:
                    found[part] = None
                    if look(part):
                        inner.append(part)
        if not inner:
            return tuple(found)
        level = inner
    raise InputError(f"{path.name}: virtual files that name each other, more than {_DEEPEST} deep. Build it anew.")


def parts_of(path: Path) -> tuple[Path, ...]:
    """Files that a virtual file takes its data from, by its name (``.vrt``); none for all others.

    Parameters
    ----------
    path : Path
        Of any file.

    Returns
    -------
    tuple of Path

    Raises
    ------
    InputError
        As `check_vrt`.
    """
    if path.suffix.lower() != SUFFIX or not path.is_file():
        return ()
    return check_vrt(path, lambda part: part.suffix.lower() == SUFFIX)


def _part(path: Path, name: str, relative: bool) -> Path:
    if name.lstrip().startswith("<") or _PREFIXED.match(name) or why_not_read(Path(name)):
        raise _refused(path, name, "names no file on this machine. Download it and build the virtual file anew")
    part = (path.parent / name if relative else Path(name)).absolute()
    if why := why_not_read(part):
        raise _refused(path, name, why.rstrip("."))
    if not part.exists():
        raise _refused(path, name, "no such file. Build the virtual file anew")
    about = limits_now()
    roots = [path.absolute().parent, *([about.folder] if about.folder else []), *about.limits.folders]
    if not any(part.resolve().is_relative_to(root.resolve()) for root in roots):
        raise _refused(
            path, name, "lies outside the folders of the job and of the virtual file. Add its folder to reading.folders"
        )
    return part


def _refused(path: Path, name: str, why: str) -> InputError:
    return InputError(f"{path.name}: takes data from '{clean(name)[:120]}', which {_joined(why)}.")


def _joined(why: str) -> str:
    return why if why.startswith(("names", "lies")) else f"is {why}"


def _named(path: Path) -> Iterator[tuple[str, bool]]:
    """Names of files in a virtual file, and whether they are relative to it."""
    if path.stat().st_size > _MOST_BYTES:
        raise InputError(f"{path.name}: a virtual file of more than {_MOST_BYTES // 1_000_000} MB. Build it anew.")
    reader = _Reader(path.name)
    try:
        reader.parser.Parse(path.read_bytes(), True)
    except expat.ExpatError as err:
        raise InputError(f"{path.name}, line {err.lineno}: broken XML ({expat.ErrorString(err.code)}).") from err
    except (OSError, LookupError, ValueError) as err:
        raise InputError(f"{path.name}: cannot be read: {clean(err)[:100]}.") from err
    return iter(reader.found)


class _Reader:
    """Takes names of files out of a virtual file, and refuses what is more than data put together."""

    def __init__(self, where: str) -> None:
        self.found: list[tuple[str, bool]] = []
        self._where = where
        self._text: list[str] | None = None
        self._relative = False
        self._is_root = True
        self.parser = expat.ParserCreate()
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._take

    def _doctype(self, *_: object) -> None:
        raise InputError(f"{self._where}: a document type declaration (<!DOCTYPE) in a virtual file. Build it anew.")

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        if self._is_root and tag not in _SHAPES:
            raise InputError(f"{self._where}: no virtual raster or layer, but '{clean(tag)[:40]}'.")
        self._is_root = False
        if tag in _CODE or attributes.get("subClass") == _BLOCK:
            raise InputError(
                f"{self._where}: holds '{clean(tag)}', and only virtual files that put data together are read."
            )
        if tag in _NAMES:
            relative = attributes.get("relativeToVRT", attributes.get("relativetoVRT", "0"))
            self._text, self._relative = [], relative.strip().lower() in ("1", "yes", "true", "on")

    def _take(self, data: str) -> None:
        if self._text is not None:
            self._text.append(data)

    def _end(self, tag: str) -> None:
        if tag in _NAMES and self._text is not None:
            self.found.append(("".join(self._text).strip(), self._relative))
            self._text = None
