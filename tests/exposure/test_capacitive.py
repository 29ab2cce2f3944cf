"""Field and capacitive currents, against Maxwell's coefficients written out again.

Sources: Maxwell 1873 (coefficients of potential), CIGRE WG 36.01 1980 (from memory), both against own dense reference.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.exposure.capacitive import Capacitive, capacitive

from .dense import conductor_arrays
from .reference import EPS_0, A
from .worlds import FLAT, WIRES, Course, ends, flat_line, straight, world

PER_PHASE = {"A": 1.0, "B": A**2, "C": A, "E": 0.0}
ONE_SIDED = [
    {**FLAT[0], "offset_m": 9.0, "attachment_height_m": 14.0},
    {**FLAT[1], "offset_m": 9.0, "attachment_height_m": 22.0},
    {**FLAT[2], "offset_m": -6.0, "attachment_height_m": 22.0},
    {**WIRES[0], "offset_m": 0.0},
]


def charges(conductors: Any, kv: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Offsets, heights and charges over 2 pi eps0 of single conductors."""
    arrays = conductor_arrays(conductors)
    x, h = arrays["x"], arrays["h"]
    r = np.array([c["diameter_mm"] / 2000 for c in conductors])
    p = np.array(
        [
            [
                np.log(2 * h[i] / r[i])
                if i == j
                else np.log(np.hypot(x[i] - x[j], h[i] + h[j]) / np.hypot(x[i] - x[j], h[i] - h[j]))
                for j in range(len(x))
            ]
            for i in range(len(x))
        ]
    )
    u = np.array([kv * 1e3 / np.sqrt(3) * PER_PHASE[c["phase"]] for c in conductors])
    return x, h, np.linalg.solve(p, u)


def field(conductors: Any, kv: float, lateral: np.ndarray, height: float = 1.0) -> np.ndarray:
    """Modulus of both components of the field at each place."""
    x, h, q = charges(conductors, kv)
    across = lateral[:, None] - x
    near, far = across**2 + (height - h) ** 2, across**2 + (height + h) ** 2
    horizontal = (q * across * (1 / near - 1 / far)).sum(axis=1)
    vertical = (q * ((height - h) / near - (height + h) / far)).sum(axis=1)
    return np.sqrt(abs(horizontal) ** 2 + abs(vertical) ** 2)


def current(conductors: Any, kv: float, lateral: np.ndarray, length: float, height: float, hz: float = 50.0) -> float:
    """j w C' times the potential along a lead of 1.8 mm, by the trapezoidal rule over the lateral distances."""
    x, h, q = charges(conductors, kv)
    across = (lateral[:, None] - x) ** 2
    phi = 0.5 * (q * np.log((across + (h + height) ** 2) / (across + (h - height) ** 2))).sum(axis=1)
    mean = np.trapezoid(phi, dx=1 / (len(lateral) - 1))
    return float(2 * np.pi * hz * 2 * np.pi * EPS_0 / np.arccosh(height / 0.0009) * length * abs(mean))


def found_at(
    *courses: Course, bearing: Any = 90.0, length: Any = 100.0, tower: int = 20, **settings: Any
) -> Capacitive:
    network = world(*courses, **settings).network()
    return capacitive(network, np.array([tower]), ends(bearing, length)[None])


@pytest.mark.parametrize("bearing", [90.0, 40.0, 270.0, 300.0, 5.0])
@pytest.mark.parametrize("conductors", [[*FLAT, *WIRES], ONE_SIDED], ids=["flat", "one-sided"])
def test_straight_lead_beside_a_straight_line(bearing, conductors):
    found = found_at(flat_line(sections=[{"conductors": conductors}]), bearing=bearing)
    lateral = np.sin(np.radians(bearing)) * np.linspace(0, 100.0, 4001)
    most = field(conductors, 220.0, lateral).max()
    assert 0.975 * most < found.field_v_per_m[0, 0] <= most * (1 + 1e-6)  # looked for at 24 places only
    carried, on_ground = (current(conductors, 220.0, lateral, 100.0, height) for height in (1.0, 0.0009 + 0.0008))
    assert found.carried_a[0, 0] == pytest.approx(carried, rel=3e-4)
    assert found.on_ground_a[0, 0] == pytest.approx(on_ground, rel=3e-4)


def test_published_field_under_a_flat_line():
    """975, 1749, 968, 179 V/m at 0, 8, 20, 40 m: 220 kV, 8 m apart, 12 m high, 14.3 mm; own charge integration."""
    conductors = [{**c, "attachment_height_m": 12.0, "sag_m": 0.0} for c in FLAT]
    assert field(conductors, 220.0, np.array([0.0, 8.0, 20.0, 40.0])) == pytest.approx([975, 1749, 968, 179], abs=0.6)
    found = found_at(flat_line(wires=False, sections=[{"conductors": conductors}]))
    most = field(conductors, 220.0, np.linspace(0, 100, 2001)).max()
    assert found.field_v_per_m[0, 0] == pytest.approx(most, rel=0.02)


def test_right_of_the_line_is_where_offsets_are_positive():
    """The phases hang lower on the right, which is the east of a line to the north and the west of one to the south."""
    for heading, right, left in ((0.0, 90.0, 270.0), (180.0, 270.0, 90.0), (70.0, 160.0, 340.0)):
        line = flat_line(straight(bearing_deg=heading), sections=[{"conductors": ONE_SIDED}])
        found = found_at(line, bearing=[right, left], length=15.0)
        assert found.field_v_per_m[0, 0] > 1.3 * found.field_v_per_m[0, 1]
        assert found.carried_a[0, 0] > 1.1 * found.carried_a[0, 1]


def test_second_line_beside_adds_its_own_arithmetically():
    """200 m to the right at 380 kV: each line alone over the lead, its own laterals."""
    own, beside = flat_line(), flat_line(straight(aside_m=200.0), voltage_kv=380.0, measured=False)
    found = found_at(own, beside)
    lateral = np.linspace(0, 100.0, 4001)
    lines = (([*FLAT, *WIRES], 220.0, lateral), ([*FLAT, *WIRES], 380.0, lateral - 200.0))
    assert found.carried_a[0, 0] == pytest.approx(sum(current(*line, 100.0, 1.0) for line in lines), rel=1e-3)
    most = field(*lines[0]).max()
    assert most <= found.field_v_per_m[0, 0] * 1.02
    assert found.field_v_per_m[0, 0] <= most + field(*lines[1]).max()


def test_second_line_counts_by_its_own_side():
    """Seen from its left, a line that hangs low on its right is farther away than seen from its right."""
    low = {"sections": [{"conductors": ONE_SIDED}], "measured": False}
    at_right, at_left = (
        found_at(flat_line(), flat_line(straight(aside_m=x), **low), bearing=b, length=140.0)
        for x, b in ((-110.0, 270.0), (110.0, 90.0))
    )
    lateral = np.linspace(0, 140.0, 4001)
    own = current([*FLAT, *WIRES], 220.0, lateral, 140.0, 1.0)
    for found, seen in ((at_right, 110.0 - lateral), (at_left, lateral - 110.0)):
        expected = own + current(ONE_SIDED, 220.0, seen, 140.0, 1.0)
        assert found.carried_a[0, 0] == pytest.approx(expected, rel=4e-3)  # the lead passes under the second line


def test_lead_height_diameter_and_frequency():
    base = found_at(flat_line()).carried_a[0, 0]
    assert found_at(flat_line(frequency_hz=60.0)).carried_a[0, 0] == pytest.approx(1.2 * base, rel=1e-9)
    thick = found_at(flat_line(), method={"lead_diameter_mm": 3.6}).carried_a[0, 0]
    assert thick == pytest.approx(base * np.arccosh(1 / 0.0009) / np.arccosh(1 / 0.0018), rel=1e-9)
    lateral = np.linspace(0, 100.0, 4001)
    high = found_at(flat_line(), method={"lead_height_m": 2.5}).carried_a[0, 0]
    assert high == pytest.approx(current([*FLAT, *WIRES], 220.0, lateral, 100.0, 2.5), rel=3e-4)


def test_section_at_the_tower_is_the_one_that_counts():
    tall = [{**c, "attachment_height_m": c["attachment_height_m"] + 15.0} for c in (*FLAT, *WIRES)]
    split = [{"conductors": [*FLAT, *WIRES], "to_tower": "21"}, {"conductors": tall, "from_tower": "21"}]
    lateral = np.linspace(0, 100.0, 4001)
    for tower, conductors in ((5, [*FLAT, *WIRES]), (35, tall)):
        found = found_at(flat_line(sections=split), tower=tower)
        assert found.carried_a[0, 0] == pytest.approx(current(conductors, 220.0, lateral, 100.0, 1.0), rel=3e-4)


def test_line_of_unknown_voltage_is_unknown_and_not_zero():
    alone = found_at(Course(straight(), {"voltage_kv": None}))
    beside = found_at(flat_line(), Course(straight(aside_m=300.0), {"voltage_kv": None, "measured": False}))
    for found in (alone, beside):
        assert np.isnan([found.field_v_per_m, found.carried_a, found.on_ground_a]).all()
    far = found_at(flat_line(), Course(straight(aside_m=3000.0), {"voltage_kv": None, "measured": False}))
    assert np.isfinite(far.carried_a).all()
