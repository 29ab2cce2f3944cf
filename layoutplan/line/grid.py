"""The projected system for eastings and northings: the one that the job names, or a zone of UTM."""

from __future__ import annotations

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError as NoSystem

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError

_INSTANCE = 'Give a projected system by its code, for instance "EPSG:25832", or leave the key out for the UTM zone.'


def require_projected(name: str | None) -> None:
    """Refuse a system that has no eastings and northings; None, for a zone of UTM, is fine.

    Parameters
    ----------
    name : str or None
        Code or definition of a coordinate reference system.

    Raises
    ------
    CRSError
        It is not known, or not projected.

    Examples
    --------
    >>> require_projected("EPSG:25832")
    >>> require_projected("EPSG:4326")
    Traceback (most recent call last):
        ...
    layoutplan.errors.CRSError: output.grid_crs: 'EPSG:4326' (WGS 84) has no eastings and no...
    """
    if name is None:
        return
    try:
        system = CRS.from_user_input(name)
    except NoSystem as err:
        raise CRSError(f"output.grid_crs: '{name}' is no coordinate reference system known here. {_INSTANCE}") from err
    if not system.is_projected:
        raise CRSError(f"output.grid_crs: '{name}' ({system.name}) has no eastings and northings. {_INSTANCE}")


def utm_zone(lonlat_deg: FloatArray) -> str:
    """UTM zone of the middle of some points, as an EPSG code, with the wider zones of Norway and Svalbard.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitudes may run on beyond 180 degrees.

    Returns
    -------
    str
        EPSG code of the zone on WGS 84.

    Raises
    ------
    CRSError
        The middle lies beyond 84 degrees north or 80 degrees south, where UTM ends.

    Notes
    -----
    Zones and their exceptions 32V and 31X-37X: the NGA standard for universal grids (from memory).

    References
    ----------
    .. [1] NGA standard for universal grids, zones 31X to 37X and 32V (from memory).

    Examples
    --------
    Zurich, Bergen (zone 32 is widened there), Sydney:

    >>> [utm_zone(np.array([place])) for place in ([8.5, 47.4], [5.3, 60.4], [151.2, -33.9])]
    ['EPSG:32632', 'EPSG:32632', 'EPSG:32756']
    """
    lon, lat = (lonlat_deg.min(axis=0) + lonlat_deg.max(axis=0)) / 2
    if not -80 <= lat <= 84:
        raise CRSError(f"the line lies at latitude {lat:.1f}, beyond UTM (80 S to 84 N); set output.grid_crs.")
    lon = (lon + 180) % 360 - 180
    zone = int(np.floor((lon + 180) / 6)) + 1
    if 56 <= lat < 64 and 3 <= lon < 12:
        zone = 32
    elif lat >= 72 and 0 <= lon < 42:
        zone = 31 + 2 * int((lon + 3) // 12)
    return f"EPSG:{(32600 if lat >= 0 else 32700) + zone}"
