"""Waypoints of a GPX file (1.0 and 1.1), read as a stream: however long, it takes no more memory than its points."""

from __future__ import annotations

import math
import re
from array import array
from dataclasses import dataclass, field
from pathlib import Path
from xml.parsers import expat

import numpy as np

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError, LayerError
from layoutplan.inputs.words import counted, listed
from layoutplan.text import clean

MOST_WAYPOINTS = 200_000  # ten times the stakes of 10,000 towers; more is no file of stakes (judgement)
_FIGURES = ("lon", "lat", "ele", "accuracy", "hdop")
_WANTED = {"name", "time", *_FIGURES}
_ACCURACY = {"accuracy", "hacc", "horizontalaccuracy"}  # what extensions call it; in metres
_IGNORED = {"trk": "track", "rte": "route"}
_CHUNK = 1 << 16
_LONGEST_TAG = 1 << 20  # bytes; the parser has to hold a tag, or a comment, whole
_LONGEST_TEXT = 1_000  # characters of a name or a number
_DEEPEST = 64
_DECIMAL = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)


@dataclass(slots=True)
class Waypoints:
    """Waypoints in the order of the file.

    Attributes
    ----------
    name, time : list of str
        Empty where missing.
    figures : array of float
        Five for each waypoint: longitude, latitude, elevation, accuracy [deg, deg, m, m], dilution of precision; NaN
        where missing or no number.
    odd : list of int
        Waypoints, counted from 1, where one of these is there but no number it can be.
    ignored : dict
        How many tracks and routes were passed over.
    version : str
        Of GPX, as the file states.
    """

    name: list[str] = field(default_factory=list)
    time: list[str] = field(default_factory=list)
    figures: array[float] = field(default_factory=lambda: array("d"))
    odd: list[int] = field(default_factory=list)
    ignored: dict[str, int] = field(default_factory=lambda: dict.fromkeys(_IGNORED, 0))
    version: str = ""

    @property
    def columns(self) -> FloatArray:
        """The figures, shape (5, n)."""
        return np.array(self.figures, dtype=float).reshape(-1, len(_FIGURES)).T

    @property
    def passed_over(self) -> str:
        """Tracks and routes in words, empty if there are none."""
        return " and ".join(counted(n, _IGNORED[tag]) for tag, n in self.ignored.items() if n)


def read_waypoints(path: Path) -> Waypoints:
    """Read the waypoints of a GPX file; its routes and tracks are only counted.

    Parameters
    ----------
    path : Path
        Of the file.

    Returns
    -------
    Waypoints
        In the order of the file.

    Raises
    ------
    InputError
        If the file cannot be read, is no well-formed XML or no GPX, declares a document type (and with it entities),
        holds more than ``MOST_WAYPOINTS`` waypoints, or some without usable coordinates.
    LayerError
        If there is no waypoint.
    """
    reader = _Reader(path.name)
    try:
        with path.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                reader.feed(chunk)
        reader.close()
    except expat.ExpatError as err:
        why = expat.ErrorString(err.code)
        raise InputError(f"{path.name}, line {err.lineno}: broken XML ({why}). Export the file again.") from err
    except (LookupError, ValueError) as err:  # an encoding that the parser does not know
        raise InputError(f"{path.name}: cannot be decoded: {clean(err)[:100]}. Save it as UTF-8.") from err
    except OSError as err:
        raise InputError(f"{path}: cannot be read: {err.strerror}.") from err
    _check(reader.points, path.name)
    return reader.points


def _check(points: Waypoints, where: str) -> None:
    if not points.name:
        also = f" ({points.passed_over} found; only waypoints are read)" if points.passed_over else ""
        raise LayerError(f"{where}: no waypoints{also}. Export the staked points as waypoints.")
    lon, lat = points.columns[:2]
    bad = np.flatnonzero(~((np.abs(lon) <= 180.0) & (np.abs(lat) <= 90.0)))
    if len(bad):
        found = f"lat {lat[bad[0]]:g}, lon {lon[bad[0]]:g}".replace("nan", "missing or no number")
        raise InputError(
            f"{where}, waypoint {listed(bad + 1)}: no latitude within ±90 and longitude within ±180 ({found}). Correct "
            "or delete it."
        )


class _Reader:
    """Takes a file piece by piece and keeps what is wanted of its waypoints."""

    def __init__(self, where: str) -> None:
        self.points = Waypoints()
        self._where = where
        self._fed = 0
        self._depth = 0
        self._found: dict[str, str] = {}  # texts of the waypoint that is open; empty outside of waypoints
        self._key, self._key_depth = "", 0  # the text that is being collected, and how deep it lies
        self._parser = expat.ParserCreate()
        self._parser.buffer_text = True
        self._parser.StartDoctypeDeclHandler = self._doctype
        self._parser.StartElementHandler = self._start
        self._parser.EndElementHandler = self._end

    def feed(self, chunk: bytes) -> None:
        self._parser.Parse(chunk, False)
        self._fed += len(chunk)
        if self._fed - self._parser.CurrentByteIndex > _LONGEST_TAG:
            raise self._error("a tag or comment of more than a megabyte. Export the file again")

    def close(self) -> None:
        if self._fed == 0:
            raise InputError(f"{self._where}: the file is empty. Export it again.")
        self._parser.Parse(b"", True)

    def _error(self, what: str) -> InputError:
        return InputError(f"{self._where}, line {self._parser.CurrentLineNumber}: {what}.")

    def _doctype(self, *_: object) -> None:
        raise self._error(
            "a document type declaration (<!DOCTYPE). GPX has none, and what is declared there can fill the memory or "
            "read other files: delete it"
        )

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self._depth += 1
        name = tag.rpartition(":")[2]
        if self._depth > _DEEPEST:
            raise self._error(f"elements nested more than {_DEEPEST} deep. Export the file again")
        if self._depth == 1:
            self._root(name, attributes)
        elif self._depth == 2:
            self._child(name, attributes)
        elif self._found and not self._key:
            self._inside(name)

    def _root(self, name: str, attributes: dict[str, str]) -> None:
        if name != "gpx":
            raise self._error(f"the outermost element is '{clean(name)[:40]}', not 'gpx'. Name a GPX file")
        self.points.version = clean(attributes.get("version"))[:20]

    def _child(self, name: str, attributes: dict[str, str]) -> None:
        if name in _IGNORED:
            self.points.ignored[name] += 1
        elif name == "wpt":
            if len(self.points.name) == MOST_WAYPOINTS:
                raise self._error(f"more than {MOST_WAYPOINTS:,} waypoints. Export the staked points alone")
            self._found = {key: attributes.get(key, "") for key in ("lon", "lat")}

    def _inside(self, name: str) -> None:
        """Begin to collect a text that is wanted; the first of each kind counts."""
        key = "accuracy" if name.lower() in _ACCURACY else name if self._depth == 3 else ""
        if key in _WANTED and key not in self._found:
            self._key, self._key_depth = key, self._depth
            self._found[key] = ""
            self._parser.CharacterDataHandler = self._collect

    def _collect(self, data: str) -> None:
        self._found[self._key] += data
        if len(self._found[self._key]) > _LONGEST_TEXT:
            raise self._error(f"a {self._key} of more than {_LONGEST_TEXT:,} characters. Shorten it")

    def _end(self, _tag: str) -> None:
        if self._key and self._key_depth == self._depth:
            self._key, self._parser.CharacterDataHandler = "", None
        self._depth -= 1
        if self._depth == 1 and self._found:
            self._keep(self._found)
            self._found = {}

    def _keep(self, found: dict[str, str]) -> None:
        points = self.points
        points.name.append(clean(found.get("name")))
        points.time.append(found.get("time", "").strip())
        numbers = [_number(found.get(key, ""), signed=key not in ("accuracy", "hdop")) for key in _FIGURES]
        points.figures.extend(numbers)
        if any(math.isnan(n) and found.get(key, "").strip() for n, key in zip(numbers, _FIGURES, strict=True)):
            points.odd.append(len(points.name))


def _number(text: str, *, signed: bool) -> float:
    """Return the finite decimal number in a text, NaN if there is none, or one that cannot be negative is."""
    value = float(text) if _DECIMAL.fullmatch(text) else math.nan
    return value if math.isfinite(value) and (signed or value >= 0) else math.nan
