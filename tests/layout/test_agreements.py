"""Who has to be asked: each by his own name, for his own towers, in words that tell nothing twice."""

from collections import namedtuple

from layoutplan.layout.agreements import agreements_of

Way = namedtuple("Way", "line_id tower_id to verdict reason road_name shared_stop")


def asked(*ways):
    rows = [
        Way("A", tower, "tower", "needs permission", reason, road, *stop or [0]) for tower, reason, road, *stop in ways
    ]
    return [(one.whom, one.what, [case.tower_id for case in one.cases]) for one in agreements_of([], rows, {})]


def test_nobody_is_named_for_a_way_from_another_road():
    """One road's name stood once for every tower whose way had the same reason, wherever it was."""
    garden, it = "private garden", "whoever has a say over it"
    found = asked(("1", garden, "Mill Lane"), ("2", garden, "Low Road"), ("3", garden, ""), ("4", garden, "Mill Lane"))
    assert found == [(f"{it}: Mill Lane", garden, ["1", "4"]), (f"{it}: Low Road", garden, ["2"]), (it, garden, ["3"])]


def test_towers_of_a_shared_stop_are_listed_once():
    """Two tracks without a name stay two agreements, though no towers stand in what they are about."""
    track = "stopping on a track"
    found = asked(("1", track, "", 1), ("2", track, "", 1), ("7", track, "", 2), ("8", f"{track}; a gate", "", 2))
    assert [(what, towers) for _, what, towers in found] == [
        (track, ["1", "2"]),
        (track, ["7"]),
        (f"{track}; a gate", ["8"]),
    ]
