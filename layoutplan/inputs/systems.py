"""Coordinate reference systems: which one a file or the job names, and the changes between it and WGS 84."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import pyproj
from pyproj.exceptions import CRSError as ProjCRSError
from pyproj.exceptions import ProjError

from layoutplan.errors import CRSError
from layoutplan.text import clean

WGS84 = pyproj.CRS.from_epsg(4326)
_MOST_LETTERS = 100  # of a system's name or definition in a message


def parse_crs(text: str, where: str, key: str) -> pyproj.CRS:
    """Return the coordinate reference system that a job file names.

    Parameters
    ----------
    text : str
        As the job gives it.
    where, key : str
        File and the job's key, for messages.

    Returns
    -------
    CRS

    Raises
    ------
    CRSError
        If there is no such system, or it cannot be turned into longitude and latitude.
    """
    shown = clean(text)[:_MOST_LETTERS]
    try:
        given = _on_the_ground(text)
    except ProjCRSError as err:
        raise CRSError(
            f"{where}: {key} = '{shown}' is no known coordinate reference system. Write EPSG:<code>."
        ) from err
    require_places(given, where, f"Set {key} to a geographic or projected system, for instance 'EPSG:25832'.")
    return given


def require_places(crs: pyproj.CRS, where: str, fix: str) -> None:
    """Refuse a system whose coordinates cannot be turned into longitude and latitude.

    Such are those of a building site, of heights or of time only, geocentric ones, of another celestial body, or one
    that needs a grid file which is not there: grids are not fetched.

    Parameters
    ----------
    crs : CRS
        Of a file or a job.
    where, mend : str
        File, and what to do about it, for the message.

    Raises
    ------
    CRSError
        If it is such a system.
    """
    if why := _no_places(crs):
        named = f"'{clean(crs.name)[:_MOST_LETTERS]}'" if crs.name not in ("unknown", "unnamed") else "its system"
        raise CRSError(f"{where}: {named} {why}. {fix}")


@lru_cache(maxsize=64)
def into_wgs84(crs: pyproj.CRS) -> pyproj.Transformer:
    """Change from a system to longitude and latitude; kept, for finding it takes long.

    Parameters
    ----------
    crs : CRS
        The system.

    Returns
    -------
    Transformer
        Longitude, or east, first.

    Raises
    ------
    pyproj.exceptions.ProjError
        If there is none.
    """
    return pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)


@lru_cache(maxsize=64)
def from_wgs84(crs: pyproj.CRS) -> pyproj.Transformer:
    """Change from longitude and latitude to a system; kept, for finding it takes long.

    Parameters
    ----------
    crs : CRS
        The system.

    Returns
    -------
    Transformer
        Longitude, or east, first.

    Raises
    ------
    pyproj.exceptions.ProjError
        If there is none.
    """
    return pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)


def _no_places(crs: pyproj.CRS) -> str:
    """Why a system has no longitude and latitude; empty if it has."""
    if crs.is_geocentric:
        return "is geocentric: its coordinates are counted from the middle of the Earth"
    if not (crs.is_geographic or crs.is_projected or crs.is_bound or crs.is_derived):
        return "is tied to no place on the Earth"
    try:
        into_wgs84(crs).transform(0.0, 0.0)
    except ProjError as err:
        return (
            "needs a grid file that is not there"
            if "grid" in str(err).lower()
            else "cannot be turned into longitude and latitude"
        )
    return ""


def settle_crs(found: Any, given: str | None, where: str, key: str) -> tuple[pyproj.CRS, str]:
    """Choose between the system of the file and that of the job.

    Parameters
    ----------
    found : object or None
        What the file carries, in any form pyproj reads.
    given : str or None
        What the job file gives; it wins, since it is the only way to put a wrong file right.
    where, key : str
        For messages: the file and layer, and the job's key.

    Returns
    -------
    crs : CRS
    problem : str
        A remark where the two differ, else empty.

    Raises
    ------
    CRSError
        If there is neither, or it is not known or cannot be turned into longitude and latitude.

    Examples
    --------
    >>> crs, problem = settle_crs("EPSG:25832", None, "towers.gpkg", "lines[0].towers.crs")
    >>> crs.to_epsg(), problem
    (25832, '')
    """
    if given is not None:
        chosen = parse_crs(given, where, key)
        own = _own_crs(found)
        if own is None or same_crs(own, chosen):
            return chosen, ""
        return chosen, f"{where}: the file says {own.name}, but {key} = '{given}' in the job file was used"
    fix = f"Set {key} in the job file, for instance 'EPSG:25832'."
    if (own := _own_crs(found)) is None:
        raise CRSError(f"{where}: no coordinate reference system. {fix}")
    require_places(own, where, fix)
    return own, ""


@lru_cache(maxsize=256)
def same_crs(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    """Whether two systems give the same coordinates, axis order apart.

    Parameters
    ----------
    one, other : CRS
        Heights do not count.

    Returns
    -------
    bool

    Examples
    --------
    >>> same_crs(pyproj.CRS("EPSG:4326"), pyproj.CRS("OGC:CRS84"))
    True
    """
    return one.to_2d().equals(other.to_2d(), ignore_axis_order=True)


def is_wgs84(crs: pyproj.CRS) -> bool:
    """Whether coordinates in ``crs`` already are WGS 84 longitude and latitude.

    Parameters
    ----------
    crs : CRS
        Any.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_wgs84(pyproj.CRS("EPSG:4326")), is_wgs84(pyproj.CRS("EPSG:4258"))  # the latter is ETRS89
    (True, False)
    """
    return same_crs(crs, WGS84)


def _own_crs(found: Any) -> pyproj.CRS | None:
    """Return what a file carries, None if that is nothing or nothing that can be understood."""
    try:
        return None if found is None else _on_the_ground(found)
    except ProjCRSError:
        return None


@lru_cache(maxsize=64)
def _on_the_ground(given: Any) -> pyproj.CRS:
    """Return a system without its heights; kept, for most layers of a job are in the same one."""
    return pyproj.CRS.from_user_input(given).to_2d()
