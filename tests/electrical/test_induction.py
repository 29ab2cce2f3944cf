"""Voltage on leads against brute-force integration, the infinite line, symmetry and superposition."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from layoutplan.electrical import (
    carson_impedance,
    complex_depth,
    complex_depth_impedance,
    conductor_vertices,
    lead_emf,
    lead_mutual_impedance,
    ray_emf,
    skin_depth,
    span_windows,
    window_reach,
)
from layoutplan.errors import InputRangeError

OFFSETS, HEIGHTS = [-8.0, 0.0, 8.0], [15.0, 15.0, 15.0]
SOIL = {"soil_resistivity_ohm_m": 100.0, "frequency_hz": 50.0}


def bent_line(deflection_deg: float, leg_m: float = 8000, spans: int = 1) -> np.ndarray:
    """Towers of a line along the y axis that turns right at the origin."""
    angle = np.radians(deflection_deg)
    along = np.linspace(0, leg_m, spans + 1)[:, None]
    return np.vstack([along[::-1] * [0, -1], along[1:] * [np.sin(angle), np.cos(angle)]])


def emf(lead, towers, current, **soil):
    vertices = conductor_vertices(towers, OFFSETS, HEIGHTS)
    currents = np.broadcast_to(current, (len(towers) - 1, *np.shape(current)))
    return lead_emf(lead, vertices, currents, **(SOIL | soil))


def brute_force(lead, a, b, height, rho, f, lead_height=0.0):
    """EMF per ampere of one span at one height: double integral of 1/r - 1/r' over span and lead."""
    image = 2 * complex_depth(rho, f) + height + lead_height
    lead, a, b = np.array(lead, float), np.array(a, float), np.array(b, float)
    along, way = b - a, lead[1] - lead[0]

    def kernel(s, t, take):
        square = np.sum((lead[0] + t * way - a - s * along) ** 2)
        return take(1 / np.sqrt(square + (height - lead_height) ** 2) - 1 / np.sqrt(square + image**2))

    parts = [
        integrate.dblquad(kernel, 0, 1, 0, 1, args=(take,), epsabs=1e-12, epsrel=1e-9)[0] for take in (np.real, np.imag)
    ]
    return -1j * 2 * np.pi * f * 1e-7 * (along @ way) * complex(*parts)


@pytest.mark.parametrize(
    ("lead", "a", "b", "rho", "f"),
    [
        ([[40, -50], [40, 50]], [0, -100], [0, 250], 100, 50),
        ([[5, 3], [80, 60]], [-20, -150], [30, 150], 30, 60),
        ([[-60, 10], [60, -10]], [0, -150], [0, 150], 1000, 16.7),  # passes under the conductor
        ([[0, 200], [0, 330]], [0, -150], [0, 150], 100, 5000),  # ahead of the span's end
    ],
)
def test_one_span_equals_double_integration(lead, a, b, rho, f):
    # Source: Neumann's integral with the image of Deri et al. 1981, own quadrature.
    vertices = np.array([[[*a, 12.0]], [[*b, 12.0]]])
    found = lead_emf(lead, vertices, [[1.0]], soil_resistivity_ohm_m=rho, frequency_hz=f)
    assert found == pytest.approx(brute_force(lead, a, b, 12.0, rho, f), rel=2e-4)


def test_lead_above_ground_equals_double_integration():
    # Source: Neumann's integral with the image of Deri et al. 1981, own quadrature.
    lead, a, b = [[5, 3], [80, 60]], [-20, -150], [30, 150]
    vertices = np.array([[[*a, 12.0]], [[*b, 12.0]]])
    found = lead_emf(lead, vertices, [[1.0]], soil_resistivity_ohm_m=10, frequency_hz=5000, lead_height_m=4.0)
    assert found == pytest.approx(brute_force(lead, a, b, 12.0, 10, 5000, 4.0), rel=2e-4)


def test_long_line_equals_the_infinite_line(straight_line):
    # Source: Deri et al. 1981, closed form of the endless line.
    for current in np.eye(3):
        found = emf([[40, -50], [40, 50]], straight_line, current)
        distance = np.abs(40 - np.array(OFFSETS))[current > 0]
        assert found == pytest.approx(-100 * complex_depth_impedance(15, 0, distance, **SOIL)[0], rel=3e-4)


def test_parallel_lead_reference(straight_line, balanced):
    # Source: own figures apart from this package: 0.1921 V by Deri et al. 1981, 0.1919 V by Carson 1926.
    found = emf([[40, -50], [40, 50]], straight_line, balanced)
    assert abs(found) == pytest.approx(0.1921, abs=6e-5)
    carson = 100 * carson_impedance(15, 0, np.abs(40 - np.array(OFFSETS)), **SOIL) @ balanced
    assert abs(carson) == pytest.approx(0.1919, abs=6e-5)
    assert abs(found) == pytest.approx(abs(carson), rel=2e-3)


def test_angle_tower_reference(balanced):
    # Source: own figures apart from this package: 8 km legs of one span each, back span towards azimuth 0, turn 20°
    # right: 0.02564 V with the image of Deri et al. 1981, 0.02553 V with the exact kernel (Foster 1931).
    found = emf([[-5, 0], [-105, 0]], bent_line(20), balanced)
    assert abs(found) == pytest.approx(0.02564, abs=6e-6)
    assert abs(found) == pytest.approx(0.02553, rel=5e-3)


@given(st.floats(5, 400), st.complex_numbers(max_magnitude=500), st.complex_numbers(max_magnitude=500))
def test_square_lead_at_a_straight_line_sees_nothing(length, first, second):
    # Derived here: Neumann's integral holds the cosine between lead and line, which is 0.
    current = [first, second, -100.0]
    scale = abs(emf([[0, 0], [0, length]], [[0.0, -3e4], [0, 3e4]], current)) + 1e-9
    assert abs(emf([[0, 0], [length, 0]], [[0.0, -3e4], [0, 3e4]], current)) < 1e-9 * scale + 1e-12


@given(st.floats(1, 80), st.floats(20, 300))
def test_lead_on_the_bisector_sees_nothing(deflection, length):
    # Derived here: mirrored in the bisector every conductor falls on itself with its current reversed, the lead stays.
    towers, half = bent_line(deflection, spans=4), np.radians(deflection) / 2
    bisector = np.array([np.cos(half), -np.sin(half)])
    current = [80, -30 + 9j, 5j]
    along = abs(emf([[0, 0], [0, -length]], towers, current))
    assert abs(emf([[0, 0], length * bisector], towers, current)) < 1e-8 * along


@given(st.floats(-180, 180), st.floats(-1e4, 1e4), st.floats(-1e4, 1e4))
def test_turning_and_shifting_the_whole_scene_changes_nothing(turn, east, north):
    # Derived here: Neumann's integral holds distances and angles between wires only.
    angle = np.radians(turn)
    rotation = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])

    def moved(points):
        return np.asarray(points, float) @ rotation + [east, north]

    lead, towers, current = [[5, 3], [60, 40], [150, 30]], bent_line(25, spans=3), [80, -30 + 9j, 5j]
    assert emf(moved(lead), moved(towers), current) == pytest.approx(emf(lead, towers, current), rel=1e-7)


@given(st.lists(st.complex_numbers(max_magnitude=1e3), min_size=6, max_size=6))
def test_currents_superpose(values):
    # Derived here: the voltage is a sum over currents, so it is linear in them.
    one, two = np.array(values[:3]), np.array(values[3:])
    lead, towers = [[5, 3], [150, 30]], bent_line(25)
    both = emf(lead, towers, np.stack([one, two, 2 * one - 3j * two], axis=-1))
    assert both[2] == pytest.approx(2 * both[0] - 3j * both[1], rel=1e-9, abs=1e-9)


@given(st.floats(-170, 170), st.floats(30, 300), st.sampled_from([30.0, 100.0, 3000.0]))
def test_finer_quadrature_changes_less_than_a_thousandth(bearing, length, rho):
    # Derived here: a quadrature that has converged does not change with more points.
    angle = np.radians(bearing)
    lead = [[0, 0], [length * np.sin(angle), length * np.cos(angle)]]
    coarse = emf(lead, bent_line(25, spans=6), [80, -30 + 9j, 5j], soil_resistivity_ohm_m=rho)
    fine = emf(lead, bent_line(25, spans=6), [80, -30 + 9j, 5j], soil_resistivity_ohm_m=rho, order=16)
    along = emf([[0, 0], [0, -length]], bent_line(25, spans=6), [80, -30 + 9j, 5j], soil_resistivity_ohm_m=rho)
    assert abs(coarse - fine) < 1e-3 * abs(fine) + 1e-6 * abs(along)


def test_mutual_impedance_of_span_and_lead_is_reciprocal():
    # Derived here: Neumann's integral is the same with its two wires exchanged.
    a, b = np.array([[0.0, 0], [120, 40]]), np.array([[30.0, 60], [90, 200]])

    def coupling(source, lead):
        vertices = np.concatenate([source, np.full((2, 1), 6.0)], axis=1)[:, None]
        return lead_emf(lead, vertices, [[1.0]], lead_height_m=2.0, **SOIL)

    def swapped(source, lead):
        vertices = np.concatenate([source, np.full((2, 1), 6.0)], axis=1)[:, None]
        return lead_emf(lead, vertices, [[1.0]], lead_height_m=2.0, order=12, **SOIL)

    assert coupling(a, b) == pytest.approx(swapped(b, a), rel=1e-5)


def test_wire_close_to_the_ground_agrees_with_the_surface_kernel():
    # Source: Foster 1931, which the complex image of Deri et al. 1981 approximates; within 1 % at 50 Hz for leads of
    # this length is an own figure.
    lead, wire = [[0, 0], [100, 0]], np.array([[[0.0, 5, 0.05]], [[100, 30, 0.05]]])
    image = -lead_emf(lead, wire, [[1.0]], **SOIL)
    exact = lead_mutual_impedance(lead, wire[:, 0, :2], **SOIL)
    assert image == pytest.approx(exact, rel=0.015)


@given(st.lists(st.floats(1, 400), min_size=1, max_size=8), st.floats(0, 360))
def test_rays_are_prefixes_of_the_lead(distances, bearing):
    # Source: `lead_emf` one by one, held against own quadrature above.
    towers = bent_line(20, spans=4)
    vertices = conductor_vertices(towers, OFFSETS, HEIGHTS)[None]
    current = np.broadcast_to([[80, 1], [-30 + 9j, 1], [5j, 1]], (1, 8, 3, 2))
    found = ray_emf([[0, 0]], [bearing], distances, vertices, current, **SOIL)
    way = np.array([np.sin(np.radians(bearing)), np.cos(np.radians(bearing))])
    along = np.abs(lead_emf([[0, 0], [0, -400]], vertices[0], current[0], order=16, **SOIL))
    for i, distance in enumerate(distances):
        alone = lead_emf([[0, 0], distance * way], vertices[0], current[0], order=16, **SOIL)
        assert found[0, 0, i] == pytest.approx(alone, rel=1e-3, abs=2e-6 * along.max())


def test_leads_of_many_towers_equal_leads_one_by_one(balanced):
    # Derived here: a lead does not know of the others, so each is as it is alone.
    towers = bent_line(30, leg_m=6000, spans=20)
    chainage = 300.0 * np.arange(len(towers))
    vertices = conductor_vertices(towers, OFFSETS, HEIGHTS)
    which = np.array([3, 20, 38])
    windows = span_windows(chainage, chainage[which])
    leads = towers[which, None, None] + np.array([[[0, 0], [90, 30]], [[0, 0], [-150, 10]]])
    current = np.broadcast_to(balanced, (len(towers) - 1, 3))
    found = lead_emf(leads, vertices[windows.vertex], current[windows.span], **SOIL)
    assert found.shape == (3, 2)
    for i in range(3):
        for j in range(2):
            alone = lead_emf(leads[i, j], vertices[windows.vertex[i]], current[windows.span[i]], **SOIL)
            assert found[i, j] == pytest.approx(alone, rel=1e-9)


def test_a_repeated_corner_has_no_effect(balanced):
    # No source: this package's own bookkeeping.
    lead = [[5, 0], [40, 30], [90, 10]]
    padded = [[5, 0], [40, 30], [40, 30], [90, 10], [90, 10]]
    towers = bent_line(20)
    assert emf(padded, towers, balanced) == pytest.approx(emf(lead, towers, balanced), rel=1e-12)


def test_unknown_current_gives_unknown_voltage(balanced):
    # No source: this package's own rule: unknown stays unknown.
    currents = np.stack([balanced, [np.nan, 0, 0]], axis=-1)
    found = emf([[5, 0], [40, 30]], bent_line(20), currents)
    assert np.isfinite(found[0])
    assert np.isnan(found[1])


@pytest.mark.parametrize("rho", [10.0, 100.0, 1000.0, 5000.0])
def test_window_loses_less_than_one_percent(rho):
    """Zero-sequence and balanced current, a line that wanders, windows against the whole line."""
    # Source: own reference: the whole line.
    rng = np.random.default_rng(3)
    heading = np.cumsum(rng.normal(0, 0.3, 400) * (rng.random(400) < 0.1))
    towers = np.cumsum(300 * np.column_stack([np.sin(heading), np.cos(heading)]), axis=0)
    vertices, chainage = conductor_vertices(towers, OFFSETS, HEIGHTS), 300.0 * np.arange(400)
    centre = np.arange(180, 220, 4)
    current = np.array([[1, 1], [1, np.exp(-2j * np.pi / 3)], [1, np.exp(2j * np.pi / 3)]])

    def rays(vertex, span):
        currents = np.broadcast_to(current, (399, 3, 2))[span]
        bearings = np.arange(0, 360, 45)
        return ray_emf(
            towers[centre], bearings, [150], vertices[vertex], currents, soil_resistivity_ohm_m=rho, frequency_hz=50
        )

    window = span_windows(chainage, chainage[centre], reach_m=float(window_reach(rho, 50)))
    whole = rays(np.tile(np.arange(400), (len(centre), 1)), np.tile(np.arange(399), (len(centre), 1)))
    loss = np.abs(rays(*window) - whole).max(axis=(0, 1, 2)) / np.abs(whole).max(axis=(0, 1, 2))
    assert loss.max() < 0.01


def test_three_skin_depths_are_not_enough():
    """Why the reach is ten skin depths: three lose several per cent for a zero-sequence current."""
    # Source: own reference: a line of a hundred skin depths.
    rho, depth = 100.0, float(skin_depth(100, 50))
    soil = {"soil_resistivity_ohm_m": rho}
    lead = [[200, 0], [250, 100]]
    cut, whole = (emf(lead, [[0, -x], [0, x]], [1, 1, 1], **soil) for x in (3 * depth, 100 * depth))
    assert 0.02 < abs(cut - whole) / abs(whole) < 0.05
    ten = emf(lead, [[0, -10 * depth], [0, 10 * depth]], [1, 1, 1], **soil)
    assert abs(ten - whole) < 0.01 * abs(whole)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"vertices_m": [[[0.0, 0, -1]], [[0, 100, 10]]]}, "above the lead"),
        ({"current_a": [[1.0, 2.0]]}, "spans"),
        ({"soil_resistivity_ohm_m": np.nan}, "soil_resistivity_ohm_m is nan"),
        ({"frequency_hz": -50}, "frequency_hz is -50"),
        ({"lead_xy_m": [[[0.0, 0], [1, 1]]]}, "belong together"),
        ({"vertices_m": [[[0.0, 0]], [[0, 100]]]}, "places, vertices, conductors, 3"),
    ],
)
def test_values_out_of_range_are_named(change, message):
    # No source: this package's own check of what it is given.
    values = {
        "lead_xy_m": [[5.0, 0], [50, 0]],
        "vertices_m": [[[0.0, 0, 10]], [[0, 100, 10]]],
        "current_a": [[1.0]],
        **SOIL,
    } | change
    with pytest.raises(InputRangeError, match=message):
        lead_emf(**values)


def test_rays_need_one_origin_per_place():
    # No source: this package's own check of what it is given.
    vertices = conductor_vertices(bent_line(20), OFFSETS, HEIGHTS)[None]
    with pytest.raises(InputRangeError, match="does not belong to 1 places"):
        ray_emf([[0, 0], [1, 1]], [90], [100], vertices, np.ones((1, 2, 3)), **SOIL)
