"""Towers that carry several lines of the job: nothing that lifts them may be left out.

The figures of two lines together are held against those of each line alone: by superposition the potentials add, and as
their phases are not known, their sizes.
"""

from dataclasses import replace

import numpy as np
import pytest

from layoutplan.exposure import measured
from layoutplan.planning.electrics import exposures_table

from .test_exposures_table import keys
from .worlds import UNBALANCED, Course, assessed, flat_line, straight, world

FAULT = {"from_start_ka": 5.0, "from_end_ka": 3.0, "clearing_time_s": 0.2}
OTHER_FAULT = {"from_start_ka": 9.0, "from_end_ka": 1.0, "clearing_time_s": 0.5}
ROWS = [3, 10, 17]


def line(fault=FAULT, load=UNBALANCED, **settings):
    return flat_line(straight(21), load=load, fault=fault, **settings)


STRONG = {"current_a": 1500.0, "negative_sequence_pct": 2.0, "zero_sequence_pct": 5.0}


@pytest.fixture(scope="module")
def alone():
    """Each line alone."""
    lines = (line(), line(OTHER_FAULT, STRONG, voltage_kv=110.0))
    return [assessed(world(one).network(), ROWS) for one in lines]


@pytest.fixture(scope="module")
def both():
    return assessed(world(line(), line(OTHER_FAULT, STRONG, voltage_kv=110.0)).network(), ROWS)


def exposure(found, name):
    (item,) = [item for item in found.leads.exposures if item.name == name]
    return item


def test_loads_add_up(alone, both):
    assert len(both.towers.standing_high_a) == 21  # planned once
    total = sum(each.towers.standing_high_a for each in alone)
    assert both.towers.standing_high_a == pytest.approx(total, rel=1e-9)
    for name in ("standing voltage of the tower", "induced by the load, unbalance"):
        total = sum(exposure(each, name).value for each in alone)
        assert exposure(both, name).value == pytest.approx(total, rel=1e-9)
    assert both.leads.expected_high_v == pytest.approx(sum(each.leads.expected_high_v for each in alone), rel=1e-9)
    assert (both.towers.standing_low_a <= both.towers.standing_high_a).all()


def test_the_worst_fault_counts_with_the_longest_clearing_time(alone, both):
    rise = np.maximum(*(each.towers.potential_rise_v for each in alone))
    assert both.towers.potential_rise_v == pytest.approx(rise, rel=1e-9)
    first = alone[0].towers.potential_rise_v > alone[1].towers.potential_rise_v
    share = np.where(first, alone[0].towers.fault_share, alone[1].towers.fault_share)
    assert both.towers.fault_share == pytest.approx(share, rel=1e-9)
    for name in ("transferred from the tower by a fault", "induced by a fault"):
        worst = np.maximum(*(exposure(each, name).value for each in alone))
        assert exposure(both, name).value == pytest.approx(worst, rel=1e-9)
        assert exposure(both, name).limit.duration_s.tolist() == [0.5] * 3
        assert exposure(both, name).limit.value == pytest.approx(exposure(alone[1], name).limit.value)
        assert (exposure(both, name).limit.value < exposure(alone[0], name).limit.value).all()


def test_earth_wires_of_both_lie_beside_the_footing():
    networks = [world(one).network() for one in (line(), line(voltage_kv=110.0))]
    rest = [1 / measured(network).rest_ohm for network in networks]
    both = measured(world(line(), line(voltage_kv=110.0)).network())
    assert 1 / both.rest_ohm == pytest.approx(rest[0] + rest[1], rel=1e-9)


@pytest.mark.parametrize("beside", [False, True], ids=["measured too", "not measured"])
def test_what_is_not_known_of_the_other_line_is_unknown_of_the_tower(beside):
    more = {"measured": False} if beside else {}
    found = assessed(world(line(), line(None, None, **more)).network(), ROWS)
    for name in ("standing voltage of the tower", "transferred from the tower by a fault", "induced by a fault"):
        assert np.isnan(exposure(found, name).value).all(), name
    for state in ("in service", "under a fault"):
        assert all(str(text).startswith("unknown") for text in found.leads.handling(state).ravel())


def test_a_line_of_which_nothing_is_known_makes_its_towers_unknown():
    network = world(line(), Course(straight(21), {"voltage_kv": None})).network()
    found = assessed(network, ROWS)
    assert network.dark_too.all()
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
    network = world(line(), course).network()
    assert np.flatnonzero(network.dark_too).tolist() == [10]
    assert np.isnan(assessed(network, [10]).towers.potential_rise_v[10])


def test_towers_apart_are_as_each_alone(alone):
    """A line 30 m beside lifts the towers of the other by its earth wires (`test_standing`), and only by them."""
    bare = world(line(wires=False), flat_line(straight(21, aside_m=30.0), load=STRONG, fault=OTHER_FAULT)).network()
    assert assessed(bare, ROWS).towers.standing_high_a[:21] == pytest.approx(np.zeros(21), abs=1e-6)
    network = world(line(), flat_line(straight(21, aside_m=30.0), load=STRONG, fault=OTHER_FAULT)).network()
    found = assessed(network, ROWS)
    assert (found.towers.standing_high_a[:21] >= alone[0].towers.standing_high_a).all()
    assert found.towers.potential_rise_v[:21] == pytest.approx(alone[0].towers.potential_rise_v, rel=1e-9)
    assert not any("carry more than one line" in text for text in network.assumptions)


def test_the_plan_says_what_was_done():
    texts = world(line(), line(voltage_kv=110.0)).network().assumptions
    assert any("21 tower(s) carry more than one line of the job (1, 2, 3, 4, 5, …)" in text for text in texts)
