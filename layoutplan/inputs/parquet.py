"""GeoParquet, which GDAL's wheels do not read."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyarrow.parquet as pq
import pyproj
from numpy.typing import NDArray

from layoutplan.errors import InputError, LayerError
from layoutplan.inputs.geodetic import FloatArray, Geometries
from layoutplan.job.section import FileSource

_READ_WHOLE = 500_000  # rows; read by place, they lose their numbers in the file
_SUFFIXES = (".parquet", ".geoparquet", ".pq")


def is_parquet(path: Path) -> bool:
    """Whether a file's name says it is Parquet."""
    return path.suffix.lower() in _SUFFIXES


def info(source: FileSource) -> dict[str, Any]:
    """Describe the file as pyogrio describes a layer.

    Raises
    ------
    InputError
        It is no Parquet file, or a filter is given, which this format does not know.
    LayerError
        It has no geometry.
    """
    if source.where is not None:
        raise InputError(f"{source.path.name}: `where` cannot be used on Parquet files; filter the file itself.")
    file = _metadata(source.path)
    geo = _geo(file, source.path)
    column = geo["columns"][geo["primary_column"]]
    fields = [name for name in file.schema.to_arrow_schema().names if name not in geo["columns"]]
    return {
        "fields": fields,
        "crs": pyproj.CRS.from_user_input(column.get("crs", "OGC:CRS84"))
        if column.get("crs", "") is not None
        else None,
        "geometry_type": "Unknown",
        "geometry_name": geo["primary_column"],
        "fid_column": "",
        "features": file.num_rows,
        "total_bounds": column.get("bbox") if len(column.get("bbox", ())) == 4 else None,
        "driver": "Parquet",
        "capabilities": {"fast_spatial_filter": "covering" in column},
    }


def read(
    source: FileSource, columns: Sequence[str], boxes: FloatArray | None
) -> tuple[Mapping[str, NDArray[Any]], Geometries, NDArray[np.int64]]:
    """Read columns, geometry and row numbers; see :func:`layoutplan.inputs.vector.read_vector`."""
    about = info(source)
    wanted = [*columns, about["geometry_name"]]
    box = None
    by_place = about["features"] > _READ_WHOLE and about["capabilities"]["fast_spatial_filter"]
    if boxes is not None and len(boxes) and by_place:
        box = (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())
    table = gpd.read_parquet(source.path, columns=wanted, bbox=box)
    geometry = table.geometry.to_numpy(dtype=object, na_value=None)
    return {name: table[name].to_numpy() for name in columns}, geometry, np.arange(len(table)) + 1


def _metadata(path: Path) -> pq.FileMetaData:
    try:
        return pq.read_metadata(path)
    except (OSError, ValueError) as err:  # ArrowInvalid is a ValueError
        raise InputError(f"{path.name}: not a Parquet file: {str(err).splitlines()[0][:150]}") from err


def _geo(file: pq.FileMetaData, path: Path) -> dict[str, Any]:
    text = (file.metadata or {}).get(b"geo")
    if text is None:
        raise LayerError(f"{path.name}: a Parquet file without geometry. Write it as GeoParquet.")
    return dict(json.loads(text))
