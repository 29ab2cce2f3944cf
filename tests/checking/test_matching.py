from __future__ import annotations

import time
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from layoutplan.checking.matching import Matches, match
from layoutplan.checking.matching_pairs import claims
from layoutplan.inputs.staked import Staked

GEOD = Geod(ellps="WGS84")
HOME = (8.0, 47.0)
KEYS = ["line_id", "tower_id", "role", "waypoint"]


def at(east_m: float, north_m: float, home: tuple[float, float] = HOME) -> tuple[float, float]:
    lon, lat, _ = GEOD.fwd(*home, np.degrees(np.arctan2(east_m, north_m)), np.hypot(east_m, north_m))
    return lon, lat


def plan(*stakes: tuple[str, float, float], home: tuple[float, float] = HOME) -> pd.DataFrame:
    """Planned stakes: waypoint, metres east and north of home."""
    places = [at(east, north, home) for _, east, north in stakes]
    names = [name for name, _, _ in stakes]
    return pd.DataFrame(
        {
            "line_id": "A",
            "tower_id": [name[:-2] for name in names],
            "role": [name[-1:] for name in names],
            "waypoint": names,
            "lon": [lon for lon, _ in places],
            "lat": [lat for _, lat in places],
        }
    )


def staked(*points: tuple[Any, ...], home: tuple[float, float] = HOME, **columns: Any) -> Staked:
    """Staked points: name, metres east and north of home, and the minute of the day if known."""
    minute = [pd.Timestamp(2026, 4, 13, tz="UTC") + pd.Timedelta(minutes=p[3]) if p[3:] else pd.NaT for p in points]
    table = {
        "name": pd.Series([p[0] for p in points], dtype=object),
        "accuracy_m": np.nan,
        "time": pd.Series(minute, dtype="datetime64[ns, UTC]"),
        "elevation_m": np.nan,
        "row": np.arange(1, len(points) + 1),
        "duplicate": False,
        **columns,
    }
    places = shapely.points(np.array([at(p[1], p[2], home) for p in points]).reshape(-1, 2))
    return Staked(gpd.GeoDataFrame(table, geometry=places, crs="EPSG:4326", index=range(len(points))), "s.gpx")


TWO = plan(("012-H", 100, 0), ("012-S", -100, 0))


def pairs(matches: Matches) -> dict[int, str]:
    return dict(zip(matches.matched["row"], matches.matched["waypoint"], strict=True))


# ---- by name


@pytest.mark.parametrize("name", ["012-H", "012-h", "012 H", "012H", " 0_12-h ", "012\u2013H", "012\u00a0h"])
def test_names_as_receivers_and_fingers_change_them(name: str) -> None:
    found = match(staked((name, 103, 4)), TWO)
    assert pairs(found) == {1: "012-H"}
    assert found.matched["by"].tolist() == ["name"]
    assert found.matched["warning"].tolist() == [""]


def test_signs_count_where_they_tell_stakes_apart() -> None:
    planned = plan(("1-2-H", 0, 0), ("12-H", 500, 0))
    found = match(staked(("12-h", 503, 0), ("1-2-h", 3, 0)), planned)
    assert pairs(found) == {2: "1-2-H", 1: "12-H"}
    assert claims(["12H", "1_2-H"], planned["waypoint"].tolist()).tolist() == [-1, -1]
    by_place = match(staked(("12H", 503, 0)), planned)
    assert pairs(by_place) == {1: "12-H"}
    assert by_place.matched["by"].tolist() == ["place"]


def test_name_wins_over_a_nearer_point() -> None:
    found = match(staked(("", 101, 0), ("012-H", 120, 0)), TWO)
    assert pairs(found) == {2: "012-H"}
    assert found.unmatched["row"].tolist() == [1]
    assert found.unmatched["why"].tolist() == ["near 012-H, which another point has, or several claim by name"]


def test_offset_and_bearing_by_another_library() -> None:
    found = match(staked(("012-H", 112.5, -31.0), ("012-S", -99.6, 0)), TWO).matched
    for row in found.itertuples():
        stake = TWO[TWO["waypoint"] == row.waypoint].iloc[0]
        other = Geodesic.WGS84.Inverse(stake["lat"], stake["lon"], row.geometry.y, row.geometry.x)
        assert row.offset_m == pytest.approx(other["s12"], abs=1e-6)
        assert row.bearing_deg == pytest.approx(other["azi1"] % 360, abs=1e-4)
    assert found["bearing_deg"].tolist() == pytest.approx([158.0, 90.0], abs=0.1)


def test_columns_of_the_point_come_along() -> None:
    points = staked(("012-S", -100, 3, 5), electrode_s_ohm=[420.0], accuracy_m=[3.0])
    (row,) = match(points, TWO).matched.to_dict("records")
    assert {name: row[name] for name in (*KEYS, "electrode_s_ohm", "accuracy_m")} == {
        "line_id": "A",
        "tower_id": "012",
        "role": "S",
        "waypoint": "012-S",
        "electrode_s_ohm": 420.0,
        "accuracy_m": 3.0,
    }
    assert row["geometry"].equals(points.points.geometry.iloc[0])


# ---- by place


def test_by_place_within_the_tolerance_and_never_silently() -> None:
    found = match(staked(("WPT 7", 110, 0), ("", -100, 31)), TWO)
    assert pairs(found) == {1: "012-H"}
    assert found.matched["by"].tolist() == ["place"]
    assert found.matched["warning"].tolist() == ["'WPT 7' is no name of the plan: matched by place, 10.0 m off"]
    assert "s.gpx: matched by place, not by name (1 stake: 012-H)" in found.warnings
    assert found.unmatched["why"].tolist() == ["no planned stake within 30 m"]
    assert found.unmatched["nearest"].tolist() == ["012-S"]
    assert found.unmatched["nearest_m"].tolist() == pytest.approx([31.0], abs=1e-3)
    assert found.missing.to_dict("records") == [
        {"line_id": "A", "tower_id": "012", "role": "S", "waypoint": "012-S", "why": "not staked"}
    ]
    assert pairs(match(staked(("", -100, 31)), TWO, tolerance_m=32)) == {1: "012-S"}


def test_nearest_pairs_first_and_one_to_one() -> None:
    planned = plan(("1-H", 0, 0), ("2-H", 20, 0))
    found = match(staked(("x", 9, 0), ("y", 1, 0), ("z", 2, 0)), planned)
    assert pairs(found) == {2: "1-H", 1: "2-H"}
    assert found.unmatched["row"].tolist() == [3]


@pytest.mark.parametrize("home", [(179.9999, -17.0), (-180.0, 65.0), (25.0, -89.999), (0.0, 0.0)], ids=str)
def test_anywhere_on_earth(home: tuple[float, float]) -> None:
    planned = plan(("1-H", 60, 0), ("1-S", -60, 0), home=home)
    planned["lon"] = np.mod(planned["lon"], 360.0)  # a plan's longitudes run on across the antimeridian
    found = match(staked(("1-H", 63, 4), ("a", -60, 6), home=home), planned)
    assert pairs(found) == {1: "1-H", 2: "1-S"}
    assert found.matched["offset_m"].tolist() == pytest.approx([5.0, 6.0], abs=0.01)


# ---- doubts


def test_one_name_at_two_places_is_matched_to_neither() -> None:
    found = match(staked(("012-H", 101, 0, 10), ("012 h", 140, 0, 5), ("x", 100, 1), ("012-S", -100, 2)), TWO)
    assert pairs(found) == {4: "012-S"}
    assert found.ambiguous["row"].tolist() == [2, 1]
    assert found.ambiguous["nearest"].tolist() == ["012-H", "012-H"]
    assert found.unmatched["row"].tolist() == [3]  # nor is anything else taken for a stake that two points claim
    assert found.missing["why"].tolist() == ["several points, lying apart, bear its name"]
    assert (
        "s.gpx: points that share a name and lie apart; none is matched: '012 h', '012-H' (row 2, 1)" in found.warnings
    )


def test_a_name_that_the_plan_does_not_know_twice() -> None:
    found = match(staked(("new", 101, 0), ("NEW", -101, 0)), TWO)
    assert pairs(found) == {}
    assert found.ambiguous["row"].tolist() == [1, 2]
    assert found.missing["why"].tolist() == ["not staked", "not staked"]


def test_a_stake_marked_again_at_its_place_is_one_stake() -> None:
    found = match(staked(("012-H", 105, 0, 20), ("012-H", 105.3, 0, 10), ("012-H", 105.2, 0)), TWO)
    assert pairs(found) == {2: "012-H"}  # the earliest
    assert found.matched["warning"].tolist() == ["marked 3 times at one place; the first (row 2) is taken"]
    assert found.ambiguous.empty
    assert found.unmatched["why"].tolist() == ["repeats the point of row 2"] * 2
    assert not any("matched to no planned stake" in text for text in found.warnings)


def test_just_apart_is_apart() -> None:
    assert len(match(staked(("012-H", 105, 0), ("012-H", 105.49, 0)), TWO).matched) == 1
    assert len(match(staked(("012-H", 105, 0), ("012-H", 105.51, 0)), TWO).ambiguous) == 2


def test_far_from_its_place() -> None:
    found = match(staked(("012-H", 100, 501), ("012-S", -100, 499)), TWO)
    assert found.matched["warning"].tolist() == [
        "lies 501 m from its planned place: wrong name, datum or coordinate system?",
        "",
    ]
    assert any("more than 500 m from the planned place" in text for text in found.warnings)


def test_exchanged_names() -> None:
    found = match(staked(("012-H", -103, 0), ("012-S", 103, 0)), TWO)
    assert pairs(found) == {1: "012-H", 2: "012-S"}
    assert found.matched["warning"].tolist() == [
        "lies 3.0 m from the planned 012-S: names exchanged?",
        "lies 3.0 m from the planned 012-H: names exchanged?",
    ]


def test_the_planned_point_itself_is_no_measured_one() -> None:
    found = match(staked(("012-H", 100, 0.005), ("012-S", -100, 0.05)), TWO)
    assert found.matched["warning"].tolist() == [
        "0.5 cm from its planned place: a planned point, not a measured one?",
        "",
    ]
    same = match(staked(("012-H", 100, 0)), TWO).matched
    assert same["offset_m"].tolist() == pytest.approx([0], abs=1e-6)
    assert same["bearing_deg"].isna().all()


def test_a_common_offset_looks_like_a_wrong_datum() -> None:
    planned = plan(*((f"{i}-H", 300.0 * i, 20.0 * i) for i in range(8)))
    shifted = [(f"{i}-H", 300.0 * i - 86 + i % 3, 20.0 * i - 85) for i in range(8)]
    found = match(staked(*shifted), planned)
    assert any(
        "nearly all stakes lie about 120 m from their planned places in one direction (225 degrees)" in text
        for text in found.warnings
    )
    scattered = [(f"{i}-H", 300.0 * i + (40 if i % 2 else -40), 20.0 * i) for i in range(8)]
    assert not any("one direction" in text for text in match(staked(*scattered), planned).warnings)


def test_nothing_staked_and_nothing_planned() -> None:
    assert match(staked(), TWO).missing["waypoint"].tolist() == ["012-H", "012-S"]
    found = match(staked(("a", 0, 0)), TWO.iloc[:0])
    assert found.matched.empty
    assert found.missing.empty
    assert found.unmatched["why"].tolist() == ["no planned stake within 30 m"]


def test_index_of_the_tables_does_not_matter() -> None:
    planned = TWO.set_axis([7, 7])
    points = staked(("012-S", -100, 3), ("012-H", 100, 3))
    shifted = Staked(points.points.set_axis([5, 5]), points.source)
    assert pairs(match(shifted, planned)) == {2: "012-H", 1: "012-S"}


def test_ten_thousand_within_a_second() -> None:
    n = 10_000
    lon = 8 + 0.003 * np.arange(n // 2).repeat(2)
    lat = np.where(np.arange(n) % 2, 47.001, 46.999)
    waypoint = [f"{i // 2:05d}-{'HS'[i % 2]}" for i in range(n)]
    planned = pd.DataFrame({"line_id": "A", "tower_id": "1", "role": "H", "waypoint": waypoint, "lon": lon, "lat": lat})
    table = {
        "name": [name if i % 3 else "" for i, name in enumerate(waypoint)],
        "time": pd.Series(pd.NaT, index=range(n), dtype="datetime64[ns, UTC]"),
        "row": np.arange(n),
    }
    points = gpd.GeoDataFrame(table, geometry=shapely.points(lon + 5e-5, lat), crs="EPSG:4326")
    start = time.process_time()
    found = match(Staked(points, "s.gpx"), planned)
    seconds = time.process_time() - start
    assert found.matched["waypoint"].tolist() == waypoint
    assert (found.matched["by"] == "name").sum() == n - len(range(0, n, 3))
    assert seconds < 3  # of this process, whatever else runs; measured: 0.3 s


# ---- properties

NAMES = st.sampled_from(["1-H", "1 h", "1S", "2-H", "2-S", "x", "X", "", "", "1-2-H"])
SPOT = st.tuples(st.integers(-30, 30), st.integers(-3, 3))
POINTS = st.lists(st.tuples(NAMES, SPOT, st.one_of(st.none(), st.integers(0, 3))), max_size=9)
PLANNED = st.lists(
    st.tuples(st.sampled_from(["1-H", "1-S", "2-H", "2-S", "12-H", "1-2-H"]), SPOT),
    max_size=6,
    unique_by=lambda p: p[0],
)
STEP_M = 4.0  # a grid: many equal distances


def made(points: list[Any], planned: list[Any]) -> tuple[Staked, pd.DataFrame]:
    rows = [(n, STEP_M * x, STEP_M * y, *([] if minute is None else [minute])) for n, (x, y), minute in points]
    return staked(*rows), plan(*((name, STEP_M * x, STEP_M * y) for name, (x, y) in planned))


@given(POINTS, PLANNED)
@settings(deadline=None)
def test_one_to_one_and_nothing_lost(points: list[Any], planned: list[Any]) -> None:
    field, table = made(points, planned)
    found = match(field, table)
    assert found.matched["waypoint"].is_unique
    rows = [*found.matched["row"], *found.ambiguous["row"], *found.unmatched["row"]]
    assert sorted(rows) == field.points["row"].tolist()
    assert sorted([*found.matched["waypoint"], *found.missing["waypoint"]]) == sorted(table["waypoint"])
    by_place = found.matched[found.matched["by"] == "place"]
    assert (by_place["offset_m"] <= 30.001).all()
    assert (by_place["warning"] != "").all()
    keys = found.matched["name"].str.replace(r"[\s_-]", "", regex=True).str.casefold()
    others = found.ambiguous["name"].str.replace(r"[\s_-]", "", regex=True).str.casefold()
    assert not set(keys[keys != ""]) & set(others)


@given(st.data(), POINTS, PLANNED)
@settings(deadline=None)
def test_order_of_the_points_does_not_matter(data: st.DataObject, points: list[Any], planned: list[Any]) -> None:
    field, table = made(points, planned)
    order = data.draw(st.permutations(range(len(points))))
    other = Staked(field.points.iloc[list(order)], field.source)
    one, two = match(field, table), match(other, table)
    for name in ("matched", "ambiguous", "unmatched", "missing"):
        pd.testing.assert_frame_equal(pd.DataFrame(getattr(one, name)), pd.DataFrame(getattr(two, name)))
    assert one.warnings == two.warnings


@given(POINTS, PLANNED)
@settings(deadline=None)
def test_no_nearer_pair_is_left(points: list[Any], planned: list[Any]) -> None:
    """Of points and stakes that only place can match, no two left over or worse matched lie nearer to each other."""
    nameless = [("", spot, minute) for _, spot, minute in points]
    field, table = made(nameless, planned)
    found = match(field, table)
    offset = dict(zip(found.matched["row"], found.matched["offset_m"], strict=True))
    taken = dict(zip(found.matched["waypoint"], found.matched["offset_m"], strict=True))
    for row, point in zip(field.points["row"], field.points.geometry, strict=True):
        for stake in table.itertuples():
            distance = GEOD.inv(stake.lon, stake.lat, point.x, point.y)[2]
            if distance < 29.9:
                assert min(offset.get(row, np.inf), taken.get(stake.waypoint, np.inf)) <= distance + 1e-3
