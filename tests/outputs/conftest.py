"""An invented plan to write: every status, hostile names, map features of every class."""

from __future__ import annotations

import dataclasses
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod

from layoutplan.inputs.model import InputFile
from layoutplan.job import Job, Line, TowerSource, shipped_classes
from layoutplan.job.land import Land
from layoutplan.layout.model import Plan
from layoutplan.layout.notes import CAUTIONS, job_assumptions
from layoutplan.layout.rules import AGREE, ALL_MET, COMPROMISED, NEEDS_AGREEMENT, NO_LAYOUT, NOT_COVERED
from layoutplan.layout.set_out import warning
from layoutplan.planning.agreements import agreements_table

from .electrical import exposures_table, readings_table, with_lead_figures, with_stake_figures, with_tower_figures

GEOD = Geod(ellps="WGS84")
COMMAND = "{{cycler.__init__.__globals__.os.popen(dict(id=1)|join).read()}}"
HOSTILE = (
    "{{7*7}}",
    COMMAND,
    "Ramp {% closed",
    "x {# y",
    "back`tick ${alert(1)} \\u0041",
    "</script><img src=x onerror=alert(1)>",
    '"><b onmouseover=alert(2)>&amp;',
    "=1+1",
    "../x",
    "a\x00b\x1b[31m\x85\u202eend",
    "Башня 12 鉄塔 🗼",
)
CHROMIUM_FLAGS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--no-first-run", "--window-size=1300,900",
                  "--proxy-server=http://127.0.0.1:9",
                  # a small /dev/shm must not stop it, nor a window that it takes for hidden slow timers and frames
                  "--disable-dev-shm-usage", "--disable-background-timer-throttling",
                  "--disable-renderer-backgrounding", "--disable-backgrounding-occluded-windows",
                  "--disable-background-networking", "--disable-component-update", "--disable-extensions")  # fmt: skip
BUSY_S = 120  # longer than any step takes on a busy machine; what is waited for is a condition, never a time
SPY = "window.alerts = []; window.alert = (text) => window.alerts.push(String(text));"
_STATUS_CYCLE = (ALL_MET, ALL_MET, COMPROMISED, NEEDS_AGREEMENT, NO_LAYOUT, NOT_COVERED, ALL_MET)


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "browser: opens the map in headless Chromium")


class Place:
    """East and north metres about a point, as continuous longitudes and latitudes."""

    def __init__(self, lon: float, lat: float) -> None:
        self.lon, self.lat = lon, lat

    def __call__(self, east_m: Any, north_m: Any) -> np.ndarray:
        east, north = np.broadcast_arrays(np.asarray(east_m, float), np.asarray(north_m, float))
        azimuth, distance = np.degrees(np.arctan2(east, north)), np.hypot(east, north)
        lon, lat, _ = GEOD.fwd(np.full(east.shape, self.lon), np.full(east.shape, self.lat), azimuth, distance)
        lon = np.asarray(lon) + 360 * np.round((self.lon - np.asarray(lon)) / 360)
        return np.stack((lon, lat), axis=-1)


def _course(count: int, span_m: float) -> tuple[np.ndarray, np.ndarray]:
    """East, north of each tower and the bearing of the line there: a line with one gentle bend per five towers."""
    bearings = 78 + 10 * np.sin(np.arange(count) / 5)
    steps = span_m * np.stack((np.sin(np.radians(bearings)), np.cos(np.radians(bearings))), axis=1)
    xy = np.vstack(([0, 0], np.cumsum(steps[:-1], axis=0)))
    return xy - xy.mean(axis=0), bearings


def _electrodes(towers: pd.DataFrame, xy: np.ndarray, place: Place) -> gpd.GeoDataFrame:
    rows = np.flatnonzero((towers["status"] != NO_LAYOUT).to_numpy())
    index = np.repeat(rows, 2)
    right = np.tile([True, False], len(rows))
    distance = np.where(right, 92.5, 61.25) + index % 7
    line_bearing = towers["line_bearing_deg"].to_numpy()[index]
    off = np.where(towers["status"].to_numpy()[index] == COMPROMISED, 25.0, 3.0)
    bearing = (line_bearing + np.where(right, 90, -90) + off) % 360
    east = xy[index, 0] + distance * np.sin(np.radians(bearing))
    north = xy[index, 1] + distance * np.cos(np.radians(bearing))
    lonlat = place(east, north)
    parent = towers.iloc[index].reset_index(drop=True)
    octants = np.array(["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"])
    return gpd.GeoDataFrame(
        {
            "line_id": parent["line_id"],
            "tower_id": parent["tower_id"],
            "role": np.where(right, "H", "S"),
            "waypoint": [f"{row + 1:03d}-{role}" for row, role in zip(index, np.where(right, "H", "S"), strict=True)],
            "lon": lonlat[:, 0],
            "lat": lonlat[:, 1],
            "easting": 500000 + east,
            "northing": 5200000 + north,
            "distance_m": distance,
            "leg": np.where(right, "ahead right", "ahead right"),
            "warning": parent["status"].map(warning),
            "set_out_from": "leg ahead right",
            "set_out_ground_m": distance - 4.0,
            "set_out_level_m": distance - 4.2,
            "set_out_bearing_magnetic_deg": np.round(bearing * 2) / 2 % 360,
            "set_out_bearing_deg": (bearing + 1.5) % 360,
            "lead_length_m": (distance - 4.2) * 1.05,
            "bearing_true_deg": bearing,
            "bearing_grid_deg": (bearing - 0.31) % 360,
            "angle_to_line_deg": 90 - off,
            "distance_to_line_m": distance * np.cos(np.radians(off)) - 8,
            "side": np.where(right, "right", "left"),
            "octant": octants[np.round(bearing / 45).astype(int) % 8],
            "status": parent["status"],
            "reasons": parent["reasons"],
            "map_gaps": parent["map_gaps"],
            "map_cures": parent["map_cures"],
            "score": off + 0.2 * (distance - 60),
            "off_square_deg": off,
            "beyond_min_m": distance - 60,
            "caution_crossings": np.where(parent["status"] == NEEDS_AGREEMENT, 1.0, 0.0),
            "caution_ground": 0.0,
            "near_keep_out": 0.0,
            "lead_beside_m": 0.0,
            "woodland_crops_m": 12.0,
        },
        geometry=shapely.points(lonlat),
        crs=4326,
    )


def _towers(xy: np.ndarray, bearings: np.ndarray, place: Place, hostile: bool) -> gpd.GeoDataFrame:
    count = len(xy)
    ids = [f"{row + 1:03d}" for row in range(count)]
    if hostile:
        ids[1 : 1 + len(HOSTILE)] = HOSTILE[: count - 1]
    status = np.array([_STATUS_CYCLE[row % len(_STATUS_CYCLE)] for row in range(count)])
    reasons = {
        ALL_MET: "",
        COMPROMISED: "lead 25.0° off perpendicular to the line (15.0° allowed for square)",
        NEEDS_AGREEMENT: "lead H crosses minor road 'Mill Lane' at 43.2 m",
        NO_LAYOUT: "right side: river 'Elbra' keep-out excludes all 882 candidates",
        NOT_COVERED: "mapped features in 2 of 8 directions within 1000 m",
    }
    lonlat = place(xy[:, 0], xy[:, 1])
    return gpd.GeoDataFrame(
        {
            "line_id": "Valley 132 {{7*7}}" if hostile else "Valley 132",
            "tower_id": ids,
            "order": np.arange(1, count + 1),
            "chainage_m": 300.0 * np.arange(count),
            "line_bearing_deg": bearings,
            "deflection_deg": np.gradient(bearings) if count > 1 else np.zeros(count),
            "status": status,
            "reasons": [reasons[name] for name in status],
            "lon": lonlat[:, 0],
            "lat": lonlat[:, 1],
            "structure": "lattice_4",
            "leg": "ahead right",
            "map_covers": status != NOT_COVERED,
            "map_gaps": np.where(status == NOT_COVERED, "reach:few_features", ""),
            "map_cures": np.where(status == NOT_COVERED, "neighbour_extract coverage_polygon", ""),
        },
        geometry=shapely.points(lonlat),
        crs=4326,
    )


def _obstacles(place: Place, xy: np.ndarray, hostile: bool, density: int) -> gpd.GeoDataFrame:
    """Every class at least once along the line; ``density`` scatters that many more."""
    classes = list(shipped_classes().values())
    rng = np.random.default_rng(7)
    shapes, rows = [], []
    reach_m = np.ptp(xy[:, 0]) / 2 + 100
    areas = {row.name for row in classes if row.width_m == 0} - {"permitted_land"}
    for number in range(len(classes) + density):
        row = classes[number % len(classes)]
        east = -reach_m + (2 * reach_m) * (number + 0.5) / (len(classes) + density)
        middle = np.interp(east, xy[:, 0], xy[:, 1])
        north = middle + rng.uniform(-220, 220)
        size = rng.uniform(20, 70)
        if row.name in areas:
            angle = np.sort(rng.uniform(0, 2 * np.pi, 9))
            ring = place(east + size * np.cos(angle), north + size * np.sin(angle))
            shapes.append(shapely.make_valid(shapely.Polygon(ring)))
        elif row.name == "permitted_land":
            shapes.append(
                shapely.Polygon(place([east - 200, east + 200, east + 200, east - 200], [-260, -260, 260, 260]))
            )
        else:
            steps = np.linspace(-150, 150, 8)
            shapes.append(shapely.LineString(place(east + 30 * np.sin(steps / 60), north + steps)))
        rows.append((row, HOSTILE[number % len(HOSTILE)] if hostile and number < 40 else f"{row.label} {number}"))
    return gpd.GeoDataFrame(
        {
            "feature_id": [f"way {number}" for number in range(len(rows))],
            "obstacle_class": [row.name for row, _ in rows],
            "label": [row.label for row, _ in rows],
            "name": [name for _, name in rows],
            "width_m": [row.width_m for row, _ in rows],
            "keep_out_m": [row.keep_out_m for row, _ in rows],
            "stake": [row.stake for row, _ in rows],
            "lead_crossing": [row.lead_crossing for row, _ in rows],
            "road_class": [row.name if row.name in ("minor_road", "track_path") else "" for row, _ in rows],
            "vehicle": ["yes" if row.name == "minor_road" else "" for row, _ in rows],
            "basis": [row.basis for row, _ in rows],
            "source": "valley.osm.pbf",
        },
        geometry=shapes,
        crs=4326,
    )


def _approaches(towers: gpd.GeoDataFrame, electrodes: gpd.GeoDataFrame, hostile: bool) -> gpd.GeoDataFrame:
    """A way to each tower and stake; of every fourth tower nothing is known."""
    keys = pd.concat((towers[["line_id", "tower_id"]].assign(to="tower"), _stakes_as_targets(electrodes)))
    keys = keys.merge(towers[["tower_id", "lon", "lat"]], on="tower_id").sort_values(["lon", "to"], ignore_index=True)
    number = pd.factorize(keys["tower_id"])[0]
    known = number % 4 != 3
    lon, lat = keys["lon"].to_numpy(), keys["lat"].to_numpy()
    ways = shapely.linestrings(np.round(np.stack(((lon - 0.002, lat + 0.001), (lon, lat))), 9).transpose(2, 0, 1))
    columns = {
        "drop_off_lon": np.where(known, lon - 0.002, np.nan),
        "drop_off_lat": np.where(known, lat + 0.001, np.nan),
        "road_name": np.where(known, "Mill {{7*7}}" if hostile else "Mill Lane", ""),
        "road_class": np.where(known, "minor_road", ""),
        "walk_m": np.where(known, 212.4 + number, np.nan),
        "climb_m": np.where(known, 12.5, np.nan),
        "walk_min": np.where(known, 4.25, np.nan),
        "crossings": np.where(known, "stream or ditch", ""),
        "verdict": np.where(known, np.where(number % 4 == 1, "needs permission", "reachable"), "map does not cover"),
        "reason": np.where(known & (number % 4 == 1), "protected area", ""),
        "note": np.where(known & (number % 4 == 1), "protected area", ""),
        "shared_stop": 0,
    }
    table = keys[["line_id", "tower_id", "to"]].assign(**columns)
    return gpd.GeoDataFrame(table, geometry=np.where(known, ways, None), crs=4326)


def _stakes_as_targets(electrodes: gpd.GeoDataFrame) -> pd.DataFrame:
    return pd.DataFrame(electrodes[["line_id", "tower_id", "role"]]).rename(columns={"role": "to"})


def _permissions(electrodes: gpd.GeoDataFrame, hostile: bool) -> gpd.GeoDataFrame:
    """A parcel around each stake, in every state."""
    number = np.arange(len(electrodes))
    turn = number % 3
    columns = {
        "parcel": [f"{n}/{'=1+1' if hostile else 'a'}" for n in number.tolist()],
        "owner_ref": [f"P-{n}" for n in number.tolist()],
        "permission": np.array(["refused", "unknown", "granted"])[turn],
        "state": np.array(["no entry", "permission needed", "granted"])[turn],
        "note": np.array(["permission refused", "permission unknown", "permission granted"])[turn],
        "towers": electrodes["tower_id"].to_numpy(),
        "stakes": (electrodes["tower_id"] + " " + electrodes["role"]).to_numpy(),
        "lead_m": number * 10.5,
        "approach_m": 0.0,
        "source": "parcels.gpkg, layer 'parcels'",
    }
    lon, lat = electrodes.geometry.x.to_numpy(), electrodes.geometry.y.to_numpy()
    return gpd.GeoDataFrame(columns, geometry=shapely.box(lon - 1e-4, lat - 1e-4, lon + 1e-4, lat + 1e-4), crs=4326)


def _checks(electrodes: pd.DataFrame) -> pd.DataFrame:
    keys = electrodes[["line_id", "tower_id", "role", "waypoint"]]
    clearance = keys.assign(
        rule="line clearance",
        measured=electrodes["distance_to_line_m"],
        limit=50.0,
        unit="m",
        verdict="kept",
        basis="common practice, no published source",
        detail="",
        reference="",
    )
    unknown = clearance.assign(rule="underground cables", measured=np.nan, verdict="unknown", detail="no map of cables")
    return pd.concat((clearance, unknown), ignore_index=True)


def _crossings(electrodes: pd.DataFrame, hostile: bool) -> pd.DataFrame:
    """A road under the lead of every stake that needs agreement."""
    mine = electrodes[electrodes["status"] == NEEDS_AGREEMENT]
    return (
        mine[["line_id", "tower_id", "role", "waypoint"]]
        .assign(
            met_by="lead",
            obstacle_class="minor_road",
            name="Mill Lane {{7*7}}" if hostile else "",
            feature_id="osm way 123" if hostile else "",
            at_m=43.2,
            verdict=AGREE,
        )
        .reset_index(drop=True)
    )


def _alternatives(electrodes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    moved = shapely.transform(electrodes.geometry.array, lambda xy: xy + np.array([0.0003, 0.0002]))
    lon, lat = shapely.get_coordinates(moved).T
    columns = ["line_id", "tower_id", "side"]
    figures = ["distance_m", "bearing_true_deg", "angle_to_line_deg", "distance_to_line_m", "lead_length_m"]
    table = electrodes[columns].assign(rank=1, lon=lon, lat=lat)
    return gpd.GeoDataFrame(
        pd.concat((table, electrodes[[*figures, "caution_crossings", "score"]]), axis=1), geometry=moved, crs=4326
    )


BUILT: dict[str, Plan] = {}


def build_plan(towers: int = 8, **how: Any) -> Plan:
    """Make a plan as ``_built`` says; each is built once, and everyone gets tables of his own."""
    key = repr((towers, sorted(how.items())))
    if key not in BUILT:
        BUILT[key] = _built(towers, **how)
    plan = BUILT[key]
    tables = {item.name: getattr(plan, item.name) for item in dataclasses.fields(plan)}
    own = {name: table.copy() for name, table in tables.items() if isinstance(table, (pd.DataFrame, dict))}
    return dataclasses.replace(plan, **own)


def _built(
    towers: int = 8,
    *,
    lon: float = 9.45,
    lat: float = 47.12,
    hostile: bool = True,
    span_m: float = 300.0,
    density: int = 0,
    **output: Any,
) -> Plan:
    """Make a plan of ``towers`` towers about a point; ``output`` goes to the job's output section."""
    place = Place(lon, lat)
    xy, bearings = _course(towers, span_m)
    table = _towers(xy, bearings, place, hostile)
    table = with_tower_figures(table, (table["status"] == NO_LAYOUT).to_numpy())
    electrodes = with_stake_figures(_electrodes(table, xy, place))
    starts = table.set_index("tower_id").geometry[electrodes["tower_id"]].array
    ends = electrodes.geometry.array
    lines = shapely.linestrings(np.stack((shapely.get_coordinates(starts), shapely.get_coordinates(ends)), axis=1))
    crossing = "minor road 'Mill Lane {{7*7}}' (osm way 123) at 43.2 m" if hostile else "minor road at 43.2 m"
    leads = with_lead_figures(
        electrodes.drop(columns=["rods", "rod_resistance_ohm", "rods_note"]).assign(
            crossings=np.where(electrodes["status"] == NEEDS_AGREEMENT, crossing, ""),
            geometry=gpd.GeoSeries(lines, crs=4326),
        )
    )
    points = shapely.get_coordinates(table.geometry.array)
    spans = gpd.GeoDataFrame(
        {
            "line_id": table["line_id"].to_numpy()[:-1],
            "from_tower": table["tower_id"].to_numpy()[:-1],
            "to_tower": table["tower_id"].to_numpy()[1:],
            "length_m": span_m,
            "bearing_deg": bearings[:-1],
            "half_width_m": 8.0,
        },
        geometry=shapely.linestrings(np.stack((points[:-1], points[1:]), axis=1)),
        crs=4326,
    )
    without = table[table["status"] == NO_LAYOUT]
    relaxations = without[["line_id", "tower_id"]].assign(
        rank=1, rule="reel", needed=171.0, limit=150.0, unit="m", text="a 171 m reel instead of 150 m", reference=""
    )
    exclusions = without[["line_id", "tower_id"]].assign(
        side="right", rule="keep_out:river_canal", detail="river or canal", candidates=882, of=882
    )
    job = Job(
        title="Valley line </title>{{7*7}}" if hostile else "Valley line, autumn campaign",
        lines=(Line(id="Valley 132", towers=TowerSource(path=Path("/home/somebody/job/towers.gpkg"))),),
        land=(Land(path=Path("/home/somebody/maps/parcels.gpkg"), permission_column="state"),),
        output={"grid_crs": "EPSG:32632", **output},
    )
    return Plan(
        job=job,
        towers=table,
        spans=spans,
        electrodes=electrodes,
        leads=leads,
        checks=_checks(electrodes),
        alternatives=_alternatives(electrodes),
        obstacles=_obstacles(place, xy, hostile, density),
        crossings=(crossings := _crossings(electrodes, hostile)),
        exclusions=exclusions.reset_index(drop=True),
        relaxations=relaxations.reset_index(drop=True),
        exposures=exposures_table(electrodes),
        readings=readings_table(table),
        approaches=(approaches := _approaches(table, electrodes, hostile)),
        permissions=(land := _permissions(electrodes, hostile)),
        agreements=agreements_table(crossings, approaches, land, shipped_classes()),
        files=(
            InputFile(Path("/home/somebody/job/towers.gpkg"), "ab" * 32, "towers of line 'Valley 132'"),
            InputFile(
                Path("/home/somebody/maps/valley.osm.pbf"),
                "cd" * 32,
                "map",
                data_date="2026-03-01",
                attribution="© OpenStreetMap contributors, ODbL",
            ),
        ),
        assumptions=("Towers of line 'Valley 132': base width unknown, no leg is named.", *job_assumptions(job)),
        cautions=CAUTIONS,
        problems=("/home/somebody/maps/valley.osm.pbf: 2 areas could not be built {{7*7}}.",),
        grid_crs="EPSG:32632",
    )


@pytest.fixture
def make_plan() -> Callable[..., Plan]:
    return build_plan


@pytest.fixture
def plan() -> Plan:
    return build_plan()


@pytest.fixture
def empty_plan() -> Plan:
    """A plan whose tables have no rows, not even columns in some."""
    full = build_plan(towers=2)
    names = ("electrodes", "leads", "checks", "alternatives", "exclusions", "relaxations", "obstacles", "exposures",
             "readings", "approaches", "crossings", "agreements")  # fmt: skip
    return dataclasses.replace(full, **{name: getattr(full, name).iloc[:0] for name in names})


@pytest.fixture
def hostile_texts() -> tuple[str, ...]:
    return HOSTILE


@pytest.fixture
def browser(chromium: Any) -> Any:
    """The browser as a reader finds it: a screen of its own size, no words from the page before."""
    chromium.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    for log in ("browser", "performance"):
        chromium.get_log(log)
    return chromium


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Chromium without network, one for each process; on a desk without it the test is skipped, in CI it fails."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    program, driver = shutil.which("chromium") or shutil.which("chromium-browser"), shutil.which("chromedriver")
    if not (program and driver):
        (pytest.fail if os.environ.get("CI") else pytest.skip)("chromium and chromedriver are missing")
    options = webdriver.ChromeOptions()
    options.binary_location = program
    for flag in CHROMIUM_FLAGS:
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    chrome = webdriver.Chrome(options=options, service=Service(driver))
    chrome.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": SPY})
    chrome.set_page_load_timeout(BUSY_S)
    chrome.set_script_timeout(BUSY_S)
    yield chrome
    chrome.quit()
