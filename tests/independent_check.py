"""Holds a written plan against its job file, by brute force and without the package's own geometry.

    python tests/independent_check.py OUT JOB.toml

The plan is read from ``plan.gpkg``, the rules from the job file and from the table of obstacle classes; defaults are
those of the published job file reference; where the job names an OpenStreetMap extract, streets without houses and
the sea are read from it again. Every stake, every lead and every alternative is measured with shapely in an
azimuthal equidistant projection about its tower, distances and bearings with geographiclib (C. Karney), grid positions
with PROJ's own derivatives. Nothing is imported from ``layoutplan``.
"""

from __future__ import annotations

import json
import re
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, time
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import osmium
import pandas as pd
import pyogrio
import rasterio
import shapely
from geographiclib.geodesic import Geodesic
from pygeomag import GeoMag, calculate_decimal_year
from pyproj import CRS, Proj, Transformer
from scipy.interpolate import RegularGridInterpolator

CLASSES = Path(__file__).parents[1] / "layoutplan" / "job" / "obstacle_classes.toml"
RULES = {
    "line_clearance_m": 50.0,
    "min_angle_deg": 30.0,
    "perpendicular_within_deg": 15.0,
    "min_distance_m": 0.0,
    "electrode_size_multiple": 5.0,
    "reel_m": 150.0,
    "slack_pct": 5.0,
    "same_side_min_angle_deg": 60.0,
    "sides": "preferred",
}
CLASS = {"stake": "no", "keep_out_m": 0.0, "lead_crossing": "no", "width_m": 0.0, "basis": "project setting",
         "osm_width_m": {}}  # fmt: skip
LEAST = {"lead_angle": 20.0, "opposite_sides": 45.0}  # never advised below, beside the floors of the classes
LINE = {"id": "line", "half_width_m": 8.0, "structure": "lattice_4"}
ASSUMED_ELECTRODE_M = 12.0
MAPPED_STUB_M = 10.0  # pieces that end nearer say nothing of its direction
SAME_LINE_M = 10.0  # a mapped segment this close to planned spans is the planned line
AT_TOWER_M = 1.0  # a power line this close to the tower ends there
ON_ARMS_M = 10.0  # and a mapped one that ends this close
GROUND_TOL_M = 0.1  # of a lead over ground of cells of 20 m to 90 m
TOL_M, TOL_DEG = 0.002, 0.01  # written numbers are rounded to 1 mm and 1e-4 degrees
SPANS_WITHIN_M = 2000.0
KEY = ["line_id", "tower_id"]
FIRST_DAY, LAST_DAY = date(2024, 11, 13), date(2029, 12, 31)  # of the World Magnetic Model 2025
AGREED, MET, CARE, COMPROMISE, UNCOVERED, NONE, BREAKS = (
    "needs agreement",
    "all rules met",
    "take care",
    "compromise",
    "map does not cover",
    "no layout",
    "breaks rules",
)
MAY_STAKE = (MET, CARE, COMPROMISE)
HOUSE_M = 60.0  # a street without a house so near says nothing of the ground so near
SILENT = {"houses_unmapped": "buildings:bare_streets", "shore_unmapped": "sea:unclear_shore"}
HOUSES = ("building", "garden_residential")
PLACED = re.compile(r" at (\d+(?:\.\d+)?) m(?:; |$)")
OUTSIDE = "land outside the permitted land"


class Plan:
    """The written plan and the job it was made for."""

    def __init__(self, folder: Path, job_file: Path) -> None:
        self.folder, self.job_file = folder, job_file
        self.job = tomllib.loads(job_file.read_text("utf-8-sig"))
        self.rules = RULES | self.job.get("rules", {})
        self.margin_m = self.job.get("score", {}).get("margin_m", 5.0)
        self.lines = {line.get("id", LINE["id"]): LINE | line for line in self.job["lines"]}
        names = ("towers", "spans", "electrodes", "leads", "alternatives", "obstacles", "checks", "relaxations")
        for name in (*names, "crossings"):
            setattr(self, name, self._read(name))
        self.sizes, self.bases = self._figures("earth_electrode_size"), self._figures("base_width")
        layers = self.job.get("layers", [])
        named = [(layer.get("obstacle_class"), *layer.get("class_map", {}).values()) for layer in layers]
        self.permitted_given = any("permitted_land" in names for names in named)
        self.ground = Ground([job_file.parent / name for name in self.job.get("terrain", {}).get("files", ())])
        tags = {tag for name in HOUSES for tag in self.classes[name]["osm_width_m"]}
        self.extracts = [Extract(path, tags) for path in self._extracts(layers)]
        self.tree = shapely.STRtree(self.obstacles.geometry.to_numpy())
        self.span_tree = shapely.STRtree(self.spans.geometry.to_numpy())
        wide = self.obstacles["width_m"].max() / 2 if len(self.obstacles) else 0.0
        self.first_day = self.job.get("work", {}).get("first_day")
        self.sight_m = self.rules["reel_m"] + max(row["keep_out_m"] for row in self.classes.values()) + wide + 50.0

    def declination_deg(self, lon_deg: float, lat_deg: float) -> float:
        """Of the compass on the first day of work; NaN where a crew is given none."""
        if self.first_day is None or not FIRST_DAY <= self.first_day <= LAST_DAY:
            return float("nan")
        year = calculate_decimal_year(datetime.combine(self.first_day, time()))
        point = GeoMag().calculate(glat=lat_deg, glon=lon_deg, alt=0.0, time=year, allow_date_outside_lifespan=True)
        return float("nan") if point.in_blackout_zone else float(point.d)

    def _extracts(self, layers: list[dict[str, Any]]) -> list[Path]:
        """OpenStreetMap files of the job that are taken whole."""
        paths = [self.job_file.parent / layer["path"] for layer in layers if not layer.get("skip_classes")]
        return [path for path in paths if re.search(r"\.osm(\.|$)|\.pbf$", path.name)]

    @property
    def vouched(self) -> bool:
        """Whether the user vouches for more than how far the map reaches."""
        return bool(set(self.job.get("coverage", {}).get("themes", ())) - {"reach"})

    def _read(self, name: str) -> pd.DataFrame:
        table = pyogrio.read_dataframe(self.folder / "plan.gpkg", layer=name)
        return table.to_crs("EPSG:4326") if "geometry" in table else table

    @cached_property
    def classes(self) -> dict[str, dict[str, Any]]:
        table = {name: CLASS | row for name, row in tomllib.loads(CLASSES.read_text("utf-8")).items()}
        table["power_line"]["keep_out_m"] = self.rules["line_clearance_m"]
        for name, keys in self.job.get("classes", {}).items():
            table.setdefault(name, dict(CLASS)).update(keys)
        return table

    @cached_property
    def grid_crs(self) -> CRS:
        return CRS.from_user_input(json.loads((self.folder / "plan.json").read_text("utf-8"))["grid_crs"])

    def _figures(self, what: str) -> dict[tuple[str, str], float]:
        """Column of the towers' own tables that holds a figure in metres."""
        out = {}
        for name, line in self.lines.items():
            source = line.get("towers", {})
            if column := source.get(f"{what}_column"):
                options = {key: source[key] for key in ("layer", "where") if key in source}
                table = pyogrio.read_dataframe(self.job_file.parent / source["path"], read_geometry=False, **options)
                ids = table[source.get("id_column", "tower_id")]
                values = pd.to_numeric(table[column], errors="coerce")
                out |= {(name, _text(key)): float(v) for key, v in zip(ids, values, strict=True) if v == v}
        return out

    def figure(self, tower: Any, what: str) -> float | None:
        table = self.sizes if what == "earth_electrode_size" else self.bases
        return table.get((tower.line_id, tower.tower_id), self.lines[tower.line_id].get(f"{what}_m"))

    def least_m(self, tower: Any) -> float:
        size, base = self.figure(tower, "earth_electrode_size"), self.figure(tower, "base_width")
        if size is None:
            size = ASSUMED_ELECTRODE_M if base is None else base * 2**0.5
        return max(self.rules["min_distance_m"], self.rules["electrode_size_multiple"] * size)


class Extract:
    """Streets where people live, houses and coastlines of an OpenStreetMap file, as drawn."""

    def __init__(self, path: Path, tags: set[str]) -> None:
        factory = osmium.geom.WKBFactory()
        draw = {"n": factory.create_point, "w": factory.create_linestring, "a": factory.create_multipolygon}
        found: dict[str, list[Any]] = {"street": [], "house": [], "coast": []}
        for thing in osmium.FileProcessor(str(path)).with_areas().with_filter(osmium.filter.EmptyTagFilter()):
            kind = thing.type_str()
            what = self._what(dict(thing.tags), tags)
            if kind in draw and what and (what == "house" or kind == "w"):
                try:
                    found[what].append(shapely.from_wkb(bytes.fromhex(draw[kind](thing))))
                except (osmium.InvalidLocationError, RuntimeError):  # not whole in the file
                    continue
        self.streets, self.houses, self.coast = (shapely.STRtree(shapes) for shapes in found.values())

    @staticmethod
    def _what(here: dict[str, str], house_tags: set[str]) -> str:
        if here.get("natural") == "coastline":
            return "coast"
        if here.get("highway") in ("residential", "living_street"):
            return "street"
        plain = {(key.removeprefix("disused:").removeprefix("abandoned:"), value) for key, value in here.items()}
        every = {f"{key}={one}" for key, value in plain if value != "no" for one in (value, "*")}
        return "house" if every & house_tags else ""


class Ground:
    """Heights of an elevation model in metres, one file, read with rasterio and interpolated by scipy."""

    def __init__(self, files: list[Path]) -> None:
        self.at: Any = None
        for path in files[:1]:
            with rasterio.open(path) as raster:
                heights = raster.read(1, masked=True).astype(float).filled(np.nan)
                edges = raster.transform
                x = edges.c + edges.a * (np.arange(raster.width) + 0.5)
                y = edges.f + edges.e * (np.arange(raster.height) + 0.5)
                self.to_file = Transformer.from_crs("EPSG:4326", raster.crs, always_xy=True)
            self.at = RegularGridInterpolator((y[::-1], x), heights[::-1], bounds_error=False)

    def length_m(self, tower: Any, row: Any) -> float:
        """Length of a lead over the ground."""
        if self.at is None:
            return float("nan")
        line = Geodesic.WGS84.InverseLine(tower.lat, tower.lon, row.lat, row.lon)
        along = np.linspace(0.0, line.s13, int(np.ceil(line.s13 / 2.0)) + 1)
        lonlat = np.array([(at["lon2"], at["lat2"]) for at in map(line.Position, along)])
        heights = self.at(np.column_stack(self.to_file.transform(*lonlat.T))[:, ::-1])
        return float(np.hypot(np.diff(along), np.diff(heights)).sum())


class Place:
    """Everything around one tower, in metres east and north of it."""

    def __init__(self, plan: Plan, tower: Any) -> None:
        self.plan, self.tower = plan, tower
        self._proj = Proj(proj="aeqd", lon_0=tower.lon, lat_0=tower.lat, ellps="WGS84")
        self.spans = [
            (self.local(g), h) for g, h in self._near(plan.span_tree, plan.spans, ["half_width_m"], SPANS_WITHIN_M)
        ]
        self.axes = shapely.MultiLineString([span for span, _ in self.spans])
        columns = ["obstacle_class", "feature_id", "width_m"]
        self.features = [
            Feature(self.local(g), kind, str(number), 0.0 if g.geom_type in AREAS else width / 2, self)
            for g, kind, number, width in self._near(plan.tree, plan.obstacles, columns, plan.sight_m)
        ]
        self.permitted = shapely.union_all([f.shape for f in self.features if f.kind == "permitted_land"])

    def _near(self, tree: Any, table: Any, columns: list[str], within_m: float) -> list[tuple[Any, ...]]:
        high = within_m / 110_000
        wide = high / np.cos(np.radians(abs(self.tower.lat) + high))
        boxes = [
            shapely.box(lon - wide, self.tower.lat - high, lon + wide, self.tower.lat + high)
            for lon in (self.tower.lon + turn for turn in (-360, 0, 360))
        ]
        rows = np.unique(tree.query(boxes)[1])
        return list(zip(table.geometry.to_numpy()[rows], *(table[c].to_numpy()[rows] for c in columns), strict=True))

    def local(self, geometry: Any) -> Any:
        return shapely.transform(geometry, lambda xy: np.column_stack(self._proj(xy[:, 0], xy[:, 1])))

    def lonlat(self, xy: Any) -> Any:
        return np.column_stack(self._proj(xy[:, 0], xy[:, 1], inverse=True))

    def bare_streets(self, stake: Any) -> bool:
        """Whether a stake is near a street along which no house and no residential land is mapped."""
        around = shapely.transform(stake, self.lonlat).buffer(0.002)
        mapped = [f.shape for f in self.features if f.kind in HOUSES]  # other layers may hold them, too
        for extract in self.plan.extracts:
            for row in extract.streets.query(around):
                drawn = extract.streets.geometries[row]
                street = self.local(drawn)
                if street.distance(stake) < HOUSE_M:
                    rows = extract.houses.query(drawn.buffer(0.003))
                    houses = [*mapped, *(self.local(extract.houses.geometries[house]) for house in rows)]
                    if all(street.distance(house) > HOUSE_M for house in houses):
                        return True
        return False

    @cached_property
    def coast(self) -> tuple[Any, Any]:
        """Ends of the segments of all coastlines within some 20 km."""
        box = shapely.Point(self.tower.lon, self.tower.lat).buffer(0.2)
        lines = [e.coast.geometries[row] for e in self.plan.extracts for row in e.coast.query(box)]
        pairs = [np.stack((xy[:-1], xy[1:]), axis=1) for xy in (shapely.get_coordinates(self.local(g)) for g in lines)]
        both = np.concatenate([np.empty((0, 2, 2)), *pairs])
        both = both[np.hypot(*(both[:, 1] - both[:, 0]).T) > 0]
        return both[:, 0], both[:, 1]

    def in_the_sea(self, at: Any) -> bool:
        """Whether the nearest coastline has a position to its right; at its bends both sides of them count."""
        start, end = self.coast
        if len(start) == 0 or any(f.kind == "shore_unmapped" and f.shape.intersects(at) for f in self.features):
            return False
        length = np.hypot(*(end - start).T)
        along, off = (end - start) / length[:, None], np.array(at.coords[0]) - start
        off -= np.clip(np.einsum("ij,ij->i", off, along), 0.0, length)[:, None] * along
        away = np.hypot(*off.T)
        near = away <= away.min() + 1e-6
        return bool((along[near, 0] * off[near, 1] - along[near, 1] * off[near, 0]).sum() < -1e-6)

    @cached_property
    def bearings(self) -> list[float]:
        """Bearings of the spans that end at the tower."""
        out = []
        for span, _ in self.spans:
            ends = shapely.get_coordinates(span)
            for here, there in (ends[[0, 1]], ends[[-1, -2]]):
                if np.hypot(*here) < AT_TOWER_M:
                    out.append(float(np.degrees(np.arctan2(*(there - here))) % 360))
        return out + self._mapped_bearings()

    def _mapped_bearings(self) -> list[float]:
        """Bearings of mapped overhead lines, other than the planned ones, that come to the tower point."""
        out = []
        for feature in self.features:
            if not feature.hangs:
                continue
            for segment in _segments(feature.body):
                if feature.is_span(segment):
                    far = [end for end in segment.coords if np.hypot(*end) > MAPPED_STUB_M]
                    out += [float(np.degrees(np.arctan2(*end)) % 360) for end in far]
        return out


AREAS = ("Polygon", "MultiPolygon")


class Feature:
    """A map feature in the tower's projection."""

    def __init__(self, shape: Any, kind: str, number: str, half_m: float, place: Place) -> None:
        self.shape, self.kind, self.number, self.half_m, self.place = shape, kind, number, half_m, place

    @cached_property
    def rule(self) -> dict[str, Any]:
        return self.place.plan.classes[self.kind]

    @property
    def is_area(self) -> bool:
        return self.shape.geom_type in AREAS

    @property
    def hangs(self) -> bool:
        """An overhead line: it may be the planned line itself, and what ends at a tower is a span of it."""
        return self.rule.get("overhead_line", False) and not self.is_area

    @cached_property
    def body(self) -> Any:
        """The shape without the segments that are the planned line itself."""
        if not self.hangs or self.shape.geom_type == "Point":
            return self.shape
        return shapely.MultiLineString([s for s in _segments(self.shape) if not self._own(s)])

    def is_span(self, segment: Any) -> bool:
        """Whether a segment of an overhead line comes to the tower, or the mapped line ends at its arms."""
        parts = [part for part in shapely.get_parts(self.shape) if part.geom_type == "LineString"]
        ends = {end for part in parts for end in (part.coords[0], part.coords[-1])}
        on_arms = any(np.hypot(*xy) <= ON_ARMS_M and xy in ends for xy in segment.coords)
        return segment.distance(ORIGIN) <= AT_TOWER_M or on_arms

    def _own(self, segment: Any) -> bool:
        places = [segment.interpolate(share, normalized=True) for share in (0.0, 0.5, 1.0)]
        return all(self.place.axes.distance(place) <= SAME_LINE_M for place in places)

    @cached_property
    def edge(self) -> Any:
        """What a lead can pass: the edge of an area; of power lines what does not come to the tower."""
        if self.hangs:
            far = [s for s in _segments(self.body) if not self.is_span(s)]
            return shapely.MultiLineString(far)
        return self.shape.boundary if self.is_area else self.body

    def stake_gap_m(self, stake: Any) -> float:
        """Distance from the edge; inside an area the distance to the edge with a minus."""
        if self.body.is_empty:
            return np.inf
        if self.is_area and self.shape.contains(stake):
            return -float(self.shape.boundary.distance(stake))
        return float(self.body.distance(stake)) - self.half_m

    def touch(self, lead: Any) -> tuple[bool, bool, float]:
        """Whether a lead surely and possibly touches the feature, and how far from the tower it does so first."""
        if self.is_area:
            return self._touch_of(lead, self.shape)
        body = self.body
        if self.hangs:
            body = shapely.MultiLineString([s for s in _segments(body) if not self.is_span(s)])
        if body.is_empty:
            return False, False, np.inf
        if self.half_m == 0 or self.body.distance(ORIGIN) <= self.half_m:
            return _crossing(lead, body)
        gap = lead.distance(body) - self.half_m
        first = _first(lead.intersection(body.buffer(self.half_m + TOL_M, quad_segs=64)))
        return gap < -TOL_M, gap < TOL_M, first

    def _touch_of(self, lead: Any, area: Any) -> tuple[bool, bool, float]:
        part = lead.intersection(area)
        return part.length > TOL_M, lead.distance(area) < TOL_M, _first(part)


ORIGIN = shapely.Point(0, 0)


def _segments(line: Any) -> list[Any]:
    out = []
    for part in shapely.get_parts(line):
        xy = shapely.get_coordinates(part)
        out += [shapely.LineString(xy[i : i + 2]) for i in range(len(xy) - 1)]
    return out


def _crossing(lead: Any, axis: Any) -> tuple[bool, bool, float]:
    """Whether a lead surely and possibly crosses an axis, and where; the ends of both are left in doubt."""
    points = lead.intersection(axis)
    if points.is_empty:
        return False, lead.distance(axis) < TOL_M, np.inf
    ends = [lead.coords[-1], *(xy for part in shapely.get_parts(axis) for xy in (part.coords[0], part.coords[-1]))]
    loose = [xy for xy in ends if Counter(ends)[xy] == 1]
    return points.distance(shapely.MultiPoint(loose)) > TOL_M, True, _first(points)


def _first(shape: Any) -> float:
    return np.inf if shape.is_empty else float(shape.distance(ORIGIN))


def _text(value: Any) -> str:
    return str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip()


def _turn(difference_deg: float) -> float:
    return abs((difference_deg + 180) % 360 - 180)


def _fold(difference_deg: float) -> float:
    return min(_turn(difference_deg), 180 - _turn(difference_deg))


def violations(folder: str | Path, job_file: str | Path) -> list[str]:
    """Everything in the plan that breaks a rule of the job, or that does not say what is so."""
    plan = Plan(Path(folder), Path(job_file))
    found = [*_accounts(plan), *_class_columns(plan), *_advice(plan)]
    stakes, leads = dict(list(plan.electrodes.groupby(KEY))), dict(list(plan.leads.groupby(KEY)))
    other, checks = dict(list(plan.alternatives.groupby(KEY))), dict(list(plan.checks.groupby(KEY)))
    for tower in plan.towers.itertuples():
        key = (tower.line_id, tower.tower_id)
        place = Place(plan, tower)
        texts = []
        if key in stakes:
            texts += _layout(place, stakes[key], leads.get(key, plan.leads[:0]), checks.get(key, plan.checks[:0]))
        for row in other[key].itertuples() if key in other else ():
            texts += [f"alternative {row.side} {row.rank}: {text}" for text in _position(place, row)]
        found += [f"line '{key[0]}', tower {key[1]}: {text}" for text in texts]
    return found


def _advice(plan: Plan) -> Iterator[str]:
    """Nothing below the floor of its class, nothing that nobody can agree to, roads and railways crossed last."""
    for key, rows in plan.relaxations.groupby(KEY):
        single = rows[~rows["text"].str.startswith("no single change")].sort_values("rank")
        last = single["rule"].isin(["lead_crossing:main_road", "lead_crossing:railway"]).tolist()
        if last != sorted(last):
            yield f"tower {key[1]}: crossing a main road or railway is advised before something gentler"
        for row in rows.itertuples():
            rule, _, name = row.rule.partition(":")
            row_class = (
                plan.classes["power_line" if rule == "line_clearance" else name] if name or "line" in rule else {}
            )
            relaxing = row_class.get("relaxing", {})
            floor = LEAST.get(rule, 0.0)
            if rule in ("keep_out", "line_clearance"):
                floor = row_class.get("floor_m", relaxing.get("floor_m", row_class["keep_out_m"]))
            if row.needed < floor - TOL_M:
                yield f"tower {key[1]}: advised {row.rule} of {row.needed:g} {row.unit}, below its floor of {floor:g}"
            if rule == "lead_crossing" and not relaxing.get("may_cross", True):
                yield f"tower {key[1]}: a lead across {name} is advised"


def _accounts(plan: Plan) -> Iterator[str]:
    """Every tower once; two stakes and two leads, or none and the reason why."""
    names = list(plan.towers[KEY].itertuples(index=False, name=None))
    for name, count in Counter(names).items():
        if count > 1:
            yield f"tower {name} is listed {count} times"
    for table in ("electrodes", "leads", "alternatives", "checks"):
        for name in set(getattr(plan, table)[KEY].itertuples(index=False, name=None)) - set(names):
            yield f"{table} of a tower {name} that is not listed"
    roles = plan.electrodes.groupby(KEY)["role"].apply(lambda role: "".join(sorted(role))).to_dict()
    lead_roles = plan.leads.groupby(KEY)["role"].apply(lambda role: "".join(sorted(role))).to_dict()
    for tower in plan.towers.itertuples():
        want = "" if tower.status == NONE else "HS"
        for what, table in (("stakes", roles), ("leads", lead_roles)):
            if (got := table.get((tower.line_id, tower.tower_id), "")) != want:
                yield f"tower {tower.tower_id} ({tower.status}) has {what} '{got}'"
        if tower.status not in (MET, CARE, AGREED, COMPROMISE, UNCOVERED, NONE):
            yield f"tower {tower.tower_id} has the unknown status '{tower.status}'"
        if not tower.reasons:
            yield f"tower {tower.tower_id} has no reasons"
    if plan.electrodes["waypoint"].duplicated().any():
        yield "two stakes have one waypoint name"
    yield from _missing(plan, set(names))


def _missing(plan: Plan, names: set[tuple[str, str]]) -> Iterator[str]:
    """Towers that spans name must be listed, or stand where a listed tower of another line stands."""
    listed = plan.towers[["lon", "lat"]].to_numpy()
    beside = {name for name, line in plan.lines.items() if not line.get("measured", True)}
    for span in plan.spans[~plan.spans["line_id"].isin(beside)].itertuples():
        ends = (span.from_tower, span.geometry.coords[0]), (span.to_tower, span.geometry.coords[-1])
        for tower, (lon, lat) in ends:
            if tower and (span.line_id, tower) not in names:
                near = listed[np.abs(listed[:, 1] - lat) < 1e-4]
                if not any(Geodesic.WGS84.Inverse(lat, lon, y, x)["s12"] <= AT_TOWER_M for x, y in near):
                    yield f"tower {tower} of line '{span.line_id}' is in the spans, but not planned"


def _class_columns(plan: Plan) -> Iterator[str]:
    columns = ["keep_out_m", "stake", "lead_crossing"]
    for name, *values in plan.obstacles[["obstacle_class", *columns]].drop_duplicates().itertuples(index=False):
        want = [plan.classes[name][column] for column in columns]
        if values != want:
            yield f"obstacle class {name} was used with {values}, the job says {want}"


def _layout(place: Place, stakes: Any, leads: Any, checks: Any) -> Iterator[str]:
    lines = leads.set_index("role")
    by_role = {row.role: row for row in stakes.itertuples()}
    for role, row in by_role.items():
        if role not in lines.index:
            continue  # said where towers are counted
        lead = lines.loc[role]
        for text in (*_position(place, row), *_said(place, row, lead), *_judged(place, row, lead)):
            yield f"{role}: {text}"
        for text in _checked(place, row, checks[checks["role"] == role]):
            yield f"{role}: {text}"
    if {"H", "S"} <= set(by_role):
        yield from _pair(place, by_role["H"], by_role["S"])


def _position(place: Place, row: Any) -> Iterator[str]:
    """Hard rules of one position, and the figures that every position has."""
    plan, tower = place.plan, place.tower
    geodesic = Geodesic.WGS84.Inverse(tower.lat, tower.lon, row.lat, row.lon)
    if abs(geodesic["s12"] - row.distance_m) > 0.01:
        yield f"distance is {geodesic['s12']:.3f} m, not {row.distance_m} m"
    if _turn(geodesic["azi1"] - row.bearing_true_deg) > 0.01 or not 0 <= row.bearing_true_deg < 360:
        yield f"bearing is {geodesic['azi1'] % 360:.4f}, not {row.bearing_true_deg}"
    stake = place.local(row.geometry)
    xy = np.array(stake.coords[0])
    lead = shapely.LineString([xy / np.hypot(*xy) * 1e-3, xy])
    angle = min(_fold(row.bearing_true_deg - bearing) for bearing in place.bearings)
    if abs(angle - row.angle_to_line_deg) > TOL_DEG:
        yield f"angle to the line is {angle:.3f}, not {row.angle_to_line_deg}"
    if angle < plan.rules["min_angle_deg"] - TOL_DEG:
        yield f"angle to the line is {angle:.3f}"
    if row.distance_m < plan.least_m(tower) - TOL_M:
        yield f"distance {row.distance_m} m is below {plan.least_m(tower):.2f} m"
    if row.lead_length_m > plan.rules["reel_m"] + TOL_M:
        yield f"lead of {row.lead_length_m} m is longer than the reel"
    axis = place.axes.distance(stake)
    if abs(axis - row.distance_to_line_m) > 0.01:
        yield f"distance to the line's axis is {axis:.3f} m, not {row.distance_to_line_m} m"
    yield from _obstacles(place, stake, lead)


def _obstacles(place: Place, stake: Any, lead: Any) -> Iterator[str]:
    clearance = place.plan.classes["power_line"]["keep_out_m"]
    for span, half in place.spans:
        if (gap := span.distance(stake) - half) < clearance - TOL_M:
            yield f"{gap:.3f} m from the outermost conductor of a planned span"
        if span.distance(ORIGIN) > AT_TOWER_M and _crossing(lead, span)[0]:
            yield "the lead crosses a planned span"
    for feature in place.features:
        if feature.rule["stake"] == "no" and (gap := feature.stake_gap_m(stake)) < feature.rule["keep_out_m"] - TOL_M:
            yield f"{gap:.3f} m from {feature.kind} {feature.number}"
        if feature.rule["lead_crossing"] == "no" and feature.touch(lead)[0]:
            yield f"the lead crosses {feature.kind} {feature.number}"
    if place.plan.permitted_given and place.permitted.distance(stake) > TOL_M:
        yield "outside the permitted land"
    if any(place.in_the_sea(at) for at in (stake, lead.interpolate(0.5, normalized=True))):
        yield "in the sea, or the lead is"


def _said(place: Place, row: Any, lead: Any) -> Iterator[str]:
    """Columns of a stake that describe where it is."""
    tower, slack = place.tower, 1 + place.plan.rules["slack_pct"] / 100
    if np.hypot(_turn(row.geometry.x - row.lon), row.geometry.y - row.lat) > 1e-8:
        yield "the point is not where lon and lat say"
    ends = shapely.get_coordinates(place.local(lead.geometry))[[0, -1]]
    if np.abs(ends - [[0, 0], place.local(row.geometry).coords[0]]).max() > TOL_M:
        yield "the lead does not run from the tower to the stake"
    octants = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
    if row.octant != octants[int(((row.bearing_true_deg + 22.5) % 360) // 45)]:
        yield f"octant {row.octant} is wrong"
    yield from _set_out(place, row, lead)
    from_leg = row.set_out_level_m
    extra = max(np.nan_to_num(lead.ground_length_m - row.distance_m), 0.0)
    if not abs((from_leg + extra) * slack - row.lead_length_m) <= TOL_M:
        yield f"lead of {row.lead_length_m} m is not {from_leg} m and {extra:.3f} m for the slope, with its slack"
    over_ground = place.plan.ground.length_m(tower, row)
    if not np.allclose(over_ground, lead.ground_length_m, atol=GROUND_TOL_M, equal_nan=True):
        yield f"{lead.ground_length_m} m over the ground, by another reading of the heights {over_ground:.3f} m"
    lon = (row.lon + 180) % 360 - 180
    east, north = Transformer.from_crs("EPSG:4326", place.plan.grid_crs, always_xy=True).transform(lon, row.lat)
    if np.hypot(east - row.easting, north - row.northing) > TOL_M:
        yield f"grid position is {east:.3f} {north:.3f}"
    factors = Proj(place.plan.grid_crs).get_factors((tower.lon + 180) % 360 - 180, tower.lat)
    if _turn(row.bearing_true_deg - factors.meridian_convergence - row.bearing_grid_deg) > TOL_DEG:
        yield f"grid bearing {row.bearing_grid_deg} does not fit a convergence of {factors.meridian_convergence:.4f}"


def _set_out(place: Place, row: Any, lead: Any) -> Iterator[str]:
    """What the crew sets out by, and what it is told before."""
    if bool(row.warning) == (row.status in MAY_STAKE) or not row.warning.endswith(row.status * bool(row.warning)):
        yield f"'{row.warning}' is no warning for {row.status}"
    if row.set_out_from != (f"leg {row.leg}" if row.leg else "tower middle"):
        yield f"it cannot be set out from '{row.set_out_from}'"
    east, north = np.array(place.local(row.geometry).coords[0]) - (_leg(place, row) if row.leg else 0.0)
    if abs(np.hypot(east, north) - row.set_out_level_m) > 0.01:
        yield f"{row.set_out_level_m} m is not the distance from '{row.set_out_from}'"
    if abs(_turn(np.degrees(np.arctan2(east, north)) - row.set_out_bearing_deg)) > 0.02:
        yield f"{row.set_out_bearing_deg} degrees is not the bearing from '{row.set_out_from}'"
    tape = row.set_out_level_m + np.maximum(lead.ground_length_m - row.distance_m, 0.0)
    if not np.isclose(tape, row.set_out_ground_m, atol=0.002, equal_nan=True):
        yield f"a tape of {row.set_out_ground_m} m is not {tape:.3f} m"
    declination = place.plan.declination_deg((place.tower.lon + 180) % 360 - 180, place.tower.lat)
    compass = row.set_out_bearing_deg - declination
    if np.isnan(compass) != np.isnan(row.set_out_bearing_magnetic_deg) or (
        abs(_turn(compass - row.set_out_bearing_magnetic_deg)) > 0.3  # half a degree in steps, and two models
    ):
        yield f"{row.set_out_bearing_magnetic_deg} degrees is not the compass bearing, which is {compass:.2f}"


def _leg(place: Place, row: Any) -> Any:
    """Place of the named leg: right and ahead of the tower point in half base widths."""
    base = place.plan.figure(place.tower, "base_width")
    third = 3**0.5 / 3
    if place.tower.structure == "lattice_3":
        across, along = {"ahead": (0, 2 * third), "right back": (1, -third), "left back": (-1, -third)}[row.leg]
    else:
        across = ("right" in row.leg) - ("left" in row.leg)
        along = ("ahead" in row.leg) - ("back" in row.leg)
    turn = np.radians(place.tower.line_bearing_deg)
    ahead, right = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    return base / 2 * (across * right + along * ahead)


def _judged(place: Place, row: Any, lead: Any) -> Iterator[str]:
    """What is to be agreed must be named, and the status must say so."""
    line = place.local(lead.geometry)
    xy = np.array(line.coords[-1])
    line = shapely.LineString([xy / np.hypot(*xy) * 1e-3, xy])
    touches = [(f, *f.touch(line)) for f in place.features if f.rule["lead_crossing"] in ("agree", "care")]
    met = place.plan.crossings
    met = met[(met[[*KEY, "role"]] == [*(getattr(row, key) for key in KEY), row.role]).all(axis=1)]
    met = met[met["met_by"] == "lead"]
    listed = list(zip(met["feature_id"], met["at_m"], strict=True))
    named = Counter(number for number, _ in listed if number)
    for number, count in (Counter(f.number for f, sure, *_ in touches if sure) - named).items():
        yield f"the crossing of {number} is not named ({count})"
    for number, count in (named - Counter(f.number for f, _, maybe, _ in touches if maybe)).items():
        yield f"a crossing of {number} is named that is none ({count})"
    for number, at in listed:
        if number and all(abs(first - at) > 0.1 for f, *_, first in touches if f.number == number):
            yield f"the crossing of {number} is not at {at} m"
    told = [float(at) for at in PLACED.findall(lead.crossings)]
    if told != [float(f"{at:.1f}") for _, at in listed if at > 0]:
        yield f"the lead's own words place its crossings at {told} m, the table of crossings does not"
    beyond = "outside_permitted" in set(met["obstacle_class"])
    outside = line.difference(place.permitted).length if place.plan.permitted_given else 0.0
    if beyond != (OUTSIDE in lead.crossings) or ((outside > 2 * TOL_M) != beyond and not 0 < outside <= 2 * TOL_M):
        yield f"{outside:.3f} m of the lead are outside the permitted land"
    stake = shapely.Point(xy)
    grounds = [f for f in place.features if f.rule["stake"] == "agree" and f.is_area and f.kind not in SILENT]
    held = any(f.stake_gap_m(stake) < -TOL_M for f in grounds)
    agree = held or beyond
    agree |= any(f.number in named for f, *_ in touches if f.rule["lead_crossing"] == "agree")
    if agree and row.status not in (AGREED, UNCOVERED):
        yield f"something is to be agreed, and the status is '{row.status}'"
    if lead.crossings and row.status == MET:
        yield "the lead crosses something to be minded, and the status says all rules met"
    if not place.tower.map_covers and row.status != UNCOVERED:
        yield f"the map does not cover the tower, and the status is '{row.status}'"
    over = {SILENT[f.kind] for f in place.features if f.kind in SILENT and f.shape.intersects(line)}
    if over != {gap for gap in row.map_gaps.split() if gap in SILENT.values()}:
        yield f"the lead runs over ground of which the map is silent ({', '.join(over)}); told: {row.map_gaps}"
    blind = bool(place.plan.job.get("terrain", {}).get("files")) and bool(
        np.isnan(row.slope_deg) or np.isnan(lead.cliff_drop_m)
    )
    told = row.status in (UNCOVERED, BREAKS) if row.map_gaps or blind else row.status != UNCOVERED
    if not told or (row.map_gaps and "remedy:" not in row.reasons):
        yield f"silent of {row.map_gaps or 'nothing'}, and the status is '{row.status}'"
    if row.status not in (UNCOVERED, BREAKS) and not place.plan.vouched and place.bare_streets(stake):
        yield f"near a street without houses, and the status is '{row.status}'"
    if row.off_square_deg > place.plan.rules["perpendicular_within_deg"] + TOL_DEG and row.status in (MET, CARE):
        yield "off square, and the status says all rules met"


def _checked(place: Place, row: Any, checks: Any) -> Iterator[str]:
    """The table of checks: nothing broken, nothing called kept that is not known, measured values right."""
    rules = dict(zip(checks["rule"], checks.itertuples(), strict=True))
    for name in ("line_clearance", "lead_angle", "electrode_distance", "reel", "lead_crossing", "map_coverage"):
        if name not in rules:
            yield f"no check of {name}"
    for name, check in rules.items():
        if check.verdict == "broken":
            yield f"check {name} is broken"
        themes = _themes(place.plan, name)
        if themes is None:
            continue
        silent = {"reach", *themes} & {gap.partition(":")[0] for gap in row.map_gaps.split()}
        if silent and check.verdict == "kept":
            yield f"check {name} is called kept where the map is silent ({', '.join(sorted(silent))})"
        if not silent and check.verdict == "unknown":
            yield f"check {name} is called unknown, and the map is not silent of it"
    stake = place.local(row.geometry)
    lead = shapely.LineString([ORIGIN, stake])
    barred = [f for f in place.features if f.rule["lead_crossing"] == "no" and not f.edge.is_empty]
    passed = min((max(lead.distance(f.edge) - f.half_m, 0.0) for f in barred), default=np.inf)
    margin = place.plan.margin_m
    beside = rules["lead_beside"]
    if passed < margin - TOL_M and not (abs(passed - beside.measured) < 0.01 and beside.verdict == "compromise"):
        yield f"the lead passes something it must not cross by {passed:.3f} m; told: {beside.measured} m"
    if passed > margin + TOL_M and beside.verdict == "compromise":
        yield f"the lead is said to pass something by {beside.measured} m, and does so by {passed:.3f} m"
    if passed < margin - TOL_M and row.status in (MET, CARE):
        yield f"the lead passes something it must not cross by {passed:.3f} m, and the status says all rules met"
    for name, check in rules.items():
        if name.startswith("keep_out:"):
            gaps = [max(f.stake_gap_m(stake), 0) for f in place.features if f.kind == name.removeprefix("keep_out:")]
            if abs(min(gaps, default=np.inf) - check.measured) > 0.01:
                yield f"check {name}: {min(gaps, default=np.inf):.3f} m, not {check.measured} m"
    yield from _in_doubt(place, row, rules, stake)


def _themes(plan: Plan, rule: str) -> set[str] | None:
    """Themes of the map on which a check rests; None of those that do not rest on the map."""
    of = {"lead_crossing": ("lead_crossing", "no"), "lead_beside": ("lead_crossing", "no"),
          "crossing_agreement": ("lead_crossing", "agree"), "crossing_care": ("lead_crossing", "care"),
          "ground_agreement": ("stake", "agree")}  # fmt: skip
    if rule.startswith("keep_out:"):
        rows = [plan.classes[rule.removeprefix("keep_out:")]]
    elif rule in of:
        key, value = of[rule]
        rows = [row for row in plan.classes.values() if row[key] == value]
    else:
        rows = {"line_clearance": [], "map_coverage": list(plan.classes.values())}.get(rule)
    return None if rows is None else {theme for row in rows for theme in row.get("map_themes", ())}


def _in_doubt(place: Place, row: Any, rules: dict[str, Any], stake: Any) -> Iterator[str]:
    """What a stake keeps its distance from by less than the map is accurate: a compromise, and its status says so."""
    for kind in {f.kind for f in place.features if f.rule["stake"] == "no"}:
        spare = min(f.stake_gap_m(stake) - f.rule["keep_out_m"] for f in place.features if f.kind == kind)
        name = "line_clearance" if kind == "power_line" else f"keep_out:{kind}"
        told = name in rules and rules[name].verdict == "compromise"
        if spare < place.plan.margin_m - TOL_M and not told:
            yield f"check {name} is kept by {spare:.3f} m only, and no compromise is given"
        if spare > place.plan.margin_m + TOL_M and told:
            yield f"check {name} is a compromise, and is kept by {spare:.3f} m"
        if spare < place.plan.margin_m - TOL_M and row.status in (MET, CARE):
            yield f"{name} is kept by {spare:.3f} m only, and the status says all rules met"


def _pair(place: Place, h: Any, s: Any) -> Iterator[str]:
    """Opposite sides, or a compromise that says so with enough angle between the leads."""
    sides = [_side(place, row) for row in (h, s)]
    for row, side in zip((h, s), sides, strict=True):
        if side and row.side != side:
            yield f"{row.role} is to the {side}, not to the {row.side}"
    if h.side == s.side:
        if place.plan.rules["sides"] == "required":
            yield "both stakes on one side, and the job requires opposite ones"
        if {place.tower.status, h.status, s.status} & {MET, CARE}:
            yield "both stakes on one side, and the status says all rules met"
        if not all("one side of the line" in text for text in (h.reasons, s.reasons, place.tower.reasons)):
            yield "both stakes on one side, and the reasons do not say so"
        between = _turn(h.bearing_true_deg - s.bearing_true_deg)
        if between < place.plan.rules["same_side_min_angle_deg"] - TOL_DEG:
            yield f"{between:.2f} degrees between two leads on one side"
    if h.distance_m < s.distance_m:
        yield "H is nearer than S"
    if MET in (place.tower.status,) and not h.status == s.status == MET:
        yield "the tower's status is better than its stakes'"
    if h.leg != s.leg or h.leg != place.tower.leg:
        yield "the leads do not start at one and the same leg"


def _side(place: Place, row: Any) -> str:
    """Side of the line by the spans before and behind the tower; empty where only one of them is there."""
    mine = place.plan.spans[place.plan.spans["line_id"] == place.tower.line_id]
    ahead, back = (mine[mine[column] == place.tower.tower_id] for column in ("from_tower", "to_tower"))
    if ahead.empty or back.empty:
        return ""
    out = np.diff(shapely.get_coordinates(place.local(ahead.geometry.iloc[0])), axis=0)[0]
    into = np.diff(shapely.get_coordinates(place.local(back.geometry.iloc[-1])), axis=0)[-1]
    ahead_deg, back_deg = np.degrees(np.arctan2(*out)), np.degrees(np.arctan2(*-into))
    right = (row.bearing_true_deg - ahead_deg) % 360 < (back_deg - ahead_deg) % 360
    return "right" if right else "left"


def main(folder: str, job_file: str) -> int:
    """Print what was found; 1 if there was anything."""
    found = violations(folder, job_file)
    sys.stdout.write("".join(f"{text}\n" for text in found) + f"{len(found)} violation(s)\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
