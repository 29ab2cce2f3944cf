"""The projected system for eastings and northings, where the job names none."""

from __future__ import annotations

import numpy as np

from layoutplan.errors import CRSError
from layoutplan.line.geodesy import FloatArray


def utm_zone(lonlat_deg: FloatArray) -> str:
    """UTM zone of the middle of some points, as an EPSG code, with the wider zones of Norway and Svalbard.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitudes may run on beyond 180 degrees.

    Raises
    ------
    CRSError
        The middle lies beyond 84 degrees north or 80 degrees south, where UTM ends.

    Notes
    -----
    Zones and their exceptions 32V and 31X-37X: the NGA standard for universal grids (from memory).
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
