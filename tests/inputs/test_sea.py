"""Land and sea from coastlines that run as OpenStreetMap draws them: land to the left, water to the right."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import shapely

from layoutplan.inputs import read_inputs
from layoutplan.inputs.osm_file import read_osm
from layoutplan.inputs.osm_tags import TagRules
from layoutplan.inputs.sea import Sea, sea
from layoutplan.job import shipped_classes

GROUND = shapely.box(8.0, 49.0, 8.1, 49.1)
# east to west through the ground: the land is in the south
SHORE = [(8.2, 49.05), (8.05, 49.05), (7.9, 49.05)]


def made(
    *lines: list[tuple[float, float]], ground: shapely.Polygon = GROUND, extents: tuple[shapely.Polygon, ...] = ()
) -> Sea:
    return sea(np.array([shapely.LineString(line) for line in lines], dtype=object), [ground], list(extents))


def square(west: float, south: float, size: float) -> list[tuple[float, float]]:
    """Anticlockwise: an island."""
    return [(west, south), (west + size, south), (west + size, south + size), (west, south + size), (west, south)]


def is_water(found: Sea, lon: float, lat: float) -> bool:
    return bool(shapely.contains(shapely.union_all(found.water), shapely.Point(lon, lat)))


def is_unclear(found: Sea, lon: float, lat: float) -> bool:
    return bool(shapely.contains(shapely.union_all(found.unclear), shapely.Point(lon, lat)))


def test_water_is_to_the_right_and_closed_at_the_edge_of_the_ground() -> None:
    found = made(SHORE)
    assert shapely.union_all(found.water).equals(shapely.box(8.0, 49.05, 8.1, 49.1))
    assert len(found.unclear) == 0
    turned = made(SHORE[::-1])
    assert shapely.union_all(turned.water).equals(shapely.box(8.0, 49.0, 8.1, 49.05))


def test_in_pieces_and_in_any_order() -> None:
    found = made(SHORE[1:], SHORE[:2])
    assert shapely.union_all(found.water).equals(shapely.box(8.0, 49.05, 8.1, 49.1))


def test_islands_are_land_and_inlets_are_water() -> None:
    inlet = [(8.2, 49.05), (8.06, 49.05), (8.06, 49.01), (8.04, 49.01), (8.04, 49.05), (7.9, 49.05)]
    found = made(inlet, square(8.01, 49.08, 0.01))
    assert is_water(found, 8.05, 49.02)
    assert not is_water(found, 8.03, 49.04)
    assert not is_water(found, 8.015, 49.085)
    assert is_water(found, 8.025, 49.085)
    assert len(found.unclear) == 0


def test_two_windows_make_one_sea() -> None:
    halves = [shapely.box(8.0, 49.0, 8.06, 49.1), shapely.box(8.05, 49.0, 8.1, 49.1)]
    found = sea(np.array([shapely.LineString(SHORE)], dtype=object), halves, [])
    assert len(found.water) == 1
    assert found.water[0].equals(shapely.box(8.0, 49.05, 8.1, 49.1))


def test_a_missing_way_leaves_the_ground_unknown() -> None:
    """The shore goes on from where the way ends, nobody knows where to."""
    found = made(SHORE[:2])
    assert len(found.water) == 0
    assert is_unclear(found, 8.02, 49.02)
    assert is_unclear(found, 8.02, 49.08)
    assert found.loose_deg.tolist() == [[8.05, 49.05]]


def test_ways_against_each_other_leave_the_ground_unknown() -> None:
    found = made(SHORE[:2], SHORE[1:][::-1])
    assert len(found.water) == 0
    assert shapely.union_all(found.unclear).equals(GROUND)


def test_an_island_the_wrong_way_round_does_not_make_land_of_the_sea() -> None:
    alone = made(square(8.03, 49.03, 0.02)[::-1])  # or a lagoon: nobody can tell
    assert len(alone.water) == 0
    assert is_unclear(alone, 8.01, 49.01)
    assert is_unclear(alone, 8.04, 49.04)
    off_shore = made(SHORE, square(8.03, 49.07, 0.01)[::-1])
    assert is_unclear(off_shore, 8.01, 49.09)
    assert not is_unclear(off_shore, 8.01, 49.01)  # the land behind the shore is not in doubt


def test_closed_at_the_edge_of_an_extract_that_cuts_its_ways() -> None:
    extent = shapely.box(8.02, 48.9, 8.2, 49.2)
    found = made([(8.2, 49.05), (8.0204, 49.05)], extents=(extent,))  # the last node before the edge
    assert len(found.unclear) == 0
    assert is_water(found, 8.03, 49.08)
    assert not is_water(found, 8.03, 49.02)
    assert not is_water(found, 8.01, 49.08)  # beyond the extract nothing is made of anything


@pytest.mark.parametrize(("lat", "water"), [(49.14, True), (48.94, False)])
def test_ground_that_no_coastline_crosses(lat: float, water: bool) -> None:
    """A coastline some kilometres off tells on which side of it the ground lies."""
    west, south = 8.04, lat - 0.005
    found = made(SHORE, ground=shapely.box(west, south, 8.05, lat + 0.005))
    assert is_water(found, 8.045, lat) is False  # 0.09° away: no line stands so far out
    near = lat - 0.06 if water else lat + 0.08
    found = made(SHORE, ground=shapely.box(west, near - 0.005, 8.05, near + 0.005))
    assert is_water(found, 8.045, near) is water


def test_no_coastline_no_sea() -> None:
    found = made()
    assert len(found.water) == len(found.unclear) == 0


@pytest.mark.long
@pytest.mark.shared
def test_the_islands_of_malta_against_the_nearest_coastline(shared_data: Path) -> None:
    """20,000 places about the islands: the side of the nearest coastline tells the same, every time."""
    extract = read_osm(shared_data / "malta/malta-180827.osm.pbf", rules=TagRules(shipped_classes()), lines=False)
    found = sea(extract.coastlines, [shapely.box(14.15, 35.78, 14.60, 36.10)], [extract.box])
    assert len(found.unclear) == 0
    rng = np.random.default_rng(1)
    place = np.column_stack((rng.uniform(14.15, 14.60, 20_000), rng.uniform(35.78, 36.10, 20_000)))
    water = shapely.contains_xy(shapely.union_all(found.water), *place.T)
    assert 0.7 < water.mean() < 0.85
    squeeze = np.array([np.cos(np.radians(35.94)), 1.0])
    coords, line = shapely.get_coordinates(extract.coastlines, return_index=True)
    first = np.flatnonzero((line[1:] == line[:-1]) & (coords[1:] != coords[:-1]).any(axis=1))
    start, end = coords[first] * squeeze, coords[first + 1] * squeeze
    tree = shapely.STRtree(shapely.linestrings(np.stack((start, end), axis=1)))
    row, near = tree.query_nearest(shapely.points(place * squeeze), all_matches=True)
    along, off = end[near] - start[near], (place * squeeze)[row] - start[near]
    share = np.clip((along * off).sum(axis=1) / (along * along).sum(axis=1), 0.0, 1.0)
    off -= share[:, None] * along
    turn = (along[:, 0] * off[:, 1] - along[:, 1] * off[:, 0]) / np.hypot(*along.T)
    assert ((np.bincount(row, turn) < 0.0) == water).all()


def test_coast_of_a_job_is_water_and_no_line(
    osm_file: Callable[..., object], make_job: Callable[..., object], towers_csv: Callable[..., Path]
) -> None:
    new = osm_file(box=(7.5, 48.5, 8.5, 49.5))
    new.line([(8.3, 49.001), (7.7, 49.001)], natural="coastline")
    job = make_job(lines=[{"towers": {"path": towers_csv()}}], layers=[{"path": new.save()}])
    inputs = read_inputs(job)
    assert inputs.features["obstacle_class"].tolist() == ["standing_water"]
    assert inputs.features["name"].tolist() == ["sea"]
    assert inputs.features.geometry.iloc[0].contains(shapely.Point(8.01, 49.005))
    assert not inputs.features.geometry.iloc[0].intersects(shapely.Point(8.01, 49.0005))
    skipped = make_job(
        lines=[{"towers": {"path": towers_csv()}}],
        layers=[{"path": new.path, "skip_classes": ["standing_water"]}],
    )
    assert read_inputs(skipped).features.empty
