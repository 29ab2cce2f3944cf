"""GeoParquet, which GDAL's wheels do not read."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pyproj
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError, LayerError
from layoutplan.inputs.door import require_at_most
from layoutplan.inputs.geodetic import Geometries
from layoutplan.job.section import FileSource

_READ_WHOLE = 500_000  # rows; read by the boxes that a file keeps of its rows, they lose their numbers in the file
_TOGETHER = 50_000  # rows held in memory while a large file goes by
_FIX = "Cut out what the line needs"
_SUFFIXES = (".parquet", ".geoparquet", ".pq")


def is_parquet(path: Path) -> bool:
    """Whether a file is named as Parquet.

    Parameters
    ----------
    path : Path
        Any.

    Returns
    -------
    bool
    """
    return path.suffix.lower() in _SUFFIXES


def info(source: FileSource) -> dict[str, Any]:
    """Describe the file as pyogrio describes a layer.

    Parameters
    ----------
    source : FileSource
        File, without filter.

    Returns
    -------
    dict
        The keys of ``pyogrio.read_info`` that are used.

    Raises
    ------
    InputError
        If it is no Parquet file, or a filter is given, which this format does not have.
    LayerError
        If it has no geometry.

    References
    ----------
    .. [1] GeoParquet Specification, version 1.1.0: the metadata under the key ``geo``.
    """
    if source.where is not None:
        raise InputError(f"{source.path.name}: `where` cannot be used on Parquet files; filter the file itself.")
    file = _metadata(source.path)
    geo = _geo(file, source.path)
    try:
        column = geo["columns"][geo["primary_column"]]
        fields = [name for name in file.schema.to_arrow_schema().names if name not in geo["columns"]]
        crs = column.get("crs", "OGC:CRS84")
        crs = None if crs is None else pyproj.CRS.from_user_input(crs)
        bbox = column.get("bbox")
        bounds = [float(value) for value in bbox] if bbox is not None and len(bbox) == 4 else None
    except (AttributeError, KeyError, TypeError, ValueError, pyproj.exceptions.CRSError) as err:
        raise _odd_geo(source.path) from err
    return {
        "fields": fields,
        "crs": crs,
        "geometry_type": "Unknown",
        "geometry_name": geo["primary_column"],
        "fid_column": "",
        "features": file.num_rows,
        "total_bounds": bounds,
        "driver": "Parquet",
        "capabilities": {"fast_spatial_filter": "covering" in column},
        "is_wkb": column.get("encoding") == "WKB",
    }


def read(
    source: FileSource, columns: Sequence[str], boxes: FloatArray | None
) -> tuple[Mapping[str, NDArray[Any]], Geometries, NDArray[np.int64]]:
    """Read columns, geometry and row numbers; see :func:`layoutplan.inputs.vector_table.read_vector`.

    Parameters
    ----------
    source : FileSource
        File, without filter.
    columns : sequence of str
        To read.
    boxes : ndarray, shape (n, 4), or None
        In the file's system; features that meet none may be left out.

    Returns
    -------
    values : mapping of str to ndarray
        By column.
    geometry : ndarray of Geometry, shape (m,)
        In the file's system.
    rows : ndarray of int, shape (m,)
        From 1.

    Raises
    ------
    InputError
        If there are more features than the job allows.
    """
    about = info(source)
    geometry_column = about["geometry_name"]
    is_large = boxes is not None and about["features"] > _READ_WHOLE
    if is_large and not about["capabilities"]["fast_spatial_filter"] and about["is_wkb"]:
        assert boxes is not None
        return _read_near(source.path, columns, geometry_column, boxes)
    box = None
    if is_large and boxes is not None and len(boxes) and about["capabilities"]["fast_spatial_filter"]:
        box = (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())
    else:
        require_at_most(about["features"], "max_rows", "features", source.path.name, _FIX)
    table = gpd.read_parquet(source.path, columns=[*columns, geometry_column], bbox=box)
    require_at_most(len(table), "max_rows", "features about the line", source.path.name, _FIX)
    geometry = table.geometry.to_numpy(dtype=object, na_value=None)
    return {name: table[name].to_numpy() for name in columns}, geometry, np.arange(len(table)) + 1


def _read_near(
    path: Path, columns: Sequence[str], geometry_column: str, boxes: FloatArray
) -> tuple[Mapping[str, NDArray[Any]], Geometries, NDArray[np.int64]]:
    """Read a large file piece by piece, and keep what meets a box or has no place."""
    file = pq.ParquetFile(path)
    west, south, east, north = boxes.reshape(-1, 4).T
    tree = shapely.STRtree(np.atleast_1d(shapely.box(west, south, east, north)))
    wanted = [*dict.fromkeys((*columns, geometry_column))]
    parts = []
    shapes, rows = [np.empty(0, dtype=object)], [np.empty(0, dtype=np.int64)]
    first, kept = 1, 0
    for batch in file.iter_batches(_TOGETHER, columns=wanted):
        geometry = np.asarray(shapely.from_wkb(batch.column(geometry_column).to_numpy(zero_copy_only=False)))
        nowhere = ~np.isfinite(shapely.bounds(geometry)).all(axis=1)
        keep = np.union1d(np.flatnonzero(nowhere), tree.query(geometry)[0])
        parts.append(batch.select(list(columns)).take(pa.array(keep)))
        shapes.append(geometry[keep])
        rows.append(first + keep)
        first += len(geometry)
        kept += len(keep)
        require_at_most(kept, "max_rows", "features near the line, or more", path.name, _FIX)
    values = {name: pa.chunked_array([part[name] for part in parts]).to_numpy() for name in columns}
    return values, np.concatenate(shapes), np.concatenate(rows).astype(np.int64)


def _metadata(path: Path) -> pq.FileMetaData:
    try:
        return pq.read_metadata(path)
    except (OSError, ValueError) as err:  # ArrowInvalid is a ValueError
        raise InputError(f"{path.name}: not a Parquet file: {str(err).splitlines()[0][:150]}") from err


def _geo(file: pq.FileMetaData, path: Path) -> dict[str, Any]:
    text = (file.metadata or {}).get(b"geo")
    if text is None:
        raise LayerError(f"{path.name}: a Parquet file without geometry. Write it as GeoParquet.")
    try:
        return dict(json.loads(text))
    except (TypeError, ValueError, RecursionError) as err:
        raise _odd_geo(path) from err


def _odd_geo(path: Path) -> InputError:
    return InputError(f"{path.name}: what it says of its geometry cannot be understood. Write it anew as GeoParquet.")
