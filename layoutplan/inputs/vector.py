"""Vector files of any kind GDAL reads: finding the layer that a job names, with clear messages where there is none."""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyogrio
import pyproj
import shapely

from layoutplan.errors import ColumnError, InputError, LayerError
from layoutplan.files import why_not_read
from layoutplan.inputs import parquet
from layoutplan.inputs.database import check_filter, require_table
from layoutplan.inputs.door import require_driver
from layoutplan.inputs.kinds import DATABASE, GML, look_at
from layoutplan.inputs.systems import settle_crs
from layoutplan.job.section import FileSource
from layoutplan.text import clean

_UNREADABLE = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pa.ArrowException,
    OSError,
    UnicodeDecodeError,
    UnboundLocalError,  # how pyogrio 0.13 takes a reference system whose name is no UTF-8 text
    shapely.errors.GEOSException,
)


@dataclass(frozen=True, slots=True)
class VectorLayer:
    """A layer found in a file, not yet read.

    Attributes
    ----------
    source : FileSource
    layer : str
    where : str
        File and layer, for messages.
    crs : CRS
    columns : tuple of str
    bounds : tuple of float or None
        In ``crs``; None if the layer is empty or does not know.
    features : int
        -1 where not known.
    driver, geometry_column, row_column : str
    has_index : bool
        Whether the file finds features by place quickly.
    problems : tuple of str
    """

    source: FileSource
    layer: str
    where: str
    crs: pyproj.CRS
    columns: tuple[str, ...]
    bounds: tuple[float, float, float, float] | None
    features: int
    driver: str
    geometry_column: str
    row_column: str
    has_index: bool
    problems: tuple[str, ...] = ()


def open_vector(source: FileSource, key: str) -> VectorLayer:
    """Find the layer that a job names.

    Parameters
    ----------
    source : FileSource
        File, layer, filter and reference system.
    key : str
        The job's key of ``source``, for messages: ``layers[2]``.

    Returns
    -------
    VectorLayer
        Its columns, system and extent; nothing is read yet.

    Raises
    ------
    InputError
        If the file is missing or no vector file.
    LayerError
        If there is no such layer, or several and none is named, or it has no geometry.
    CRSError
        If it has no coordinate reference system and the job gives none.
    """
    require_file(source.path)
    if parquet.is_parquet(source.path):
        return _opened(source, key, source.path.stem, parquet.info(source))
    kind = look_at(source.path)
    check_filter(source.where, source.path.name)
    with clear_errors(source.path.name) as warned, _nothing_left(source.path, kind):
        layers = {str(name): kind for name, kind in pyogrio.list_layers(gdal_name(source.path))}
    layer = _choose(source, key, layers)
    if kind == DATABASE:
        require_table(source.path, layer)
    with clear_errors(_where(source.path, layer)) as further:
        info = pyogrio.read_info(
            gdal_name(source.path),
            layer=layer,
            force_feature_count=True,
            force_total_bounds=True,
            **options(kind == GML),
        )
    require_driver(info["driver"], source.path.name)
    return _opened(source, key, layer, info, (*warned, *further))


@contextmanager
def _nothing_left(path: Path, kind: str) -> Iterator[None]:
    """Remove what GDAL leaves beside a GML file for the next reading."""
    notes = path.with_suffix(".gfs")
    were_there = kind != GML or notes.exists()
    try:
        yield
    finally:
        if not were_there:
            notes.unlink(missing_ok=True)


def options(is_gml: bool) -> dict[str, str]:
    """Return how a layer is opened.

    Parameters
    ----------
    is_gml : bool
        Whether the file is GML, beside which GDAL would write a file of its own.

    Returns
    -------
    dict of str to str
        Open options of GDAL.
    """
    return {"WRITE_GFS": "NO"} if is_gml else {}


def gdal_name(path: Path) -> str:
    """Return what GDAL opens a file by: the whole path, so that no part of it is taken for a service.

    Parameters
    ----------
    path : Path
        Of the file.

    Returns
    -------
    str
    """
    whole = path.absolute()
    return f"/vsizip/{whole.as_posix()}" if path.suffix.lower() == ".zip" else str(whole)


def require_file(path: Path) -> None:
    """Refuse a path at which there is no file, or folder, on this machine.

    Parameters
    ----------
    path : Path
        As the job names it.

    Raises
    ------
    InputError
        If there is none.
    """
    if why := why_not_read(path):
        raise InputError(f"{path}: {why}")
    if not path.exists():
        raise InputError(f"{path}: no such file. Paths in a job file are taken from the job file's folder.")


def require_column(name: str, columns: Sequence[str], where: str, key: str) -> None:
    """Refuse a column that is not there.

    Parameters
    ----------
    name : str
        Of the column.
    columns : sequence of str
        Those that are there.
    where, key : str
        File and layer, and the job's key, for the message.

    Raises
    ------
    ColumnError
        If it is none of them; the message lists those that are.
    """
    if name not in columns:
        there = ", ".join(clean(column) for column in columns) or "none"
        raise ColumnError(f"{where}: no column '{name}'; there are: {there}. Set {key} in the job file.")


def _where(path: Path, layer: str) -> str:
    return f"{path.name}, layer '{clean(layer)}'"


def _choose(source: FileSource, key: str, layers: dict[str, Any]) -> str:
    names = ", ".join(clean(name) for name in layers) or "none"
    if source.layer is not None:
        if source.layer not in layers:
            raise LayerError(f"{source.path.name}: no layer '{source.layer}'; there are: {names}. Set {key}.layer.")
        return source.layer
    spatial = [name for name, kind in layers.items() if kind is not None]
    if len(spatial) > 1:
        raise LayerError(f"{source.path.name}: several layers: {names}. Say which with {key}.layer.")
    if not spatial:
        raise LayerError(
            f"{source.path.name}: no layer with geometry (found: {names}). Save it from a GIS with its points, "
            "lines or areas, as a GeoPackage for instance."
        )
    return spatial[0]


def _opened(
    source: FileSource, key: str, layer: str, info: dict[str, Any], warned: tuple[str, ...] = ()
) -> VectorLayer:
    where = _where(source.path, layer)
    if info["geometry_type"] is None:
        raise LayerError(f"{where}: a table without geometry. Name a layer of points, lines or polygons.")
    crs, problem = settle_crs(info["crs"], source.crs, where, f"{key}.crs")
    bounds = info["total_bounds"]
    known = bounds is not None and np.isfinite(bounds).all() and info["features"] != 0
    return VectorLayer(
        source=source,
        layer=layer,
        where=where,
        crs=crs,
        columns=tuple(str(name) for name in info["fields"]),
        bounds=tuple(float(value) for value in bounds) if known else None,  # type: ignore[arg-type]
        features=int(info["features"]),
        driver=info["driver"],
        geometry_column=info["geometry_name"],
        row_column=info["fid_column"],
        has_index=bool(info["capabilities"]["fast_spatial_filter"]),
        problems=(*warned, problem) if problem else warned,
    )


@contextmanager
def clear_errors(where: str, condition: str | None = None) -> Iterator[list[str]]:
    """Turn what the libraries raise on bad files and filters into one line that names the file.

    Parameters
    ----------
    where : str
        File and layer, for messages.
    condition : str, optional
        The job's filter.

    Yields
    ------
    list of str
        Afterwards, what they only warned of.

    Raises
    ------
    InputError
        If the file or the filter cannot be used.
    """
    warned: list[str] = []
    try:
        with warnings.catch_warnings(record=True) as caught:
            warnings.simplefilter("always")
            yield warned
    except (*_UNREADABLE, ValueError) as err:
        why = clean(str(err).split(";")[0].split("\n")[0])[:200] or type(err).__name__
        if condition is not None:
            raise InputError(f'{where}: cannot be read with where = "{clean(condition)}": {why}') from err
        raise InputError(f"{where}: cannot be read as a vector file: {why}") from err
    warned += dict.fromkeys(f"{where}: {clean(warning.message)}" for warning in caught)
