"""Reading a vector layer, or what of it lies in some boxes, in the quickest way its format has."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pyogrio.raw
import shapely
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.inputs import parquet
from layoutplan.inputs.door import limits_now, require_at_most
from layoutplan.inputs.geodetic import Geometries, datum_note, to_lonlat
from layoutplan.inputs.vector import VectorLayer, clear_errors, gdal_name, options

_READ_WHOLE = 50_000  # features; fewer take less time than asking for boxes
_FEATURES_PER_BOX = 5_000  # reading so many features takes about as long as opening the file for one more box
# places that no feature should have; asked for so that such features are counted, not overlooked
_INF = float("inf")
_NOWHERE = (
    (1e38, -_INF, _INF, _INF),
    (-_INF, -_INF, -1e38, _INF),
    (-_INF, 1e38, _INF, _INF),
    (-_INF, -_INF, _INF, -1e38),
)


@dataclass(frozen=True, slots=True)
class VectorTable:
    """What was read of a layer.

    Attributes
    ----------
    columns : mapping of ndarray
        The columns asked for, by name.
    geometry : ndarray of Geometry
        Two-dimensional, EPSG:4326; missing and unusable ones included.
    rows : ndarray of int
        The features' numbers in the file (in a very large GeoParquet file: in what was read of it).
    problems : tuple of str
    """

    columns: Mapping[str, NDArray[Any]]
    geometry: Geometries
    rows: NDArray[np.int64]
    problems: tuple[str, ...]


def read_vector(layer: VectorLayer, columns: Sequence[str], boxes: FloatArray | None = None) -> VectorTable:
    """Read a layer, or what of it meets some boxes.

    Parameters
    ----------
    layer : VectorLayer
        From `open_vector`.
    columns : sequence of str
        Columns to read; each must exist.
    boxes : ndarray, shape (n, 4), optional
        In the layer's system; features whose bounding boxes meet none may be left out.

    Returns
    -------
    VectorTable
        Geometry in EPSG:4326.

    Raises
    ------
    InputError
        If the file is damaged, or the job's filter cannot be used.
    """
    wanted = list(dict.fromkeys(columns))
    with clear_errors(layer.where, layer.source.where) as notes:
        if parquet.is_parquet(layer.source.path):
            values, geometry, rows = parquet.read(layer.source, wanted, boxes)
        else:
            values, geometry, rows = _read_in_boxes(layer, wanted, boxes)
    notes += datum_note(geometry, layer.crs, layer.where)
    return VectorTable(values, to_lonlat(geometry, layer.crs, layer.where), rows, tuple(notes))


_Part = tuple[Mapping[str, NDArray[Any]], Geometries, NDArray[np.int64]]


def _read_in_boxes(layer: VectorLayer, columns: list[str], boxes: FloatArray | None) -> _Part:
    """Choose the quickest way to what meets the boxes; features without a place come along where that costs little."""
    whole = {"layer": layer.layer, "where": layer.source.where}
    if boxes is None or layer.features <= _READ_WHOLE:
        return _read(layer, columns, **whole)
    if len(boxes) == 0:
        nothing = np.empty(0, dtype=object)
        return dict.fromkeys(columns, nothing), nothing, np.empty(0, dtype=np.int64)
    if layer.driver == "GPKG" and layer.has_index and layer.row_column:
        return _read(layer, columns, sql=_index_query(layer, columns, boxes))
    if not layer.has_index or layer.features < _FEATURES_PER_BOX * len(boxes):
        boxes = np.hstack((boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)))[None]
    parts = [_read(layer, columns, **whole, bbox=tuple(box)) for box in boxes.tolist()]
    values, geometry, rows = zip(*parts, strict=True)
    row = np.concatenate(rows)
    new = np.flatnonzero(~pd.Series(row).duplicated())
    together = {name: np.concatenate([part[name] for part in values])[new] for name in columns}
    return together, np.concatenate(geometry)[new], row[new]


def _read(found: VectorLayer, columns: list[str], **how: Any) -> _Part:
    most = limits_now().limits.max_rows
    if not 0 <= found.features <= most:
        how["max_features"] = most + 1
    how |= options(found.driver == "GML") | ({} if "sql" in how else {"columns": columns})
    path = gdal_name(found.source.path)
    try:
        _, table = pyogrio.raw.read_arrow(path, return_fids=True, **how)
        by_name = dict(zip(table.column_names, table.columns, strict=True))
        geometry_column = next((name for name in (found.geometry_column, "wkb_geometry") if name in by_name), "")
        geometry = shapely.from_wkb(by_name[geometry_column].to_numpy(), on_invalid="fix")  # closes rings
        values = {name: _plain(by_name[name]) for name in columns}
        rows = by_name[found.row_column or "OGC_FID"].to_numpy()
    except NotImplementedError:  # arcs: GDAL turns them into short straight lines on its slower way
        meta, rows, wkb, fields = pyogrio.raw.read(path, return_fids=True, **how)
        geometry = shapely.from_wkb(wkb, on_invalid="fix")
        values = dict(zip(meta["fields"], fields, strict=True))
    require_at_most(len(rows), "max_rows", "features to be read, or more", found.where, "Cut out what the line needs")
    return values, np.asarray(geometry, dtype=object), rows.astype(np.int64)


def _plain(column: pa.ChunkedArray) -> NDArray[Any]:
    """Cells as they are; lists and tables as text, for nothing here reads them."""
    if not pa.types.is_nested(column.type):
        return np.asarray(column.to_numpy())
    return np.array([None if cell is None else str(cell) for cell in column.to_pylist()], dtype=object)


def _index_query(layer: VectorLayer, columns: Sequence[str], boxes: FloatArray) -> str:
    """Join a layer with its r-tree (named as in the GeoPackage standard) and the boxes: one reading for all."""
    windows = ",".join("({!r},{!r},{!r},{!r})".format(*box) for box in (*boxes.tolist(), *_NOWHERE)).replace(
        "inf", "9e999"
    )
    wanted = ", ".join(_quoted(name) for name in (layer.row_column, *columns, layer.geometry_column))
    tree = _quoted(f"rtree_{layer.layer}_{layer.geometry_column}")
    row, geometry = _quoted(layer.row_column), _quoted(layer.geometry_column)
    also = f" AND ({layer.source.where})" if layer.source.where else ""
    return (
        f"SELECT {wanted} FROM {_quoted(layer.layer)} WHERE ({geometry} IS NULL OR ST_IsEmpty({geometry}) OR {row} IN "
        f"(SELECT r.id FROM (VALUES {windows}) AS w JOIN {tree} AS r "
        f"ON r.minx <= w.column3 AND r.maxx >= w.column1 AND r.miny <= w.column4 AND r.maxy >= w.column2)){also}"
    )


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'
