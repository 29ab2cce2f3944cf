"""Ways on foot in the plan: the table, the checks, the score, and when they are not looked for."""

import shutil

import numpy as np
import pandas as pd
import pytest

from layoutplan import load_job
from layoutplan.planning.on_foot import on_foot
from layoutplan.planning.pipeline import plan
from layoutplan.planning.ways import NO_ROADS, SWITCHED_OFF
from layoutplan.reports.explain import way_lines

KEYS = ["line_id", "tower_id", "role"]


def job_with(sample_folder, **changes):
    job = load_job(sample_folder / "job.toml")
    return job.model_copy(update={name: change(getattr(job, name)) for name, change in changes.items()})


@pytest.fixture(scope="module")
def made(sample_plan):
    return sample_plan


def test_a_way_to_every_tower_and_stake(made):
    towers = made.approaches[made.approaches["to"] == "tower"]
    assert towers["tower_id"].tolist() == made.towers["tower_id"].tolist()
    stakes = made.approaches[made.approaches["to"] != "tower"].rename(columns={"to": "role"})
    assert stakes[KEYS].to_numpy().tolist() == made.electrodes[KEYS].to_numpy().tolist()


def test_the_score_and_the_approach_agree_on_the_walk(made):
    """What siting counted is what the crew is told, where the way does not leave the first surroundings."""
    stakes = made.approaches[made.approaches["to"] != "tower"].rename(columns={"to": "role"})
    pairs = made.electrodes.merge(stakes, on=KEYS, suffixes=("_scored", "_told"))
    known = pairs.dropna(subset="walk_min_told")
    assert len(known) > 40
    np.testing.assert_allclose(known["walk_min_scored"], known["walk_min_told"], atol=0.011)


def test_every_stake_has_its_check(made):
    checks = made.checks[made.checks["rule"] == "on_foot"].merge(made.electrodes[[*KEYS, "waypoint"]], on=KEYS)
    assert len(checks) == len(made.electrodes)
    verdict = checks.groupby("tower_id")["verdict"].agg(set)
    assert verdict["101"] == {"unknown"}  # beyond the map
    assert verdict["113"] == {"to be agreed"}  # the protected area
    assert verdict["108"] == {"kept"}
    detail = checks.set_index(["tower_id", "role"]).loc[("113", "H"), "detail"]
    assert "protected area Ilvried Moss" in detail


@pytest.mark.long
def test_parcels_count_the_metres_walked(sample_folder, tmp_path):
    land = '\n[[land]]\npath = "valley.gpkg"\nlayer = "parcels"\nparcel_column = "parcel_no"\npermission = "granted"\n'
    job_file = shutil.copytree(sample_folder, tmp_path / "sample") / "job.toml"
    job_file.write_text(job_file.read_text("utf-8") + land, "utf-8")
    permissions = plan(load_job(job_file)).permissions
    assert (permissions["approach_m"] > 0).sum() > 10


def test_switched_off(plan_without_ways):
    without = plan_without_ways
    assert SWITCHED_OFF in without.assumptions
    assert without.approaches.empty
    assert without.electrodes["walk_min"].isna().all()
    assert not (without.checks["rule"] == "on_foot").any()


@pytest.mark.long
def test_a_map_without_roads_says_so(sample_folder):
    made = plan(job_with(sample_folder, layers=lambda layers: tuple(x for x in layers if x.layer != "roads")))
    assert NO_ROADS in made.assumptions
    assert made.approaches.empty


@pytest.mark.long
def test_walking_weighs_in_the_score(sample_folder, made):
    heavy = plan(job_with(sample_folder, score=lambda score: score.model_copy(update={"walk_per_min": 100.0})))
    total = [table["walk_min"].fillna(0.0).sum() for table in (heavy.electrodes, made.electrodes)]
    assert total[0] < total[1]


WAYS = pd.DataFrame(
    [
        ("L", "1", "tower", "reachable", "", 3.0),
        ("L", "1", "H", "needs permission", "yard", 1.0),
        ("L", "1", "S", "not reachable on foot", "river Elbra", np.nan),
        ("L", "2", "tower", "no road within 1500 m", "", np.nan),
        ("L", "2", "H", "reachable", "", 2.0),
        ("L", "3", "tower", "map does not cover", "", np.nan),
        ("L", "3", "H", "reachable", "", 2.0),
    ],
    columns=["line_id", "tower_id", "to", "verdict", "note", "walk_min"],
).assign(geometry=None)


def test_the_worse_of_both_ways_counts():
    names = np.array(["1", "1", "2", "3", "4"], dtype=object)
    found = on_foot(WAYS, np.full(5, "L", dtype=object), names, np.array(["H", "S", "H", "H", "H"]))
    assert found.asks.tolist() == [True, False, False, False, False]
    assert found.is_shut.tolist() == [False, True, True, False, False]
    assert found.is_known.tolist() == [True, True, True, False, False]  # a tower without a row is unknown, too
    assert found.detail[1] == "to the tower: reachable; to the stake: not reachable on foot (river Elbra)"
    assert on_foot(None, names, names, names) is None


def test_ways_are_told_in_words():
    ways = pd.DataFrame(
        [
            ("tower", 9.8, 47.3, "Mill Lane", "minor_road", 115.6, np.nan, 2.27, "stream", "reachable", "flat"),
            ("H", 9.8, 47.3, "", "track_path", 66.1, 3.4, 1.35, "", "needs permission", ""),
            ("S", np.nan, np.nan, "", "", np.nan, np.nan, np.nan, "", "map does not cover", ""),
        ],
        columns=["to", "drop_off_lon", "drop_off_lat", "road_name", "road_class", "walk_m", "climb_m", "walk_min",
                 "crossings", "verdict", "note"],
    )  # fmt: skip
    assert way_lines(ways) == [
        "  way to tower: reachable, from Mill Lane (minor road) at 47.300000, 9.800000, 116 m, 2 min, across stream, "
        "(flat)",
        "  way to H: needs permission, from the tower, 66 m, 1 min, climbing 3 m",
        "  way to S: map does not cover, from the tower",
    ]
