"""Stakes that a job fixes stay, and everything else is chosen around them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from geographiclib.geodesic import Geodesic

from layoutplan.errors import JobError
from layoutplan.inputs import read_inputs
from layoutplan.job import Job
from layoutplan.layout.model import Plan
from layoutplan.line import build_lines
from layoutplan.planning.fixed import is_fixed
from layoutplan.planning.pipeline import plan


@pytest.fixture(scope="module")
def free(plan_without_ways: Plan) -> Plan:
    """Without ways on foot, which play no part here."""
    return plan_without_ways


@pytest.fixture(scope="module")
def job(free: Plan) -> Job:
    return free.job


FIXED = {  # tower: stakes fixed there, by role: turn from the line's direction to the right, distance
    "105": {"H": (90.0, 80.0)},  # it has no position at all
    "108": {"H": (60.0, 80.0)},  # nothing on the left
    "115": {"S": (80.0, 90.0)},
    "117": {"S": (90.0, 100.0), "H": (-90.0, 70.0)},
    "118": {"H": (10.0, 40.0)},
    "119": {"H": (80.0, 90.0), "S": (110.0, 90.0)},
    "120": {"H": (60.0, 90.0), "S": (130.0, 90.0)},
    "122": {"H": (90.0, 250.0)},
}


@pytest.fixture(scope="module")
def made(job: Job, free: Plan) -> Plan:
    """Planned with all of them."""
    return fixed(job, *(beside(free, tower, role, *at) for tower, roles in FIXED.items() for role, at in roles.items()))


def fixed(job: Job, *items: dict[str, Any]) -> Plan:
    """Plan with some stakes fixed; through the model, so that the items are checked."""
    return plan(job.model_copy(update={"fixed": Job.model_validate({**_least(), "fixed": items}).fixed}))


def _least() -> dict[str, Any]:
    return {"lines": [{"towers": {"path": "towers.csv"}}]}


def beside(free: Plan, tower: str, role: str, turn_deg: float, distance_m: float) -> dict[str, Any]:
    """A stake at a turn from the line's direction, to the right."""
    row = free.towers[free.towers["tower_id"] == tower].iloc[0]
    place = Geodesic.WGS84.Direct(row["lat"], row["lon"], row["line_bearing_deg"] + turn_deg, distance_m)
    return {"tower": tower, "role": role, "lon": place["lon2"], "lat": place["lat2"]}


def stakes(made: Plan, tower: str) -> pd.DataFrame:
    table = made.electrodes[made.electrodes["tower_id"] == tower]
    return pd.DataFrame(table).set_index("role")


def test_a_fixed_stake_stays_and_the_other_goes_opposite(made: Plan, free: Plan) -> None:
    item = beside(free, "115", "S", 80.0, 90.0)
    table = stakes(made, "115")
    assert table.loc["S", ["lon", "lat"]].to_numpy(dtype=float) == pytest.approx([item["lon"], item["lat"]], abs=1e-8)
    assert table.loc["S", "distance_m"] == pytest.approx(90.0, abs=1e-3)
    assert table["side"].tolist() == ["left", "right"]
    best = free.electrodes[(free.electrodes["tower_id"] == "115") & (free.electrodes["side"] == "left")].iloc[0]
    assert table.loc["H", "bearing_true_deg"] == best["bearing_true_deg"]  # the best of its side, whatever its role was
    others = [
        plan_.electrodes[~plan_.electrodes["tower_id"].isin(FIXED)].reset_index(drop=True) for plan_ in (free, made)
    ]
    assert len(others[0]) > 30
    pd.testing.assert_frame_equal(pd.DataFrame(others[0]), pd.DataFrame(others[1]))


def test_both_fixed(made: Plan) -> None:
    table = stakes(made, "117")
    assert table["distance_m"].to_numpy() == pytest.approx([70.0, 100.0], abs=1e-3)  # H is not moved to the farther one
    assert table["side"].tolist() == ["left", "right"]


def test_a_fixed_stake_that_breaks_rules_says_so(made: Plan) -> None:
    table = stakes(made, "118")
    assert table.loc["H", "status"] == "breaks rules"
    assert "breaks line clearance, lead angle, electrode distance" in table.loc["H", "reasons"]
    assert table.loc["S", "status"] == "all rules met"
    status = made.towers.set_index("tower_id")["status"]
    assert status["118"] == "breaks rules"
    assert made.summary["by_status"]["breaks rules"] == (status == "breaks rules").sum()
    assert set(status[status == "breaks rules"].index) <= set(FIXED)
    checks = made.checks[(made.checks["tower_id"] == "118") & (made.checks["role"] == "H")].set_index("rule")["verdict"]
    assert checks[["line_clearance", "lead_angle", "electrode_distance"]].tolist() == ["broken"] * 3


@pytest.mark.long
def test_a_forbidden_crossing_is_not_offered_for_agreement(job: Job, free: Plan) -> None:
    """What the lead of a fixed stake must not cross is called forbidden, and nobody is told to agree on it."""
    towers = free.towers.query("line_id == 'ostrel-varnau'")["tower_id"]
    made = fixed(job, *(beside(free, tower, "H", 90.0, 140.0) | {"line": "ostrel-varnau"} for tower in towers))
    broken = made.checks.query("verdict == 'broken' and rule == 'lead_crossing'")[["tower_id", "role"]]
    forbidden = made.leads[made.leads["crossings"].str.contains("forbidden ")]
    found = set(zip(broken["tower_id"], broken["role"], strict=True))
    assert found == set(zip(forbidden["tower_id"], forbidden["role"], strict=True))
    only = forbidden.query("caution_crossings == 0 and caution_ground == 0")
    assert len(only)
    assert not only["reasons"].str.contains("to be agreed").any()
    met = made.crossings.merge(forbidden[["tower_id", "role"]]).query("met_by == 'lead'")
    listed = dict(tuple(met.groupby(["tower_id", "role"])))
    assert any(set(rows["verdict"]) > {"broken"} for rows in listed.values())
    for lead in forbidden.itertuples():
        parts = [part for part in lead.reasons.split("; ") if part.endswith(": to be agreed")]
        agreed = listed[lead.tower_id, lead.role].query("verdict == 'to be agreed'")
        assert bool(parts) >= bool(len(agreed))
        assert not any("forbidden" in part for part in parts)


def test_two_on_one_side_too_near_each_other(made: Plan) -> None:
    checks = made.checks[(made.checks["tower_id"] == "119") & (made.checks["rule"] == "opposite_sides")]
    assert checks["verdict"].tolist() == ["broken", "broken"]  # 30 degrees apart, 60 are asked for
    assert (stakes(made, "119")["status"] == "breaks rules").all()


def test_where_one_side_is_shut_the_other_stake_keeps_the_angle(made: Plan) -> None:
    """Tower 108: nothing on the left; the partner of a fixed stake stands on the right, too, 60 degrees away."""
    table = stakes(made, "108")
    assert table["side"].tolist() == ["right", "right"]
    between = np.abs(np.subtract(*table["bearing_true_deg"].to_numpy()))
    assert min(between, 360 - between) >= 60 - 1e-3


def test_where_nothing_goes_with_it_there_is_no_layout(made: Plan) -> None:
    """Tower 105 has no position at all: a fixed stake is left alone."""
    assert made.towers.set_index("tower_id").loc["105", "status"] == "no layout"
    text = made.relaxations.set_index("tower_id").loc["105", "text"]
    assert "nothing can be chosen to go with it" in text


def test_beyond_the_reel(made: Plan) -> None:
    assert stakes(made, "122").loc["H", "status"] == "breaks rules"
    assert "reel" in stakes(made, "122").loc["H", "reasons"]


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tower": "999"}, "fixed[0]: no tower '999'; there are for instance 101"),
        ({"line": "nowhere"}, "no tower '115' of line 'nowhere'"),
        ({"lon": 47.28, "lat": 9.8}, "Check lon and lat, and that they are not swapped"),
    ],
)
def test_errors(job: Job, free: Plan, change: dict[str, Any], words: str) -> None:
    with pytest.raises(JobError) as caught:
        fixed(job, beside(free, "115", "H", 90.0, 80.0) | change)
    assert words in str(caught.value)


@pytest.mark.long
def test_twice(job: Job, free: Plan) -> None:
    with pytest.raises(JobError, match="stake H of tower 115 is fixed twice"):
        fixed(job, beside(free, "115", "H", 90.0, 80.0), beside(free, "115", "H", 80.0, 80.0))


def test_a_fixed_stake_is_marked_as_such(made: Plan) -> None:
    table = stakes(made, "115")
    assert table.loc["S", "reasons"].startswith("fixed by the job; ")
    assert not table["reasons"]["H"].startswith("fixed")
    marked = made.checks[made.checks["rule"] == "fixed_stake"]
    assert set(marked["verdict"]) == {"kept"}
    assert set(zip(marked["tower_id"], marked["role"], strict=True)) == {
        (tower, role) for tower, roles in FIXED.items() for role in roles if tower != "105"
    }
    assert "S: fixed by the job" in made.towers.set_index("tower_id").loc["115", "reasons"]


def test_a_pair_that_the_job_fixes_on_one_side_is_not_explained_by_exclusions(made: Plan) -> None:
    for reasons in stakes(made, "120")["reasons"]:
        assert "both stakes on one side of the line: the job fixes them there" in reasons
        assert "excluded" not in reasons


@pytest.mark.long
def test_a_stake_moved_away_from_where_the_job_fixes_it_is_no_longer_marked(made: Plan, free: Plan) -> None:
    item = beside(free, "115", "S", 80.0, 90.0)
    towers = build_lines(read_inputs(made.job).lines).towers
    row = np.flatnonzero(towers.tower_id == "115")
    for east_m, marked in ((0.0, True), (0.03, True), (1.0, False)):
        place = Geodesic.WGS84.Direct(item["lat"], item["lon"], 90.0, east_m)
        there = np.array([[place["lon2"], place["lat2"]]])
        assert is_fixed(made.job, towers, row, np.array(["S"]), there).tolist() == [marked]
        assert not is_fixed(made.job, towers, row, np.array(["H"]), there).any()
