"""The one way in for files that GDAL opens: which kinds are read, and that nothing is fetched.

Importing this module closes the network for the rest of the process, in GDAL and in PROJ: in pyogrio's copies, in
pyproj's, and (by :data:`CLOSED`, handed to each reading) in rasterio's. What a file names (tiles of a virtual raster, a
schema, a database's views) is looked at before GDAL sees the file.
"""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

import pyogrio
from pyproj.network import set_network_enabled  # type: ignore[attr-defined]

from layoutplan.errors import InputError

if TYPE_CHECKING:
    from layoutplan.job import Job
    from layoutplan.job.reading import Reading

VECTOR_DRIVERS = {
    "GPKG": "GeoPackage",
    "ESRI Shapefile": "Shapefile",
    "GeoJSON": "GeoJSON",
    "GeoJSONSeq": "GeoJSON, one feature a line",
    "JSONFG": "OGC Features and Geometries JSON",
    "TopoJSON": "TopoJSON",
    "ESRIJSON": "Esri JSON",
    "FlatGeobuf": "FlatGeobuf",
    "CSV": "table of text",
    "GML": "GML",
    "KML": "KML",
    "LIBKML": "KML and KMZ",
    "GPX": "GPX",
    "DXF": "DXF",
    "MapInfo File": "MapInfo TAB and MIF",
    "OpenFileGDB": "File Geodatabase",
    "SQLite": "SQLite and SpatiaLite",
    "OGR_VRT": "virtual layer of local files",
}
"""What is read of vector files, by GDAL's name of the kind; GeoParquet is read without GDAL."""
RASTER_DRIVERS = {
    "GTiff": "GeoTIFF",
    "VRT": "virtual raster of local files",
    "SRTMHGT": "SRTM tile (.hgt)",
    "AAIGrid": "Esri ASCII grid",
    "GRASSASCIIGrid": "GRASS ASCII grid",
    "EHdr": "Esri .hdr labelled (.bil, .flt)",
    "ENVI": "ENVI .hdr labelled",
    "AIG": "Esri binary grid",
    "DTED": "DTED",
    "HFA": "Erdas Imagine (.img)",
    "USGSDEM": "USGS ASCII DEM (.dem)",
    "GPKG": "GeoPackage raster",
    "SAGA": "SAGA grid",
    "GSAG": "Golden Software ASCII grid (.grd)",
    "GSBG": "Golden Software binary grid (.grd)",
    "GS7BG": "Golden Software 7 binary grid (.grd)",
    "PCRaster": "PCRaster",
    "RST": "Idrisi raster",
    "XYZ": "gridded x, y, z",
    "SIGDEM": "SIGDEM",
    "JP2OpenJPEG": "JPEG 2000",
}
"""What is read of rasters, by GDAL's name of the kind."""
CLOSED = {
    # no file on a server has this name, so GDAL's file systems on servers hold none that may be opened
    "CPL_VSIL_CURL_ALLOWED_FILENAME": "/none/",
    "CPL_VSIL_CURL_ALLOWED_EXTENSIONS": ".none",
    "GDAL_HTTP_PROXY": "127.0.0.1:9",  # for what does not go through these: nobody listens on this port
    "GDAL_HTTPS_PROXY": "127.0.0.1:9",
    "GDAL_HTTP_CONNECTTIMEOUT": "1",
    "GDAL_HTTP_MAX_RETRY": "0",
    "GML_DOWNLOAD_SCHEMA": "NO",
    "GML_SKIP_RESOLVE_ELEMS": "ALL",
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "GDAL_VRT_ENABLE_RAWRASTERBAND": "NO",
    "OGR_SQLITE_LOAD_EXTENSIONS": "",
    "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
    "LIBKML_RESOLVE_STYLE": "NO",
}
"""Settings of GDAL under which it makes no request and runs nothing that a file holds."""


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a job allows.

    Attributes
    ----------
    limits : Reading
    folder : Path or None
        Of the job file.
    """

    limits: Reading
    folder: Path | None = None


_ALLOWED: ContextVar[Allowed] = ContextVar("layoutplan_allowed")
_Args = ParamSpec("_Args")
_Result = TypeVar("_Result")


def limits_now() -> Allowed:
    """Limits of the job that is being read; the defaults outside of any.

    Returns
    -------
    Allowed
    """
    return _ALLOWED.get(None) or _by_default()


@functools.cache
def _by_default() -> Allowed:
    from layoutplan.job.reading import Reading  # takes a while to load

    return Allowed(Reading())


@contextmanager
def allowing(job: Job) -> Iterator[None]:
    """Read by the limits of a job.

    Parameters
    ----------
    job : Job
        Its reading section and folder.

    Yields
    ------
    None
    """
    before = _ALLOWED.set(Allowed(job.reading, job.folder))
    try:
        yield
    finally:
        _ALLOWED.reset(before)


def as_job_allows(function: Callable[_Args, _Result]) -> Callable[_Args, _Result]:
    """Make a function that takes a job first (or by name) read by the job's limits.

    Parameters
    ----------
    function : callable
        Takes the job.

    Returns
    -------
    callable
        With the same signature.
    """

    @functools.wraps(function)
    def within(*args: _Args.args, **keys: _Args.kwargs) -> _Result:
        job: Any = args[0] if args else keys["job"]
        with allowing(job):
            return function(*args, **keys)

    return within


def require_at_most(found: float, key: str, what: str, where: str, fix: str) -> None:
    """Refuse more of something than the job allows.

    Parameters
    ----------
    found : float
        How much there is.
    key : str
        The limit's key in the job's section ``reading``.
    what : str
        What there is too much of, in words after the number.
    where : str
        File, layer and place in it.
    fix : str
        What to do about the file.

    Raises
    ------
    InputError
        If it is more than the limit.
    """
    most = getattr(limits_now().limits, key)
    if found > most:
        raise InputError(
            f"{where}: {found:,.0f} {what}, more than the {most:,} that are read (reading.{key} in the job file). "
            f"{fix}, or raise the limit."
        )


def require_driver(driver: str, where: str) -> None:
    """Refuse a vector file that was opened as none of the kinds that are read.

    Parameters
    ----------
    driver : str
        As GDAL names it.
    where : str
        File and layer, for the message.

    Raises
    ------
    InputError
        If it is of another kind.
    """
    if driver not in VECTOR_DRIVERS:
        raise InputError(f"{where}: cannot be read as a vector file: {driver}. Save it from a GIS as a GeoPackage.")


def _close() -> None:
    """Close the network for this process."""
    pyogrio.set_gdal_config_options(dict(CLOSED))
    set_network_enabled(False)
    os.environ["PROJ_NETWORK"] = "OFF"  # the copies of PROJ within pyogrio and rasterio look here
    for name in ("no_proxy", "NO_PROXY"):  # hosts listed there would be asked past the proxy
        os.environ.pop(name, None)


_close()
