"""Tags to classes. The tags mean what the OpenStreetMap wiki's pages of the same names say (from memory)."""

from __future__ import annotations

import pytest

from layoutplan.inputs.osm_tags import POINT_WIDTH_M, TagRules, is_below, is_evidence, parse_width
from layoutplan.job import Job, shipped_classes

RULES = TagRules(shipped_classes())


def tags(text: str) -> dict[str, str]:
    return dict(pair.split("=", 1) for pair in text.split())


@pytest.mark.parametrize(
    ("text", "classes"),
    [
        ("highway=motorway", ["main_road"]),
        ("highway=track", ["track_path"]),
        ("highway=proposed", []),
        ("highway=crossing", []),
        ("waterway=stream", ["stream_ditch"]),
        ("building=shed", ["building"]),
        ("building=no", []),
        ("natural=water", ["standing_water"]),
        ("landuse=meadow", []),
        ("military=bunker", ["military"]),
        ("railway=tram", ["railway"]),
        ("railway=platform", []),
        # every class that a tag names, in the table's order
        ("building=yes amenity=school", ["building", "yard"]),
        ("barrier=fence landuse=military", ["fence_wall", "military"]),
        ("natural=wetland leisure=nature_reserve", ["wetland", "protected_area"]),
        ("highway=track;path", ["track_path"]),
        # tunnels and culverts
        ("highway=primary tunnel=yes", ["tunnel_culvert"]),
        ("highway=service tunnel=building_passage", ["minor_road"]),
        ("highway=primary tunnel=avalanche_protector", ["main_road"]),
        ("highway=primary tunnel=no", ["main_road"]),
        ("railway=subway tunnel=yes", ["tunnel_culvert"]),
        ("waterway=stream tunnel=culvert", ["tunnel_culvert"]),
        ("waterway=ditch culvert=yes", ["tunnel_culvert"]),
        ("waterway=drain location=underground", ["tunnel_culvert"]),
        # neither proves that the ground above is free
        ("waterway=river layer=-1", ["river_canal"]),
        ("waterway=stream covered=yes", ["stream_ditch"]),
        ("highway=footway layer=-1", ["track_path"]),
        ("landuse=farmland tunnel=yes", ["crops"]),
        # bridges
        ("highway=primary bridge=yes layer=1", ["bridge_overhead"]),
        ("highway=motorway bridge=viaduct", ["bridge_overhead"]),
        ("railway=rail bridge=no", ["railway"]),
        ("highway=path bridge=boardwalk", ["track_path"]),
        ("highway=track bridge=low_water_crossing", ["track_path"]),
        ("waterway=canal bridge=aqueduct", ["bridge_overhead"]),
        ("highway=primary bridge=yes tunnel=yes", ["bridge_overhead"]),
        ("man_made=bridge", ["bridge_overhead"]),
        # power and pipes
        ("power=line", ["power_line"]),
        ("power=minor_line", ["distribution_line"]),
        # overhead lines by their voltage and frequency; what is not told, or cannot be meant, is the graver class
        ("power=line voltage=110000", ["power_line"]),
        ("power=line voltage=110000;20000", ["power_line"]),
        ("power=line voltage=33000", ["distribution_line"]),
        ("power=line voltage=36000", ["distribution_line"]),
        ("power=line voltage=36001", ["power_line"]),
        ("power=line voltage=400", ["power_line"]),  # kilovolts given for volts
        ("power=line voltage=medium", ["power_line"]),
        ("power=minor_line voltage=20000", ["distribution_line"]),
        ("power=minor_line voltage=66000", ["power_line"]),
        ("power=minor_line voltage=400", ["low_voltage_line"]),
        ("power=minor_line voltage=1000", ["low_voltage_line"]),
        ("power=minor_line voltage=20000;400", ["distribution_line"]),
        ("power=minor_line voltage=20", ["distribution_line"]),  # kilovolts given for volts
        ("power=minor_line location=underground", ["underground_cable"]),
        ("power=line voltage=110000 frequency=16.7", ["traction_line"]),
        ("power=minor_line voltage=15000 frequency=16.67", ["traction_line"]),
        ("power=minor_line voltage=3000 frequency=0", ["traction_line"]),
        ("power=line voltage=500000 frequency=0", ["power_line"]),  # direct current for transmission
        ("power=minor_line voltage=20000 frequency=50", ["distribution_line"]),
        ("telecom=line location=overhead", ["low_voltage_line"]),
        ("power=cable location=overhead voltage=400", ["low_voltage_line"]),
        ("disused:power=minor_line", ["distribution_line"]),
        ("railway=rail electrified=contact_line", ["railway", "contact_line"]),
        ("railway=tram electrified=yes", ["railway", "contact_line"]),
        ("railway=rail electrified=rail", ["railway"]),
        ("railway=rail electrified=no", ["railway"]),
        ("railway=rail electrified=contact_line tunnel=yes", ["tunnel_culvert"]),
        ("railway=rail electrified=contact_line bridge=yes", ["bridge_overhead"]),
        ("barrier=fence electrified=yes", ["fence_wall"]),
        ("power=line location=underground", ["underground_cable"]),
        ("power=minor_line location=underwater", ["underground_cable"]),
        ("power=cable", ["underground_cable"]),
        ("power=cable location=overhead", ["distribution_line"]),
        ("power=tower", []),
        ("power=substation", ["substation_plant"]),
        ("power=generator location=roof", ["building"]),
        ("power=generator generator:source=wind", ["substation_plant"]),
        ("man_made=pipeline location=overground", ["pipeline"]),
        ("man_made=pipeline tunnel=yes", ["pipeline"]),
        ("power=minor_cable", ["underground_cable"]),
        ("telecom=cable location=underground", ["underground_cable"]),
        ("man_made=reservoir_covered", ["building"]),
        # out of use: gone, save what is still there
        ("disused:highway=track", []),
        ("abandoned:railway=rail", []),
        ("disused:railway=rail", ["railway"]),
        ("disused:man_made=pipeline", ["pipeline"]),
        ("abandoned:power=cable", ["underground_cable"]),
        ("disused:power=line", ["power_line"]),  # the wires hang, and may be put to use again
        ("abandoned:power=line", []),
        ("abandoned:building=barn", ["building"]),
        ("disused:building=no", []),
        ("disused:landuse=quarry", ["quarry"]),
        ("demolished:building=yes", []),
        ("removed:man_made=pipeline", []),
        # being built
        ("construction:man_made=pipeline", ["pipeline"]),
        ("construction:power=line", ["power_line"]),
        ("construction:highway=primary", []),
        ("proposed:man_made=pipeline", []),
    ],
)  # fmt: skip
def test_classes(text: str, classes: list[str]) -> None:
    assert [match.obstacle_class for match in RULES.match(tags(text))] == classes


@pytest.mark.parametrize(
    ("text", "width_m"),
    [
        ("highway=residential", 6.0),
        ("highway=residential width=4.5", 4.5),
        ("highway=residential est_width=7", 7.0),
        ("highway=residential width=4 est_width=7", 4.0),
        ("highway=residential width=wide", 6.0),
        ("highway=residential lanes=2", 7.0),
        ("highway=residential lanes=1", 6.0),  # lanes never make a road narrower than its kind
        ("highway=motorway lanes=5", 17.5),
        ("highway=residential lanes=2;3", 10.5),
        ("highway=residential lanes=many", 6.0),
        ("waterway=river width=40", 40.0),
        ("waterway=stream tunnel=culvert", 4.0),  # the culvert is at least as wide as the class says
        ("highway=primary tunnel=yes", 10.0),
        ("power=line location=underground", 1.0),
        ("building=yes", 0.0),
    ],
)
def test_widths(text: str, width_m: float) -> None:
    (match,) = RULES.match(tags(text))
    assert match.width_m == pytest.approx(width_m)


@pytest.mark.parametrize(
    ("text", "width_m"),
    [
        ("6", 6), ("6 m", 6), ("6.5", 6.5), ("6,5 m", 6.5), ("650 cm", 6.5), ("12;14", 14), ("12|14", 14), ("5-7", 7),
        ("~8", 8),
        ("20'", 6.096), ("20 ft", 6.096), ("12'6\"", 3.81), ("3 metres", 3), ("0.01 km", 10),
        ("", None), ("wide", None), ("6 m or so", None), ("0", None), ("-3", None), ("5000", None),
        ("6;wide", None), ("1e3", None),
    ],
)  # fmt: skip
def test_parse_width(text: str, width_m: float | None) -> None:
    assert parse_width(text) == (None if width_m is None else pytest.approx(width_m))


def test_point_is_as_wide_as_a_point_at_least() -> None:
    (match,) = RULES.match(tags("man_made=mast"), is_point=True)
    assert match.width_m == POINT_WIDTH_M
    (match,) = RULES.match(tags("aerialway=pylon"), is_point=True)
    assert match.width_m == shipped_classes()["aerialway"].osm_width_m["aerialway=*"]


def test_areas_are_told_by_the_table() -> None:
    assert [RULES.match(tags(text))[0].is_area for text in ("building=yes", "landuse=forest", "highway=service")] == [
        True,
        True,
        False,
    ]
    assert RULES.match(tags("barrier=hedge"))[0].is_outline


def test_job_width_replaces_the_tags_default_but_not_a_measured_width() -> None:
    job = Job.model_validate(
        {
            "lines": [{"towers": {"path": "x.csv"}}],
            "classes": {"minor_road": {"width_m": 9.0}, "yard": {"width_m": 3.0}},
        }
    )
    rules = TagRules(job.obstacle_classes)
    assert rules.match(tags("highway=residential"))[0].width_m == 9.0
    assert rules.match(tags("highway=residential width=5"))[0].width_m == 5.0
    assert rules.match(tags("landuse=industrial"))[0].is_area


def test_every_tag_of_the_table_finds_its_class() -> None:
    for name, row in shipped_classes().items():
        for tag in row.osm_width_m:
            rails = "railway=rail " if name == "contact_line" else ""
            found = RULES.match(tags(rails + tag.replace("*", "anything")))
            assert name in [match.obstacle_class for match in found], tag


def test_table_order_does_not_hide_a_class() -> None:
    backwards = dict(reversed(list(shipped_classes().items())))
    names = {match.obstacle_class for match in TagRules(backwards).match(tags("building=yes amenity=school"))}
    assert names == {"building", "yard"}


def test_widest_tag_of_a_class_counts() -> None:
    table = dict(shipped_classes())
    table["cliff"] = table["cliff"].model_copy(update={"osm_width_m": {"natural=cliff": 2.0, "man_made=cutting": 5.0}})
    (match,) = TagRules(table).match(tags("natural=cliff man_made=cutting"))
    assert match.width_m == 5.0


@pytest.mark.parametrize(
    ("text", "shows"),
    [
        ("highway=track", True),
        ("landuse=meadow", True),
        ("shop=bakery", True),
        ("power=line", False),
        ("power=tower", False),
        ("boundary=administrative", False),
        ("boundary=protected_area natural=wood", False),
        ("natural=coastline", False),
        ("man_made=pipeline", False),
        ("route=ferry", False),
    ],
)
def test_evidence(text: str, shows: bool) -> None:
    assert is_evidence(tags(text)) is shows


def test_below() -> None:
    assert is_below({"tunnel": "flooded"})
    assert not is_below({"tunnel": "no", "layer": "-2", "covered": "yes"})
