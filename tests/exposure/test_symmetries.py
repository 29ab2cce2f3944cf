"""What must not matter: where the line is, which way it runs, from which end it is counted.

Sources: symmetry and linearity, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from .worlds import FLAT, UNBALANCED, WIRES, Course, assessed, flat_line, straight, world

UNEVEN = [{**FLAT[0], "offset_m": -7.0}, {**FLAT[1], "attachment_height_m": 24.0}, FLAT[2], WIRES[1]]
FAULT = {"from_start_ka": 6.0, "from_end_ka": 2.0, "clearing_time_s": 0.3}
GRID = {"start_grid_ohm": 0.4, "end_grid_ohm": 1.5}
LOAD = UNBALANCED | {"maximum_a": 800.0}
FOOTINGS = np.linspace(5.0, 20.0, 25)


def crooked(turn_deg: float = 0.0) -> np.ndarray:
    """25 towers with two angles, turned about the place."""
    bearing = np.radians(turn_deg + np.repeat([0.0, 25.0, -10.0], 8))
    steps = 300.0 * np.column_stack((np.sin(bearing), np.cos(bearing)))
    points = np.vstack(([0.0, 0.0], np.cumsum(steps, axis=0)))
    return points - points[12]


def line(towers: np.ndarray, conductors: Any = UNEVEN, footing: Any = FOOTINGS, **settings: Any) -> Course:
    base = {"sections": [{"conductors": conductors}], "load": LOAD, "fault": FAULT} | GRID
    return Course(towers, base | settings, {"footing_resistance_ohm": footing})


def numbers(
    course: Course, *others: Course, rows: Any, at: Any = (10.0, 48.0), h: float = 75.0, s: float = 240.0
) -> dict[str, np.ndarray]:
    """All figures at some towers of the first line; bearings are counted from the line, for north turns on the way."""
    network = world(course, *others).but(lon=at[0], lat=at[1]).network()
    way = network.towers.line_bearing_deg[list(rows)]
    found = assessed(network, rows, way + h, way + s, 90.0)
    leads = {item.name: item.value for item in found.leads.exposures}
    leads |= {"low": found.leads.expected_low_v, "high": found.leads.expected_high_v}
    towers = {
        name: getattr(found.towers, name)
        for name in found.towers.__slots__
        if "_from_" not in name and "loc" not in name
    }
    reading = {name: getattr(found.reading, name).T for name in found.reading.__slots__}  # towers first
    return leads | towers | reading


def figures(course: Course, at: Any = (10.0, 48.0)) -> dict[str, np.ndarray]:
    return numbers(course, rows=(4, 16), at=at)


def same(one: dict[str, np.ndarray], other: dict[str, np.ndarray], rel: float) -> None:
    for name, values in one.items():
        scale = np.abs(values).max()
        assert other[name] == pytest.approx(values, rel=rel, abs=rel * 0.2 * scale), name


@given(
    st.floats(0, 360),
    st.sampled_from([(10.0, 48.0), (-70.0, -33.0), (179.999, 52.0), (-179.999, -17.0), (25.0, 70.0), (0.0, 0.0)]),
)
def test_turning_and_moving_the_whole_job(turn, at):
    same(figures(line(crooked())), figures(line(crooked(turn)), at), 1e-3)


def test_close_to_the_pole():
    same(figures(line(crooked())), figures(line(crooked(40.0)), (25.0, 84.0)), 1e-3)


def test_counting_the_line_from_its_other_end():
    """Towers reversed, offsets mirrored, start and end changed round: the same line."""
    forward = numbers(line(crooked()), rows=(4, 8, 12, 16))
    mirrored = [{**c, "offset_m": -c["offset_m"]} for c in UNEVEN]
    fault = FAULT | {"from_start_ka": 2.0, "from_end_ka": 6.0}
    back = line(crooked()[::-1], mirrored, FOOTINGS[::-1], fault=fault, start_grid_ohm=1.5, end_grid_ohm=0.4)
    found = numbers(back, rows=(8, 12, 16, 20), h=255.0, s=60.0)
    same(forward, {name: values[::-1] for name, values in found.items()}, 2e-3)


@given(st.floats(0.1, 5.0))
def test_load_figures_are_proportional_to_the_load(factor):
    """Shares of the sequences stay; the fault, the field and the reading know nothing of the load."""
    load = LOAD | {"current_a": 500.0 * factor, "maximum_a": 800.0 * factor}
    one, other = figures(line(crooked())), figures(line(crooked(), load=load))
    for name in one:
        of_load = name.startswith(("induced by the load", "standing", "arithmetic sum in", "low", "high"))
        assert other[name] == pytest.approx(one[name] * (factor if of_load else 1.0), rel=1e-9), name


@given(st.floats(0.1, 5.0))
def test_fault_figures_are_proportional_to_the_fault(factor):
    fault = FAULT | {"from_start_ka": 6.0 * factor, "from_end_ka": 2.0 * factor}
    one, other = figures(line(crooked())), figures(line(crooked(), fault=fault))
    for name in ("induced by a fault", "transferred from the tower by a fault", "potential_rise_v"):
        assert other[name] == pytest.approx(one[name] * factor, rel=1e-9)
    assert other["fault_share"] == pytest.approx(one["fault_share"], rel=1e-9)


@given(st.floats(0.5, 2.0))
def test_field_and_capacitive_current_are_proportional_to_the_voltage(factor):
    one, other = figures(line(crooked())), figures(line(crooked(), voltage_kv=220.0 * factor))
    for name in one:
        of_voltage = name.startswith(("capacitive", "electric field"))
        assert other[name] == pytest.approx(one[name] * (factor if of_voltage else 1.0), rel=1e-9), name


def test_order_of_the_lines_does_not_matter():
    """Fails while `_SMALL` in wire_pairs.py is 0.05: 2 % of the standing voltage, 20 % of the low reading."""
    own, beside = flat_line(straight(25), load=LOAD), flat_line(straight(25, 40.0, 130.0), load=LOAD, measured=False)
    one, other = numbers(own, beside, rows=(12,)), numbers(beside, own, rows=(12,))
    for name, values in one.items():
        assert other[name] == pytest.approx(values, rel=1e-3, nan_ok=True), name
