"""Where the map shows signs of what it lacks: houses along streets, land cover about roads; and very large areas."""

from __future__ import annotations

import importlib.util
import shutil
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pyproj
import pytest
import shapely

from layoutplan.checking.check import check_folder
from layoutplan.inputs import Inputs, map_gaps, read_inputs
from layoutplan.inputs.evidence import thin
from layoutplan.inputs.gaps import BARE_STREETS, FEW_FEATURES, GAPS, REACH, causes_of, cures_of, joined
from layoutplan.inputs.houses import DOUBT_M, WITHIN_M
from layoutplan.inputs.model import InputFile
from layoutplan.inputs.provenance import ages
from layoutplan.inputs.signs import ADDRESS, COVER, DRIVE, NONE, PLACE, ROAD, STREET, cover_points, sign_of
from layoutplan.job import Job, load_job
from layoutplan.job.classes import shipped_classes, with_overrides
from layoutplan.layout.rules import map_themes
from layoutplan.line import build_lines
from layoutplan.outputs.write import write_plan
from layoutplan.planning.facts import Facts
from layoutplan.planning.pipeline import plan
from layoutplan.planning.silence import unseen_by_advice
from layoutplan.siting import build_obstacles
from layoutplan.written.read import read_plan_tables

from ..effort import some

TESTS = Path(__file__).parents[1]
Make = Callable[..., Job]
NewFile = Callable[..., Any]
Write = Callable[..., Path]
GEOD = pyproj.Geod(ellps="WGS84")
STREET_AT = [(8.009, 49.0012), (8.011, 49.0012)]  # beside tower 2, some 130 m north of it


def north(lonlat: tuple[float, float], metres: float) -> tuple[float, float]:
    lon, lat, _ = GEOD.fwd(*lonlat, 0.0, metres)
    return lon, lat


def read(make_job: Make, towers: Path, *layers: dict[str, Any], **keys: Any) -> tuple[Job, Inputs]:
    job = make_job(lines=[{"towers": {"path": towers}}], layers=list(layers), **keys)
    return job, read_inputs(job)


def doubted(inputs: Inputs) -> shapely.Geometry:
    areas = inputs.features[inputs.features["obstacle_class"] == "houses_unmapped"]
    return shapely.union_all(areas.geometry.to_numpy())


@pytest.mark.parametrize(
    ("tags", "is_point", "sign"),
    [
        ({"highway": "residential"}, False, STREET),
        ({"highway": "living_street"}, False, STREET),
        ({"highway": "service", "service": "driveway"}, False, DRIVE),
        ({"highway": "service", "service": "parking_aisle"}, False, ROAD),
        ({"highway": "unclassified"}, False, ROAD),
        ({"highway": "secondary"}, False, ROAD),
        ({"highway": "motorway"}, False, NONE),
        ({"highway": "track"}, False, NONE),
        ({"addr:interpolation": "odd"}, False, STREET),
        ({"addr:housenumber": "7"}, True, ADDRESS),
        ({"addr:housenumber": "7", "building": "yes"}, True, NONE),
        ({"place": "hamlet"}, True, PLACE),
        ({"place": "locality"}, True, NONE),
        ({"landuse": "residential"}, False, NONE),
        ({"landuse": "meadow"}, False, COVER),
        ({"waterway": "stream"}, False, COVER),
        ({"natural": "tree"}, True, NONE),
    ],
)
def test_signs(tags: dict[str, str], is_point: bool, sign: int) -> None:
    assert sign_of(tags, is_point=is_point) == sign


def test_ground_beside_a_street_without_a_house_is_doubted(
    osm_file: NewFile, make_job: Make, towers_csv: Write
) -> None:
    new = osm_file()
    new.line(STREET_AT, highway="residential")
    _, inputs = read(make_job, towers_csv(), {"path": new.save()})
    area, least = doubted(inputs), DOUBT_M[STREET]
    middle = (8.01, 49.0012)
    assert shapely.contains(area, shapely.Point(north(middle, least - 0.5)))
    assert shapely.contains(area, shapely.Point(north(middle, -least + 0.5)))
    assert not shapely.contains(area, shapely.Point(north(middle, least + 1.0)))


@pytest.mark.parametrize("what", [{"building": "yes"}, {"landuse": "residential"}])
@pytest.mark.parametrize(("metres", "answers"), [(WITHIN_M[STREET] - 2.0, True), (WITHIN_M[STREET] + 2.0, False)])
def test_one_house_answers_for_its_street(
    osm_file: NewFile, make_job: Make, towers_csv: Write, what: dict[str, str], metres: float, answers: bool
) -> None:
    new = osm_file()
    new.line(STREET_AT, highway="residential")
    lon, lat = north(STREET_AT[0], metres)
    new.square(lon - 0.0001, lat, 0.0001, **what)
    _, inputs = read(make_job, towers_csv(), {"path": new.save()})
    assert doubted(inputs).is_empty is answers


def test_a_bare_stretch_is_doubted_only_where_most_streets_are_bare(
    osm_file: NewFile, make_job: Make, towers_csv: Write
) -> None:
    """The far end of a street with houses at its near end: in a mapped town a meadow; in an unmapped one, who knows?"""
    for others, is_doubted in (([], False), ([0.0002 * number for number in range(5)], True)):
        new = osm_file(f"{len(others)}.osm")
        street = [(8.003 + 0.0005 * step, 49.0012) for step in range(15)]
        new.line(street, highway="residential")
        for lon, _ in street[: 12 if not others else 1]:
            new.square(lon, 49.0014, 0.0001, building="yes")
        for shift in others:
            new.line([(8.009, 49.003 + shift), (8.012, 49.003 + shift)], highway="residential")
        _, inputs = read(make_job, towers_csv(), {"path": new.save()})
        assert shapely.intersects(doubted(inputs), shapely.Point(8.0099, 49.0012)) == is_doubted


@pytest.mark.parametrize(
    ("street", "house", "is_doubted"), [(True, False, True), (True, True, False), (False, False, False)]
)
def test_the_main_street_of_a_village_without_houses_is_doubted(
    osm_file: NewFile, make_job: Make, towers_csv: Write, street: bool, house: bool, is_doubted: bool
) -> None:
    """A road by itself is no sign of houses; with a bare street 300 m away it is; the street's houses clear both."""
    new = osm_file()
    new.line(STREET_AT, highway="tertiary")
    if street:
        new.line([(8.009, 49.004), (8.011, 49.004)], highway="residential")
    if house:
        new.square(8.010, 49.0042, 0.0001, building="yes")
    _, inputs = read(make_job, towers_csv(), {"path": new.save()})
    assert shapely.intersects(doubted(inputs), shapely.Point(8.01, 49.0014)) == is_doubted


def test_user_vouches_for_buildings_only_by_saying_so(
    osm_file: NewFile, layer_file: Write, make_job: Make, towers_csv: Write
) -> None:
    new = osm_file()
    new.line(STREET_AT, highway="residential")
    layer, polygon = {"path": new.save()}, layer_file([shapely.box(8.0, 48.99, 8.02, 49.01)], "cover.gpkg")
    towers = towers_csv()
    _, inputs = read(make_job, towers, layer, coverage={"path": polygon})
    assert not doubted(inputs).is_empty
    job, inputs = read(make_job, towers, layer, coverage={"path": polygon, "themes": ["buildings"]})
    assert doubted(inputs).is_empty
    causes = map_gaps(job, inputs, np.array([[8.01, 49.0]]))[1]
    assert causes == [[FEW_FEATURES, "no_land_cover"]], "it says nothing of how far the map reaches"


def test_roads_of_a_job_without_any_layer_of_houses(layer_file: Write, make_job: Make, towers_csv: Write) -> None:
    road = {"path": layer_file([shapely.LineString(STREET_AT)], "road.gpkg"), "obstacle_class": "minor_road"}
    house = {
        "path": layer_file([shapely.box(8.02, 49.01, 8.0201, 49.0101)], "house.gpkg"),
        "obstacle_class": "building",
    }
    towers = towers_csv()
    _, inputs = read(make_job, towers, road)
    assert not doubted(inputs).is_empty
    assert any("no layer of the job holds buildings" in text for text in inputs.assumptions)
    _, inputs = read(make_job, towers, road, house)
    assert doubted(inputs).is_empty, "a road proves no houses where houses are drawn"


def test_residential_streets_by_the_words_of_a_layer(layer_file: Write, make_job: Make, towers_csv: Write) -> None:
    streets = layer_file([shapely.LineString(STREET_AT)] * 2, "road.gpkg", fclass=["residential", "tertiary"])
    houses = {"path": layer_file([shapely.box(8.02, 49.01, 8.0201, 49.0101)], "h.gpkg"), "obstacle_class": "building"}
    for kind, bare in (("residential", True), ("tertiary", False)):
        layer = {"path": streets, "class_column": "fclass", "class_map": {kind: "minor_road"}}
        layer["where"] = f"fclass = '{kind}'"
        _, inputs = read(make_job, towers_csv(), layer, houses)
        assert doubted(inputs).is_empty is not bare


def test_roads_without_land_cover_for_kilometres(osm_file: NewFile, make_job: Make, towers_csv: Write) -> None:
    here = np.array([[8.01, 49.0]])
    for metres, silent in ((1950.0, False), (2600.0, True)):
        new = osm_file(f"{metres}.osm")
        new.line([(8.0, 49.002), (8.02, 49.002)], highway="unclassified")
        lon, lat = north((8.01, 49.0), metres)
        new.line([(lon, lat), (lon + 0.001, lat)], waterway="stream")
        job, inputs = read(make_job, towers_csv(), {"path": new.save()})
        assert ("no_land_cover" in map_gaps(job, inputs, here)[1][0]) == silent


def test_inside_a_large_wood_there_is_land_cover() -> None:
    wood = np.array([shapely.box(8.0, 49.0, 8.3, 49.3)], dtype=object)
    places = cover_points(wood)
    away = np.hypot(places[:, 0] - 8.15, places[:, 1] - 49.15).min()
    assert away < 0.006
    assert len(cover_points(np.array([None, shapely.Point()], dtype=object))) == 0
    assert len(thin(places)) == len(places)


def test_causes_are_stored_with_theme_and_cures() -> None:
    assert joined([BARE_STREETS, FEW_FEATURES, BARE_STREETS]) == "reach:few_features buildings:bare_streets"
    assert causes_of(joined([BARE_STREETS, FEW_FEATURES])) == [FEW_FEATURES, BARE_STREETS]
    assert causes_of("") == []
    assert cures_of([FEW_FEATURES, BARE_STREETS]) == "neighbour_extract coverage_polygon buildings_layer"


def test_age_of_a_map_on_the_first_day_of_the_work() -> None:
    files = [
        InputFile(Path("old.osm"), "", "map", "2013-12-16T20:39:13Z"),
        InputFile(Path("new.osm"), "", "map", "2026-01-01T00:00:00Z"),
        InputFile(Path("none.gpkg"), "", "map"),
    ]
    (said,) = ages(files, (date(2026, 5, 4), date(2026, 5, 8)))
    assert said.startswith("old.osm: map data of 2013-12-16, 12 years old when the work begins")
    assert ages(files, None) == []


LARGE = {
    "globe": shapely.box(-180, -90, 180, 90),
    "nearly the globe": shapely.box(-179.9, -89.9, 179.9, 89.9),
    "triangle": shapely.Polygon([(-170, -80), (170, -80), (0, 89)]),
    "continent": shapely.box(-10, 40, 30, 60),
    "country": shapely.box(7.5, 48.5, 8.5, 49.5),  # holds all towers, and has no corner near them
}
KINDS = ("layer", "extract", "land")
# each shape once, each kind at least once; then all others
LARGE_OF_KIND = sorted(
    ((name, kind) for name in LARGE for kind in KINDS),
    key=lambda pair: (list(LARGE).index(pair[0]) - KINDS.index(pair[1])) % 3 != 0,
)


@pytest.mark.first(2)
@pytest.mark.parametrize(("name", "kind"), some(LARGE_OF_KIND, len(LARGE)))
def test_a_very_large_area_counts(
    layer_file: Write, osm_file: NewFile, make_job: Make, towers_csv: Write, name: str, kind: str
) -> None:
    shape = LARGE[name]
    keys: dict[str, Any] = {"layers": []}
    if kind == "layer":
        keys["layers"] = [{"path": layer_file([shape], "large.gpkg"), "obstacle_class": "no_entry"}]
    elif kind == "land":
        keys["land"] = [{"path": layer_file([shape], "large.gpkg"), "label": "estate", "permission": "refused"}]
    else:
        new = osm_file()
        corners = [new.node(*place) for place in shape.exterior.coords[:-1]]
        new.way([*corners, corners[0]], landuse="military")
        keys["layers"] = [{"path": new.save()}]
    made = plan(make_job(lines=[{"towers": {"path": towers_csv()}}], **keys))
    assert made.towers["status"].tolist() == ["no layout"] * 3


COAST_TOWN: list[Path] = []


@pytest.fixture
def coast_town(osm_file: NewFile, make_job: Make, towers_csv: Write, tmp_path: Path) -> tuple[Path, Path]:
    """A plan and its job, made once: meadows, a street without houses north of tower 2, the sea north of tower 3."""
    if COAST_TOWN:
        shutil.copytree(COAST_TOWN[0], tmp_path, dirs_exist_ok=True)
        return tmp_path / "out", tmp_path / "job.toml"
    new = osm_file(box=(7.95, 48.95, 8.05, 49.05))
    for lon in np.arange(7.985, 8.036, 0.003):
        for lat in np.arange(48.99, 49.011, 0.003):
            new.square(float(lon), float(lat), 0.0005, landuse="meadow")
    new.line([(8.009, 49.0008), (8.011, 49.0008)], highway="residential")
    new.line([(8.06, 49.0009), (8.0155, 49.0009), (8.0155, 49.06)], natural="coastline")
    towers_csv()
    new.save()
    job_file = tmp_path / "job.toml"
    job_file.write_text('[[lines]]\ntowers = { path = "towers.csv" }\n[[layers]]\npath = "map.osm"\n', "utf-8")
    made = plan(load_job(job_file))
    write_plan(made, tmp_path / "out")
    COAST_TOWN.append(Path(shutil.copytree(tmp_path, tmp_path.with_name(f"{tmp_path.name}_kept"))))
    return tmp_path / "out", job_file


def test_statuses_and_words_are_the_same_everywhere(coast_town: tuple[Path, Path]) -> None:
    folder, _ = coast_town
    tables = read_plan_tables(folder)
    towers = tables["towers"].set_index("tower_id")
    assert towers["status"].to_dict() == {"1": "all rules met", "2": "map does not cover", "3": "all rules met"}
    assert towers["map_gaps"].to_dict() == {"1": "", "2": "buildings:bare_streets", "3": ""}
    assert towers.at["2", "map_cures"] == "buildings_layer coverage_polygon"
    assert towers["map_covers"].all(), "the map reaches all of them"
    stakes = tables["electrodes"].set_index(["tower_id", "side"])
    assert stakes.loc["2", "status"].to_dict() == {"left": "map does not cover", "right": "all rules met"}
    text = stakes.at[("2", "left"), "reasons"]
    assert "add a layer of buildings to the job, or vouch for it with a coverage polygon" in text
    assert text in towers.at["2", "reasons"]
    checks = tables["checks"].set_index(["tower_id", "role", "rule"])
    role = stakes.at[("2", "left"), "role"]
    assert checks.at[("2", role, "map_coverage"), "verdict"] == "unknown"
    assert checks.at[("2", role, "map_coverage"), "detail"] in text
    assert checks.at[("2", role, "lead_crossing"), "verdict"] == "unknown"
    for rule in ("reel", "line_clearance", "keep_out:minor_road", "ground_agreement"):
        assert checks.at[("2", role, rule), "verdict"] == "kept", f"{rule} does not rest on houses"
    checked = check_folder(folder)
    again = checked.electrodes.set_index(["tower_id", "side"])
    verdicts = checked.checks.set_index(["tower_id", "role", "rule"])["verdict"]
    assert verdicts.to_dict() == checks["verdict"].to_dict()
    assert again["status"].to_dict() == stakes["status"].to_dict()
    assert again["map_gaps"].to_dict() == stakes["map_gaps"].to_dict()


def test_every_theme_of_a_class_is_one_of_which_a_map_can_be_silent() -> None:
    named = {theme for row in shipped_classes().values() for theme in row.map_themes}
    assert named == {gap.theme for gap in GAPS.values()} - {REACH}


@pytest.mark.parametrize(
    ("rule", "gap", "known"),
    [
        ("keep_out:building", "buildings:bare_streets", False),
        ("keep_out:fence_wall", "buildings:bare_streets", False),
        ("keep_out:railway", "buildings:bare_streets", True),
        ("keep_out:river_canal", "buildings:bare_streets", True),
        ("keep_out:river_canal", "land_cover:no_land_cover", False),
        ("keep_out:standing_water", "sea:unclear_shore", False),
        ("keep_out:building", "sea:unclear_shore", True),
        ("line_clearance", "buildings:bare_streets land_cover:no_land_cover sea:unclear_shore", True),
        ("line_clearance", "reach:outside_box", False),
        ("keep_out:railway", "reach:few_features buildings:bare_streets", False),
        ("lead_crossing", "sea:unclear_shore", False),
        ("lead_beside", "buildings:bare_streets", False),
        ("crossing_agreement", "sea:unclear_shore", True),
        ("crossing_agreement", "land_cover:no_land_cover", False),
        ("map_coverage", "sea:unclear_shore", False),
        ("reel", "buildings:bare_streets", True),
    ],
)
def test_a_rule_is_unknown_where_the_map_is_silent_of_its_theme(rule: str, gap: str, known: bool) -> None:
    asked = {REACH, *map_themes(rule, shipped_classes())}
    assert asked.isdisjoint(GAPS[cause].theme for cause in causes_of(gap)) == known
    facts = object.__new__(Facts)
    object.__setattr__(facts, "gaps", ["", gap, ""])
    assert facts.known(map_themes(rule, shipped_classes())).tolist() == [True, known, True]


def test_a_lead_over_what_a_job_lets_it_cross_no_longer_rests_on_it() -> None:
    houses = {
        name: {"lead_crossing": "free"} for name, row in shipped_classes().items() if "buildings" in row.map_themes
    }
    assert "buildings" not in map_themes("lead_crossing", with_overrides(houses))


def test_advice_says_where_the_map_is_silent_near_the_tower(coast_town: tuple[Path, Path]) -> None:
    job = load_job(coast_town[1])
    inputs = read_inputs(job)
    model = build_lines(inputs.lines)
    obstacles, _ = build_obstacles(inputs.features, model.spans, job.obstacle_classes, permitted_given=False)
    covers = np.array([False, True, True])
    first, second, third = unseen_by_advice(obstacles, model.towers.lonlat_deg, covers, job.rules.reel_m)
    assert first == "; the map does not cover this tower: what else may be in the way is not known"
    assert second.startswith("; the map is incomplete near this tower")
    assert third == ""


def test_nothing_stands_in_the_sea(coast_town: tuple[Path, Path]) -> None:
    tables = read_plan_tables(coast_town[0])
    water = tables["obstacles"].set_index("feature_id").geometry["sea 1"]
    for name in ("electrodes", "leads", "alternatives", "approaches"):
        shapes = tables[name].geometry
        assert not shapes[shapes.notna()].intersects(water).any(), name
    assert tables["electrodes"].set_index(["tower_id", "side"]).at[("3", "left"), "lat"] < 49.0009 - 5 / 111_300


@pytest.mark.long
def test_the_independent_check_knows_streets_and_the_sea_by_itself(coast_town: tuple[Path, Path]) -> None:
    folder, job_file = coast_town
    check = independent_check()
    assert check.violations(folder, job_file) == []
    with sqlite3.connect(folder / "plan.gpkg") as tables:
        for (trigger,) in tables.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            tables.execute(f'DROP TRIGGER "{trigger}"')
        tables.execute("DELETE FROM obstacles WHERE obstacle_class IN ('houses_unmapped', 'standing_water')")
        tables.execute("UPDATE electrodes SET map_gaps = '', status = 'all rules met'")
    tables.close()
    found = check.violations(folder, job_file)
    assert any("tower 2: " in text and "near a street without houses" in text for text in found)
    written = check.Plan(folder, job_file)
    place = check.Place(written, next(row for row in written.towers.itertuples() if row.tower_id == "3"))
    assert place.in_the_sea(shapely.Point(0.0, 105.0))  # the shore runs 100 m north of the tower
    assert not place.in_the_sea(shapely.Point(0.0, 95.0))


def independent_check() -> Any:
    spec = importlib.util.spec_from_file_location("independent_check", TESTS / "independent_check.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
