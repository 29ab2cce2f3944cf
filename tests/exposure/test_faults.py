"""Faults at towers, against a dense nodal solve of the whole chain for each."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.errors import JobError
from layoutplan.exposure.induced import fault_emf
from layoutplan.inputs.model import FaultTable

from .dense import DenseLine
from .worlds import FLAT, WIRES, Course, assessed, flat_line, lead, straight, world

FOOTINGS = 6.0 + 10.0 * np.abs(np.sin(np.arange(41.0)))
FAULT = {"clearing_time_s": 0.3, "neighbours": 0}
SIDES = FAULT | {"from_start_ka": 7.0, "from_end_ka": 3.0}
TOWERS = (0, 1, 8, 20, 39, 40)
GRIDS = {"start_grid_ohm": 0.4, "end_grid_ohm": 0.2}


def network_of(fault: dict[str, Any], towers: Any = None, table: FaultTable | None = None, **settings: Any) -> Any:
    line = flat_line(towers, fault=fault, **settings)
    footing = {"footing_resistance_ohm": FOOTINGS[: len(line.towers_m)]}
    return world(Course(line.towers_m, line.settings, footing, None, table)).network()


def reference(**grids: float) -> DenseLine:
    return DenseLine(straight(), [*FLAT, *WIRES], FOOTINGS.copy(), **grids)


@pytest.mark.parametrize("grids", [{}, GRIDS, {"end_grid_ohm": 0.2}], ids=["none", "both", "end"])
@pytest.mark.parametrize("letter", ["A", "B"])
def test_potential_rise_and_share_of_every_tower(grids, letter):
    """With a grid the station's neutral takes its current back there; without, it returns through remote earth."""
    found = assessed(network_of(SIDES | {"phase": letter}, **grids), 20).towers
    dense = reference(**grids)
    for tower in TOWERS:
        v, _ = dense.fault(tower, "ABC".index(letter), 7000.0, 3000.0)
        assert found.potential_rise_v[tower] == pytest.approx(abs(v[tower]), rel=1e-6)
        assert found.fault_share[tower] == pytest.approx(abs(v[tower]) / FOOTINGS[tower] / 1e4, rel=1e-6)


def test_one_current_is_shared_by_both_sides():
    one = assessed(network_of(FAULT | {"current_ka": 8.0}), 20)
    two = assessed(network_of(FAULT | {"from_start_ka": 4.0, "from_end_ka": 4.0}), 20)
    assert one.towers.potential_rise_v == pytest.approx(two.towers.potential_rise_v, rel=1e-12)
    assert one.leads.emf_fault_v == pytest.approx(two.leads.emf_fault_v, rel=1e-12)


@pytest.mark.parametrize("tower", TOWERS)
@pytest.mark.parametrize("bearing", [60.0, 110.0, 250.0])
def test_voltage_induced_in_a_lead_at_the_faulted_tower(tower, bearing):
    """Phase current from both sides and the earth wires' own current in every span."""
    found = fault_emf(network_of(SIDES, **GRIDS), np.array([tower]), lead(bearing)[None, None])[0, 0]
    dense = reference(**GRIDS)
    _, current = dense.fault(tower, 0, 7000.0, 3000.0)
    assert found == pytest.approx(abs(dense.emf(tower, lead(bearing), current)), rel=3e-3)


@pytest.mark.parametrize("tower", [0, 8, 20])
def test_worst_of_the_neighbours_counts(tower):
    dense = reference()
    single = [
        abs(dense.emf(tower, lead(60.0), dense.fault(at, 0, 7000.0, 3000.0)[1]))
        for at in range(max(tower - 2, 0), tower + 3)
    ]
    found = fault_emf(network_of(SIDES | {"neighbours": 2}), np.array([tower]), lead(60.0)[None, None])[0, 0]
    assert found == pytest.approx(max(single), rel=3e-3)
    if tower:
        assert max(single) > 1.05 * single[2]  # there it is a neighbour's fault that decides


def test_far_from_the_fault_the_earth_wires_carry_their_steady_share():
    """With spans of 80 m those followed one by one end 2.4 km from the fault; the dense solve knows no such border."""
    towers, footing = straight(101, span_m=80.0), np.full(101, 10.0)
    line = flat_line(towers, fault=SIDES)
    network = world(Course(towers, line.settings, {"footing_resistance_ohm": footing})).network()
    dense = DenseLine(towers, [*FLAT, *WIRES], footing)
    for tower in (8, 40):
        _, current = dense.fault(tower, 0, 7000.0, 3000.0)
        found = fault_emf(network, np.array([tower]), lead(60.0)[None, None])[0, 0]
        assert found == pytest.approx(abs(dense.emf(tower, lead(60.0), current)), rel=0.015)


def test_neighbours_are_towers_and_not_bends():
    """Two bends between towers 3 and 4: the neighbour of tower 3 is still tower 4."""
    towers = straight(5)
    axis = np.insert(towers, 3, [[20.0, 100.0], [20.0, 200.0]], axis=0)
    line = flat_line(towers, fault=SIDES | {"neighbours": 1})
    known = FaultTable(("1", "2", "3", "4", "5"), np.full(5, 7e3), np.full(5, 3e3))
    gap = FaultTable(("1", "2", "3", "5"), np.full(4, 7e3), np.full(4, 3e3))
    settings = line.settings | {"fault": {"clearing_time_s": 0.3, "table": {"path": "f.csv"}}}
    found = {}
    for name, table in (("known", known), ("gap", gap)):
        network = world(Course(towers, settings, line.columns, axis, table)).network()
        found[name] = fault_emf(network, np.arange(5), np.repeat(lead(60.0)[None, None], 5, axis=0))[:, 0]
    assert np.isfinite(found["known"]).all()
    assert np.isnan(found["gap"]).tolist() == [False, False, True, True, True]


def test_line_that_goes_on_beyond_its_last_tower_has_a_known_fault_there():
    towers = straight(5)
    axis = np.vstack((towers[0] - [0.0, 500.0], towers, towers[-1] + [0.0, 500.0]))
    table = FaultTable(("1", "2", "3", "4", "5"), np.full(5, 7e3), np.full(5, 3e3))
    line = flat_line(towers, fault={"clearing_time_s": 0.3, "table": {"path": "f.csv"}})
    network = world(Course(towers, line.settings, line.columns, axis, table)).network()
    assert network.sources[0].course.names == ["", "1", "2", "3", "4", "5", ""]
    found = assessed(network, np.arange(5))
    assert np.isfinite(found.leads.emf_fault_v).all()
    assert np.isfinite(found.towers.potential_rise_v).all()


def test_table_by_tower_with_gaps():
    """Unknown at a tower: its own figures are unknown, and what its neighbours' leads pick up at most."""
    feed = np.linspace(9e3, 1e3, 41)
    feed[20] = np.nan
    table = FaultTable(tuple(str(i + 1) for i in range(41)), feed, feed[::-1].copy())
    settings = {"clearing_time_s": 0.3, "table": {"path": "f.csv"}}
    found = assessed(network_of(settings, table=table), np.arange(41))
    unknown = np.arange(41) == 20
    assert np.isnan(found.towers.potential_rise_v).tolist() == unknown.tolist()
    assert np.isnan(found.towers.fault_share).tolist() == unknown.tolist()
    assert np.isnan(found.leads.transferred_fault_v).all(axis=1).tolist() == unknown.tolist()
    near = np.abs(np.arange(41) - 20) <= 1
    assert np.isnan(found.leads.emf_fault_v).all(axis=1).tolist() == near.tolist()
    v, _ = reference().fault(8, 0, feed[8], feed[40 - 8])
    assert found.towers.potential_rise_v[8] == pytest.approx(abs(v[8]), rel=1e-6)


@pytest.mark.parametrize("wires", [True, False])
def test_transferred_voltage_is_the_rise_less_the_ground_at_the_stake(wires):
    found = assessed(network_of(SIDES, wires=wires), np.array(TOWERS), 90.0, 270.0, 80.0)
    v = np.full(len(TOWERS), np.nan)
    for row, tower in enumerate(TOWERS):
        v[row] = abs(reference().fault(tower, 0, 7e3, 3e3)[0][tower]) if wires else 1e4 * FOOTINGS[tower]
    expected = v * (1 - 100.0 / (2 * np.pi * 80.0) / FOOTINGS[list(TOWERS)])
    assert found.leads.transferred_fault_v == pytest.approx(np.repeat(expected[:, None], 2, axis=1), rel=1e-6)


def test_no_fault_given_is_unknown_and_not_zero(plain):
    found = assessed(plain, [0, 20])
    for values in (found.leads.emf_fault_v, found.leads.transferred_fault_v, found.towers.potential_rise_v):
        assert np.isnan(values).all()
    assert set(found.leads.handling("under a fault").ravel()) == {
        "unknown: treat the lead as live until it has been measured"
    }


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ({"phase": "P"}, ["line 'line 0', fault: no phase P in circuit 1", "1: ABC"]),
        ({"circuit": 2}, ["line 'line 0', fault: no phase A in circuit 2"]),
    ],
)
def test_faulted_phase_must_exist(fault, words):
    with pytest.raises(JobError) as caught:
        network_of(SIDES | fault)
    for word in words:
        assert word in str(caught.value)
