"""The standing state under a load, against a dense nodal solve of the whole chain.

Sources: Kirchhoff's laws, Carson 1926 by own dense reference (dense.py, reference.py).
"""

from __future__ import annotations

import numpy as np
import pytest

from .dense import SEQUENCES, DenseLine, DenseLines
from .worlds import FLAT, UNBALANCED, WIRES, Course, assessed, emf, ends, exposure, flat_line, lead, straight, world

SIZES = np.array([500.0, 15.0, 10.0])
FOOTINGS = 6.0 + 10.0 * np.abs(np.sin(np.arange(41.0)))
TOWERS = np.array([0, 1, 7, 20, 39, 40])


def uneven(**settings: object) -> Course:
    """Footings that differ, a station at the start only."""
    line = flat_line(load=UNBALANCED, start_grid_ohm=0.4, **settings)
    return Course(line.towers_m, line.settings, {"footing_resistance_ohm": FOOTINGS})


def reference() -> DenseLine:
    return DenseLine(straight(), [*FLAT, *WIRES], FOOTINGS.copy(), start_grid_ohm=0.4)


@pytest.fixture(scope="module")
def states() -> tuple[np.ndarray, np.ndarray]:
    """Potentials (41, 3) and currents (40, 5, 3) by sequence."""
    solved = [reference().load(SEQUENCES[:, k] * SIZES[k]) for k in range(3)]
    return np.stack([v for v, _ in solved], axis=-1), np.stack([i for _, i in solved], axis=-1)


def test_potentials_and_earth_wire_currents(whole_ground, states):
    """The zero sequence comes out of the ground at the station, and returns far away where the line has none."""
    network = world(uneven()).network()
    (source,), (driven,) = network.sources, network.loads.driven[0]
    assert network.loads.potential_v[network.joints.node[0], 0] == pytest.approx(states[0], rel=1e-6, abs=1e-9)
    assert driven.by.tolist() == [0]
    found = driven.current_a[:, source.course.hold[0], 0]
    assert found == pytest.approx(states[1], rel=1e-6, abs=1e-9)


def test_residual_current_is_exchanged_with_the_ground_at_both_stations(whole_ground):
    """Kirchhoff's law of the whole: what the grids and footings send into the ground sums to nothing."""
    grids = {"start_grid_ohm": 0.4, "end_grid_ohm": 0.2}
    load = {"current_a": 500.0, "negative_sequence_pct": 0.0, "zero_sequence_pct": 20.0}
    network = world(flat_line(load=load, **grids)).network()
    footing = network.loads.footing_a[:, 0, 2]
    assert abs(footing.sum()) < 1e-3 * np.abs(footing).max()
    reference = DenseLine(straight(), [*FLAT, *WIRES], np.full(41, 10.0), **grids)
    v, _ = reference.load(SEQUENCES[:, 2] * 100.0)
    assert network.loads.potential_v[network.joints.node[0], 0, 2] == pytest.approx(v, rel=1e-6, abs=1e-9)
    assert footing == pytest.approx(reference.electrode_a(v), rel=1e-6, abs=1e-9)


def test_standing_current_of_a_tower_is_that_in_its_own_footing(whole_ground, states):
    """At the first tower the station's grid takes its own share beside it."""
    part = np.abs(reference().electrode_a(states[0])[:41])
    towers = assessed(world(uneven()).network(), TOWERS).towers
    assert towers.standing_high_a == pytest.approx(part.sum(axis=1), rel=1e-6)
    assert towers.standing_low_a == pytest.approx(np.maximum(2 * part.max(axis=1) - part.sum(axis=1), 0), rel=1e-6)


def test_low_at_the_usual_load_and_high_at_the_greatest():
    usual, both = (
        assessed(world(flat_line(load=UNBALANCED | extra)).network(), TOWERS) for extra in ({}, {"maximum_a": 1500.0})
    )
    assert both.towers.standing_low_a == pytest.approx(usual.towers.standing_low_a, rel=1e-9)
    assert both.towers.standing_high_a == pytest.approx(3 * usual.towers.standing_high_a, rel=1e-9)
    assert both.leads.expected_low_v == pytest.approx(usual.leads.expected_low_v, rel=1e-9)
    assert both.leads.expected_high_v == pytest.approx(3 * usual.leads.expected_high_v, rel=1e-9)
    assert both.leads.emf_load_v == pytest.approx(3 * usual.leads.emf_load_v, rel=1e-9)
    assert both.leads.emf_unbalance_v == pytest.approx(3 * usual.leads.emf_unbalance_v, rel=1e-9)


def test_line_without_load_now_and_then():
    idle = assessed(world(flat_line(load=UNBALANCED | {"current_a": 0.0, "maximum_a": 500.0})).network(), TOWERS)
    busy = assessed(world(flat_line(load=UNBALANCED)).network(), TOWERS)
    assert (idle.leads.expected_low_v == 0).all()
    assert idle.leads.expected_high_v == pytest.approx(busy.leads.expected_high_v, rel=1e-9)
    assert (idle.towers.standing_low_a == 0).all()
    assert idle.towers.standing_high_a == pytest.approx(busy.towers.standing_high_a, rel=1e-9)


@pytest.mark.first(3)
@pytest.mark.parametrize("sequence", [0, 1, 2])
@pytest.mark.parametrize(("h", "s"), [(60.0, 250.0), (90.0, 270.0)])
def test_reading_of_one_sequence_on_arrival_is_one_phasor(whole_ground, sequence, h, s):
    """Tower less ground at the stake, and what the open lead picks up: one complex sum, so low is high."""
    angles = [(0, -120, 120), (0, 120, -120), (0, 0, 0)][sequence]
    load = {"current_a": 500.0, "phase_currents_a": [(500.0, angle) for angle in angles]}
    reference = DenseLine(straight(), [*FLAT, *WIRES], np.full(41, 10.0))
    v, i = reference.load(500.0 * SEQUENCES[:, sequence])
    found = assessed(world(flat_line(load=load)).network(), [3, 20], h, s, 90.0).leads
    for row, tower in enumerate((3, 20)):
        for side, bearing in enumerate((h, s)):
            own = reference.to_stake(v, tower, ends(bearing, 90.0)[0])
            expected = abs(own + reference.emf(tower, lead(bearing, 90.0), i))
            assert found.expected_low_v[row, side] == pytest.approx(expected, rel=2e-3, abs=5e-4)
            assert found.expected_high_v[row, side] == pytest.approx(expected, rel=2e-3, abs=5e-4)


def test_standing_voltage_is_the_sum_over_sequences(whole_ground, states):
    found = assessed(world(uneven()).network(), TOWERS, length_m=80.0)
    for row, tower in enumerate(TOWERS):
        for side, bearing in enumerate((90.0, 270.0)):
            expected = np.abs(reference().to_stake(states[0], tower, ends(bearing, 80.0)[0])).sum()
            standing = exposure(found, "standing voltage of the tower").value[row, side]
            assert standing == pytest.approx(expected, rel=1e-6)


def test_footing_lower_than_its_soil_allows_does_not_hide_the_towers_voltage():
    """2 ohm in 1,000 ohm metres with an electrode of 12 m: the ground at 80 m would stand as high as the tower."""
    line = flat_line(load=UNBALANCED)
    line = Course(line.towers_m, line.settings, {"footing_resistance_ohm": np.full(41, 1000 / (2 * np.pi * 80.0))})
    network = world(line, soil={"resistivity_ohm_m": 1000.0}).network()
    potential = np.abs(network.loads.potential_v[network.joints.node[0][3], 0]).sum()
    standing = exposure(assessed(network, 3, length_m=80.0), "standing voltage of the tower")
    assert (standing.value > 0.8 * potential).all()  # 7.5 % stand at the stake by itself, as much again by others
    assert any("one of the three is wrong" in text for text in network.assumptions)


def test_no_earth_wire_no_standing_voltage():
    network = world(flat_line(wires=False, load=UNBALANCED)).network()
    found = assessed(network, [0, 20])
    assert found.towers.standing_high_a == pytest.approx(0, abs=1e-6)
    assert found.leads.expected_high_v == pytest.approx(np.abs(emf(network, 20, 90.0)).sum(), abs=1e-3)


@pytest.mark.first(1)
@pytest.mark.parametrize("wires", [True, False])
@pytest.mark.parametrize("aside_m", [35.0, 150.0])
def test_the_load_of_a_line_beside_stands_on_the_tower_by_its_earth_wires(whole_ground, aside_m, wires):
    """Every wire of every span of both lines, and every footing and grid: within 2 % of the greatest.

    What the line beside drives by its earth wires counts their current as a whole and not what circulates between the
    two; then it is within 4 %, and high.
    """
    grids, idle = {"start_grid_ohm": 0.4, "end_grid_ohm": 0.2}, {"current_a": 0.0, "maximum_a": 0.0}
    strong = {"current_a": 2000.0, "negative_sequence_pct": 3.0, "zero_sequence_pct": 2.0}
    own = flat_line(straight(21), load=idle, **grids)
    beside = flat_line(straight(21, aside_m=aside_m), load=strong, wires=wires, measured=False, **grids)
    towers = np.array([1, 4, 16, 19])  # where it goes into the ground: towards the ends
    found = assessed(world(own, beside).network(), towers).towers.standing_high_a[:21]
    both = DenseLines(
        (
            DenseLine(straight(21), [*FLAT, *WIRES], np.full(21, 10.0), **grids),
            DenseLine(straight(21, aside_m=aside_m), [*FLAT, *(WIRES if wires else ())], np.full(21, 10.0), **grids),
        )
    )
    expected = np.zeros(21)
    for k, size in enumerate((2000.0, 60.0, 40.0)):
        v, _ = both.load(1, SEQUENCES[:, k] * size)
        expected += np.abs(np.linalg.solve(both.earth_ohm, v[both.node]))[:21, 0]
    assert found == pytest.approx(expected, abs=(0.04 if wires else 0.02) * expected.max())
    if wires:
        assert (found[towers] > 0.99 * expected[towers]).all()
    assert (expected[towers] > 0.1).all()  # amperes, of a line without any load of its own


def test_two_circuits_of_which_one_has_the_earth_wire():
    """As the docs ask for: the load of the circuit without is not lost on the tower's potential."""
    idle = {"current_a": 0.0, "maximum_a": 0.0}
    alone = assessed(world(flat_line(load=idle)).network(), [1]).towers.standing_high_a[1]
    both = world(flat_line(load=idle), flat_line(load=UNBALANCED, wires=False, measured=False)).network()
    assert alone == 0.0
    assert assessed(both, [1]).towers.standing_high_a[1] > 0.05


def test_an_unknown_load_beside_makes_unknown_what_a_usual_one_would_lift():
    """A tenth of a volt by 1,000 A is the border (judgement)."""
    own, beside = flat_line(load=UNBALANCED), flat_line(straight(aside_m=60.0), load=None, measured=False)
    found = assessed(world(own, beside).network(), [20]).towers
    network = world(own, beside.but(load={"current_a": 1000.0})).network()
    raised = np.abs(network.loads.potential_v[network.node, 1]).sum(axis=-1) > 0.1
    assert raised[:41].sum() > 0
    # between two of them it is not known where exactly the potential passes through zero
    first, last = np.flatnonzero(raised[:41])[[0, -1]]
    for current in (found.standing_high_a, found.standing_low_a):
        assert np.flatnonzero(np.isnan(current[:41])).tolist() == list(range(first, last + 1))


def test_a_line_of_unknown_voltage_beside_makes_the_standing_current_unknown():
    beside = Course(straight(aside_m=60.0), {"measured": False, "voltage_kv": None})
    found = assessed(world(flat_line(load=UNBALANCED), beside).network(), [20]).towers
    assert np.isnan(found.standing_high_a[:41]).all()
    assert np.isnan(found.standing_low_a[:41]).all()
