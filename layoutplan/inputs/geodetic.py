"""From a file's coordinate reference system to longitude and latitude (EPSG:4326, in this order)."""

from __future__ import annotations

import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from pyproj.exceptions import ProjError

from layoutplan.arrays import FloatArray
from layoutplan.errors import CRSError
from layoutplan.inputs.door import limits_now, require_at_most
from layoutplan.inputs.systems import into_wgs84, is_wgs84

Geometries = NDArray[np.object_]

LONGEST_SEGMENT_M = 1000.0  # longer straight lines are cut in their own system: there they are what the mapper meant
_LARGEST_M = 1e8  # the Earth is 40,000 km around
_WELL_KNOWN_M = 1.0  # what PROJ states of ETRS89, which is WGS 84 for all purposes here
_ASKED = 5  # places of a file asked for the transformation taken there
_GEOD = pyproj.Geod(ellps="WGS84")


def to_lonlat(geometry: Geometries, crs: pyproj.CRS, where: str) -> Geometries:
    """Bring geometries to longitude and latitude; two-dimensional, long segments cut before.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        May hold None and empty geometries; they stay.
    crs : CRS
        Of the geometries.
    where : str
        File and layer, for messages.

    Returns
    -------
    ndarray of Geometry, shape (n,)
        What ``crs`` cannot express has infinite coordinates.

    Raises
    ------
    CRSError
        If the system cannot be turned into longitude and latitude.

    Examples
    --------
    The middle of UTM zone 32 on the equator:

    >>> to_lonlat(np.array([shapely.Point(500000, 0)]), pyproj.CRS("EPSG:32632"), "wells.csv")[0].wkt
    'POINT (9 0)'
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
    most = limits_now().limits.max_vertices
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
    """State by how much places of a file may be off for its datum; nothing where it is known to a metre.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        In ``crs``.
    crs : CRS
        Of the file.
    where : str
        File and layer, for messages.

    Returns
    -------
    list of str
        One warning, or none.

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
    """Accuracy that PROJ states of an operation.

    Since 9.8 PROJ states none of a way on which only the order of the axes and the projection change.

    Parameters
    ----------
    used : Transformer
        As it was last used.

    Returns
    -------
    float
        0 if it stays on one datum, below 0 if it is unknown. [m]
    """
    steps = used.operations or ()
    if used.accuracy < 0.0 and steps and all(step.type_name == "Conversion" for step in steps):
        return 0.0
    return float(used.accuracy)


def transformed(geometry: Geometries, change: pyproj.Transformer) -> Geometries:
    """Return geometries with all vertices moved to another system, x first; ProjError if there is no such way."""

    def move(xy: FloatArray) -> FloatArray:
        return np.column_stack(change.transform(xy[:, 0], xy[:, 1]))

    moved: Geometries = shapely.transform(geometry, move)
    return moved


def cut_long(geometry: Geometries, crs: pyproj.CRS) -> Geometries:
    """Cut straight segments longer than ``LONGEST_SEGMENT_M``.

    Degrees are left alone where a geometry is more than half the Earth wide: it jumps across the antimeridian, and what
    lies between is not meant.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        In ``crs``.
    crs : CRS
        Of the geometries.

    Returns
    -------
    ndarray of Geometry, shape (n,)
        The same shapes with more vertices.
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
    """Return the longest segment that is left uncut.

    Parameters
    ----------
    crs : CRS
        Geographic or projected.

    Returns
    -------
    float
        ``LONGEST_SEGMENT_M`` in the units of ``crs``.

    Examples
    --------
    >>> segment_limit(pyproj.CRS("EPSG:32632")) == LONGEST_SEGMENT_M
    True
    """
    factor = crs.axis_info[0].unit_conversion_factor or 1.0
    return LONGEST_SEGMENT_M / (factor * (_GEOD.a if crs.is_geographic else 1.0))


def is_usable(geometry: Geometries) -> NDArray[np.bool_]:
    """Mark geometries that are there, not empty, and finite.

    Parameters
    ----------
    geometry : ndarray of Geometry, shape (n,)
        May hold None.

    Returns
    -------
    ndarray of bool, shape (n,)

    Examples
    --------
    >>> is_usable(np.array([shapely.Point(1, 2), None, shapely.Point(), shapely.Point(np.inf, 0)]))
    array([ True, False, False, False])
    """
    return np.asarray(~shapely.is_empty(geometry) & np.isfinite(shapely.bounds(geometry)).all(axis=-1))


def metres_per_degree(lat_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Length of a degree of longitude and of latitude on the WGS 84 ellipsoid, from its two radii of curvature.

    Parameters
    ----------
    lat_deg : ndarray
        Latitude. [deg]

    Returns
    -------
    lon_m, lat_m : ndarray
        [m]

    References
    ----------
    .. [1] NIMA TR8350.2, Department of Defense World Geodetic System 1984, 3rd ed., 2000: the ellipsoid.

    Examples
    --------
    >>> east, north = metres_per_degree(np.array([0.0, 60.0]))
    >>> print(east.round(), north.round(), "m")
    [111319.  55800.] [110574. 111412.] m
    """
    sin_lat, cos_lat = np.sin(np.radians(lat_deg)), np.cos(np.radians(lat_deg))
    root = 1.0 - _GEOD.es * sin_lat**2
    return np.radians(_GEOD.a * cos_lat / np.sqrt(root)), np.radians(_GEOD.a * (1.0 - _GEOD.es) / root**1.5)


def geocentric(lonlat_deg: FloatArray) -> FloatArray:
    """Geocentric X, Y, Z of points on the ellipsoid: plain distances between near points.

    Parameters
    ----------
    lonlat_deg : ndarray, shape (n, 2)
        Longitude and latitude. [deg]

    Returns
    -------
    ndarray, shape (n, 3)
        [m]

    Examples
    --------
    On the equator the distance from the centre is the semi-major axis of WGS 84:

    >>> print(geocentric(np.array([[0.0, 0.0]])).round(), "m")
    [[6378137.       0.       0.]] m
    """
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
