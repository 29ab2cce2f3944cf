"""From a file's coordinate reference system to longitude and latitude (EPSG:4326, in this order)."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from pyproj.exceptions import CRSError as ProjCRSError
from pyproj.exceptions import ProjError

from layoutplan.errors import CRSError
from layoutplan.inputs.door import allowed, require_at_most
from layoutplan.text import clean

FloatArray = NDArray[np.float64]
Geometries = NDArray[np.object_]

WGS84 = pyproj.CRS.from_epsg(4326)
LONGEST_SEGMENT_M = 1000.0  # longer straight lines are cut in their own system: there they are what the mapper meant
_LARGEST_M = 1e8  # the Earth is 40,000 km around
_WELL_KNOWN_M = 1.0  # what PROJ states of ETRS89, which is WGS 84 for all purposes here
_ASKED = 5  # places of a file asked for the transformation taken there
_GEOD = pyproj.Geod(ellps="WGS84")
_MOST_LETTERS = 100  # of a system's name or definition in a message


def parse_crs(text: str, where: str, key: str) -> pyproj.CRS:
    """Return the coordinate reference system that a job file names.

    Raises
    ------
    CRSError
        There is no such system.
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


def require_places(crs: pyproj.CRS, where: str, mend: str) -> None:
    """Refuse a system whose coordinates cannot be turned into longitude and latitude.

    Such are those of a building site, of heights or of time only, geocentric ones, of another celestial body, or one
    that needs a grid file which is not there: grids are not fetched.

    Raises
    ------
    CRSError
    """
    if why := _no_places(crs):
        named = f"'{clean(crs.name)[:_MOST_LETTERS]}'" if crs.name not in ("unknown", "unnamed") else "its system"
        raise CRSError(f"{where}: {named} {why}. {mend}")


@lru_cache(maxsize=64)
def into_wgs84(crs: pyproj.CRS) -> pyproj.Transformer:
    """Change from a system to longitude and latitude; kept, for finding it takes long.

    Raises
    ------
    pyproj.exceptions.ProjError
        There is none.
    """
    return pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)


@lru_cache(maxsize=64)
def from_wgs84(crs: pyproj.CRS) -> pyproj.Transformer:
    """Change from longitude and latitude to a system; kept, for finding it takes long."""
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
    """Choose between what the file says and what the job says.

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
        Neither says anything, or what is said is not known or cannot be turned into longitude and latitude.
    """
    if given is not None:
        chosen = parse_crs(given, where, key)
        own = _own_crs(found)
        if own is None or same_crs(own, chosen):
            return chosen, ""
        return chosen, f"{where}: the file says {own.name}, but {key} = '{given}' in the job file was used"
    mend = f"Set {key} in the job file, for instance 'EPSG:25832'."
    if (own := _own_crs(found)) is None:
        raise CRSError(f"{where}: no coordinate reference system. {mend}")
    require_places(own, where, mend)
    return own, ""


@lru_cache(maxsize=256)
def same_crs(one: pyproj.CRS, other: pyproj.CRS) -> bool:
    """Whether two systems give the same coordinates, axis order apart."""
    return one.to_2d().equals(other.to_2d(), ignore_axis_order=True)


def is_wgs84(crs: pyproj.CRS) -> bool:
    """Whether coordinates in ``crs`` already are WGS 84 longitude and latitude."""
    return same_crs(crs, WGS84)


def to_lonlat(geometry: Geometries, crs: pyproj.CRS, where: str) -> Geometries:
    """Bring geometries to longitude and latitude; two-dimensional, long segments cut before.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        May hold None and empty geometries; they stay.
    crs : CRS
    where : str
        File and layer, for messages.

    Returns
    -------
    ndarray of Geometry, shape (n,)
        What ``crs`` cannot express has infinite coordinates.

    Raises
    ------
    CRSError
        The system cannot be turned into longitude and latitude.
    """
    flat = shapely.force_2d(geometry) if shapely.has_z(geometry).any() else geometry
    _check_vertices(flat, crs, where)
    flat = cut_long(flat, crs)
    if is_wgs84(crs):
        return flat
    try:
        return transformed(flat, into_wgs84(crs))
    except ProjError as err:
        raise CRSError(
            f"{where}: {crs.name} cannot be turned into longitude and latitude. Give the file a geodetic system."
        ) from err


def _check_vertices(geometry: Geometries, crs: pyproj.CRS, where: str) -> None:
    """Raise an InputError if a geometry has more vertices than the job allows, or gets them by being cut."""
    most = allowed().limits.max_vertices
    own = shapely.get_num_coordinates(geometry)
    with np.errstate(invalid="ignore", over="ignore"):
        number = own + np.nan_to_num(shapely.length(geometry) / segment_limit(crs), posinf=np.inf)
    if len(number) and number.max() > most:
        at = int(number.argmax())
        place = shapely.get_coordinates(geometry[at])[0].tolist()
        require_at_most(
            number[at],
            "max_vertices",
            "vertices in one feature, long edges cut",
            f"{where}, the feature with a corner at {place[0]:.10g} {place[1]:.10g}",
            "Check the coordinate reference system, or cut out what the line needs",
        )


def datum_note(geometry: Geometries, crs: pyproj.CRS, where: str) -> list[str]:
    """Say by how much places of a file may be off for its datum; nothing where it is known to a metre.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        In ``crs``.
    crs : CRS
    where : str
        File and layer, for messages.

    Notes
    -----
    The accuracy is the one that PROJ states of the transformation it takes. Grids that would be better are not fetched.
    """
    places = shapely.get_coordinates(geometry[is_usable(geometry)])
    if is_wgs84(crs) or len(places) == 0:
        return []
    change = into_wgs84(crs)
    stated = [_stated_accuracy_m(change, places[i]) for i in np.linspace(0, len(places) - 1, _ASKED).astype(int)]
    if min(stated) >= 0.0 and max(stated) <= _WELL_KNOWN_M:
        return []
    off = (
        "by an unknown amount, perhaps a hundred metres or more" if min(stated) < 0.0 else f"by some {max(stated):g} m"
    )
    return [
        f"{where}: {crs.name} differs from WGS 84 in its datum, and places turned into it may be off {off}: compare a "
        "tower with an aerial picture before trusting distances to what comes from other files, or hand the file over "
        "in ETRS89 or WGS 84"
    ]


def _stated_accuracy_m(change: pyproj.Transformer, place: FloatArray) -> float:
    """Accuracy of the transformation that is taken at a place, below 0 if nobody knows. [m]."""
    try:
        change.transform(*place.tolist())
        return accuracy_m(change.get_last_used_operation())
    except ProjError:  # none was needed
        return 0.0


def accuracy_m(used: pyproj.Transformer) -> float:
    """Accuracy that PROJ states of an operation, 0 if it stays on one datum, below 0 if nobody knows. [m].

    Since 9.8 PROJ states none of a way on which only the order of the axes and the projection change.
    """
    steps = used.operations or ()
    if used.accuracy < 0.0 and steps and all(step.type_name == "Conversion" for step in steps):
        return 0.0
    return float(used.accuracy)


def transformed(geometry: Geometries, change: pyproj.Transformer) -> Geometries:
    """Return geometries with all vertices moved to another system."""

    def move(xy: FloatArray) -> FloatArray:
        return np.column_stack(change.transform(xy[:, 0], xy[:, 1]))

    moved: Geometries = shapely.transform(geometry, move)
    return moved


def cut_long(geometry: Geometries, crs: pyproj.CRS) -> Geometries:
    """Cut straight segments longer than ``LONGEST_SEGMENT_M``.

    Degrees are left alone where a geometry is more than half the Earth wide: it jumps across the antimeridian, and what
    lies between is not meant.
    """
    limit = segment_limit(crs)
    low_x, low_y, high_x, high_y = shapely.bounds(geometry).T
    with np.errstate(invalid="ignore"):
        size = np.hypot(high_x - low_x, high_y - low_y)
        jumps = crs.is_geographic & (high_x - low_x > np.pi / (crs.axis_info[0].unit_conversion_factor or 1.0))
    # what is larger than the Earth is no place on it, and would be cut into millions of pieces
    long = (size > limit) & (size < limit * _LARGEST_M / LONGEST_SEGMENT_M) & ~jumps
    if not long.any():
        return geometry
    # the library "repairs" an invalid polygon while cutting it, and drops a lobe of a bow tie: cut those ring by ring
    whole = geometry[long]
    sound = shapely.is_valid(whole)
    whole[sound] = shapely.segmentize(whole[sound], limit)
    whole[~sound] = [_cut_rings(invalid, limit) for invalid in whole[~sound]]
    cut = geometry.copy()
    cut[long] = whole
    return cut


def segment_limit(crs: pyproj.CRS) -> float:
    """Return the longest segment that is left uncut, in the units of ``crs``."""
    factor = crs.axis_info[0].unit_conversion_factor or 1.0
    return LONGEST_SEGMENT_M / (factor * (_GEOD.a if crs.is_geographic else 1.0))


def is_usable(geometry: Geometries) -> NDArray[np.bool_]:
    """Mark geometries that are there, not empty, and finite."""
    return np.asarray(~shapely.is_empty(geometry) & np.isfinite(shapely.bounds(geometry)).all(axis=-1))


def metres_per_degree(lat_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Length of a degree of longitude and of latitude on the WGS 84 ellipsoid, from its two radii of curvature. [m]."""
    sin_lat, cos_lat = np.sin(np.radians(lat_deg)), np.cos(np.radians(lat_deg))
    root = 1.0 - _GEOD.es * sin_lat**2
    return np.radians(_GEOD.a * cos_lat / np.sqrt(root)), np.radians(_GEOD.a * (1.0 - _GEOD.es) / root**1.5)


def geocentric(lonlat_deg: FloatArray) -> FloatArray:
    """Geocentric X, Y, Z of points on the ellipsoid, shape (n, 3): plain distances between near points. [m]."""
    lon, lat = np.radians(lonlat_deg).T
    normal = _GEOD.a / np.sqrt(1.0 - _GEOD.es * np.sin(lat) ** 2)
    return np.column_stack(
        (normal * np.cos(lat) * np.cos(lon), normal * np.cos(lat) * np.sin(lon), normal * (1 - _GEOD.es) * np.sin(lat))
    )


def _cut_rings(geometry: shapely.Geometry, limit: float) -> shapely.Geometry:
    if isinstance(geometry, shapely.Polygon):
        holes = [shapely.segmentize(hole, limit) for hole in geometry.interiors]
        return shapely.Polygon(shapely.segmentize(geometry.exterior, limit), holes)
    if isinstance(geometry, shapely.MultiPolygon | shapely.GeometryCollection):
        return shapely.GeometryCollection([_cut_rings(part, limit) for part in geometry.geoms])
    return shapely.segmentize(geometry, limit)


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
