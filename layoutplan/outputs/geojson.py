"""``plan.geojson``: towers, electrodes and leads in one collection (RFC 7946)."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from layoutplan.layout.model import Plan
from layoutplan.layout.schema import TABLES, TableSchema
from layoutplan.outputs.columns import as_lists, turned, with_columns
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.rounding import LONLAT_DECIMALS, rounded

_KINDS = {"towers": "tower", "electrodes": "electrode", "leads": "lead"}
_HEMISPHERES = np.array([shapely.box(-180.0, -90.0, 180.0, 90.0), shapely.box(180.0, -90.0, 540.0, 90.0)])


def write_geojson(plan: Plan, folder: Path) -> Path:
    """Write one feature per line of text, its sort in ``kind``. Shapes are cut at the antimeridian.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    Path
        ``plan.geojson``.

    References
    ----------
    .. [1] H. Butler et al., RFC 7946, "The GeoJSON Format," August 2016.
    """
    path = folder / "plan.geojson"
    tables = {name: with_columns(getattr(plan, name), name) for name in _KINDS}
    lines = [
        line
        for name, frame in tables.items()
        for line in _features(frame.assign(plan_number=plan_number(plan)), TABLES[name])
    ]
    text = (
        '{"type": "FeatureCollection", "plan_number": "'
        + plan_number(plan)
        + '", "features": [\n'
        + ",\n".join(lines)
        + "\n]}\n"
    )
    path.write_text(text, encoding="utf-8", newline="\n")
    return path


def _features(frame: gpd.GeoDataFrame, schema: TableSchema) -> Iterator[str]:
    table = rounded(frame.drop(columns="geometry"), schema).replace([np.inf, -np.inf], np.nan)  # JSON has no infinity
    shapes = geojson_texts(cut_at_antimeridian(frame.geometry.array), LONLAT_DECIMALS)
    encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False, check_circular=False).encode
    keys = ("kind", *table.columns)
    for shape, *values in zip(shapes, *as_lists(table, table.columns), strict=True):
        properties = encode(dict(zip(keys, (_KINDS[schema.name], *values), strict=True)))
        yield f'{{"type": "Feature", "properties": {properties}, "geometry": {shape}}}'


def geojson_texts(geometries: ArrayLike, decimals: int) -> list[str]:
    """Return geometries as GeoJSON texts with rounded coordinates.

    Parameters
    ----------
    geometries : array_like of Geometry, shape (n,)
        Longitude and latitude. [deg]
    decimals : int
        Of a degree.

    Returns
    -------
    list of str
        One for each geometry.

    References
    ----------
    .. [1] H. Butler et al., RFC 7946, "The GeoJSON Format," August 2016.

    Examples
    --------
    >>> geojson_texts([shapely.Point(8.0000004, 47.1)], 6)
    ['{"type":"Point","coordinates":[8.0,47.1]}']
    """
    shapes = shapely.transform(np.asarray(geometries, dtype=object), lambda xy: np.round(xy, decimals) + 0.0)
    return list(shapely.to_geojson(shapes))


def cut_at_antimeridian(geometries: ArrayLike) -> NDArray[np.object_]:
    """Cut geometries that run beyond 180 degrees there, and bring the further parts back.

    Parameters
    ----------
    geometries : array_like of Geometry, shape (n,)
        Longitude and latitude, in one piece. [deg]

    Returns
    -------
    ndarray of Geometry, shape (n,)
        Within 180 degrees either way.

    References
    ----------
    .. [1] H. Butler et al., RFC 7946, "The GeoJSON Format," August 2016, section 3.1.9.

    Examples
    --------
    >>> span = shapely.LineString([(179.0, -17.0), (181.0, -17.0)])
    >>> sorted(part.bounds[::2] for part in cut_at_antimeridian([span])[0].geoms)
    [(-180.0, -179.0), (179.0, 180.0)]
    """
    shapes = turned(geometries)
    for row in np.flatnonzero(shapely.bounds(shapes)[..., 2] > 180.0):
        halves = turned(shapely.intersection(shapes[row], _HEMISPHERES))
        shapes[row] = shapely.union_all(halves[~shapely.is_empty(halves)])
    return shapes
