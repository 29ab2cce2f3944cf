"""Open roads behind roads that need a permission."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from layoutplan.access.enclosed import enclosed

M = 1 / 111_200  # degrees of latitude


def roads(*lines):
    """Lines in metres about a place on the equator."""
    made = [shapely.LineString(np.array(points, dtype=float) * M) for points, _, _ in lines]
    texts = [np.array([line[i] for line in lines], dtype=object) for i in (1, 2)]
    return np.array(made, dtype=object), *texts


PUBLIC = ([(0, 0), (3000, 0)], "yes", "minor_road")
GATED = ([(100, 0), (100, 50)], "permit", "minor_road")
BEHIND = ([(100, 50), (100, 400)], "yes", "minor_road")


def test_the_road_behind_the_gate():
    assert enclosed(*roads(PUBLIC, GATED, BEHIND)).tolist() == [False, False, True]


def test_a_second_open_way_out():
    out = ([(100, 400), (900, 400), (900, 0)], "yes", "minor_road")
    assert not enclosed(*roads(PUBLIC, GATED, BEHIND, out)).any()


def test_a_net_behind_counts_as_one_and_long_ones_lead_somewhere():
    more = [([(100, 400), (100, 400 + length)], "yes", "minor_road") for length in (300, 1700)]
    assert enclosed(*roads(PUBLIC, GATED, BEHIND, more[0])).tolist() == [False, False, True, True]
    assert not enclosed(*roads(PUBLIC, GATED, BEHIND, more[1])).any()  # 350 m and 1700 m


def test_a_main_road_is_no_yard():
    main = ([(100, 400), (500, 400)], "yes", "main_road")
    assert not enclosed(*roads(PUBLIC, GATED, BEHIND, main)).any()


def test_a_way_out_over_a_motorway_is_open():
    slip = ([(100, 400), (900, 400), (900, 0)], "no stopping", "main_road")
    assert not enclosed(*roads(PUBLIC, GATED, BEHIND, slip)).any()
    private = ([(100, 400), (900, 400), (900, 0)], "private path", "main_road")
    assert enclosed(*roads(PUBLIC, GATED, BEHIND, private)).tolist() == [False, False, True, False]


def test_what_joins_nothing_stays_open():
    alone = ([(5000, 0), (5000, 300)], "yes", "minor_road")
    assert not enclosed(*roads(PUBLIC, GATED, alone)).any()


def test_a_bridge_over_the_yard_does_not_join_it():
    over = ([(-500, 200), (600, 200)], "yes", "minor_road")
    assert enclosed(*roads(PUBLIC, GATED, BEHIND, over)).tolist() == [False, False, True, False]


def test_a_road_that_ends_in_the_middle_of_another_joins_it():
    side = ([(900, 0), (900, 300), (100, 300)], "yes", "minor_road")
    assert not enclosed(*roads(PUBLIC, GATED, BEHIND, side)).any()


@pytest.mark.parametrize("vehicle", ["yes", "permit"])
def test_all_of_one_kind(vehicle):
    assert not enclosed(*roads(([(0, 0), (100, 0)], vehicle, "minor_road"))).any()
    assert not enclosed(*roads()).any()
