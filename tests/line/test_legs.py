"""Legs of towers about the tower's middle, and stakes seen from them.

Sources: derived here, trigonometry of a square and of an equilateral triangle about their middle; pyproj's geodesics.
How legs are named: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from layoutplan.line.legs import from_leg, leg_offsets

LEGS = ("right ahead", "right back", "left back", "left ahead")


def leg(structure: str, base: float, bearing: float, wanted: str) -> tuple[str, tuple[float, float]]:
    name, xy = leg_offsets(np.array([structure]), np.array([base]), np.array([bearing]), wanted)
    return str(name[0]), (float(xy[0, 0]), float(xy[0, 1]))


@pytest.mark.parametrize(
    ("structure", "wanted", "name", "right", "ahead"),
    [
        ("lattice_4", "right ahead", "right ahead", 4.0, 4.0),
        ("lattice_4", "right back", "right back", 4.0, -4.0),
        ("lattice_4", "left back", "left back", -4.0, -4.0),
        ("lattice_4", "left ahead", "left ahead", -4.0, 4.0),
        ("lattice_3", "right back", "right back", 4.0, -8 / 12**0.5),
        ("lattice_3", "left back", "left back", -4.0, -8 / 12**0.5),
        ("lattice_3", "right ahead", "ahead", 0.0, 8 / 3**0.5),
        ("lattice_3", "left ahead", "ahead", 0.0, 8 / 3**0.5),
        ("frame_2", "right ahead", "right", 4.0, 0.0),
        ("frame_2", "right back", "right", 4.0, 0.0),
        ("frame_2", "left ahead", "left", -4.0, 0.0),
        ("frame_2", "left back", "left", -4.0, 0.0),
    ],
)
def test_legs_of_a_line_to_the_north(structure: str, wanted: str, name: str, right: float, ahead: float) -> None:
    """Line to the north: right is east, ahead is north; legs 8 m apart."""
    assert leg(structure, 8.0, 0.0, wanted) == (name, (pytest.approx(right), pytest.approx(ahead)))


@pytest.mark.parametrize(
    ("bearing", "east", "north"),
    [(0, 4, 4), (90, 4, -4), (180, -4, -4), (270, -4, 4), (45, 32**0.5, 0), (360, 4, 4)],
)
def test_legs_turn_with_the_line(bearing: float, east: float, north: float) -> None:
    name, xy = leg("lattice_4", 8.0, bearing, "right ahead")
    assert name == "right ahead"
    assert xy == (pytest.approx(east, abs=1e-12), pytest.approx(north, abs=1e-12))


@pytest.mark.parametrize("kind", ["lattice_4", "lattice_3"])
def test_neighbouring_legs_are_the_base_width_apart(kind: str) -> None:
    places = {leg(kind, 8.0, 33.0, wanted) for wanted in LEGS}
    xy = np.array([place for _, place in places])
    away = np.hypot(*(xy[:, None] - xy).transpose(2, 0, 1))
    assert len(xy) == {"lattice_4": 4, "lattice_3": 3}[kind]
    assert np.sort(away[away > 1e-9])[: 2 * len(xy)] == pytest.approx(8.0)
    assert xy.mean(axis=0) == pytest.approx([0, 0], abs=1e-12)


@pytest.mark.parametrize("wanted", LEGS)
@pytest.mark.parametrize(("structure", "base"), [("pole", 1.0), ("lattice_4", np.nan), ("frame_2", np.nan)])
def test_no_leg_is_named_for_poles_and_unknown_bases(structure: str, base: float, wanted: str) -> None:
    assert leg(structure, base, 77.0, wanted) == ("", (0.0, 0.0))


def test_all_towers_of_a_line_at_once() -> None:
    kinds = np.array(["lattice_4", "pole", "frame_2", "lattice_3"])
    name, xy = leg_offsets(kinds, np.array([6.0, 1.0, 10.0, np.nan]), np.zeros(4), "left back")
    assert name.tolist() == ["left back", "", "left", ""]
    assert xy == pytest.approx(np.array([[-3, -3], [0, 0], [-5, 0], [0, 0]]))


def test_no_towers() -> None:
    name, xy = leg_offsets(np.array([], dtype=str), np.array([]), np.array([]), "left back")
    assert (len(name), xy.shape) == (0, (0, 2))


@pytest.mark.parametrize("bearing", [3.0, 92.5, 181.0, 359.0])
def test_bearing_and_distance_from_the_leg(bearing):
    """Leg and stake by pyproj's geodesic, on a line to the north-east: the leg stands to the right and ahead."""
    geod = Geod(ellps="WGS84")
    _, xy = leg_offsets(np.array(["lattice_4"]), np.array([8.0]), np.array([45.0]), "right ahead")
    lon, lat, _ = geod.fwd(9.0, 47.0, bearing, 70.0)
    leg = geod.fwd(9.0, 47.0, 45.0 + 45.0, np.hypot(4, 4))
    there, _, away = geod.inv(leg[0], leg[1], lon, lat)
    found, distance = from_leg(xy, np.array([bearing]), np.array([70.0]))
    assert found[0] == pytest.approx(there % 360, abs=0.001)
    assert distance[0] == pytest.approx(away, abs=0.001)
