"""Stops for which one asks once: which roads count as one, and what neighbouring towers make of them."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layoutplan.access import Relief, Walkable, approaches_table, share_stops
from layoutplan.access.sharing import FREE, Stops, choose_stops, tracks_asked_for
from layoutplan.job.access import Access

from ..effort import examples
from .scenes import Road, Scene, line
from .test_approaches import towers

ONCE_S, EACH_S = Access().asking_s


def tracks(*roads: tuple[list[tuple[float, float]], str, bool]) -> list[int]:
    shapes = np.array([shapely.LineString(points) for points, _, _ in roads], dtype=object)
    name, asks = np.array([name for _, name, _ in roads], dtype=object), np.array([asks for *_, asks in roads])
    return np.unique(tracks_asked_for(shapes, name, asks), return_inverse=True)[1].tolist()


def test_unnamed_pieces_end_to_end_are_one_track() -> None:
    one, two, three = [(0, 0), (1, 0)], [(2, 0), (1, 0)], [(2, 0), (3, 1)]
    assert len(set(tracks((one, "", True), (two, "", True), (three, "", True)))) == 1
    assert len(set(tracks((one, "", True), (two, "", False), (three, "", True)))) == 3  # an open road between


def test_where_three_unnamed_tracks_meet_each_may_be_somebody_elses() -> None:
    meeting = [([(0, 0), at], "", True) for at in ((1, 0), (0, 1), (-1, 0))]
    assert len(set(tracks(*meeting))) == 3
    assert len(set(tracks(*((points, "Mill Lane", True) for points, *_ in meeting)))) == 1


def test_names_part_tracks_and_places_part_names() -> None:
    assert len(set(tracks(([(0, 0), (1, 0)], "Mill Lane", True), ([(1, 0), (2, 0)], "Hill Lane", True)))) == 2
    assert len(set(tracks(([(0, 0), (1, 0)], "Mill Lane", True), ([(5, 0), (6, 0)], "Mill Lane", True)))) == 2


def chosen(*stops: tuple[int, int, float], once_s: float = ONCE_S, each_s: float = EACH_S) -> list[int]:
    tower, track, minutes = (np.array(column) for column in zip(*stops, strict=True))
    return choose_stops(Stops(tower, track, 60.0 * minutes), once_s, each_s).tolist()


def test_a_tower_alone_asks_only_where_it_saves_ten_minutes() -> None:
    assert chosen((0, FREE, 15.0), (0, 7, 5.1)) == [0]
    assert chosen((0, FREE, 15.0), (0, 7, 4.9)) == [1]


def test_two_neighbours_ask_once_where_neither_would_alone() -> None:
    """Each saves seven minutes: less than ten alone, more than eight and twice two together."""
    assert chosen((0, FREE, 10.0), (0, 7, 3.0), (1, FREE, 10.0), (1, 7, 3.0)) == [1, 3]
    assert chosen((0, FREE, 10.0), (0, 7, 3.0), (1, FREE, 10.0), (1, 8, 3.0)) == [0, 2]  # two tracks, two owners


def test_a_neighbour_uses_what_is_asked_for_anyway_only_where_it_saves_something() -> None:
    assert chosen((0, FREE, 20.0), (0, 7, 3.0), (1, FREE, 6.0), (1, 7, 3.0)) == [1, 3]
    assert chosen((0, FREE, 20.0), (0, 7, 3.0), (1, FREE, 4.0), (1, 7, 3.0)) == [1, 2]


def test_two_stops_of_one_tower_on_one_track_do_not_save_twice() -> None:
    assert chosen((0, FREE, 15.0), (0, 7, 9.0), (0, 7, 8.9)) == [0]
    assert chosen((0, FREE, 15.0), (0, 7, 4.0), (0, 7, 3.0)) == [2]


def test_a_tower_without_a_free_stop_asks() -> None:
    assert chosen((3, 7, 30.0), (3, 8, 29.0)) == [1]


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(-1, 2), st.floats(0.5, 40.0)), min_size=1, max_size=12))
@settings(max_examples=examples(60), deadline=None)
def test_no_single_track_more_or_less_would_be_better(stops: list[tuple[int, int, float]]) -> None:
    """Against the total of every set of tracks that differs by one; the order of the stops does not matter."""
    stops = [*stops, *((tower, FREE, 45.0) for tower in {tower for tower, *_ in stops})]

    def total(asked: frozenset[int]) -> float:
        best = {tower: min(60 * m + EACH_S * (t != FREE) for w, t, m in stops if w == tower and t in asked | {FREE})
                for tower in {tower for tower, *_ in stops}}  # fmt: skip
        return sum(best.values()) + ONCE_S * len(asked)

    picked = [stops[i] for i in chosen(*stops)]
    asked = frozenset(track for _, track, _ in picked if track != FREE)
    walked = sum(60 * minutes + EACH_S * (track != FREE) for _, track, minutes in picked) + ONCE_S * len(asked)
    every = sorted({track for _, track, _ in stops if track != FREE})
    near = [asked ^ {track} for track in every]
    assert walked <= min(map(total, [asked, *near])) + 1e-6
    assert walked >= min(total(frozenset(some)) for n in range(4) for some in combinations(every, n)) - 1e-6
    again = [stops[::-1][i] for i in chosen(*stops[::-1])]
    assert [(tower, minutes) for tower, _, minutes in again] == [(tower, minutes) for tower, _, minutes in picked]


def test_two_towers_share_a_track_however_they_are_cut_into_sections() -> None:
    """A private track passes both towers, 60 m away; the open road is 600 m off, some twelve minutes on foot."""
    track = Road(line((60, -100), (60, 400)), "track_path", "permit", "Mill Track")
    scene = Scene(roads=(track, Road(line((-500, -900), (-500, 900)), name="West Road")))
    both = towers(scene)
    walkable = Walkable(scene.ground(), Relief(), np.array([5000.0, 5000.0]))
    none = np.zeros(0, dtype=np.int64), np.zeros(0, dtype="<U1"), np.zeros((0, 2))

    def ways(*sections: list[int]) -> tuple:
        rows = [row for rows in sections for row in walkable.about(both, np.array(rows), 0.0).ways(*none)]
        return approaches_table(rows), approaches_table(share_stops(rows, Access()))

    alone, shared = ways([0, 1])
    assert alone["road_name"].tolist() == ["West Road"] * 2
    assert shared["road_name"].tolist() == ["Mill Track"] * 2
    assert (shared["verdict"] == "needs permission").all()
    assert shared["note"].str.startswith("stopping on Mill Track; asked once for towers 1, 2").all()
    assert shared["walk_min"].to_numpy() == pytest.approx(60 / 50.4, rel=0.2)
    assert ways([0], [1])[1].equals(shared)
    main = Scene(roads=(Road(track.shape, "main_road", "yes", "Highway"), scene.roads[1]))
    rows = Walkable(main.ground(), Relief(), np.array([5000.0, 5000.0])).about(both, np.arange(2), 0.0).ways(*none)
    assert [row["road_name"] for row in share_stops(rows, Access())] == ["West Road"] * 2  # agreed place by place
