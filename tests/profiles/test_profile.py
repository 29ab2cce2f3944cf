"""Tables of a profile against the functions they come from, and against plain formulas.

Sources: the functions of `exposure`, held in tests/exposure and tests/network; V = Z I and symmetry, derived here;
which rows there are and what is said of them: own rules, no source.
"""

import json
import re

import numpy as np
import pytest

from layoutplan.errors import JobError
from layoutplan.exposure import build_network
from layoutplan.exposure.fault_figures import fault_figures
from layoutplan.exposure.induced import lead_transfers, load_emf
from layoutplan.inputs import read_inputs
from layoutplan.job import load_job
from layoutplan.line import build_lines
from layoutplan.line.geodesy import turn_deg
from layoutplan.planning.pipeline import plan
from layoutplan.profiles.profile import profile, profile_lines
from layoutplan.profiles.tables import fan_distances_m

LOAD = "load = { current_a = 600, maximum_a = 1500 }\n"
FAULT = "fault = { current_ka = 12.0, clearing_time_s = 0.3 }\n"
LINE = "voltage_kv = 220\nstart_grid_ohm = 0.5\nend_grid_ohm = 0.5\n[soil]\nresistivity_ohm_m = 200\n"
NAMES = [str(number) for number in range(1, 22)]


@pytest.fixture
def job_of(tmp_path):
    """Write a job with one straight line of towers, 330 m apart, and load it."""

    def make(line="", rest=LINE, names=NAMES, bend=0.0):
        steps = np.arange(len(names)) - len(names) // 2
        north = 46.0 + bend * np.abs(steps) * 0.003
        rows = [
            f'"{name}",{8.0 + 0.00426 * step:.8f},{lat:.8f}'
            for name, step, lat in zip(names, steps, north, strict=True)
        ]
        (tmp_path / "towers.csv").write_text("\n".join(["tower_id,lon,lat", *rows]), "utf-8")
        text = f'[[lines]]\nid = "main"\ntowers = {{ path = "towers.csv" }}\n{line}{rest}'
        (tmp_path / "job.toml").write_text(text, "utf-8")
        return load_job(tmp_path / "job.toml")

    return make


@pytest.fixture(scope="module")
def sample(sample_folder):
    job = load_job(sample_folder / "job.toml")
    inputs = read_inputs(job)
    model = build_lines(inputs.lines)
    network = build_network(job, model, [(line.line, line.faults) for line in inputs.lines])
    return network, profile(job, "110")


def row_of(network, tower):
    return int(np.flatnonzero(network.towers.tower_id == tower)[0])


def lead_to(bearing_deg, distance_m):
    turn = np.radians(bearing_deg)
    return np.array([[[[0.0, 0.0], [distance_m * np.sin(turn), distance_m * np.cos(turn)]]]])


def at(table, **where):
    for column, value in where.items():
        table = table[table[column] == value]
    assert len(table) == 1
    return table.iloc[0]


@pytest.mark.parametrize(("bearing", "distance"), [(0.0, 60.0), (78.0, 100.0), (260.0, 140.0), (358.0, 120.0)])
def test_against_bearing_stands_what_the_lines_induce_in_that_lead(sample, bearing, distance):
    network, made = sample
    row, lead = np.array([row_of(network, "110")]), lead_to(bearing, distance)
    size = np.abs(load_emf(network, row, lead)[0, 0])
    found = at(made.tables["bearing"], bearing_true_deg=bearing, distance_m=distance)
    assert found["induced_balanced_v"] == pytest.approx(size[:, 0].sum(), rel=1e-4, abs=1e-5)
    assert found["induced_unbalance_v"] == pytest.approx(size[:, 1:].sum(), rel=1e-4, abs=1e-5)
    assert found["induced_v"] == pytest.approx(size.sum(), rel=1e-4, abs=1e-5)
    leads = np.concatenate((lead, -lead), axis=1)  # of a pair; the other is of no account to this one
    by_span = {hz: lead_transfers(network, row, leads, hz) for hz in network.systems}
    worst = fault_figures(network, row, leads[:, :, 1], by_span).induced.value_v
    assert found["induced_fault_v"] == pytest.approx(worst[0, 0], rel=1e-4, abs=1e-5)


def test_every_bearing_and_distance_once(sample):
    table = sample[1].tables["bearing"]
    assert sorted(set(table["bearing_true_deg"])) == list(range(0, 360, 2))
    assert sorted(set(table["distance_m"])) == [60, 80, 100, 120, 140]
    assert not table.duplicated(["bearing_true_deg", "distance_m"]).any()
    assert len(table) == 180 * 5


def test_transferred_voltage_is_the_rise_less_the_ground_at_the_stake(sample):
    network, made = sample
    row = row_of(network, "110")
    rise = at(made.tables["line"], tower_id="110")["earth_potential_rise_kv"] * 1000
    rho, footing = network.ground.soil_ohm_m[row], network.ground.footing_ohm[row]
    table = made.tables["distance"]
    # uniform soil: a current I in the footing raises the ground at r by rho I / (2 pi r); the neighbours' some more
    expected = rise * (1 - rho / (2 * np.pi * table["distance_m"] * footing)).to_numpy()
    assert table["transferred_fault_v"].to_numpy() == pytest.approx(expected, rel=0.05)
    assert (table["transferred_fault_v"] < expected).all()


def test_distances_run_from_20_m_to_the_reach_on_the_best_bearings(sample):
    made = sample[1]
    for best in made.tables["best"].to_dict("records"):
        mine = made.tables["distance"][made.tables["distance"]["side"] == best["side"]]
        assert set(mine["bearing_true_deg"]) == {best["bearing_true_deg"]}
        assert mine["distance_m"].iloc[[0, -1]].tolist() == pytest.approx([20.0, 150 / 1.05], abs=1e-3)
        same = at(mine, distance_m=100.0)
        assert same["induced_v"] == best["induced_v"]
        assert same["induced_fault_v"] == best["induced_fault_v"]


def test_on_a_straight_line_both_hands_of_the_normal_are_alike(job_of):
    made = profile(job_of(LOAD + FAULT), "11")
    ring = made.tables["bearing"].set_index(["distance_m", "bearing_true_deg"]).loc[100.0]
    for side in (0, 180):  # the line runs east
        for turn in (10, 30, 60):
            one, other = ring.loc[(side + turn) % 360], ring.loc[(side - turn) % 360]
            assert one["induced_v"] == pytest.approx(other["induced_v"], rel=0.01)
            assert one["induced_fault_v"] == pytest.approx(other["induced_fault_v"], rel=0.05)
    assert made.tables["best"]["bearing_true_deg"].tolist() == [0.0, 180.0]


def test_at_an_angle_tower_the_best_bearing_is_the_bisector(job_of):
    made = profile(job_of(LOAD, bend=0.3), "11")
    bisector = made.tables["directions"].query("kind == 'bisector'")["bearing_true_deg"]
    assert sorted(made.tables["best"]["bearing_true_deg"]) == pytest.approx(sorted(bisector), abs=2.0)
    spans = made.tables["directions"].query("kind == 'span'")["bearing_true_deg"].to_numpy()
    assert abs(turn_deg(np.diff(spans)[0])) < 160


def test_ten_degrees_off_costs_what_the_table_says(sample):
    made = sample[1]
    ring = made.tables["bearing"].set_index(["distance_m", "bearing_true_deg"]).loc[100.0]
    words = "\n".join(profile_lines(made))
    for best in made.tables["best"].to_dict("records"):
        bearing = best["bearing_true_deg"]
        worse = max(ring.loc[(bearing + off) % 360, "induced_v"] for off in (10, -10))
        assert best["more_v"] == pytest.approx(worse - ring.loc[bearing, "induced_v"], abs=2e-3)
        assert f"10 degrees off costs {best['more_v']:.2f} V at 100 m" in words
        mine = ring[(ring["side"] == best["side"]) & ring["keeps_angle"]]
        assert best["induced_v"] == mine["induced_v"].min()


def test_the_best_bearing_keeps_the_angle_to_the_spans_though_others_are_quieter(job_of):
    rules = "[rules]\nmin_angle_deg = 80\n"
    made = profile(job_of(LOAD, LINE + rules, bend=0.6), "11")
    best = made.tables["best"]
    table = made.tables["bearing"]
    assert not table["keeps_angle"].all()
    for row in best[best["keeps_angle"]].to_dict("records"):
        assert at(table, distance_m=100.0, bearing_true_deg=row["bearing_true_deg"])["angle_to_line_deg"] >= 80
    sides = set(table[table["keeps_angle"]]["side"])
    assert set(best[best["keeps_angle"]]["side"]) == sides
    if len(sides) < 2:
        assert "no bearing there keeps the least angle" in "\n".join(profile_lines(made))


@pytest.mark.long
def test_a_mapped_line_that_ends_at_the_tower_counts_among_its_spans(job_of, tmp_path):
    branch = {"type": "LineString", "coordinates": [[8.0, 46.0], [8.0, 46.004]]}
    feature = {"type": "Feature", "properties": {}, "geometry": branch}
    (tmp_path / "map.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), "utf-8")
    layer = '[[layers]]\npath = "map.geojson"\nobstacle_class = "power_line"\n'
    plain, mapped = (profile(job_of(LOAD, LINE + text), "11") for text in ("", layer))
    bearing = mapped.tables["bearing"]
    assert not bearing[bearing["bearing_true_deg"].isin([0.0, 180.0])]["keeps_angle"].any()
    assert plain.tables["bearing"][bearing["bearing_true_deg"].isin([0.0, 180.0])]["keeps_angle"].all()
    assert len(mapped.tables["directions"].query("kind == 'span'")) == 3


def test_along_the_line_stands_what_a_plan_says_of_its_towers(job_of):
    job = job_of(LOAD + FAULT)
    towers, line = plan(job).towers, profile(job, "3").tables["line"]
    assert line["tower_id"].tolist() == NAMES
    for column in ("chainage_m", "earth_potential_rise_kv", "tower_share_of_fault_pct", "standing_current_a_high"):
        rounding = {"rel": 5e-3} if column != "chainage_m" else {"abs": 0.05}  # a plan gives three digits, half a metre
        assert line[column].to_numpy() == pytest.approx(towers[column].to_numpy(), **rounding)
    volts = line["standing_current_a_high"] * line["footing_ohm"]
    assert line["standing_voltage_v_high"].to_numpy() == pytest.approx(volts.to_numpy(), abs=2e-3)
    assert line["standing_voltage_v_high"].max() > 1
    assert (line["standing_voltage_v_low"] <= line["standing_voltage_v_high"]).all()
    assert line["footing_estimated"].all()


def test_without_load_the_fault_decides_and_the_reason_is_told(job_of):
    made = profile(job_of(FAULT), "11")
    assert made.tables["bearing"]["induced_v"].isna().all()
    assert made.tables["line"]["standing_current_a_high"].isna().all()
    assert made.unknown["induced_v"] == "unknown: no load current given ([lines.load]) for line 'main'"
    assert set(made.unknown) == {"induced_v", "standing_current_a_high"}
    assert set(made.tables["best"]["chosen_by"]) == {"induced_fault_v"}
    assert made.tables["bearing"]["induced_fault_v"].notna().all()


@pytest.mark.first(1)
@pytest.mark.parametrize(
    ("known", "reason"),
    [
        ("voltage_kv = 110\n", "unknown: no load current given ([lines.load]) for line 'beside'"),
        ("", "unknown: no voltage_kv given for line 'beside', which runs near by"),
    ],
    ids=["no load", "no voltage"],
)
def test_a_line_beside_of_unknown_load_makes_the_induced_voltage_unknown(job_of, tmp_path, known, reason):
    rows = [f"{place},{8.0 + 0.00426 * place:.6f},46.002" for place in range(-3, 4)]
    (tmp_path / "beside.csv").write_text("\n".join(["tower_id,lon,lat", *rows]), "utf-8")
    beside = f'[[lines]]\nid = "beside"\nmeasured = false\n{known}towers = {{ path = "beside.csv" }}\n'
    made = profile(job_of(LOAD + "voltage_kv = 220\n", beside), "11")
    assert made.tables["bearing"]["induced_v"].isna().all()
    assert made.unknown["induced_v"] == reason
    assert made.tables["line"]["standing_current_a_high"].isna().all()  # by its earth wires
    assert made.unknown["standing_current_a_high"] == reason


def test_without_fault_the_reason_is_told(job_of):
    made = profile(job_of(LOAD), "11")
    for column in ("induced_fault_v", "transferred_fault_v"):
        assert made.tables["distance"][column].isna().all()
        assert made.unknown[column] == "unknown: no fault current given ([lines.fault]) for line 'main'"
    assert made.tables["line"]["earth_potential_rise_kv"].isna().all()
    assert "unknown: no fault current given" in "\n".join(profile_lines(made))
    assert "under a fault" not in "\n".join(profile_lines(made))


def test_with_neither_the_bias_and_the_footings_remain(job_of):
    made = profile(job_of(), "11")
    assert made.tables["distance"]["bias_pct"].notna().all()
    assert made.tables["line"]["footing_ohm"].notna().all()
    assert set(made.tables["best"]["chosen_by"]) == {"off_square_deg"}
    assert made.tables["best"]["bearing_true_deg"].tolist() == [0.0, 180.0]


@pytest.mark.long
def test_a_gap_in_the_table_of_faults_is_a_gap_not_a_zero(job_of, tmp_path):
    # so small that no known fault is beyond its limit: then the unknown one decides
    rows = [f"{name},0.04,0.03" for name in NAMES if name != "12"]
    (tmp_path / "faults.csv").write_text("\n".join(["tower_id,from_start_ka,from_end_ka", *rows]), "utf-8")
    fault = 'fault = { table = { path = "faults.csv" }, clearing_time_s = 0.3 }\n'
    beside, there = (profile(job_of(LOAD + fault), tower) for tower in ("11", "12"))
    # fed by no more than the others' greatest, a fault at 12 does no more to tower 11 than the known ones
    assert beside.tables["distance"]["transferred_fault_v"].notna().all()
    assert "no fault current in its table for 12" in "; ".join(beside.assumptions)
    assert there.tables["distance"]["transferred_fault_v"].isna().all()
    assert "for this tower or others" in there.unknown["transferred_fault_v"]
    assert "1 of 21 towers" in there.unknown["earth_potential_rise_kv"]
    assert profile(job_of(LOAD + fault), "3").unknown == {
        "earth_potential_rise_kv": there.unknown["earth_potential_rise_kv"]
    }


def test_limits_are_those_of_the_job(job_of):
    rest = LINE + "[rules]\nmax_induced_v = 12\nmin_angle_deg = 40\n[method]\nbias_target_pct = 7\n"
    limits = profile(job_of(LOAD + FAULT, rest), "11").tables["limits"]
    found = {column: sorted(part["value"]) for column, part in limits.groupby("column")}
    assert found["induced_v"] == [12, 50]
    assert found["bias_pct"] == [-7, 7]
    assert found["angle_to_line_deg"] == [40]
    assert found["distance_m"] == [60.0]  # 5 times the assumed 12 m
    assert found["induced_fault_v"] == found["transferred_fault_v"]


def test_what_it_rests_on_is_said(job_of):
    words = "; ".join(profile(job_of(LOAD), "11").rests_on)
    for part in ("generic cross-section", "unbalance not given", "footing resistance estimated", "add nothing"):
        assert part in words
    assert "soil" not in words


@pytest.mark.parametrize(
    ("reach", "distances"),
    [
        (142.9, [60, 80, 100, 120, 140]),
        (60.0, [60]),
        (45.0, [45]),
        (160.0, [60, 80, 100, 120, 140, 160]),
        (500.0, [60, 100, 200, 300, 400, 500]),
        (190.5, [60, 100, 120, 140, 160, 190]),
    ],
)
def test_distances_of_the_curves(reach, distances):
    assert fan_distances_m(reach).tolist() == pytest.approx(distances)


def test_a_short_reel_is_compared_at_its_reach(job_of):
    rules = "[rules]\nreel_m = 84\nslack_pct = 5\n"
    made = profile(job_of(LOAD, LINE + rules), "11")
    assert set(made.tables["best"]["distance_m"]) == {80.0}
    assert made.tables["distance"]["distance_m"].max() == 80.0


def test_an_unknown_tower_suggests(job_of):
    with pytest.raises(JobError, match=re.escape("no tower '111' to be measured; there are for instance 11")):
        profile(job_of(LOAD), "111")


def test_a_line_without_voltage_is_refused(job_of):
    with pytest.raises(JobError, match="line 'main' has no voltage_kv"):
        profile(job_of(rest=""), "11")


def test_a_tower_of_two_lines_needs_the_line(job_of, tmp_path):
    rows = [f"{name},{8.0 + 0.00426 * place:.6f},46.1" for place, name in enumerate(NAMES)]
    (tmp_path / "other.csv").write_text("\n".join(["tower_id,lon,lat", *rows]), "utf-8")
    other = '[[lines]]\nid = "other"\nvoltage_kv = 110\ntowers = { path = "other.csv" }\n'
    job = job_of("voltage_kv = 220\n", other)
    with pytest.raises(JobError, match="tower 5 stands in lines main, other; use --line"):
        profile(job, "5")
    assert profile(job, "5", "other").line_id == "other"
    with pytest.raises(JobError, match="line 'third' has no tower '5' to be measured; it is a tower of main, other"):
        profile(job, "5", "third")
