"""A plan reopened from its files, and positions that people moved held against its rules."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from layoutplan.checking.check import Checked, check_folder, check_positions
from layoutplan.checking.edited import Given, edited_stakes
from layoutplan.checking.reopen import reopen
from layoutplan.errors import InputError, JobError, OutputError
from layoutplan.job import Job
from layoutplan.layout.model import Plan
from layoutplan.layout.rules import BROKEN, COMPROMISE, KEPT, NOT_CONFIRMED
from layoutplan.outputs.write import write_plan
from layoutplan.planning.checks import with_grace
from layoutplan.planning.pipeline import plan

from ..effort import some

KEYS = ["line_id", "tower_id", "role"]
SAMPLE_JOB = Path(__file__).parents[2] / "sample_gis" / "job.toml"


@pytest.fixture(scope="module")
def written(sample_plan_with: Callable[..., Plan], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    write_plan(sample_plan_with(formats=("gpkg", "json"), crs="EPSG:25832"), folder)
    return folder


@pytest.fixture
def copy(written: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(written, tmp_path / "plan"))


def edit(folder: Path, change: Any) -> None:
    """Do what a person does in a GIS: change the layer of electrodes and save."""
    path = folder / "plan.gpkg"
    table = change(pyogrio.read_dataframe(path, layer="electrodes"))
    pyogrio.write_dataframe(table, path, layer="electrodes", driver="GPKG")


def checked(folder: Path) -> Checked:
    again = reopen(folder, SAMPLE_JOB)
    return check_positions(again, edited_stakes(again))


def moved(tower: str, role: str, east_m: float, north_m: float) -> Any:
    def change(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        mine = (table["tower_id"] == tower) & (table["role"] == role)
        place = table.geometry.where(~mine, table.geometry.translate(east_m, north_m))
        return table.set_geometry(place, crs=table.crs)

    return change


@pytest.mark.long
def test_a_pair_alone_fares_as_it_does_among_all(written: Path) -> None:
    """What is evaluated is what is asked about: no verdict, figure or status depends on which other stakes are."""
    again = reopen(written, SAMPLE_JOB)
    given = edited_stakes(again)
    together = check_positions(again, given)
    for tower in np.unique(given.tower)[[0, 7, -1]]:
        mine = given.tower == tower
        only = replace(
            given,
            **{
                name: getattr(given, name)[mine]
                for name in ("tower", "role", "lonlat_deg", "accuracy_m", "planned_deg")
            },
        )
        alone = check_positions(again, only)
        line, name = again.model.towers.line_id[tower], again.model.towers.tower_id[tower]
        for table in ("checks", "electrodes", "exposures"):
            among = getattr(together, table)
            pd.testing.assert_frame_equal(
                pd.DataFrame(getattr(alone, table)).reset_index(drop=True),
                pd.DataFrame(among[(among["line_id"] == line) & (among["tower_id"] == name)]).reset_index(drop=True),
            )


def test_nothing_moved_nothing_changed(written: Path) -> None:
    """All figures of the plan come out again, from its own tables."""
    again, found = reopen(written), checked(written)
    assert found.problems == ()
    assert len(found.missing) == len(found.moved) == len(found.worse) == 0
    planned = again.tables["checks"].merge(found.checks, on=[*KEYS, "rule"], suffixes=("_planned", ""), how="outer")
    assert (planned["verdict"] == planned["verdict_planned"]).all()
    assert np.nanmax(np.abs(planned["measured"] - planned["measured_planned"])) < 2e-3
    leads = again.tables["leads"].merge(found.leads, on=KEYS, suffixes=("_planned", ""), validate="1:1")
    for name in ("emf_load_v", "emf_fault_v", "transferred_fault_v", "expected_reading_v_high", "field_kv_m", "score"):
        planned_figures = leads[f"{name}_planned"].to_numpy()
        assert leads[name].to_numpy() == pytest.approx(planned_figures, rel=1e-3, abs=2e-3, nan_ok=True)
    assert (leads["status"] == leads["status_planned"]).all()
    assert (leads["crossings"] == leads["crossings_planned"]).all()


def test_two_moved_stakes_break_exactly_their_rules(copy: Path) -> None:
    """115 H goes 30 m nearer to the line; 119 S goes out of the reel's reach."""
    before = reopen(copy).tables["electrodes"].set_index(KEYS)
    line = "ostrel-varnau"

    def towards(tower: str, role: str, metres: float) -> Any:
        stake = before.loc[(line, tower, role)]
        bearing = np.radians(stake["bearing_grid_deg"])
        return moved(tower, role, metres * np.sin(bearing), metres * np.cos(bearing))

    edit(copy, towards("115", "H", -30.0))
    edit(copy, towards("119", "S", 90.0))
    found = checked(copy)
    broken = set(zip(found.broken["tower_id"], found.broken["role"], found.broken["rule"], strict=True))
    assert {("115", "H", "line_clearance"), ("115", "H", "electrode_distance")} <= broken
    assert ("119", "S", "reel") in broken
    assert {(tower, role) for tower, role, _ in broken} == {("115", "H"), ("119", "S")}
    offsets = found.moved.set_index(["tower_id", "role"])["offset_m"]
    # UTM scale at this place: 0.9996 to 1.0001
    assert offsets.loc[("115", "H")] == pytest.approx(30.0, abs=0.02)
    assert offsets.loc[("119", "S")] == pytest.approx(90.0, abs=0.04)
    status = found.electrodes.set_index(["tower_id", "role"])["status"]
    assert status.loc[("115", "H")] == status.loc[("119", "S")] == "breaks rules"
    assert (status == "breaks rules").sum() == 2
    stakes = found.electrodes.set_index(KEYS)
    assert (stakes["verdict"] == stakes["status"]).all()
    assert {*stakes.loc[(line, "119", "S"), "worse"].split(", ")} >= {"reel"}
    assert {*stakes.loc[(line, "115", "H"), "worse"].split(", ")} >= {"line clearance", "electrode distance"}
    worse = found.worse.groupby(KEYS)["rule"].agg(set)
    assert stakes["worse"].str.len().gt(0).sum() == len(worse)
    assert found.shifts.set_index(["tower_id", "role"]).index.tolist() == [("115", "H"), ("119", "S")]
    for row in found.shifts.itertuples():
        (east, north), (now_east, now_north) = row.geometry.coords
        planned = before.to_crs(4326).geometry.loc[(line, row.tower_id, row.role)]
        assert (east, north) == pytest.approx((planned.x, planned.y), abs=1e-8)
        apart = Geodesic.WGS84.Inverse(north, east, now_north, now_east)
        assert apart["s12"] == pytest.approx(row.offset_m, abs=1e-3)
    assert pyogrio.read_dataframe(copy / "plan.gpkg", layer="electrodes").shape[0] == len(before)  # edits are kept


def test_moved_over_a_road_and_into_a_reserve_is_told(copy: Path) -> None:
    """A stake that now stands where the other side of the line's river is: everything on the way is named."""
    edit(copy, moved("103", "S", 0.0, 400.0))
    found = checked(copy)
    assert {"reel"} <= set(found.broken.loc[found.broken["tower_id"] == "103", "rule"])


@pytest.mark.long
@pytest.mark.parametrize("class_name", some(["garden_residential", "no_entry", "yard", "wetland"], 2))
def test_in_the_middle_of_an_area_without_keep_out_is_never_kept(copy: Path, class_name: str) -> None:
    """A limit of 0 m is missed by 0 m inside the area: what files round by excuses its edge only, not its middle.

    The edge itself is nearer than the map is accurate.
    """
    areas = reopen(copy).tables["obstacles"].query("obstacle_class == @class_name and keep_out_m == 0").geometry
    area = areas.to_crs(25832).iloc[0]
    inside = area.representative_point()

    to_edge = shapely.shortest_line(inside, area.boundary)
    places = {
        "114": inside,
        "115": to_edge.interpolate(to_edge.length - 0.0005),
        "116": to_edge.interpolate(to_edge.length - 0.02),
    }

    def change(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        rows = zip(table["tower_id"], table["role"], table.geometry, strict=True)
        shapes = [places.get(tower, was) if role == "H" else was for tower, role, was in rows]
        return table.set_geometry(shapes, crs=table.crs)

    edit(copy, change)
    verdict = checked(copy).checks.set_index(["tower_id", "role", "rule"])["verdict"]
    found = [verdict.loc[(tower, "H", f"keep_out:{class_name}")] for tower in places]
    assert found == ["broken", "compromise", "broken"]


def test_a_stake_that_took_its_lead_along_has_moved(copy: Path) -> None:
    """Snapping on, a GIS drags the lead's end with the stake: the planned place is not where the lead now ends."""
    edit(copy, moved("115", "H", 4.0, 3.0))
    leads = pyogrio.read_dataframe(copy / "plan.gpkg", layer="leads")
    mine = (leads["tower_id"] == "115") & (leads["role"] == "H")
    dragged = shapely.transform(leads.geometry[mine].iloc[0], lambda xy: xy + np.array([[0.0, 0.0], [4.0, 3.0]]))
    leads = leads.set_geometry(leads.geometry.where(~mine, dragged), crs=leads.crs)
    pyogrio.write_dataframe(leads, copy / "plan.gpkg", layer="leads", driver="GPKG")
    found = checked(copy).moved
    assert found[["tower_id", "role"]].to_numpy().tolist() == [["115", "H"]]
    assert found["offset_m"].iloc[0] == pytest.approx(5.0, abs=0.01)


@pytest.mark.long
def test_exchanged_roles_move_both(copy: Path) -> None:
    def swap(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        mine = table["tower_id"] == "115"
        return table.assign(role=table["role"].where(~mine, table["role"].map({"H": "S", "S": "H"})))

    edit(copy, swap)
    found = checked(copy)
    assert set(zip(found.moved["tower_id"], found.moved["role"], strict=True)) == {("115", "H"), ("115", "S")}
    assert found.moved["offset_m"].min() > 100
    assert len(found.broken) == 0


@pytest.mark.long
def test_deleted_and_new_stakes(copy: Path, written: Path) -> None:
    tower = reopen(copy).tables["towers"].set_index("tower_id").loc["105"]

    def change(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        kept = table[~((table["tower_id"] == "103") & (table["role"] == "H"))]
        place = gpd.GeoSeries.from_xy([tower["lon"] + 0.0009], [tower["lat"]], crs=4326).to_crs(table.crs)
        attributes = {"tower_id": ["105"], "line_id": ["ostrel-varnau"]}
        new = gpd.GeoDataFrame(attributes, geometry=place.to_numpy(), crs=table.crs)
        return gpd.GeoDataFrame(pd.concat([kept, new], ignore_index=True), crs=table.crs)

    edit(copy, change)
    found = checked(copy)
    assert found.missing[["tower_id", "role"]].to_numpy().tolist() == [["103", "H"]]
    planned = reopen(written).tables["electrodes"].set_index(["tower_id", "role"]).loc[("103", "H"), ["lon", "lat"]]
    assert shapely.get_coordinates(found.missing.geometry.iloc[0])[0] == pytest.approx(planned.astype(float), abs=1e-8)
    assert any("tower 105 had no role: taken for H" in text for text in found.problems)
    new = found.moved.set_index("tower_id").loc["105"]
    assert new["change"] == "new"
    alone = found.checks[(found.checks["tower_id"] == "103") & (found.checks["rule"] == "opposite_sides")]
    assert alone["verdict"].tolist() == ["compromise"]  # one stake makes no layout
    left = found.electrodes[found.electrodes["tower_id"] == "103"].iloc[0]
    assert left["status"] != "all rules met"
    assert "no second stake" in left["reasons"]
    assert found.exposures[found.exposures["tower_id"] == "103"].empty


def test_a_stake_without_tower_goes_to_the_nearest(copy: Path) -> None:
    def change(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        mine = (table["tower_id"] == "115") & (table["role"] == "H")
        return table.assign(tower_id=table["tower_id"].where(~mine, None))

    edit(copy, change)
    found = checked(copy)
    assert any("names no tower of the plan: taken for the nearest, 115" in text for text in found.problems)
    assert len(found.broken) == 0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda t: pd.concat([t, t.iloc[:1]], ignore_index=True), "is there more than once"),
        (lambda t: t.set_geometry([None, *t.geometry[1:]]), "no point"),
    ],
)
def test_what_cannot_be_read_as_stakes(copy: Path, change: Any, words: str) -> None:
    edit(copy, lambda table: gpd.GeoDataFrame(change(table), crs=table.crs))
    with pytest.raises(OutputError, match=words):
        checked(copy)


def test_what_the_accuracy_leaves_open(written: Path) -> None:
    """A stake 6 m from the limit, known to 10 m: the rule holds where it was measured, not where it may be."""
    again = reopen(written)
    stakes = again.tables["electrodes"]
    mine = stakes[stakes["tower_id"].isin(["115", "113"])]
    tower = [again.model.towers.tower_id.tolist().index(name) for name in mine["tower_id"]]
    lonlat = shapely.get_coordinates(mine.geometry.to_numpy())
    role, accuracy = mine["role"].to_numpy(dtype="<U1"), np.full(len(tower), 10.0)
    given = Given(np.array(tower), role, lonlat, lonlat, accuracy, stakes.iloc[:0], ())
    found = check_positions(again, given)
    open_rules = found.checks[found.checks["verdict"] == NOT_CONFIRMED]
    clear = found.checks[found.checks["rule"] == "line_clearance"].set_index(["tower_id", "role"])
    margin = clear["measured"] - clear["limit"]
    doubted = set(zip(open_rules["tower_id"], open_rules["role"], open_rules["rule"], strict=True))
    for (name, role), metres in margin.items():
        assert ((name, role, "line_clearance") in doubted) == (metres < 10.0)
    assert open_rules["detail"].str.contains("holds by less than the accuracy of 10 m").all()
    doubtful = found.electrodes.set_index(KEYS)["verdict"] == NOT_CONFIRMED
    assert set(doubtful[doubtful].index) == {*open_rules.set_index(KEYS).index}


@pytest.mark.long
@pytest.mark.parametrize("accuracy_m", some([12.0, 60.0, 25.0], 2))
def test_no_narrow_thing_slips_between_the_places_asked_within_the_accuracy(written: Path, accuracy_m: float) -> None:
    """Whatever is nearer than keep-out and accuracy together may be too near, measured here from the plan's file."""
    again = reopen(written)
    stakes = again.tables["electrodes"]
    rows = {key: i for i, key in enumerate(zip(again.model.towers.line_id, again.model.towers.tower_id, strict=True))}
    tower = np.array([rows[key] for key in zip(stakes["line_id"], stakes["tower_id"], strict=True)])
    lonlat, role = shapely.get_coordinates(stakes.geometry.to_numpy()), stakes["role"].to_numpy(dtype="<U1")
    given = Given(tower, role, lonlat, lonlat, np.full(len(tower), accuracy_m), stakes.iloc[:0], ())
    found = check_positions(again, given).checks
    verdict = found.set_index([*KEYS, "rule"])["verdict"]
    obstacles = again.tables["obstacles"].query("stake == 'no' and obstacle_class != 'power_line'").to_crs(25832)
    places = stakes.to_crs(25832)
    narrow = 0
    for stake in places.itertuples():
        away = obstacles.distance(stake.geometry) - obstacles["width_m"] / 2
        tight = obstacles[away < obstacles["keep_out_m"] + accuracy_m - 0.2]  # 0.2 m: scale of the grid over 200 m
        for class_name in tight["obstacle_class"].unique():
            key = (stake.line_id, stake.tower_id, stake.role, f"keep_out:{class_name}")
            assert verdict[key] in (NOT_CONFIRMED, "broken"), key
            narrow += 1
    assert narrow > 0
    reel = found[found["rule"] == "reel"]
    near = reel["measured"] + accuracy_m * 1.05 > reel["limit"] + 0.01
    assert (reel["verdict"][near] != "kept").all()


@pytest.mark.long
def test_a_bearing_just_short_of_north_is_north(written: Path) -> None:
    """359.998 degrees are 0 when rounded, not 360, as in every table."""
    again = reopen(written)
    given = edited_stakes(again)
    found = check_positions(again, replace(given, lonlat_deg=given.planned_deg + np.array([-1e-8, 2e-4])))
    assert found.electrodes["offset_bearing_deg"].tolist() == [0.0] * len(given.role)


def test_offsets_against_another_geodesic(written: Path) -> None:
    again = reopen(written)
    given = edited_stakes(again)
    for planned, here in zip(given.planned_deg, given.lonlat_deg, strict=True):
        assert Geodesic.WGS84.Inverse(planned[1], planned[0], here[1], here[0])["s12"] < 1e-3


@pytest.mark.long
def test_the_ground_is_asked_where_the_job_file_is_given(copy: Path) -> None:
    """Without it nothing is said of slopes; with it they are those of the plan, and a changed model is told."""
    blind = reopen(copy)
    assert any("--job" in note for note in blind.notes)
    assert not check_positions(blind, edited_stakes(blind)).checks["rule"].eq("slope").any()
    seeing = reopen(copy, SAMPLE_JOB)
    assert seeing.notes == ()
    slopes = check_positions(seeing, edited_stakes(seeing)).checks.query("rule == 'slope'")
    planned = seeing.tables["checks"].query("rule == 'slope'")
    np.testing.assert_allclose(slopes["measured"], planned["measured"], atol=1e-3)
    record = copy / "plan.json"
    sha = next(file["sha256"] for file in json.loads(record.read_text("utf-8"))["inputs"] if file["file"] == "dem.tif")
    record.write_text(record.read_text("utf-8").replace(sha, "0" * 64), "utf-8")
    assert reopen(copy, SAMPLE_JOB).notes == ("the elevation model has changed since the plan was made",)


def test_a_job_file_laid_over_another_names_the_ground_as_well(copy: Path, tmp_path: Path) -> None:
    """What the dialog of the desktop GIS was given is kept as such a file; it has no lines of its own."""
    part = tmp_path / "job.toml"
    part.write_text(f"[terrain]\nfiles = ['{SAMPLE_JOB.parent / 'dem.tif'}']\n", "utf-8")
    assert reopen(copy, part).notes == ()
    part.write_text("[rules]\nreel_m = 100\n", "utf-8")
    (note,) = reopen(copy, part).notes
    assert "slopes" in note
    assert "names none under [terrain]" in note
    part.write_text("[terrain]\nfilse = ['x.tif']\n", "utf-8")
    with pytest.raises(JobError, match="did you mean 'files'"):
        reopen(copy, part)


@pytest.mark.long
def test_the_way_to_a_stake_that_was_moved_far_is_unknown(copy: Path) -> None:
    edit(copy, moved("115", "H", 4.0, 0.0))
    edit(copy, moved("117", "H", 0.0, 12.0))
    ways = checked(copy).checks.query("rule == 'on_foot'").set_index(["tower_id", "role"])["verdict"]
    assert ways.loc[[("115", "H"), ("117", "S")]].tolist() == ["kept", "kept"]
    assert ways.loc[("117", "H")] == "unknown"


CONDUCTORS = [
    {"phase": phase, "offset_m": offset, "attachment_height_m": 20.0, "sag_m": 7.0, "diameter_mm": 27.0}
    | {"resistance_ohm_per_km": 0.07}
    for phase, offset in zip("ABC", (-5.0, 0.0, 5.0), strict=True)
]


@pytest.mark.long
def test_a_branch_is_reopened_as_it_was_planned(sample_folder: Path, tmp_path: Path) -> None:
    """Neither its line's sections, stations and fault sides, nor the voltage of a line with a similar name."""
    extract = sample_folder / "valley.osm.pbf"
    trunk = {
        "id": "v-9",
        "osm": {"path": extract, "way_ids": [1, 2, 3]},
        "voltage_kv": 220,
        "load": {"current_a": 380, "phase_currents_a": [[380, 0], [370, -120], [390, 121]]},
        "fault": {"from_start_ka": 8.0, "from_end_ka": 2.0, "clearing_time_s": 0.3},
        "start_grid_ohm": 0.5,
        "sections": [{"to_tower": "105", "conductors": CONDUCTORS}],
    }
    beside = {"id": "v", "osm": {"path": extract, "way_ids": [4]}, "measured": False, "voltage_kv": 110}
    settings = {"lines": [beside, trunk], "layers": [{"path": extract}], "output": {"formats": ["gpkg", "json"]}}
    planned = plan(Job.model_validate(settings))
    assert {"v-9", "v-9-2"} == set(planned.towers["line_id"])
    write_plan(planned, tmp_path / "plan")
    again = reopen(tmp_path / "plan")
    found = check_positions(again, edited_stakes(again)).exposures
    keys = [*KEYS, "exposure", "state"]
    both = planned.exposures.merge(found, on=keys, suffixes=("_planned", ""), validate="1:1")
    assert len(both) == len(found) == len(planned.exposures)
    for name in ("value", "limit"):
        assert both[name].to_numpy() == pytest.approx(
            both[f"{name}_planned"].to_numpy(), rel=1e-3, abs=2e-3, nan_ok=True
        )
    branch = both[both["line_id"] == "v-9-2"]
    assert branch["value"].isna().any()  # what feeds a fault from either side is not known there
    assert branch["value"].notna().any()


@pytest.mark.long
def test_what_was_assumed_in_the_plan_is_still_assumed_when_it_is_checked(written: Path, tmp_path: Path) -> None:
    planned = reopen(written).tables["exposures"]
    found = checked(written).exposures
    keys = [*KEYS, "exposure", "state"]
    both = planned.merge(found, on=keys, suffixes=("_planned", ""), validate="1:1")
    assert (both["assumptions"] == both["assumptions_planned"]).all()
    assert both["assumptions"].str.contains("unbalance not given").any()
    # a record that does not say what was given says nothing of the ground either
    folder = Path(shutil.copytree(written, tmp_path / "plan"))
    record = json.loads((folder / "plan.json").read_text("utf-8"))
    del record["given"]
    (folder / "plan.json").write_text(json.dumps(record), "utf-8")
    assert not any(line.load and line.load.model_fields_set for line in reopen(folder).job.lines)


def test_stakes_of_a_wrong_zone_are_refused_before_anything_is_worked_out(written: Path, tmp_path: Path) -> None:
    planned = pyogrio.read_dataframe(written / "plan.gpkg", layer="electrodes").to_crs("EPSG:25832")
    table = pd.DataFrame({"name": planned["waypoint"], "easting": planned.geometry.x, "northing": planned.geometry.y})
    table.round(2).to_csv(tmp_path / "staked.csv", index=False)
    with pytest.raises(InputError, match=rf"lies \d\d\d,\d+ m from its tower \({len(planned)} stakes are farther"):
        check_folder(written, staked=tmp_path / "staked.csv", crs="EPSG:25833")
    found = check_folder(written, staked=tmp_path / "staked.csv", crs="EPSG:25832")
    assert found.moved.empty  # rounding of the coordinates is no move


@pytest.mark.long
def test_what_lay_too_far_away_to_be_asked_fares_no_worse_where_the_map_never_reached(copy: Path) -> None:
    before = pyogrio.read_dataframe(copy / "plan.gpkg", layer="electrodes")
    assert "map does not cover" in before.set_index("tower_id").loc["101", "status"].tolist()
    edit(copy, moved("115", "H", 3000.0, 0.0))  # so that all towers look that far
    found = checked(copy)
    new = found.checks[(found.checks["tower_id"] == "101") & found.checks["planned_verdict"].isna()]
    assert len(new) > 0
    assert set(new["verdict"]) == {"unknown"}
    assert "101" not in found.worse["tower_id"].tolist()


def test_a_lead_planned_at_the_limit_of_square_is_no_worse_for_rounding() -> None:
    rules = ["perpendicular_to_line", "perpendicular_to_line", "ground_agreement", "lead_angle"]
    missed = [0.00002, 0.5, 0.0, 0.00002]
    verdict = [COMPROMISE, COMPROMISE, COMPROMISE, BROKEN]
    table = pd.DataFrame(
        {"rule": rules, "verdict": verdict, "unit": ["deg", "deg", "areas", "deg"], "missed_by": missed}
    )
    assert with_grace(table, 0.001)["verdict"].tolist() == [KEPT, COMPROMISE, COMPROMISE, KEPT]
