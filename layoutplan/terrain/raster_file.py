"""One elevation file: its header, and windows of it as heights in metres."""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyproj
import rasterio
from numpy.typing import NDArray
from rasterio.errors import NotGeoreferencedWarning, RasterioError
from rasterio.windows import Window

from layoutplan.errors import InputError
from layoutplan.inputs.door import require_at_most
from layoutplan.inputs.raster_door import look_at_raster, opened_raster, require_sizes
from layoutplan.inputs.systems import settle_crs
from layoutplan.inputs.vector import require_file
from layoutplan.job.terrain import Terrain
from layoutplan.terrain.vertical_unit import metres_per_unit
from layoutplan.text import clean

Heights = NDArray[np.float32]

LOWEST_M, HIGHEST_M = -1000.0, 9000.0
"""Ground lies between these; a value beyond is an undeclared "no data", or not in the unit it is taken for."""
_RASTERS = (".tif", ".tiff", ".hgt", ".asc", ".dem", ".dt0", ".dt1", ".dt2", ".img", ".bil", ".flt")
_GDAL = {"GTIFF_REPORT_COMPD_CS": "YES"}  # heights may have their unit in a compound reference system only


@dataclass(frozen=True, slots=True)
class RasterFile:
    """A file as its header describes it.

    Attributes
    ----------
    path : Path
        As the job names it.
    gdal_name : str
        What opens it; differs from ``path`` for a member of an archive.
    crs : CRS
        Horizontal.
    transform : tuple of float
        ``x = a col + b row + c``, ``y = d col + e row + f``; 0, 0 is the outer corner of the first cell.
    height, width : int
        Cells.
    nodata : tuple of float
        Raw values that stand for no height.
    scale_m, offset_m : float
        Height is ``scale_m * raw + offset_m``. [m]
    parts : tuple of Path
        All files on disk that it consists of.
    """

    path: Path
    gdal_name: str
    crs: pyproj.CRS
    transform: tuple[float, float, float, float, float, float]
    height: int
    width: int
    nodata: tuple[float, ...]
    scale_m: float
    offset_m: float
    parts: tuple[Path, ...]

    @property
    def where(self) -> str:
        """Name of the file, for messages."""
        return clean(self.path.name)


def read_header(path: Path, section: Terrain) -> tuple[RasterFile, list[str], list[str]]:
    """Read a file's header.

    Parameters
    ----------
    path : Path
        A raster.
    section : Terrain
        The job's section: reference system, unit and no-data value for files that have none.

    Returns
    -------
    file : RasterFile
        What is needed to read it.
    problems, assumptions : list of str
        Warnings, and what was taken for what the file does not state.

    Raises
    ------
    InputError
        If it is missing, is no raster with a place on earth, or its heights have a unit that is not known.
    CRSError
        If it has no coordinate reference system and the job gives none.
    """
    where = clean(path.name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # seen to below, with a message of its own
        virtual, gdal_name = _looked_at(path)
    with warnings.catch_warnings(), _opened(gdal_name, where) as dataset:
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        require_sizes(dataset, where)
        own = pyproj.CRS.from_wkt(dataset.crs.to_wkt()) if dataset.crs else None
        found, problem = settle_crs(own and _horizontal(own), section.crs, where, "terrain.crs")
        unit_m, assumed = metres_per_unit(own or found, clean(dataset.units[0]), section.vertical_unit, where)
        problems = [problem] if problem else []
        if dataset.count > 1:
            problems.append(f"{where}: {dataset.count} bands; the first is taken for the height")
        if np.dtype(dataset.dtypes[0]).kind == "c":
            raise InputError(f"{where}: complex numbers, no heights. Name an elevation raster in terrain.files.")
        file = RasterFile(
            path=path,
            gdal_name=gdal_name,
            crs=found,
            transform=_placed(tuple(dataset.transform)[:6], where),
            height=dataset.height,
            width=dataset.width,
            nodata=tuple(value for value in (dataset.nodata, section.nodata) if value is not None),
            scale_m=dataset.scales[0] * unit_m,
            offset_m=dataset.offsets[0] * unit_m,
            parts=_parts(path, (*dataset.files, *map(str, virtual))),
        )
    return file, problems, assumed


def read_windows(file: RasterFile, windows: Iterable[tuple[int, int, int, int]]) -> Iterator[Heights]:
    """Heights in windows of a file, which is opened once for all of them.

    Parameters
    ----------
    file : RasterFile
        From `read_header`.
    windows : iterable of (row, column, height, width)
        Within the file. [cells]

    Yields
    ------
    ndarray of float32, shape (height, width)
        NaN where unknown. [m]

    Raises
    ------
    InputError
        If the file cannot be read.
    """
    with _opened(file.gdal_name, file.where) as dataset:
        for row, col, height, width in windows:
            raw = dataset.read(1, window=Window(col, row, width, height), masked=True)
            yield _heights(raw, file)


def _heights(raw: np.ma.MaskedArray[tuple[int, int], np.dtype[np.generic]], file: RasterFile) -> Heights:
    values = raw.data.astype(float)
    metres = values * file.scale_m + file.offset_m
    known = ~np.ma.getmaskarray(raw) & (metres >= LOWEST_M) & (metres <= HIGHEST_M)
    for nodata in file.nodata:  # a mask band makes the library forget the declared value
        known &= ~np.isclose(values, nodata, rtol=1e-6, atol=0.0)
    return np.where(known, metres, np.nan).astype(np.float32)


@contextmanager
def _opened(gdal_name: str, where: str) -> Iterator[rasterio.DatasetReader]:
    try:
        with opened_raster(gdal_name, **_GDAL) as dataset:
            yield dataset
    except (RasterioError, UnicodeDecodeError) as err:  # a damaged file may hold names that are no text
        why = clean(str(err.__cause__ or err).split("\n")[0])[:200]
        raise InputError(f"{where}: cannot be read as an elevation raster: {why}") from err


def _looked_at(path: Path) -> tuple[tuple[Path, ...], str]:
    """Files that a virtual raster takes its heights from, and what GDAL opens it by."""
    if path.suffix.lower() == ".zip":
        require_file(path)
        return (), _member(path)
    where = clean(path.name)
    try:
        return look_at_raster(path), str(path.absolute())
    except (RasterioError, OSError) as err:
        why = clean(str(err.__cause__ or err).split("\n")[0])[:200]
        raise InputError(f"{where}: cannot be read as an elevation raster: {why}") from err


def _member(path: Path) -> str:
    """Name of the one raster in an archive."""
    where = clean(path.name)
    try:
        with zipfile.ZipFile(path) as archive:
            members = [name for name in archive.namelist() if Path(name).suffix.lower() in _RASTERS]
            size_mb = sum(member.file_size for member in archive.infolist()) / 1e6
    except (zipfile.BadZipFile, OSError, ValueError) as err:
        raise InputError(f"{where}: cannot be read as an archive: {clean(err)}. Unpack it, name the raster.") from err
    if len(members) != 1:
        found = ", ".join(clean(name) for name in members[:5]) or "none"
        raise InputError(f"{where}: must hold one elevation raster, found: {found}. Unpack it, name the rasters.")
    require_at_most(size_mb, "max_unpacked_mb", "MB unpacked", where, "Unpack it and name the raster")
    return f"/vsizip/{path.absolute().as_posix()}/{members[0]}"


def _horizontal(crs: pyproj.CRS) -> pyproj.CRS:
    return crs.sub_crs_list[0] if crs.is_compound else crs.to_2d()


def _placed(transform: tuple[float, ...], where: str) -> tuple[float, float, float, float, float, float]:
    a, b, c, d, e, f = transform
    if transform == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0) or a * e == b * d:
        raise InputError(f"{where}: does not say where on earth it lies. Save it with its georeference.")
    return a, b, c, d, e, f


def _parts(path: Path, names: Iterable[str]) -> tuple[Path, ...]:
    """Return the file itself and what else belongs to it: side-cars, tiles of a mosaic."""
    others = (Path(name) for name in names if not name.startswith("/vsi"))
    return tuple(dict.fromkeys((path, *(part for part in others if part.is_file()))))
