"""Packed shapes come back as they went in."""

import base64

import numpy as np
import pytest
import shapely

from layoutplan.outputs.map_page.packing import BASE_PER_DEG, PLAN_PER_DEG, packed

# every letter of the alphabet once, by the standard library's own coder
ALPHABET = base64.urlsafe_b64encode(bytes.fromhex("00108310518720928b30d38f41149351559761969b71d79f8218a39259a7"
                                                  "a29aabb2dbafc31cb3d35db7e39ebbf3dfbf"))  # fmt: skip


def unpacked(piece: str, per_deg: int) -> np.ndarray:
    """Read digit by digit, as the format is described."""
    numbers, digits = [], []
    for letter in piece.encode():
        digit = ALPHABET.index(letter)
        digits.append(digit % 32)
        if digit < 32:
            number = sum(value * 32**place for place, value in enumerate(digits))
            numbers.append(-(number + 1) // 2 if number % 2 else number // 2)
            digits = []
    assert digits == []
    return np.cumsum(np.array(numbers).reshape(-1, 2), axis=0) / per_deg


def test_letters_are_those_of_the_standard() -> None:
    assert len(set(ALPHABET)) == 64
    assert packed([shapely.Point(0.0, 0.0)], 1)[1] == ["AA"]
    assert packed([shapely.Point(-1.0, 16.0)], 1)[1] == ["BgB"]  # 1; 32 = 0 + 1 * 32
    assert packed([shapely.Point(-512.0, 0.0)], 1)[1] == ["_fA"]  # 1023 = 31 + 31 * 32


def test_the_plan_itself_keeps_its_places() -> None:
    assert 0.5 / PLAN_PER_DEG <= 1e-7


@pytest.mark.parametrize("per_deg", [BASE_PER_DEG, PLAN_PER_DEG])
def test_every_kind(per_deg) -> None:
    holed = shapely.from_wkt(
        "POLYGON ((9 47, 9.01 47, 9.01 47.01, 9 47), (9.004 47.001, 9.005 47.001, 9.005 47.002, 9.004 47.001))"
    )
    two = shapely.MultiPolygon([shapely.box(9, 47, 9.1, 47.1), shapely.box(9.2, 47, 9.3, 47.1)])
    lines = shapely.MultiLineString([[(9, 47), (9.1, 47.1)], [(9.2, 47), (9.3, 47.1), (9.4, -47.0)]])
    shapes = [shapely.Point(-0.5, -33.25), holed, two, shapely.LineString([(180.1, 0), (179.9, 1)]), lines]
    dimensions, pieces = packed(shapes, per_deg)
    assert dimensions == [0, 2, 2, 1, 1]
    assert [len(piece.split()) for piece in pieces] == [1, 2, 2, 1, 2]
    for shape, piece in zip(shapes, pieces, strict=True):
        points = np.concatenate([unpacked(text, per_deg) for text in piece.split()])
        assert np.allclose(points, shapely.get_coordinates(shape), atol=0.51 / per_deg)


def test_of_a_collection_the_areas_stay() -> None:
    mixed = shapely.GeometryCollection(
        [shapely.LineString([(0, 0), (1, 1)]), shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 2, 3, 3)])]
    )
    dimensions, (rings,) = packed([mixed], BASE_PER_DEG)
    assert dimensions == [2]
    assert len(rings.split()) == 2


def test_nothing() -> None:
    assert packed([], BASE_PER_DEG) == ([], [])


def test_steps_do_not_drift() -> None:
    rng = np.random.default_rng(3)
    track = shapely.LineString(np.cumsum(rng.uniform(-1e-6, 1e-6, (5000, 2)), axis=0))
    _, (steps,) = packed([track], BASE_PER_DEG)
    assert np.abs(unpacked(steps, BASE_PER_DEG) - shapely.get_coordinates(track)).max() < 5.1e-7
