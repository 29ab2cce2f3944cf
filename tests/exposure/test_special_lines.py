"""Lines out of the ordinary, from the job to the figures.

Sources: Deri et al. 1981 by own dense reference (dense.py, reference.py), Tagg 1964, ICNIRP 2010.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from .dense import SEQUENCES, DenseLine, conductor_arrays
from .reference import MU_0, depth
from .worlds import FLAT, UNBALANCED, WIRES, Course, assessed, ends, flat_line, lead, straight, world

FAULT = {"from_start_ka": 4.0, "from_end_ka": 2.0, "clearing_time_s": 0.2}
TRACTION = [
    {"phase": "P", "offset_m": -3.0, "attachment_height_m": 14.0, "sag_m": 3.0, "diameter_mm": 20.0},
    {"phase": "N", "offset_m": 3.0, "attachment_height_m": 14.0, "sag_m": 3.0, "diameter_mm": 20.0},
]


def finite(found: Any) -> bool:
    leads, towers, reading = found.leads, found.towers, found.reading
    arrays = [item.value for item in leads.exposures] + [leads.expected_low_v, leads.expected_high_v]
    arrays += [getattr(towers, name) for name in towers.__slots__ if name != "fault_location"]
    arrays += [getattr(reading, name) for name in reading.__slots__]
    return all(np.isfinite(values).all() for values in arrays)


def traction(**settings: Any) -> Course:
    base = {
        "voltage_kv": 110.0,
        "frequency_hz": 16.7,
        "sections": [{"conductors": TRACTION}],
        "load": {"current_a": 400.0, "zero_sequence_pct": 5.0},
        "fault": FAULT | {"phase": "P"},
    }
    return Course(straight(), base | settings, {"footing_resistance_ohm": np.full(41, 8.0)})


def test_single_phase_traction_supply():
    """Two poles: the load there and back, and 5 % of it in both that returns through the earth; 55 kV to earth."""
    found = assessed(world(traction()).network(), [3, 20], 60.0, 300.0)
    assert finite(found)
    a = conductor_arrays(TRACTION)
    p, s = depth(100.0, 16.7), np.linspace(0, 100.0, 4001)
    aside = s[:, None] * np.sin(np.radians(60.0)) - a["x"]
    per_metre = 1j * 16.7 * MU_0 * np.log(np.sqrt((a["h"] + 2 * p) ** 2 + aside**2) / np.hypot(a["h"], aside))
    for values, current in (
        (found.leads.emf_load_v, np.array([400.0, -400.0])),
        (found.leads.emf_unbalance_v, np.array([20.0, 20.0])),
    ):
        expected = abs(np.trapezoid(per_metre @ current, s)) * np.cos(np.radians(60.0))
        assert values[1, 0] == pytest.approx(expected, rel=0.02)  # the line ends 6 km off, earth currents reach 1.2 km
    field = next(item for item in found.leads.exposures if "field" in item.name)
    assert field.limit.value.tolist() == [20e3, 20e3]  # ICNIRP 2010, workers, up to 25 Hz


def test_traction_line_has_no_phase_a():
    from layoutplan.errors import JobError

    with pytest.raises(JobError, match="no phase A in circuit 1; the circuits are 1: PN"):
        world(traction(fault=FAULT | {"phase": "A"})).network()


def test_worst_pole_of_a_traction_line_counts():
    worst, *each = (
        assessed(world(traction(fault=FAULT | more)).network(), [3, 20], 60.0, 300.0).leads.emf_fault_v
        for more in ({}, {"phase": "P"}, {"phase": "N"})
    )
    assert worst == pytest.approx(np.maximum(*each), rel=1e-9)


@pytest.mark.parametrize("bends", [False, True])
def test_line_without_earth_wire(bends):
    """20 kV: each tower takes the whole fault current, and no load current finds its way into one."""
    towers = straight(21, span_m=120.0)
    axis = np.insert(towers, [4, 9], [[25.0, -780.0], [-25.0, -180.0]], axis=0) if bends else None
    columns = {"footing_resistance_ohm": np.linspace(5, 25, 21)}
    course = Course(towers, {"voltage_kv": 20.0, "load": UNBALANCED, "fault": FAULT}, columns, axis)
    found = assessed(world(course).network(), np.arange(21), 70.0, 250.0)
    assert finite(found)
    rise = found.towers.potential_rise_v
    assert (rise >= 6000.0 * columns["footing_resistance_ohm"] * (1 - 1e-6)).all()
    # a fault at the next tower, 120 m off, lifts the ground here: 6 kA rho/(2 pi 120 m)
    assert rise == pytest.approx(6000.0 * columns["footing_resistance_ohm"].clip(100 / (2 * np.pi * 120)), rel=1e-6)
    assert found.towers.fault_share == pytest.approx(np.ones(21), rel=1e-6)
    assert found.towers.standing_high_a == pytest.approx(np.zeros(21), abs=1e-6)
    expected = np.broadcast_to(columns["footing_resistance_ohm"], found.measured.expected_ohm.shape)
    assert found.measured.expected_ohm == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("wires", [(), WIRES], ids=["no earth wire", "earth wires"])
def test_line_of_two_towers(wires):
    course = flat_line(straight(2), wires=bool(wires), fault=FAULT)
    found = assessed(world(course).network(), [0, 1], 60.0, 250.0)
    assert finite(found)
    reference = DenseLine(straight(2), [*FLAT, *wires], np.full(2, 10.0))
    current = reference.load(500.0 * SEQUENCES[:, 0])[1] if wires else 500.0 * SEQUENCES[None, :, 0]
    for tower in (0, 1):
        for side, bearing in enumerate((60.0, 250.0)):
            expected = abs(reference.emf(tower, lead(bearing), current))
            assert found.leads.emf_load_v[tower, side] == pytest.approx(expected, rel=1e-3)


def test_bend_between_towers_turns_the_line_there():
    """The same course with a tower at the bend and without: the conductors run alike, so they induce alike."""
    towers = np.array([[0.0, -900.0], [0.0, -600.0], [0.0, -300.0], [0.0, 0.0], [150.0, 260.0], [300.0, 520.0]])
    bend = np.vstack((towers[:3], towers[4:]))
    full = assessed(world(flat_line(towers, wires=False)).network(), [2], 60.0, 250.0)
    course = flat_line(bend, wires=False)
    network = world(Course(bend, course.settings, course.columns, towers)).network()
    assert network.sources[0].course.names == ["1", "2", "3", "", "4", "5"]
    part = assessed(network, [2], 60.0, 250.0)
    assert part.leads.emf_load_v == pytest.approx(full.leads.emf_load_v, rel=1e-6)


def test_towers_without_any_stakes():
    """All towers without layout: tables of no rows, and the towers' own figures."""
    from layoutplan.exposure import assess, measured

    network = world(flat_line(straight(5), fault=FAULT)).network()
    found = assess(network, measured(network), np.zeros(0, dtype=np.int64), np.zeros((0, 2, 2)))
    assert found.leads.emf_load_v.shape == (0, 2)
    assert found.leads.handling("in service").shape == (0, 2)
    assert np.isfinite(found.towers.potential_rise_v).all()


def test_branch_from_a_tower_of_the_line():
    """Its first tower is planned under the line and carries both; both induce, and the branch finds its own towers."""
    main = flat_line(straight(21), load=UNBALANCED)
    branch = flat_line(ends(90.0, 300.0 * np.arange(11)), load=UNBALANCED)  # from tower 11 to the east
    network = world(main, branch).network()
    assert len(network.towers) == 21 + 10
    assert network.sources[1].vertex.tolist() == [-1] * 10 + [0] + [-1] * 10 + list(range(1, 11))
    assert network.owner.tolist() == [0] * 21 + [1] * 10
    found = assessed(network, [10, 25], 45.0, 225.0)
    assert finite(found) is False  # no fault current is given
    assert np.isfinite(found.leads.expected_high_v).all()
