"""Bridges, fords, and what lies below a bridge: what a walker on the ground would say."""

from __future__ import annotations

import pytest
import shapely

from layoutplan.access import to_tower

from .scenes import Feature, Road, Scene, line

NORTH_ROAD = Road(line((-300, 70), (300, 70)), name="Mill Lane")
RIVER = Feature("river_canal", line((-3000, 50), (3000, 50)), 15.0, "Alpha")


def deck(*points):
    return Feature("bridge_overhead", line(*points), 3.0, "Long Bridge")


def bridge(feature, row, kind="minor_road", vehicle="yes"):
    return Road(feature.shape, kind, vehicle, bridge=row)


@pytest.mark.parametrize("kind", ["minor_road", "main_road"])
def test_the_vehicle_does_not_stop_on_a_bridge_above_the_tower(kind):
    above = deck((15, -200), (15, 200))
    walks = Scene((above,), (bridge(above, 0, kind), Road(line((-150, -200), (-150, 200))))).walks()
    assert walks.drop_off.point_m == pytest.approx([-150, 0], abs=1e-6)
    assert to_tower(Scene((above,), (bridge(above, 0, kind),)).walks()).verdict == "no road within 1500 m"


def test_nobody_steps_off_a_bridge_onto_an_island():
    island = Feature(
        "river_canal", shapely.box(-3000, -100, 3000, 100).difference(shapely.box(-30, -30, 30, 30)), 0, "Alpha"
    )
    above = deck((20, -120), (20, 120))
    ends = Road(line((20, 120), (20, 400))), Road(line((20, -400), (20, -120)))
    route = to_tower(Scene((island, above), (bridge(above, 1), *ends)).walks())
    assert route.verdict == "not reachable on foot"
    assert "Long Bridge" in route.because[0]


def test_nobody_steps_off_a_bridge_between_two_carriageways():
    lanes = tuple(Feature("main_road", line((-3000, north), (3000, north)), 12.0) for north in (-20, 20))
    above = deck((100, -60), (100, 60))
    ends = Road(line((100, 60), (100, 160))), Road(line((100, -160), (100, -60)))
    assert to_tower(Scene((*lanes, above), (bridge(above, 2), *ends)).walks()).verdict == "not reachable on foot"


def test_a_bridge_that_forks_is_walked_from_end_to_end():
    decks = deck((0, 5), (0, 45)), deck((0, 45), (-40, 85)), deck((0, 45), (40, 85))
    wide = Feature("river_canal", shapely.box(-3000, 10, 3000, 80), 0, "Alpha")
    spans = tuple(bridge(part, row, "track_path", "no") for row, part in enumerate(decks, start=1))
    route = to_tower(Scene((wide, *decks), (*spans, Road(line((40, 85), (40, 300))))).walks())
    assert (route.verdict, route.crossings) == ("reachable", ("river or canal Alpha",))


@pytest.mark.parametrize(("kind", "verdict"), [("track_path", "not reachable on foot"), ("minor_road", "reachable")])
def test_a_track_through_a_river_may_be_a_ford(kind, verdict):
    through = Road(line((0, 20), (0, 70)), kind, "no")
    assert to_tower(Scene((RIVER,), (NORTH_ROAD, through)).walks()).verdict == verdict


def test_a_bridge_shorter_than_the_river_is_drawn_wide_is_a_bridge():
    above = deck((0, 47), (0, 53))
    ways = Road(line((0, 20), (0, 47)), "track_path", "no"), Road(line((0, 53), (0, 70)), "track_path", "no")
    route = to_tower(Scene((RIVER, above), (NORTH_ROAD, *ways, bridge(above, 1, "track_path", "no"))).walks())
    assert (route.verdict, route.crossings) == ("reachable", ("river or canal Alpha",))
