"""Faults at every tower of a line, against a dense nodal solve of all towers, wires and footings for each.

Sources: Kirchhoff's laws, Carson 1926 and Deri et al. 1981 by own dense reference (dense.py, reference.py).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest

from layoutplan.errors import JobError
from layoutplan.inputs.model import FaultTable
from layoutplan.planning.electrics import exposures_table

from .dense import DenseLine
from .test_exposures_table import keys
from .worlds import FLAT, WIRES, Course, assessed, ends, exposure, flat_line, lead, straight, world

FOOTINGS = 6.0 + 10.0 * np.abs(np.sin(np.arange(41.0)))
FAULT = {"clearing_time_s": 0.3}
SIDES = FAULT | {"from_start_ka": 7.0, "from_end_ka": 3.0}
TOWERS = (0, 1, 8, 20, 39, 40)
GRIDS = {"start_grid_ohm": 0.4, "end_grid_ohm": 0.2}
BY_TABLE = {"clearing_time_s": 0.3, "table": {"path": "f.csv"}}


def network_of(fault: dict[str, Any], towers: Any = None, table: FaultTable | None = None, **settings: Any) -> Any:
    line = flat_line(towers, fault=fault, **settings)
    footing = {"footing_resistance_ohm": FOOTINGS[: len(line.towers_m)]}
    return world(Course(line.towers_m, line.settings, footing, None, table)).network()


@cache
def reference(**grids: float) -> DenseLine:
    return DenseLine(straight(), [*FLAT, *WIRES], FOOTINGS.copy(), **grids)


def place_of(location: str) -> int:
    return int(location.removeprefix("line 'line 0', tower ")) - 1


@pytest.mark.parametrize("grids", [{}, GRIDS, {"end_grid_ohm": 0.2}], ids=["none", "both", "end"])
@pytest.mark.parametrize("letter", ["A", "B", None])
def test_potential_rise_by_the_worst_fault_of_the_line(whole_ground, grids, letter):
    """With a grid the station's neutral takes its current back there; without, it returns through remote earth."""
    found = assessed(network_of(SIDES | {"phase": letter}, **grids), 20).towers
    phases = (0, 1, 2) if letter is None else ("ABC".index(letter),)
    v, _ = reference(**grids).faults(7000.0, 3000.0, phases)
    each = np.abs(v).max(axis=-1)
    assert found.potential_rise_v == pytest.approx(each.max(axis=1), rel=1e-6)
    governing = [place_of(name) for name in found.fault_location]
    assert each[np.arange(41), governing] == pytest.approx(each.max(axis=1), rel=1e-6)
    assert len(set(governing)) > 10


def test_a_fault_elsewhere_can_be_the_worst():
    """Where a fault near by lifts a tower by more than its own does."""
    found = assessed(network_of(SIDES, **GRIDS), 20).towers
    v, _ = reference(**GRIDS).faults(7000.0, 3000.0)
    own, every = np.abs(v[np.arange(41), np.arange(41)]).max(axis=-1), np.abs(v).max(axis=(1, 2))
    assert (every > 1.01 * own).any()
    elsewhere = [place_of(name) != i for i, name in enumerate(found.fault_location)]
    assert any(elsewhere)
    assert (found.potential_rise_v[elsewhere] > own[elsewhere]).all()


@pytest.mark.parametrize("grids", [{}, GRIDS], ids=["none", "both"])
def test_share_is_that_of_a_fault_at_the_tower_itself(whole_ground, grids):
    """By its own footing, of the phase that sends most there."""
    found = assessed(network_of(SIDES, **grids), 20).towers
    dense = reference(**grids)
    v, _ = dense.faults(7000.0, 3000.0)
    own = np.stack([dense.electrode_a(v[:, at])[at] for at in range(41)])
    assert found.fault_share == pytest.approx(np.abs(own).max(axis=-1) / 1e4, rel=1e-6)


def test_leaving_out_footings_beyond_two_kilometres_costs_little():
    """0.3 % of what a tower offers to earth at 100 ohm m, it says in the code; of the rise as much."""
    found = assessed(network_of(SIDES, **GRIDS), 20).towers
    v, _ = reference(**GRIDS).faults(7000.0, 3000.0)
    rise = np.abs(v).max(axis=(1, 2))
    off = np.abs(found.potential_rise_v / rise - 1)
    assert 1e-6 < off.max() < 0.01


def test_footings_matter_to_each_other_and_by_how_much():
    """Left out altogether the rise would be wrong by more than the cut-off ever makes it."""
    apart = DenseLine(straight(), [*FLAT, *WIRES], FOOTINGS.copy(), **GRIDS, mutual=False)
    one, other = (np.abs(line.faults(7e3, 3e3)[0]).max(axis=(1, 2)) for line in (reference(**GRIDS), apart))
    assert np.abs(other / one - 1).max() > 0.02


def test_one_current_is_shared_by_both_sides():
    one = assessed(network_of(FAULT | {"current_ka": 8.0}), 20)
    two = assessed(network_of(FAULT | {"from_start_ka": 4.0, "from_end_ka": 4.0}), 20)
    assert one.towers.potential_rise_v == pytest.approx(two.towers.potential_rise_v, rel=1e-12)
    assert one.leads.emf_fault_v == pytest.approx(two.leads.emf_fault_v, rel=1e-12)


@pytest.fixture(scope="module")
def states() -> tuple[np.ndarray, np.ndarray]:
    return reference(**GRIDS).faults(7000.0, 3000.0)


@pytest.mark.first(1)
@pytest.mark.parametrize(("h", "s"), [(60.0, 250.0), (110.0, 300.0)])
def test_leads_under_the_worst_fault_of_the_line(whole_ground, states, h, s):
    """Phase current from both sides, the earth wires' own in every span, the ground at the stake: each fault anew.

    What is induced is within 0.4 %: spans farther than 2 km off are taken in chords, and beyond 7 km not at all.
    """
    found = assessed(network_of(SIDES, **GRIDS), list(TOWERS), h, s, 90.0)
    dense, (v, current) = reference(**GRIDS), states
    for row, tower in enumerate(TOWERS):
        for side, bearing in enumerate((h, s)):
            induced = np.abs(dense.emf(tower, lead(bearing, 90.0), current))
            transferred = np.abs(dense.to_stake(v.reshape(41, -1), tower, ends(bearing, 90.0)[0])).reshape(41, 3)
            for name, each in (
                ("induced by a fault", induced),
                ("transferred from the tower by a fault", transferred),
                ("arithmetic sum under a fault", induced + transferred),
            ):
                item = exposure(found, name)
                assert item.value[row, side] == pytest.approx(each.max(), rel=4e-3), name
                named = place_of(item.caused_by[row, side])
                assert each[named].max() == pytest.approx(each.max(), rel=4e-3), name
            item = exposure(found, "transferred from the tower by a fault")
            assert item.value[row, side] == pytest.approx(transferred.max(), rel=1e-6)


def test_figures_of_the_lead_are_those_of_its_exposures():
    found = assessed(network_of(SIDES, **GRIDS), list(TOWERS)).leads
    value = {item.name: item.value for item in found.exposures}
    assert (found.emf_fault_v == value["induced by a fault"]).all()
    assert (found.transferred_fault_v == value["transferred from the tower by a fault"]).all()
    assert (found.stake_touch_v == value["from the stake to the ground 1 m away"]).all()
    assert (found.stake_step_v == value["step of 1 m beside the stake"]).all()


def test_stake_takes_the_whole_voltage_of_the_lead_and_keeps_most_of_it_within_a_metre():
    """Line source of the job's rod on the surface: ln(r2/r1) while r is small beside the rod (Sunde 1949)."""
    found = assessed(network_of(SIDES), list(TOWERS))
    total = exposure(found, "arithmetic sum under a fault")
    touch, step = (
        exposure(found, n) for n in ("from the stake to the ground 1 m away", "step of 1 m beside the stake")
    )
    method = network_of(SIDES).job.method
    length, radius = method.rod_length_m, method.rod_diameter_mm / 2000
    whole = np.log(4 * length / radius) - 1
    assert touch.value / total.value == pytest.approx(1 - np.arcsinh(length / 1.0) / whole, rel=1e-9)
    expected = (np.arcsinh(length / 0.25) - np.arcsinh(length / 1.25)) / whole
    assert step.value / total.value == pytest.approx(expected, rel=1e-9)
    for item in (touch, step):
        assert not item.judged
        assert (item.caused_by == total.caused_by).all()
    assert (found.leads.fault_location == total.caused_by).all()


def test_the_worst_phase_counts_if_the_job_names_none():
    """Never below any of them, and each of them somewhere below it."""
    worst, *each = (assessed(network_of(SIDES | {"phase": x}), [3, 20, 33], 60.0, 250.0) for x in (None, *"ABC"))
    for name in ("emf_fault_v", "transferred_fault_v"):
        single = np.stack([getattr(found.leads, name) for found in each])
        assert getattr(worst.leads, name) == pytest.approx(single.max(axis=0), rel=1e-9)
        assert np.ptp(single, axis=0).max() > 0.01 * single.max()
    rise = np.stack([found.towers.potential_rise_v for found in each])
    assert worst.towers.potential_rise_v == pytest.approx(rise.max(axis=0), rel=1e-9)


def test_neighbours_is_of_no_effect_any_more():
    none, few = (assessed(network_of(SIDES | more), [20]) for more in ({}, {"neighbours": 0}))
    assert none.leads.emf_fault_v == pytest.approx(few.leads.emf_fault_v, rel=1e-12)


@pytest.mark.long
def test_long_line_of_short_spans():
    """101 towers, 80 m apart: what is looked at about a tower is less than the line, the dense solve is all of it."""
    towers, footing = straight(101, span_m=80.0), np.full(101, 10.0)
    line = flat_line(towers, fault=SIDES)
    network = world(Course(towers, line.settings, {"footing_resistance_ohm": footing})).network()
    dense = DenseLine(towers, [*FLAT, *WIRES], footing)
    _, current = dense.faults(7000.0, 3000.0)
    for tower in (8, 40):
        found = assessed(network, tower, 60.0, 250.0).leads.emf_fault_v[0, 0]
        assert found == pytest.approx(np.abs(dense.emf(tower, lead(60.0), current)).max(), rel=0.005)


@pytest.mark.parametrize("around_m", [1500.0, 4000.0])
def test_a_tower_is_looked_at_with_enough_of_the_network_about_it(monkeypatch, around_m):
    """Cut out too small to begin with, the excerpt grows until its rim is at rest: within 0.5 % of the whole."""
    whole = assessed(network_of(SIDES, **GRIDS), list(TOWERS))
    monkeypatch.setattr("layoutplan.exposure.earthing._AROUND_M", around_m)
    monkeypatch.setattr("layoutplan.exposure.earthing._BLOCK", 4)
    part = assessed(network_of(SIDES, **GRIDS), list(TOWERS))
    assert part.towers.potential_rise_v == pytest.approx(whole.towers.potential_rise_v, rel=5e-3)
    assert part.leads.transferred_fault_v == pytest.approx(whole.leads.transferred_fault_v, rel=5e-3)
    assert part.leads.emf_fault_v == pytest.approx(whole.leads.emf_fault_v, rel=5e-3)
    assert part.reading.bias_pct == pytest.approx(whole.reading.bias_pct, rel=5e-3, nan_ok=True)  # unknown in a grid


def test_faults_are_at_towers_and_not_at_bends():
    """Two bends between towers 3 and 4; the table knows all five towers."""
    towers = straight(5)
    axis = np.insert(towers, 3, [[20.0, 100.0], [20.0, 200.0]], axis=0)
    line = flat_line(towers, fault=BY_TABLE)
    known = FaultTable(("1", "2", "3", "4", "5"), np.full(5, 7e3), np.full(5, 3e3))
    network = world(Course(towers, line.settings, line.columns, axis, known)).network()
    found = assessed(network, np.arange(5))
    assert np.isfinite(found.leads.emf_fault_v).all()
    assert {place_of(name) for name in found.towers.fault_location} <= set(range(5))


def test_line_that_goes_on_beyond_its_last_tower_has_a_known_fault_there():
    towers = straight(5)
    axis = np.vstack((towers[0] - [0.0, 500.0], towers, towers[-1] + [0.0, 500.0]))
    table = FaultTable(("1", "2", "3", "4", "5"), np.full(5, 7e3), np.full(5, 3e3))
    line = flat_line(towers, fault=BY_TABLE)
    network = world(Course(towers, line.settings, line.columns, axis, table)).network()
    assert network.sources[0].course.names == ["", "1", "2", "3", "4", "5", ""]
    found = assessed(network, np.arange(5))
    assert np.isfinite(found.leads.emf_fault_v).all()
    assert np.isfinite(found.towers.potential_rise_v).all()


def gap(feed: np.ndarray) -> FaultTable:
    return FaultTable(tuple(str(i + 1) for i in range(41)), feed, feed[::-1].copy())


def test_fault_table_without_gaps(whole_ground):
    feed = np.linspace(9e3, 1e3, 41)
    found = assessed(network_of(BY_TABLE, table=gap(feed)), np.arange(41))
    dense = reference()
    v = np.stack([[dense.fault(at, p, feed[at], feed[40 - at])[0] for p in range(3)] for at in range(41)])
    assert found.towers.potential_rise_v == pytest.approx(np.abs(v).max(axis=(0, 1)), rel=1e-6)
    assert found.towers.fault_from_start_a == pytest.approx(feed)


def test_fault_table_with_a_gap_in_it_makes_unknown_what_the_gap_may_govern():
    """At tower 21 the greatest currents of the table may flow. Where that would be the worst, nothing is known."""
    feed = np.full(41, 5e3)
    feed[20] = np.nan
    limits = {"touch_standard": "IEEE Std 80", "surface_resistivity_ohm_m": 1e5, "surface_thickness_m": 0.5}
    line = flat_line(fault=BY_TABLE)
    course = Course(line.towers_m, line.settings, {"footing_resistance_ohm": FOOTINGS}, None, gap(feed))
    found = assessed(world(course, limits=limits).network(), np.arange(41))
    full = assessed(world(Course(line.towers_m, line.settings, course.columns, None, gap(np.full(41, 5e3))),
                          limits=limits).network(), np.arange(41))  # fmt: skip
    governed = [place_of(name) == 20 for name in full.towers.fault_location]
    assert 1 <= sum(governed) < 20
    assert np.isnan(found.towers.potential_rise_v).tolist() == governed
    assert [name == "" for name in found.towers.fault_location] == governed
    assert np.isnan(found.towers.fault_share).tolist() == (np.arange(41) == 20).tolist()
    assert np.isnan(found.towers.fault_from_start_a).tolist() == (np.arange(41) == 20).tolist()
    for name in ("induced by a fault", "transferred from the tower by a fault", "arithmetic sum under a fault"):
        hidden = np.isnan(exposure(found, name).value)
        by_gap = np.vectorize(place_of)(exposure(full, name).caused_by) == 20
        assert (hidden == by_gap).all(), name
        assert exposure(found, name).value[~hidden] == pytest.approx(exposure(full, name).value[~hidden], rel=1e-9)


def test_beyond_the_limit_already_a_gap_changes_nothing():
    """An unknown fault may be worse still: the value known to be too much stays and is not hidden."""
    feed = np.full(41, 50e3)
    feed[20] = np.nan
    found = assessed(network_of(BY_TABLE, table=gap(feed)), np.arange(41))
    total = exposure(found, "arithmetic sum under a fault")
    assert np.isfinite(total.ratio).all()
    assert (total.ratio > 1).all()
    assert all(str(text).startswith("above a limit") for text in found.leads.handling("under a fault").ravel())


@pytest.mark.parametrize("wires", [True, False])
def test_transferred_voltage_is_the_rise_less_the_ground_at_the_stake(whole_ground, wires):
    """Without earth wires a fault lifts its own tower alone, and the neighbours by the ground between them."""
    found = assessed(network_of(SIDES, wires=wires), np.array(TOWERS), 90.0, 270.0, 80.0)
    dense = DenseLine(straight(), [*FLAT, *(WIRES if wires else ())], FOOTINGS.copy())
    v, _ = dense.faults(7e3, 3e3, (0, 1, 2) if wires else (0,))
    for row, tower in enumerate(TOWERS):
        for side, bearing in enumerate((90.0, 270.0)):
            expected = np.abs(dense.to_stake(v.reshape(41, -1), tower, ends(bearing, 80.0)[0])).max()
            assert found.leads.transferred_fault_v[row, side] == pytest.approx(expected, rel=1e-6)


def test_no_fault_given_is_unknown_and_not_zero(plain):
    found = assessed(plain, [0, 20])
    for values in (found.leads.emf_fault_v, found.leads.transferred_fault_v, found.towers.potential_rise_v):
        assert np.isnan(values).all()
    assert set(found.towers.fault_location) == {""}
    assert set(found.leads.handling("under a fault").ravel()) == {
        "unknown: treat the lead as live until it has been measured"
    }


@pytest.mark.parametrize(
    ("seconds", "standard", "known"),
    [(7200.0, "EN 50522", True), (0.01, "EN 50522", True), (7200.0, "IEEE Std 80", False), (0.01, "IEEE Std 80", True)],
)
def test_a_clearing_time_beyond_the_standard_is_a_question_of_the_limit(seconds, standard, known):
    """Resonant-earthed networks clear after hours: the volts are known, whether they are too many is not always."""
    line = flat_line(straight(5), fault=SIDES | {"clearing_time_s": seconds})
    network = world(line, limits={"touch_standard": standard}).network()
    found = assessed(network, [1, 3])
    item = exposure(found, "transferred from the tower by a fault")
    assert np.isfinite(item.value).all()
    assert np.isfinite(item.ratio).all() == known
    assert (item.limit.each_duration_s == seconds).all()
    table = exposures_table(found, network, keys())
    rows = table[table["exposure"] == item.name]
    assert rows["ratio"].isna().all() != known
    assert rows["assumptions"].str.startswith("unknown: ").all() != known
    if not known:
        assert rows["assumptions"].str.contains("clearing time beyond the standard").all()
        assert all(str(text).startswith("unknown") for text in found.leads.handling("under a fault").ravel())


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"phase": "P"}, ["line 'line 0', fault: no phase P in circuit 1", "1: ABC"]),
        ({"circuit": 2}, ["line 'line 0', fault: no circuit 2", "1: ABC"]),
        ({"circuit": 2, "phase": "A"}, ["line 'line 0', fault: no phase A in circuit 2", "1: ABC"]),
    ],
)
def test_faulted_phase_must_exist(fault, words):
    with pytest.raises(JobError) as caught:
        network_of(SIDES | fault)
    for word in words:
        assert word in str(caught.value)
