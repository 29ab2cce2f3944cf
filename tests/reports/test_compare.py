"""Two plans side by side: planned twice through the real pipeline, and edited by hand."""

import copy
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod

from layoutplan.errors import OutputError
from layoutplan.outputs.write import write_plan
from layoutplan.planning.pipeline import plan
from layoutplan.reports.compare import compare_plans
from layoutplan.reports.compare_records import NOT_THERE, compare_records
from layoutplan.store.record import read_plan_record
from layoutplan.written.read import read_plan_tables

GEOD = Geod(ellps="WGS84")
STAKE = ["line_id", "tower_id", "role"]
ONE = ("ostrel-varnau", "107", "H")  # a stake of which no figure is near a step
OTHER = (*ONE[:2], "S")


def with_changes(job, rules=(), output=()):
    parts = {"rules": dict(rules), "output": {"formats": ("gpkg", "json"), **dict(output)}}
    return job.model_copy(update={name: getattr(job, name).model_copy(update=new) for name, new in parts.items()})


def written(made, folder):
    write_plan(made, folder)
    return read_plan_tables(folder), read_plan_record(folder)


@pytest.fixture(scope="module")
def made(sample_plan_with):
    return sample_plan_with(formats=("gpkg", "json"))


@pytest.fixture(scope="module")
def first(made, tmp_path_factory):
    return written(made, tmp_path_factory.mktemp("first"))


@pytest.fixture(scope="module")
def second(made, tmp_path_factory):
    stricter = with_changes(made.job, rules={"min_angle_deg": 60.0, "reel_m": 100.0})
    return written(plan(stricter), tmp_path_factory.mktemp("second"))


@pytest.fixture(scope="module")
def changed(first, second):
    """The first against the second, to be read only."""
    return compare_plans(first[0], second[0], first[1], second[1])


@pytest.fixture
def tables(first):
    """Tables to edit by hand."""
    return {name: table.copy() for name, table in first[0].items()}


def rows_of(table, stake):
    """Rows of a stake, or of a tower if no role is given."""
    return np.logical_and.reduce([table[name] == value for name, value in zip(STAKE, stake, strict=False)])


def put(table, stake, bearing_deg, distance_m):
    """Move what is drawn of a stake or tower."""
    rows = rows_of(table, stake)
    point = table.loc[rows, "geometry"].iloc[0]
    lon, lat, _ = GEOD.fwd(point.x, point.y, bearing_deg, distance_m)
    table.loc[rows, "geometry"] = shapely.Point(lon, lat)


def against(first, tables, **options):
    return compare_plans(first[0], tables, first[1], first[1], **options)


def keyed(table, *names):
    return {
        tuple(row[: len(STAKE)]): tuple(row[len(STAKE) :]) for row in table[[*STAKE, *names]].itertuples(index=False)
    }


# ---- planned twice ------------------------------------------------------------------------------------------------


def test_identical_plans(first):
    found = compare_plans(*[first[0]] * 2, *[first[1]] * 2)
    assert found.same
    assert found.record.empty
    assert found.notes == ()


def test_moved_new_and_gone_as_counted_one_by_one(first, second, changed):
    places = [
        {tuple(row[:3]): row[3] for row in t["electrodes"][[*STAKE, "geometry"]].itertuples(index=False)}
        for t in (first[0], second[0])
    ]
    old, new = places
    away = {key: GEOD.inv(old[key].x, old[key].y, new[key].x, new[key].y)[2] for key in old.keys() & new.keys()}
    found = keyed(changed.stakes, "change", "moved_m")
    assert {key for key, row in found.items() if row[0] == "gone"} == old.keys() - new.keys() != set()
    assert {key for key, row in found.items() if row[0] == "new"} == new.keys() - old.keys()
    moved = {key: row[1] for key, row in found.items() if row[0] in ("moved", "swapped")}
    assert moved == pytest.approx({key: distance for key, distance in away.items() if distance > 0.05}, abs=1e-4)
    assert moved


def test_backwards_what_was_gone_is_new(first, second, changed):
    back = compare_plans(second[0], first[0], second[1], first[1])
    turned = {"new": "gone", "gone": "new"}
    for key, (change,) in keyed(back.stakes, "change").items():
        assert keyed(changed.stakes, "change")[key] == (turned.get(change, change),)


def test_status_comes_with_the_new_reasons(changed):
    found = changed.towers.set_index("tower_id").loc["104"]
    assert found[["old_status", "new_status"]].tolist() == ["compromise", "no layout"]
    assert "lead along the " in found["new_reasons"]
    assert found["stakes"] == 2


def test_verdicts_as_counted_one_by_one(first, second, changed):
    lasting = set(keyed(first[0]["electrodes"])) & set(keyed(second[0]["electrodes"]))
    old, new = (
        {
            tuple(row[:4]): row[4]
            for row in t["checks"][[*STAKE, "rule", "verdict"]].itertuples(index=False)
            if row[:3] in lasting
        }
        for t in (first[0], second[0])
    )
    differ = {(*key, new[key]) for key in old.keys() & new.keys() if old[key] != new[key]}
    found = changed.checks
    both = found[(found["old_verdict"] != "") & (found["new_verdict"] != "")]
    assert set(both[[*STAKE, "rule", "new_verdict"]].itertuples(index=False, name=None)) == differ != set()


def test_settings_by_dotted_key(changed):
    assert changed.record.to_numpy().tolist() == [
        ["settings.rules.min_angle_deg", 30.0, 60.0],
        ["settings.rules.reel_m", 150.0, 100.0],
    ]


@pytest.mark.long
def test_plans_in_different_reference_systems(made, first, tmp_path):
    other = written(replace(made, job=with_changes(made.job, output={"crs": "EPSG:25832"})), tmp_path)
    assert other[0]["towers"].crs == "EPSG:25832"
    found = compare_plans(first[0], other[0], first[1], other[1])
    assert found.same
    assert found.notes == ()
    assert found.record["key"].tolist() == ["settings.output.crs"]


@pytest.mark.long
def test_plan_without_any_stake(made, first, tmp_path):
    names = ("electrodes", "leads", "checks", "exposures")
    empty = {name: getattr(made, name).iloc[:0] for name in names}
    none = written(replace(made, towers=made.towers.assign(status="no layout"), **empty), tmp_path)
    assert compare_plans(none[0], none[0], none[1], none[1]).same
    gone = compare_plans(first[0], none[0], first[1], none[1])
    assert set(gone.stakes["change"]) == {"gone"}
    assert len(gone.stakes) == len(first[0]["electrodes"])
    assert (gone.towers["new_status"] == "no layout").all()
    assert gone.checks.empty
    back = compare_plans(none[0], first[0], none[1], first[1])
    assert set(back.stakes["change"]) == {"new"}
    assert not (back.checks["new_verdict"] == "kept").any()
    cautions = first[0]["checks"]["verdict"] != "kept"
    assert len(back.checks) == cautions.sum() > 0


# ---- places ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("moved_m", "tolerance_m", "seen"), [(0.04, 0.05, 0), (0.06, 0.05, 1), (0.04, 0.01, 1), (3.0, 5.0, 0)]
)
def test_tolerance(first, tables, moved_m, tolerance_m, seen):
    put(tables["electrodes"], ONE, 40.0, moved_m)
    found = against(first, tables, tolerance_m=tolerance_m)
    assert len(found.stakes) == seen
    assert found.same == (not seen)


def test_a_tolerance_that_is_no_number_hides_nothing(first, tables):
    put(tables["electrodes"], ONE, 40.0, 3.0)
    assert "moved" in against(first, tables, tolerance_m=float("nan")).stakes["change"].tolist()


def test_way_and_both_distances(first, tables):
    before = first[0]["electrodes"][rows_of(first[0]["electrodes"], ONE)].iloc[0]
    put(tables["electrodes"], ONE, before["bearing_true_deg"], 5.0)  # straight away from the tower
    row = against(first, tables).stakes.iloc[0]
    assert row[["change", *STAKE]].tolist() == ["moved", *ONE]
    assert row["moved_m"] == pytest.approx(5.0, abs=1e-3)
    assert row["move_bearing_deg"] == pytest.approx(before["bearing_true_deg"], abs=0.02)
    assert row["old_distance_m"] == pytest.approx(before["distance_m"], abs=1e-3)
    assert row["new_distance_m"] == pytest.approx(before["distance_m"] + 5.0, abs=1e-3)
    assert row["old_bearing_true_deg"] == pytest.approx(before["bearing_true_deg"], abs=0.01)
    assert row["old_side"] == row["new_side"] == before["side"]
    start, end = shapely.get_coordinates(row["geometry"])
    assert GEOD.inv(*start, *end)[2] == pytest.approx(5.0, abs=1e-3)


def test_moved_by_hand_is_said_for_verdicts_do_not_follow(first, tables):
    assert against(first, tables).notes == ()
    put(tables["electrodes"], ONE, 40.0, 3.0)
    assert "1 stake(s) of the new plan were moved by hand" in against(first, tables).notes[0]


def exchange(table, extra_m=0.0):
    rows = [rows_of(table, stake) for stake in (ONE, OTHER)]
    points = [table.loc[row, "geometry"].iloc[0] for row in rows]
    for row, point in zip(rows, points[::-1], strict=True):
        table.loc[row, "geometry"] = point
    put(table, OTHER, 0.0, extra_m)


def test_exchanged_roles_are_no_moves(first, tables):
    exchange(tables["electrodes"])
    found = against(first, tables).stakes
    assert keyed(found, "change") == {ONE: ("swapped",), OTHER: ("swapped",)}


def test_one_in_the_place_of_the_other_is_a_move(first, tables):
    exchange(tables["electrodes"], extra_m=1.0)
    assert keyed(against(first, tables).stakes, "change") == {ONE: ("moved",), OTHER: ("moved",)}


def test_swapped_within_the_tolerance(first, tables):
    exchange(tables["electrodes"], extra_m=0.03)
    assert set(against(first, tables).stakes["change"]) == {"swapped"}


def test_tower_moved(first, tables):
    put(tables["towers"], ONE[:2], 90.0, 0.2)
    found = against(first, tables)
    assert found.towers[["tower_id", "change", "moved_m", "move_bearing_deg"]].to_numpy().tolist() == [
        ["107", "moved", 0.2, 90.0]
    ]
    assert found.stakes.empty


def test_tower_missing_on_either_side(first, tables):
    less = {name: t[~rows_of(t, ONE[:2])] if "tower_id" in t else t for name, t in tables.items()}
    gone, back = against(first, less), compare_plans(less, first[0], first[1], first[1])
    assert gone.towers[["tower_id", "change", "old_status", "new_status"]].to_numpy().tolist() == [
        ["107", "removed", "take care", ""]
    ]
    assert keyed(gone.stakes, "change") == {ONE: ("gone",), OTHER: ("gone",)}
    assert back.towers[["tower_id", "change", "new_status"]].to_numpy().tolist() == [["107", "added", "take care"]]
    assert back.crossings["role"].tolist() == ["H"]
    was = first[0]["towers"].set_index("tower_id").loc["107", "geometry"]
    assert gone.towers.geometry.iloc[0].equals_exact(was, 1e-8)


def test_one_tower_id_in_two_lines(first, tables):
    def twice(source):
        copies = {}
        for name, table in source.items():
            more = table[rows_of(table, ONE[:2])].assign(line_id="b") if "tower_id" in table else table.iloc[:0]
            joined = pd.concat([table, more], ignore_index=True)
            copies[name] = gpd.GeoDataFrame(joined, crs=table.crs) if isinstance(table, gpd.GeoDataFrame) else joined
        return copies

    old, new = twice(first[0]), twice(tables)
    put(new["electrodes"], ("b", *ONE[1:]), 10.0, 2.0)
    found = compare_plans(old, new, first[1], first[1])
    assert found.towers[["line_id", "tower_id"]].to_numpy().tolist() == [["b", "107"]]
    assert list(keyed(found.stakes)) == [("b", *ONE[1:])]


def test_order_is_that_of_the_new_plan_with_what_is_gone_behind(first, tables):
    tables["towers"] = tables["towers"].iloc[::-1].assign(status="x")
    tables["towers"] = tables["towers"][tables["towers"]["tower_id"] != "110"]
    for stake in (ONE, (ONE[0], "110", "H"), (ONE[0], "112", "S")):
        put(tables["electrodes"], stake, 0.0, 1.0)
    found = against(first, tables)
    assert found.towers["tower_id"].tolist() == [*tables["towers"]["tower_id"], "110"]
    assert found.stakes["tower_id"].tolist() == ["112", "107", "110"]


@pytest.mark.parametrize(("old", "new"), [(179.99998, -179.99998), (-179.99998, 179.99998)])
def test_across_the_antimeridian(first, tables, old, new):
    before = {name: table.copy() for name, table in tables.items()}
    for side, lon in ((before, old), (tables, new)):
        side["electrodes"].loc[rows_of(side["electrodes"], ONE), "geometry"] = shapely.Point(lon, 10.0)
    row = compare_plans(before, tables, first[1], first[1]).stakes.iloc[0]
    assert row["moved_m"] == pytest.approx(4.4, abs=0.1)
    west, _, east, _ = row["geometry"].bounds
    assert west == pytest.approx(179.99998)
    assert east == pytest.approx(180.00002)


@pytest.mark.parametrize("name", ["towers", "electrodes"])
def test_unknown_place_is_never_the_same(first, tables, name):
    table = tables[name]
    keys = ["107", "110", "112"] if name == "towers" else [ONE, OTHER, (ONE[0], "112", "S")]
    for key, place in zip(keys, [None, shapely.Point(), shapely.LineString([(0, 0), (1, 1)])], strict=True):
        rows = rows_of(table, key if name == "electrodes" else (ONE[0], key))
        table["geometry"] = [place if row else shape for row, shape in zip(rows, table.geometry, strict=True)]
    found = against(first, tables)
    assert not found.same
    changed = found.towers[found.towers["change"] != ""] if name == "towers" else found.stakes
    assert changed["change"].tolist() == ["place unknown"] * 3


def test_stake_of_no_tower_counts(first, tables):
    table = tables["electrodes"]
    table.loc[rows_of(table, ONE), "tower_id"] = None
    found = against(first, tables)
    assert ("ostrel-varnau", "", "H") in keyed(found.stakes)


# ---- verdicts, crossings, exposures ------------------------------------------------------------------------------


VERDICTS = [
    ("kept", "broken", "newly broken"),
    ("broken", "kept", "newly kept"),
    ("kept", "take care", "newly take care"),
    ("compromise", "to be agreed", "newly to be agreed"),
    ("kept", "unknown", "newly unknown"),
    ("kept", None, "newly unknown"),
    ("kept", "looks fine", "newly unknown"),
    ("unknown", None, None),
]


def stakes_for(tables, cases):
    """A stake of its own for each case."""
    stakes = tables["electrodes"][STAKE].itertuples(index=False, name=None)
    return dict(zip(cases, stakes, strict=False))


def test_verdict(first, tables):
    before = {**tables, "checks": tables["checks"].copy()}
    stakes = stakes_for(tables, VERDICTS)
    for (old, new, _), stake in stakes.items():
        for side, verdict in ((before, old), (tables, new)):
            rows = rows_of(side["checks"], stake) & (side["checks"]["rule"] == "reel")
            assert rows.sum() == 1
            side["checks"].loc[rows, "verdict"] = verdict
    found = compare_plans(before, tables, first[1], first[1]).checks
    expected = {stake: ("reel", change) for (_, _, change), stake in stakes.items() if change}
    assert keyed(found, "rule", "change") == expected
    assert len(found) == len(expected)


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("rule", "verdict", "gone", "back"),
    [
        ("reel", "kept", ["no longer checked"], ["newly checked and kept"]),
        ("keep_out:minor_road", "kept", [], []),  # only what comes within reach of a stake is listed
        ("keep_out:minor_road", "unknown", ["no longer checked"], ["newly unknown"]),
        ("keep_out:minor_road", "broken", ["no longer checked"], ["newly broken"]),
    ],
)
def test_rule_checked_in_one_plan_only(first, tables, rule, verdict, gone, back):
    mine = rows_of(tables["checks"], ONE) & (tables["checks"]["rule"] == rule)
    assert mine.sum() == 1
    with_it = {**tables, "checks": tables["checks"].assign(verdict=tables["checks"]["verdict"].mask(mine, verdict))}
    without = {**tables, "checks": tables["checks"][~mine]}
    assert compare_plans(with_it, without, None, None).checks["change"].tolist() == gone
    assert compare_plans(without, with_it, None, None).checks["change"].tolist() == back


DITCH, TRACK, ODD = ("stream_ditch", "", "w 1"), ("track_path", "", "r 2"), ("track_path", "a; b at 2.0 m", "")


CROSSED = [
    ([(*DITCH, 59.3)], [(*DITCH, 61.0)], "", ""),
    ([(*DITCH, 1.0), (*TRACK, 2.0)], [(*TRACK, 1.0), (*DITCH, 2.0)], "", ""),
    ([], [(*TRACK, 3.0)], "track or path (r 2)", ""),
    ([(*TRACK, 3.0)], [], "", "track or path (r 2)"),
    (
        [(*DITCH, 1.0), (*TRACK, 2.0)],
        [(*DITCH, 1.0), (*ODD, 2.0)],
        "track or path 'a; b at 2.0 m'",
        "track or path (r 2)",
    ),
    ([(*DITCH, 1.0)], [(*DITCH, 1.0), (*DITCH, 9.0)], "stream or ditch (w 1)", ""),
]


def test_crossings(first, tables):
    """By what is crossed, whatever its name is made of; where on the lead is of no account."""
    before = dict(tables)
    stakes = stakes_for(tables, range(len(CROSSED)))
    for (old, new, _, _), stake in zip(CROSSED, stakes.values(), strict=True):
        for side, met in ((before, old), (tables, new)):
            table = side["crossings"]
            mine = pd.DataFrame(met, columns=["obstacle_class", "name", "feature_id", "at_m"]).assign(
                **dict(zip(STAKE, stake, strict=True)), waypoint="107-H", met_by="lead", verdict="take care"
            )
            side["crossings"] = pd.concat([table[~rows_of(table, stake)], mine], ignore_index=True)
    found = compare_plans(before, tables, first[1], first[1]).crossings
    told = {stake: case[2:] for case, stake in zip(CROSSED, stakes.values(), strict=True) if any(case[2:])}
    assert keyed(found, "newly_crossed", "no_longer_crossed") == told
    assert len(found) == len(told)


LEVELS = [
    (0.2, 0.5, None),
    (0.2, 0.5001, "above half"),
    (0.9, 1.0, None),
    (1.0, 1.0001, "above the limit"),
    (1.2, 0.6, "above half"),
    (0.9, 0.1, "below half"),
    (0.1, np.nan, "unknown"),
    (np.nan, 0.1, "below half"),
    (np.nan, np.nan, None),
]


@pytest.mark.parametrize("cases", [LEVELS, [case for case in LEVELS if case[2] is None]], ids=["all", "none changed"])
def test_exposure_levels(first, tables, cases):
    before = {**tables, "exposures": tables["exposures"].copy()}
    stakes = stakes_for(tables, cases)
    for (old, new, _), stake in stakes.items():
        for side, ratio in ((before, old), (tables, new)):
            rows = rows_of(side["exposures"], stake) & (side["exposures"]["exposure"] == "induced by a fault")
            assert rows.sum() == 1
            side["exposures"].loc[rows, "ratio"] = ratio
    found = compare_plans(before, tables, first[1], first[1])
    expected = {stake: ("induced by a fault", "under a fault", case[2]) for case, stake in stakes.items() if case[2]}
    assert keyed(found.exposures, "exposure", "state", "new_level") == expected
    assert found.same == (not expected)


# ---- what is not there ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "words"), [("checks", "verdicts"), ("crossings", "crossings"), ("exposures", "exposures")]
)
def test_missing_table_is_said_and_never_the_same(first, tables, name, words):
    del tables[name]
    put(tables["towers"], ONE[:2], 90.0, 1.0)
    found = against(first, tables)
    assert found.notes == (f"the new plan.gpkg has no layer '{name}': {words} could not be compared",)
    assert found.towers["change"].tolist() == ["moved"]
    assert getattr(found, name).empty
    both = compare_plans(tables, tables, first[1], first[1])
    assert both.towers.empty
    assert not both.same


@pytest.mark.parametrize("ages", [("old",), ("new",), ("old", "new")])
def test_missing_record_is_said(first, second, ages):
    records = [None if age in ages else record for age, record in (("old", first[1]), ("new", second[1]))]
    found = compare_plans(first[0], second[0], *records)
    assert found.record.empty
    assert [note.split(":")[0] for note in found.notes] == [f"the {age} plan has no plan.json" for age in ages]
    assert len(found.stakes)


@pytest.mark.parametrize("name", ["towers", "electrodes"])
def test_without_towers_or_stakes_there_is_no_plan(first, tables, name):
    unplaced = {**tables, name: tables[name].set_crs(None, allow_override=True)}
    plain = {**tables, name: pd.DataFrame(tables[name].drop(columns="geometry"))}
    for broken in (unplaced, plain, {other: t for other, t in tables.items() if other != name}):
        with pytest.raises(OutputError, match=f"no layer '{name}' with a reference system"):
            against(first, broken)


def test_twice_the_same_stake(first, tables):
    table = tables["electrodes"]
    table.loc[rows_of(table, OTHER), "role"] = "H"
    with pytest.raises(OutputError, match=r"'electrodes' .* more than one row of ostrel-varnau, 107, H"):
        against(first, tables)


def test_missing_column(first, tables):
    with pytest.raises(OutputError, match="layer 'checks' of a plan has no column verdict"):
        against(first, {**tables, "checks": tables["checks"].drop(columns="verdict")})


# ---- records -------------------------------------------------------------------------------------------------------


def differences(old, new):
    found = compare_records(old, new)
    return {row["key"]: (row["old"], row["new"]) for row in found.to_dict("records")}


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ({"a": 1}, {"a": 1.0}, {}),
        ({"a": {"b": 1, "c": 2}}, {"a": {"b": 3, "c": 2}}, {"a.b": (1, 3)}),
        ({"a": None}, {}, {"a": (None, NOT_THERE)}),
        ({"formats": ["gpx", "csv"]}, {"formats": ["gpx"]}, {"formats": (["gpx", "csv"], ["gpx"])}),
        ({"map": {"a.b": 1}}, {"map": {"a.b": 2}}, {'map."a.b"': (1, 2)}),
        ({"t": None}, {"t": {"path": "x"}}, {"t": (None, {"path": "x"})}),
        (
            {"lines": [{"id": "a", "kv": 1}, {"id": "b", "kv": 2}]},
            {"lines": [{"id": "b", "kv": 3}, {"id": "c", "kv": 4}]},
            {
                "lines[a]": ({"id": "a", "kv": 1}, NOT_THERE),
                "lines[b].kv": (2, 3),
                "lines[c]": (NOT_THERE, {"id": "c", "kv": 4}),
            },
        ),
        # an entry put in front must not make all others look changed
        (
            {"layers": [{"p": 1}, {"p": 2}]},
            {"layers": [{"p": 0}, {"p": 1}, {"p": 2}]},
            {"layers[1]": (NOT_THERE, {"p": 0})},
        ),
        ({"layers": [{"p": 1}, {"p": 2}]}, {"layers": [{"p": 2}]}, {"layers[1]": ({"p": 1}, NOT_THERE)}),
        ({"layers": [{"p": 1, "w": 1}, {"p": 2}]}, {"layers": [{"p": 1, "w": 5}, {"p": 2}]}, {"layers[1].w": (1, 5)}),
        # what is there keeps its number in the new plan, what is gone the one it had
        (
            {"layers": [{"p": 1}, {"p": 2}, {"p": 3}]},
            {"layers": [{"p": 0}, {"p": 1}, {"p": 3}]},
            {"layers[1]": (NOT_THERE, {"p": 0}), "layers[2]": ({"p": 2}, NOT_THERE)},
        ),
        ({"layers": []}, {"layers": [{"p": 1}]}, {"layers[1]": (NOT_THERE, {"p": 1})}),
    ],
)
def test_settings(old, new, found):
    assert differences({"settings": old}, {"settings": new}) == {f"settings.{k}": v for k, v in found.items()}


def test_classes_software_and_grid(first):
    record = copy.deepcopy(first[1])
    record["obstacle_classes"]["building"]["keep_out_m"] = 99.0
    record["software"]["PROJ"] = "0"
    record["grid_crs"] = "EPSG:1"
    was = first[1]
    assert differences(was, record) == {
        "obstacle_classes.building.keep_out_m": (was["obstacle_classes"]["building"]["keep_out_m"], 99.0),
        "software.PROJ": (was["software"]["PROJ"], "0"),
        "grid_crs": (was["grid_crs"], "EPSG:1"),
    }


def test_inputs_by_file():
    old = [{"file": "a", "sha256": "1", "data_date": None}, {"file": "b", "sha256": "2", "data_date": "2020"}]
    new = [{"file": "c", "sha256": "3", "data_date": None}, {"file": "b", "sha256": "9", "data_date": "2021"}]
    assert differences({"inputs": old}, {"inputs": new}) == {
        "inputs[a]": (old[0], NOT_THERE),
        "inputs[b].sha256": ("2", "9"),
        "inputs[b].data_date": ("2020", "2021"),
        "inputs[c]": (NOT_THERE, new[0]),
    }


def test_settings_alone_leave_the_places_the_same(first):
    assert compare_plans(first[0], first[0], first[1], {**first[1], "software": {}}).same


def renumbered(tables: dict[str, pd.DataFrame], names: dict[str, str]) -> dict[str, pd.DataFrame]:
    return {
        name: table.assign(tower_id=table["tower_id"].map(lambda name: names.get(name, name)))
        if "tower_id" in table
        else table
        for name, table in tables.items()
    }


def test_towers_whose_ids_changed_are_compared_by_place(first) -> None:
    """Every number one higher: each id is there before and after, and stands for another tower."""
    tables = first[0]
    ids = tables["towers"]["tower_id"].tolist()
    names = dict(zip(ids, [*ids[1:], "999"], strict=True))
    found = compare_plans(tables, renumbered(tables, names), None, None)
    assert found.same
    (note,) = [note for note in found.notes if "ids of" in note]
    assert f"ids of {len(ids)} towers at the same place changed" in note
    assert f"{ids[0]} of" in note


def test_a_tower_that_is_gone_is_not_taken_for_one_that_has_its_id_now(first) -> None:
    tables = first[0]
    ids = [name for name in tables["towers"]["tower_id"] if name != "105"]
    gone, heir = ids[-1], ids[-2]
    left = {name: table[table["tower_id"] != gone] if "tower_id" in table else table for name, table in tables.items()}
    found = compare_plans(tables, renumbered(left, {heir: gone}), None, None)
    assert found.towers[["tower_id", "change"]].to_numpy().tolist() == [[f"{gone} (of the old plan)", "removed"]]
