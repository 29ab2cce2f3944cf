"""Towers that carry several lines of the job: one structure, everything that lifts it counts.

Held against one dense line with the conductors of both: within 2 %, as wires of two lines see each other span by span.

Sources: Kirchhoff's laws, Carson 1926 and Deri et al. 1981 by own dense reference (dense.py, reference.py).
"""

from dataclasses import replace

import numpy as np
import pytest

from layoutplan.exposure import measured
from layoutplan.planning.electrics import exposures_table

from .dense import SEQUENCES, DenseLine
from .test_exposures_table import keys
from .worlds import FLAT, UNBALANCED, WIRES, Course, assessed, ends, exposure, flat_line, lead, straight, world

FAULT = {"from_start_ka": 5.0, "from_end_ka": 3.0, "clearing_time_s": 0.2}
OTHER_FAULT = {"from_start_ka": 9.0, "from_end_ka": 1.0, "clearing_time_s": 0.2}
SMALL = {"current_ka": 0.01, "clearing_time_s": 0.2}  # beyond the limit already an unknown fault would hide nothing
ROWS = [3, 10, 17]
STRONG = {"current_a": 1500.0, "negative_sequence_pct": 2.0, "zero_sequence_pct": 5.0}
MOVED = [{**c, "offset_m": c["offset_m"] + 24.0, "attachment_height_m": c["attachment_height_m"] + 5.0}
         for c in (*FLAT, *WIRES)]  # fmt: skip
GRIDS = {"start_grid_ohm": 0.4, "end_grid_ohm": 0.2}
STATIONS = [{"id": "S", "grid_ohm": 0.4}, {"id": "N", "grid_ohm": 0.2}]


def line(fault=FAULT, load=UNBALANCED, **settings):
    return flat_line(straight(21), load=load, fault=fault, **settings)


def both_lines(fault=OTHER_FAULT, **more):
    ends_in = {"start_station": "S", "end_station": "N"}
    other = line(fault, STRONG, voltage_kv=110.0, sections=[{"conductors": MOVED}], **ends_in)
    return world(line(**ends_in), other, stations=STATIONS, **more)


def reference():
    return DenseLine(straight(21), [*FLAT, *MOVED[:3], *WIRES, *MOVED[3:]], np.full(21, 10.0), **GRIDS)


@pytest.fixture
def both(whole_ground):
    return assessed(both_lines().network(), ROWS)


def test_each_structure_is_one_node_and_one_footing():
    network = both_lines().network()
    assert len(network.towers) == 21  # planned once
    assert network.joints.node[0].tolist() == network.joints.node[1].tolist()
    assert len(network.footings.ohm) == 21 + 2


def test_loads_add_up(both):
    expected = np.zeros(21)
    for first, sizes in ((0, (500.0, 15.0, 10.0)), (3, (1500.0, 30.0, 75.0))):
        for k, size in enumerate(sizes):
            phases = np.zeros(6, dtype=complex)
            phases[first : first + 3] = SEQUENCES[:, k] * size
            v, _ = reference().load(phases)
            expected += np.abs(reference().electrode_a(v)[:21])
    assert both.towers.standing_high_a == pytest.approx(expected, abs=0.02 * expected.max())
    assert (both.towers.standing_low_a <= both.towers.standing_high_a).all()


@pytest.mark.long
def test_the_worst_fault_of_either_counts(both):
    """Fails while `_SMALL` in wire_pairs.py is 0.05: 4.7 % high; 1.3 % with 0.01."""
    found = [reference().faults(5e3, 3e3), reference().faults(9e3, 1e3, (3, 4, 5))]
    rises = np.stack([np.abs(v).max(axis=(1, 2)) for v, _ in found])
    assert both.towers.potential_rise_v == pytest.approx(rises.max(axis=0), rel=0.02)
    clear = np.abs(rises[0] / rises[1] - 1) > 0.04
    assert clear.sum() > 10
    names = [name.partition(",")[0] for name in both.towers.fault_location]
    assert np.array(names)[clear].tolist() == [f"line 'line {k}'" for k in rises.argmax(axis=0)[clear]]
    for row, tower in enumerate(ROWS):
        for side, bearing in enumerate((90.0, 270.0)):
            sums = []
            for v, current in found:
                flat = v.reshape(21, -1)
                sums.append((
                    np.abs(reference().to_stake(flat, tower, ends(bearing)[0])),
                    np.abs(reference().emf(tower, lead(bearing), current)).ravel(),
                ))  # fmt: skip
            together = max((a + b).max() for a, b in sums)
            item = exposure(both, "arithmetic sum under a fault")
            assert item.value[row, side] == pytest.approx(together, rel=0.02)


def test_limit_is_that_of_the_fault_that_governs():
    """Not the longest clearing time of both with the greatest voltage of both."""
    found = assessed(both_lines(OTHER_FAULT | {"clearing_time_s": 0.5}).network(), ROWS)
    item = exposure(found, "transferred from the tower by a fault")
    assert set(item.limit.each_duration_s.ravel()) <= {0.2, 0.5}
    of_other = np.vectorize(lambda name: name.startswith("line 'line 1'"))(item.caused_by)
    assert (np.where(of_other, 0.5, 0.2) == item.limit.each_duration_s).all()
    assert of_other.any()


def test_earth_wires_of_both_lie_beside_the_footing(whole_ground):
    """What is measured of a tower is one impedance, whatever lines hang on it."""
    network = both_lines(method={"legs_only": False}).network()
    for tower in ROWS:
        expected = abs(reference().seen_ohm(tower, 110.0))
        # at 110 Hz the currents die away within few spans: wires of two lines see each other as finite spans, by 4.5 %
        # less than as endless ones
        assert measured(network).expected_ohm[0, tower] == pytest.approx(expected, rel=0.05)


@pytest.mark.long
@pytest.mark.parametrize("beside", [False, True], ids=["measured too", "not measured"])
def test_what_is_not_known_of_the_other_line_is_unknown_of_the_tower(beside):
    more = {"measured": False} if beside else {}
    found = assessed(world(line(SMALL), line(None, None, **more)).network(), ROWS)
    for name in ("standing voltage of the tower", "transferred from the tower by a fault", "induced by a fault"):
        assert np.isnan(exposure(found, name).value).all(), name
    for state in ("in service", "under a fault"):
        assert all(str(text).startswith("unknown") for text in found.leads.handling(state).ravel())


def test_a_line_of_which_nothing_is_known_makes_its_towers_unknown():
    network = world(line(SMALL), Course(straight(21), {"voltage_kv": None})).network()
    found = assessed(network, ROWS)
    assert network.unknown_too.all()
    assert np.isnan(found.towers.potential_rise_v).all()
    assert np.isnan(found.towers.standing_high_a).all()
    table = exposures_table(assessed(network, [1, 3], 60.0, 250.0), network, keys())
    fault = table[table["exposure"] == "transferred from the tower by a fault"]
    assert fault["assumptions"].str.startswith("unknown: ").all()
    assert fault["assumptions"].str.contains("another line on this tower not known").all()


def test_a_line_that_only_bends_there_makes_the_tower_unknown():
    """Given by its centreline alone: where its towers are, and whether this is one of them, nobody says."""
    beside = flat_line(straight(21), load=UNBALANCED, fault=FAULT, measured=False)
    bent = straight(21)[[0, 10, 20]] + np.array([[900.0, 0.0], [0.0, 0.0], [900.0, 0.0]])
    course = replace(beside, towers_m=bent[[0, 2]], centreline_m=bent, columns={})
    network = world(line(SMALL), course).network()
    assert np.flatnonzero(network.unknown_too).tolist() == [10]
    assert np.isnan(assessed(network, [10]).towers.potential_rise_v[10])


def test_a_line_without_earth_wires_beside_is_lifted_through_the_ground_alone():
    """Nothing of a load stands on it: no wire brings it there, and footings carry none of it."""
    beside = flat_line(straight(21, aside_m=300.0), load=STRONG, fault=OTHER_FAULT, wires=False)
    found = assessed(world(line(None), beside).network(), ROWS)
    assert found.towers.standing_high_a[21:] == pytest.approx(np.zeros(21), abs=1e-6)
    assert (found.towers.standing_high_a[:21] > 0).any()


def test_lines_that_cross_at_no_common_tower_are_apart():
    network = world(line(), flat_line(straight(21, aside_m=30.0), load=STRONG, fault=OTHER_FAULT)).network()
    assert not set(network.joints.node[0]) & set(network.joints.node[1])
    assert any("meet only in the ground and by induction" in text for text in network.assumptions)
