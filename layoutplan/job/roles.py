"""Names of the shipped obstacle classes, and what some are to the program itself; no library is needed for it."""

from __future__ import annotations

import tomllib
from enum import StrEnum
from functools import cache
from importlib.resources import files

OUTSIDE_WORDS = "land outside the permitted land"
CLASS_FILE = "obstacle_classes.toml"


class Role(StrEnum):
    """What one class each is to the program itself: the class by which it asks, or by which it calls what it draws."""

    LINE = "transmission line"  # of the planned lines, too
    DISTRIBUTION = "distribution line"
    LOW_VOLTAGE = "low-voltage line"
    TRACTION = "traction line"
    CABLE = "cable"  # an overhead line below ground
    BRIDGE = "bridge"
    GATE = "opening in a fence"
    FENCE = "passed at gates"
    BUILDING = "house"
    SEA = "sea"
    UNSETTLED = "parcel to ask for"
    SHUT = "parcel refused"
    PERMITTED = "all that may be entered"


class Road(StrEnum):
    """Kinds of classes that are walked and driven along."""

    MAIN = "main"
    MINOR = "minor"
    TRACK = "track"


@cache
def class_file_text() -> str:
    """Text of the shipped class file.

    Returns
    -------
    str
        TOML.
    """
    return files("layoutplan.job").joinpath(CLASS_FILE).read_text("utf-8")


@cache
def shipped_names() -> tuple[str, ...]:
    """Names of the shipped classes.

    Returns
    -------
    tuple of str
        In the file's order.

    Examples
    --------
    >>> "power_line" in shipped_names()
    True
    """
    return tuple(tomllib.loads(class_file_text()))
