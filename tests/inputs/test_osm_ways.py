"""Who may drive where. The tags mean what the OpenStreetMap wiki's pages of the same names say (from memory)."""

from __future__ import annotations

import pytest

from layoutplan.inputs.osm_tags import TagRules
from layoutplan.inputs.osm_ways import vehicle_on_road, vehicle_stated, vehicle_through_gate
from layoutplan.job import shipped_classes

RULES = TagRules(shipped_classes())


def tags(text: str) -> dict[str, str]:
    return dict(pair.split("=", 1) for pair in text.split())


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("highway=residential", "yes"),
        ("highway=primary access=destination", "yes"),
        ("highway=service", "yes"),
        ("highway=service service=driveway", "permit"),
        ("highway=service access=private", "permit"),
        ("highway=unclassified motor_vehicle=no", "permit"),
        ("highway=motorway", "no stopping"),
        ("highway=motorway_link access=private", "no stopping"),
        ("highway=trunk motorroad=yes", "no stopping"),
        ("highway=primary expressway=yes motor_vehicle=designated", "no stopping"),
        ("highway=trunk motorroad=no", "yes"),
        ("highway=trunk", "yes"),
        ("highway=secondary tunnel=avalanche_protector", "no stopping"),
        ("highway=service tunnel=building_passage", "no stopping"),
        ("highway=track tunnel=yes", "private path"),
        ("highway=footway tunnel=building_passage", "no"),
        # the more special key counts
        ("highway=track access=private motor_vehicle=yes", "yes"),
        ("highway=track access=yes vehicle=forestry", "permit"),
        ("highway=unclassified access=yes motorcar=no", "permit"),
        ("highway=unclassified motor_vehicle:conditional=no@(22:00-06:00)", "permit"),
        ("highway=unclassified access=whatever", "permit"),
        # an untagged track is mostly private
        ("highway=track", "permit"),
        # not for driving by nature
        ("highway=footway", "no"),
        ("highway=path access=private", "private path"),
        ("highway=footway foot=no", "private path"),
        ("highway=path access=no foot=yes", "no"),
        # people are let in, not cars
        ("highway=footway access=yes", "no"),
        ("highway=steps access=permissive", "no"),
        ("highway=cycleway vehicle=yes", "no"),
        ("highway=construction access=destination", "no"),
        ("highway=path motor_vehicle=private foot=yes", "no"),
        ("highway=path access=private motorcar=yes", "yes"),
        ("highway=steps", "no"),
        ("highway=path motor_vehicle=yes", "yes"),
        ("highway=pedestrian", "no"),
        ("highway=construction", "no"),
    ],
)
def test_who_may_drive_on_a_road(text: str, verdict: str) -> None:
    assert vehicle_on_road(tags(text)) == verdict


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("barrier=gate", "permit"),  # it may be locked
        ("barrier=gate access=yes", "yes"),
        ("barrier=gate access=yes locked=yes", "locked"),
        ("barrier=lift_gate access=private", "locked"),
        ("barrier=gate access=private foot=yes", "permit"),
        ("barrier=gate motor_vehicle=private", "permit"),
        ("barrier=cattle_grid", "yes"),
        ("barrier=entrance", "yes"),
        ("barrier=bollard", "no"),
        ("barrier=bollard motor_vehicle=yes", "no"),
        ("barrier=stile", "no"),
    ],
)
def test_who_gets_through_a_gate(text: str, verdict: str) -> None:
    assert vehicle_through_gate(tags(text)) == verdict


@pytest.mark.parametrize(
    ("text", "classes"),
    [
        ("highway=track", [("track_path", "track_path", "permit")]),
        ("highway=unclassified bridge=yes", [("bridge_overhead", "minor_road", "yes")]),
        ("railway=rail bridge=yes", [("bridge_overhead", "", "")]),
        ("highway=unclassified tunnel=yes", [("tunnel_culvert", "", "")]),
        ("highway=unclassified tunnel=building_passage", [("minor_road", "minor_road", "no stopping")]),
        ("highway=service tunnel=building_passage access=private", [("minor_road", "", "")]),
        ("barrier=gate", [("gate", "", "permit")]),
        ("building=yes", [("building", "", "")]),
    ],
)
def test_what_an_object_is_to_a_walker_and_a_driver(text: str, classes: list[tuple[str, str, str]]) -> None:
    found = RULES.match(tags(text))
    assert [(match.obstacle_class, match.road_class, match.vehicle) for match in found] == classes


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        ("yes", "yes"),
        (" YES ", "yes"),
        ("No stopping", "no stopping"),
        ("permissive", "yes"),
        ("no", "no"),
        ("", "permit"),
        ("private", "permit"),
        ("ask Mr N.", "permit"),
    ],
)
def test_words_of_a_column(value: str, verdict: str) -> None:
    assert vehicle_stated(value) == verdict
