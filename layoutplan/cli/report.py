"""A report of what this program did not foresee: all that is needed to fix it, nothing about who it happened to."""

from __future__ import annotations

import getpass
import hashlib
import platform
import re
import sys
import traceback
from collections.abc import Iterator, Sequence
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from tempfile import gettempdir

UNFORESEEN = 70
"""Exit code of an error that this program did not foresee, as ``EX_SOFTWARE`` of ``sysexits.h``."""

_HEAD = """\
layoutplan met with something it does not know how to deal with.
Send this file to those who look after layoutplan. It holds no paths, names of people or names of machines, and of texts
only their lengths; read it through before you send it.
"""
_PACKAGES = ("click", "numpy", "pandas", "geopandas", "shapely", "pyproj", "pyogrio", "rasterio", "osmium", "pyarrow")
_QUOTED = re.compile(r"(?<!\w)'([^'\n]*)'|\"([^\"\n]*)\"")
_PATH = re.compile(r"(?:[A-Za-z]:)?[^\s'\"<>:,;()\[\]]*[/\\][^\s'\"<>:,;()\[\]]*")
_MOST_LETTERS = 500  # of a message


def write_report(err: BaseException, arguments: Sequence[str]) -> str:
    """Write a report; return the sentences for the user.

    Parameters
    ----------
    err : BaseException
    arguments : sequence of str
        Of the command line, the program's name left out.
    """
    return _told(type(err).__name__, "\n".join(_lines(err)), arguments)


def ended_message(number: int, arguments: Sequence[str]) -> str:
    """Write a report on a run that the system has ended with a signal; return the sentences for the user."""
    return _told(f"signal {number}", f"the run was ended by the system with signal {number}", arguments)


def _told(what: str, story: str, arguments: Sequence[str]) -> str:
    text = f"{_HEAD}\n{_surroundings(arguments)}\n\n{story}\n"
    path = _written(text)
    first = f"error: layoutplan met with something it does not know how to deal with ({what}). "
    if path is None:
        return first + "No report could be written: run again in a folder that you may write to, or with --debug."
    return first + f"A report without names or paths is in {path}: send it to those who look after layoutplan."


def _written(text: str) -> Path | None:
    """Write the report into the folder one stands in, else into the one for passing files; None if neither takes it."""
    name = f"layoutplan_report_{hashlib.sha256(text.encode('utf-8', 'replace')).hexdigest()[:8]}.txt"
    for folder in (Path(), Path(gettempdir())):
        with suppress(OSError):
            (folder / name).write_text(text, "utf-8", errors="replace")
            return folder / name
    return None


def _surroundings(arguments: Sequence[str]) -> str:
    versions = " ".join(f"{name} {_version(name)}" for name in ("layoutplan", *_PACKAGES))
    system = f"{platform.system()} {platform.machine()}, Python {platform.python_version()}"
    system += f", names in {sys.getfilesystemencoding()}"
    return f"command: {_command(arguments)}\nsystem: {system}\nversions: {versions}"


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"


def _command(arguments: Sequence[str]) -> str:
    """Command line with its options as they are, and of what they are given only the ends of file names."""
    shown = [arguments[0] if re.fullmatch("[a-z-]+", arguments[0]) else "…"] if arguments else []
    for argument in arguments[1:]:
        option, _, value = argument.partition("=")
        if re.fullmatch("--?[a-z-]+", option):
            shown.append(option + ("=…" if value else ""))
        else:
            shown.append("…" + "".join(re.findall(r"\.(?:toml|gpkg|csv|gpx|zip)$", argument)))
    return " ".join(shown)


def _lines(err: BaseException) -> Iterator[str]:
    """The error and those that led to it, the first one first, each with where it came from."""
    chain: list[BaseException] = []
    here: BaseException | None = err
    while here is not None and here not in chain and len(chain) < 10:
        chain.append(here)
        here = here.__cause__ or (None if here.__suppress_context__ else here.__context__)
    for one in reversed(chain):
        frames = traceback.extract_tb(one.__traceback__)
        code = "\n".join(_source(frame.filename) for frame in frames)
        yield f"{type(one).__module__}.{type(one).__name__}: {anonymous(_message(one), code)}"
        yield from (
            f"  {_module(frame.filename)}, line {frame.lineno}, in {frame.name}\n    {frame.line}" for frame in frames
        )
        yield ""


def _message(err: BaseException) -> str:
    try:
        return str(err)[:_MOST_LETTERS]
    except Exception:  # an error that cannot even be told
        return ""


def anonymous(text: str, code: str = "") -> str:
    """Message without paths, people's and machines' names; quoted texts only where they are words of the code."""

    def quoted(match: re.Match[str]) -> str:
        word = match[1] if match[1] is not None else match[2]
        return match[0] if re.search(rf"['\"]{re.escape(word)}['\"]", code) else f"<{len(word)} letters>"

    text = _PATH.sub("<path>", _QUOTED.sub(quoted, text))
    for name in _own_names():
        text = re.sub(rf"(?i)\b{re.escape(name)}\b", "<name>", text)
    return text


def _own_names() -> Iterator[str]:
    """Names of the user and of the machine."""
    with suppress(Exception):  # where nobody knows them
        yield getpass.getuser()
    names = {platform.node(), platform.node().partition(".")[0], Path.home().name}
    yield from (name for name in names if len(name) > 1)


def _module(filename: str) -> str:
    """File of a frame, from its package on."""
    parts = Path(filename).parts
    for head in ("site-packages", "dist-packages"):
        if head in parts:
            return "/".join(parts[len(parts) - parts[::-1].index(head) :])
    if "layoutplan" in parts:
        return "/".join(parts[len(parts) - 1 - parts[::-1].index("layoutplan") :])
    return parts[-1] if parts else "?"


def _source(filename: str) -> str:
    with suppress(OSError, UnicodeDecodeError):
        return Path(filename).read_text("utf-8") if _module(filename).startswith("layoutplan/") else ""
    return ""
