"""Stations: one node whatever lines meet there, their grids, faults in them.

Sources: Kirchhoff's laws by own dense reference (dense.py, reference.py).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.electrical import decrement_factor
from layoutplan.planning.electrics import exposures_table

from .dense import DenseLine
from .test_exposures_table import keys
from .worlds import BALANCED, FLAT, WIRES, Course, World, assessed, ends, exposure, flat_line, straight, world

TINY = {"current_ka": 1e-3, "clearing_time_s": 0.2}
STRONG = {"from_start_ka": 6.0, "from_end_ka": 9.0, "clearing_time_s": 0.2}
GRID_OHM, COUNT = 0.2, 21
TRANSFERRED = "transferred from the tower by a fault"


def line(**settings: Any) -> Course:
    return flat_line(straight(COUNT), **({"load": BALANCED, "fault": TINY, "end_station": "North"} | settings))


def place(*courses: Course, fault: dict[str, Any] | None = None, **settings: Any) -> World:
    station: dict[str, Any] = {"id": "North", "grid_ohm": GRID_OHM}
    return world(*(courses or (line(),)), stations=[station | ({"fault": fault} if fault else {})], **settings)


def reference() -> DenseLine:
    return DenseLine(straight(COUNT), [*FLAT, *WIRES], np.full(COUNT, 10.0), end_grid_ohm=GRID_OHM)


def lifted_by_one_ampere() -> tuple[np.ndarray, complex]:
    """Potentials per ampere into the station, and the part of it that enters the ground by its grid."""
    unit = np.zeros(COUNT, dtype=complex)
    unit[-1] = 1.0
    v, _ = reference().solved(np.zeros((COUNT - 1, 3), dtype=complex), unit)
    return v, reference().electrode_a(v)[-1]


def test_a_named_station_is_a_grid_at_the_line_end():
    named = assessed(place(line(fault=STRONG)).network(), [3, 18])
    plain = assessed(world(line(fault=STRONG, end_station=None, end_grid_ohm=GRID_OHM)).network(), [3, 18])
    assert named.towers.potential_rise_v == pytest.approx(plain.towers.potential_rise_v, rel=1e-9)
    assert named.leads.emf_fault_v == pytest.approx(plain.leads.emf_fault_v, rel=1e-9)
    assert named.leads.transferred_fault_v == pytest.approx(plain.leads.transferred_fault_v, rel=1e-9)


def test_current_from_outside_is_shared_by_grid_and_earth_wires(whole_ground):
    found = assessed(place(fault={"current_ka": 20.0, "clearing_time_s": 0.3}).network(), [3, 18])
    v, _ = lifted_by_one_ampere()
    assert found.towers.potential_rise_v == pytest.approx(20e3 * np.abs(v), rel=1e-6)
    assert set(found.towers.fault_location) == {"North"}
    for row, tower in enumerate((3, 18)):
        for side, bearing in enumerate((90.0, 270.0)):
            expected = 20e3 * abs(reference().to_stake(v, tower, ends(bearing)[0]))
            item = exposure(found, TRANSFERRED)
            assert item.value[row, side] == pytest.approx(expected, rel=1e-6)
            assert item.caused_by[row, side] == "North"
            assert item.limit.each_duration_s[row, side] == 0.3


@pytest.mark.parametrize(
    "fault", [{"grid_current_ka": 12.0}, {"current_ka": 20.0, "earth_wire_share_pct": 40.0}], ids=["grid", "share"]
)
def test_grid_current_given(whole_ground, fault):
    """12 kA through the grid either way; what its neighbours lift it by is left out, within 2 %."""
    found = assessed(place(fault=fault | {"clearing_time_s": 0.3}).network(), [3])
    v, grid = lifted_by_one_ampere()
    assert found.towers.potential_rise_v == pytest.approx(12e3 * np.abs(v / grid), rel=0.02)
    assert found.towers.potential_rise_v[-1] == pytest.approx(12e3 * GRID_OHM, rel=0.02)


def test_a_fault_in_the_station_reaches_a_tower_that_its_own_faults_leave_alone():
    silent = assessed(place().network(), [18]).towers
    found = assessed(place(fault={"grid_current_ka": 10.0, "clearing_time_s": 0.2}).network(), [18]).towers
    assert (found.potential_rise_v[-4:] > 300.0).all()
    assert (silent.potential_rise_v[-4:] < 10.0).all()


def test_the_ratio_to_the_limit_governs_between_station_and_line():
    """Volts of the station for ten seconds, more of the line's for a tenth."""
    fault = {"current_ka": 5.0, "clearing_time_s": 0.1}
    found = assessed(place(line(fault=fault), fault={"current_ka": 5.0, "clearing_time_s": 10.0}).network(), [18])
    alone = assessed(place(line(fault=fault)).network(), [18])
    assert found.towers.fault_location[18] == "North"
    assert found.towers.potential_rise_v[18] < alone.towers.potential_rise_v[18]


def test_a_station_without_a_fault_says_at_least_so_much():
    """Near it; and in the assumptions of the plan."""
    network = place(line(fault=STRONG)).network()
    found = assessed(network, [8, 18])
    table = exposures_table(found, network, keys())
    fault = table["state"] == "under a fault"
    silent = table["assumptions"].str.contains("at least so much: no fault current given for North")
    assert silent[fault].all()
    assert not silent[~fault].any()
    assert np.isfinite(found.leads.transferred_fault_v).all()
    assert any("North: no fault current given" in text for text in network.assumptions)


def test_a_station_with_its_fault_says_nothing_of_the_kind():
    network = place(line(fault=STRONG), fault={"current_ka": 5.0, "clearing_time_s": 0.2}).network()
    table = exposures_table(assessed(network, [3, 18]), network, keys())
    assert not table["assumptions"].str.contains("at least so much").any()
    assert not any("North: no fault current given" in text for text in network.assumptions)


def test_far_from_the_station_the_row_says_nothing():
    long = flat_line(straight(41), load=BALANCED, fault=STRONG, end_station="North")
    network = place(long).network()
    table = exposures_table(assessed(network, [1, 39]), network, keys())
    silent = table[table["assumptions"].str.contains("at least so much")]
    assert set(silent["tower_id"]) == {"4"}  # the keys' second tower, here the line's last but one


def test_a_fault_in_the_station_does_not_hide_that_those_of_the_line_are_unknown():
    network = place(line(fault=None), fault={"current_ka": 0.1, "clearing_time_s": 0.2}).network()
    found = assessed(network, [3, 18])
    assert np.isnan(found.leads.transferred_fault_v).all()
    assert all(str(text).startswith("unknown") for text in found.leads.handling("under a fault").ravel())
    strong = place(line(fault=None), fault={"current_ka": 60.0, "clearing_time_s": 0.2}).network()
    known = assessed(strong, [18])
    assert (exposure(known, TRANSFERRED).ratio > 1).all()
    assert all(str(text).startswith("above a limit") for text in known.leads.handling("under a fault").ravel())


def second(**settings: Any) -> Course:
    """From 60 m beside the end of the first line to the east."""
    towers = straight(COUNT)[-1] + np.array([60.0, 0.0]) + ends(90.0, 300.0 * np.arange(11))
    return flat_line(towers, **({"load": BALANCED, "fault": TINY} | settings))


def test_lines_that_meet_in_a_station_are_one_node():
    one = place(line(fault=STRONG), second(start_station="North")).network()
    assert one.joints.node[0][-1] == one.joints.node[1][0]
    assert [station.name for station in one.joints.stations] == ["North"]
    two = world(line(fault=STRONG, end_station=None, end_grid_ohm=0.2), second(start_grid_ohm=0.2)).network()
    assert two.joints.node[0][-1] != two.joints.node[1][0]
    assert any("lie 60 m from each other with an earth grid each" in text for text in two.assumptions)
    assert not any("with an earth grid each" in text for text in one.assumptions)
    none = world(line(fault=STRONG, end_station=None, end_grid_ohm=0.2), second()).network()
    joined, apart = (assessed(network, [25]).towers.potential_rise_v for network in (one, none))
    assert (joined[24:27] > 1.5 * apart[24:27]).all()  # a fault of the first line walks over into the second


def test_a_fault_in_a_shared_station_lifts_the_towers_of_both_lines():
    network = place(
        line(), second(start_station="North"), fault={"grid_current_ka": 10.0, "clearing_time_s": 0.2}
    ).network()
    found = assessed(network, [18, 22]).towers
    assert set(found.fault_location) == {"North"}
    assert (found.potential_rise_v[[17, 18, 19, 22, 23]] > 200.0).all()


def test_a_ring_through_one_station_is_solved():
    """A line that starts and ends in the same station."""
    turn = np.radians(np.linspace(0, 360, 25))
    towers = 1200.0 * np.column_stack((np.sin(turn), np.cos(turn)))[:-1]
    ring = flat_line(towers, load=BALANCED, fault=STRONG, start_station="North", end_station="North")
    network = place(ring, fault={"current_ka": 5.0, "clearing_time_s": 0.2}).network()
    assert network.joints.node[0][0] == network.joints.node[0][-1]
    found = assessed(network, [6, 12])
    assert np.isfinite(found.towers.potential_rise_v).all()
    assert np.isfinite(found.leads.transferred_fault_v).all()


@pytest.mark.parametrize("where", ["line", "station"])
@pytest.mark.parametrize(("standard", "counts"), [("IEEE Std 80", True), ("EN 50522", False)])
def test_offset_of_the_fault_current(where, standard, counts):
    """IEEE Std 80's decrement factor where X/R is given; EN 50522 knows none."""
    strong = {"current_ka": 10.0, "clearing_time_s": 0.1}
    ratio = {"x_over_r": 20.0}

    def rise(line_ratio: dict[str, float], station_ratio: dict[str, float]) -> np.ndarray:
        faults = (strong, TINY) if where == "line" else (TINY, strong)
        network = place(
            line(fault=faults[0] | line_ratio), fault=faults[1] | station_ratio, limits={"touch_standard": standard}
        ).network()
        return assessed(network, [18]).towers.potential_rise_v

    plain = rise({}, {})
    offset = rise(ratio, {}) if where == "line" else rise({}, ratio)
    factor = float(decrement_factor(20.0, 0.1, frequency_hz=50.0)) if counts else 1.0
    assert factor > 1.2 or not counts
    assert offset == pytest.approx(factor * plain, rel=1e-9)


def test_where_the_offset_is_left_out_the_plan_says_so():
    texts = [
        world(flat_line(fault=STRONG | more), limits={"touch_standard": "IEEE Std 80"}).network().assumptions
        for more in ({}, {"x_over_r": 10.0})
    ]
    assert [any("without d.c. offset" in text for text in each) for each in texts] == [True, False]


@pytest.mark.parametrize("order", [1, -1])
def test_a_fault_in_a_station_has_the_frequency_of_the_lines_that_end_there(order):
    """A traction line far away, first in the job or last, does not change what a 50 Hz station's fault lifts.

    Derived here: nothing of the far line touches the network of the near one; source for both figures is one model.
    """
    fault = {"current_ka": 20.0, "clearing_time_s": 0.3}
    far = flat_line(straight(5, aside_m=40000.0), frequency_hz=16.7)
    alone = assessed(place(fault=fault).network(), [3, 18]).towers
    network = place(*(line(), far)[::order], fault=fault).network()
    assert [hz for hz, _ in network.station_faults] == [50.0]
    mine = network.owner == (0 if order == 1 else 1)
    both = assessed(network, np.flatnonzero(mine)[[3, 18]]).towers
    assert both.potential_rise_v[mine] == pytest.approx(alone.potential_rise_v, rel=1e-6)


def test_a_station_of_two_frequencies_has_faults_at_both():
    fault = {"current_ka": 20.0, "clearing_time_s": 0.3}
    traction = flat_line(straight(5, aside_m=60.0), frequency_hz=16.7, end_station="North")
    for courses in ((line(), traction), (traction, line())):
        network = place(*courses, fault=fault).network()
        assert {hz for hz, _ in network.station_faults} == {50.0, 16.7}
