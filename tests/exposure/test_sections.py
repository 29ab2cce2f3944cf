"""Cross-sections along a line: which span has which, transpositions, and what cannot be.

Sources: Deri et al. 1981 in closed form by own reference; which span has which section is bookkeeping, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from layoutplan.errors import JobError

from .dense import SEQUENCES, conductor_arrays
from .reference import endless_emf
from .worlds import FLAT, WIRES, Course, assessed, emf, flat_line, straight, world

MIDDLE = 20
ONE = [*FLAT, *WIRES]
TALL = [{**c, "attachment_height_m": c["attachment_height_m"] + 15.0} for c in ONE]


def course_of(**settings: object) -> Course:
    return world(flat_line(**settings)).network().sources[0].course


@pytest.mark.parametrize(
    ("sections", "expected"),
    [
        ([{}], [0] * 40),
        ([{"to_tower": "11"}, {"from_tower": "11"}], [0] * 10 + [1] * 30),
        ([{"from_tower": "31"}, {"to_tower": "31"}], [1] * 30 + [0] * 10),
        ([{"from_tower": "5", "to_tower": "8"}], [1] * 4 + [0] * 3 + [1] * 33),
        ([{"from_tower": "1", "to_tower": "2"}, {"from_tower": "40"}], [0] + [2] * 38 + [1]),
    ],
)
def test_each_span_has_the_section_of_its_tower_range(sections, expected):
    """Span i runs from tower i + 1 to tower i + 2; what no section names is generic."""
    course = course_of(sections=[{"conductors": ONE} | keys for keys in sections])
    assert course.span_section.tolist() == expected
    assert not any(section.generic for section in course.sections[: len(sections)])
    assert all(section.generic for section in course.sections[len(sections) :])


def test_range_counts_vertices_between_towers():
    """A bend between towers 2 and 3 is a vertex of its own; the range still ends at tower 3."""
    towers = straight(5)
    axis = np.insert(towers, 2, (towers[1] + towers[2]) / 2 + np.array([30.0, 0.0]), axis=0)
    line = flat_line(towers, sections=[{"conductors": ONE, "to_tower": "3"}, {"conductors": TALL, "from_tower": "3"}])
    course = world(Course(line.towers_m, line.settings, line.columns, axis)).network().sources[0].course
    assert course.names == ["1", "2", "", "3", "4", "5"]
    assert course.span_section.tolist() == [0, 0, 0, 1, 1]


def test_only_spans_of_the_range_take_part():
    """A lead at a tower deep in the tall section sees the tall line, deep in the low one the low line."""
    split = [{"conductors": ONE, "to_tower": "21"}, {"conductors": TALL, "from_tower": "21"}]
    everywhere = ([{"conductors": ONE}], [{"conductors": TALL}])
    mixed, low, tall = (world(flat_line(sections=sections)).network() for sections in (split, *everywhere))
    for tower, same, other in ((12, low, tall), (28, tall, low)):
        found = emf(mixed, tower, 60.0)[0, 0]
        assert found == pytest.approx(emf(same, tower, 60.0)[0, 0], rel=0.02)
        assert abs(found) != pytest.approx(abs(emf(other, tower, 60.0)[0, 0]), rel=0.1)


def test_order_in_which_a_section_lists_its_conductors_is_of_no_matter():
    """Else conductors would cross from place to place in the span where two sections meet."""
    split = [{"conductors": ONE, "to_tower": "21"}, {"conductors": ONE[::-1], "from_tower": "21"}]
    mixed, plain = (world(flat_line(sections=s)).network() for s in (split, [{"conductors": ONE}]))
    for tower in (18, 19, 20, 21):
        for bearing in (60.0, 90.0):
            assert emf(mixed, tower, bearing) == pytest.approx(emf(plain, tower, bearing), rel=1e-9, abs=1e-12)


def test_spans_of_two_cross_sections_hang_straight_up_to_their_common_tower():
    """Two circuits up to the tower, one beyond: perpendicular to the line nothing is induced, on neither side."""
    double = [
        *({**c, "offset_m": c["offset_m"] - 12.0} for c in FLAT),
        *({**c, "offset_m": c["offset_m"] + 12.0, "circuit": 2} for c in FLAT),
    ]
    split = [{"conductors": double, "to_tower": "21"}, {"conductors": FLAT, "from_tower": "21"}]
    network = world(flat_line(wires=False, sections=split)).network()
    (driven,) = network.loads.driven[0]
    currents = driven.current_a[:, :, 0, 0]
    assert (np.abs(currents) > 0).sum(axis=1).tolist() == [6] * 20 + [3] * 20
    along = abs(emf(network, MIDDLE, 0.0)[0, 0])
    for bearing in (90.0, 270.0):
        assert abs(emf(network, MIDDLE, bearing)[0, 0]) < 1e-6 * along


def test_transposed_phases_change_places():
    arrays = conductor_arrays(FLAT)
    for order, places in (("BCA", [1, 2, 0]), ("CAB", [2, 0, 1]), ("ACB", [0, 2, 1])):
        network = world(flat_line(wires=False, sections=[{"conductors": FLAT, "phase_order": order}])).network()
        expected = endless_emf(arrays["x"], arrays["h"], 500.0 * SEQUENCES[places, 0], 60.0, 100.0, 100.0, 50.0)
        assert emf(network, MIDDLE, 60.0)[0, 0] == pytest.approx(expected, rel=0.004)


def test_generic_section_may_be_transposed_too():
    plain, moved = (
        world(Course(straight(), {"sections": [{"phase_order": order}], "load": {"current_a": 500.0}})).network()
        for order in ("ABC", "CBA")
    )
    assert emf(moved, MIDDLE, 300.0)[0, 0] == pytest.approx(emf(plain, MIDDLE, 60.0)[0, 0], rel=1e-9)
    assert emf(moved, MIDDLE, 60.0)[0, 0] != pytest.approx(emf(plain, MIDDLE, 60.0)[0, 0], rel=0.05)


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ([{"from_tower": "99"}], ["line 'line 0', sections[0]", "no tower '99'"]),
        ([{}, {"to_tower": "x"}], ["line 'line 0', sections[1]", "no tower 'x'"]),
        ([{"from_tower": "9", "to_tower": "9"}], ["line 'line 0', sections[0]", "to_tower must come after from_tower"]),
        ([{"from_tower": "9", "to_tower": "3"}], ["line 'line 0', sections[0]", "to_tower must come after from_tower"]),
        ([{"to_tower": "9"}, {"from_tower": "8"}], ["line 'line 0', sections[1]", "overlaps an earlier section"]),
        ([{"phase_order": "ABB"}], ["line 'line 0', sections[0]", "'ABB' does not match the circuits", "'ABC'"]),
        ([{}, {"phase_order": "ABC/ABC", "from_tower": "4"}], ["line 'line 0', sections[1]", "overlaps"]),
        ([{"phase_order": "ABC/ABC"}], ["line 'line 0', sections[0]", "does not match the circuits"]),
        ([{"conductors": FLAT[:2]}], ["line 'line 0', sections[0]", "Circuit 1 has the phases 'AB'", "each of ABC"]),
        ([{"conductors": [*FLAT, FLAT[0]]}], ["line 'line 0', sections[0]", "same offset and height"]),
        (
            [{"conductors": [*FLAT, {**FLAT[0], "phase": "E", "offset_m": -8.005}]}],
            ["line 'line 0', sections", "they would touch"],  # fails: the message names all lines, not the one
        ),
    ],
)
def test_sections_that_cannot_be(sections, words):
    with pytest.raises(JobError) as caught:
        world(flat_line(sections=[{"conductors": ONE} | keys for keys in sections])).network()
    for word in words:
        assert word in str(caught.value)


def test_voltage_without_generic_section():
    with pytest.raises(JobError, match=r"line 'line 0'.*No generic cross-section for 1100 kV"):
        world(Course(straight(), {"voltage_kv": 1100.0})).network()


def test_names_of_towers_may_be_anything():
    names = ["T-1/a", "Пўт 2", "3'); --", "<b>4</b>", " 5 "]
    line = flat_line(straight(5), sections=[{"conductors": ONE, "from_tower": names[1], "to_tower": names[3]}])
    network = world(Course(line.towers_m, line.settings, line.columns | {"tower_id": names})).network()
    assert network.sources[0].course.span_section.tolist() == [1, 0, 0, 1]
    assert network.sources[0].vertex.tolist() == [0, 1, 2, 3, 4]
    assert np.isfinite(emf(network, 2, 60.0)).all()


def test_an_earth_wire_near_the_station_only():
    """Beyond it there is none: as good as one that conducts nothing, and no reason to stop."""
    near = {"conductors": ONE, "to_tower": "11"}
    poor = [{**wire, "resistance_ohm_per_km": 1e7} for wire in WIRES]
    fault = {"from_start_ka": 8.0, "from_end_ka": 2.0, "clearing_time_s": 0.3}
    without, almost = (
        world(
            flat_line(sections=[near, {"conductors": far, "from_tower": "11"}], fault=fault),
            method={"legs_only": False},
        ).network()
        for far in (list(FLAT), [*FLAT, *poor])
    )
    (system,) = without.systems.values()
    assert (system.branch[0][:10] >= 0).all()
    assert (system.branch[0][10:] < 0).all()
    one, other = (assessed(network, [5, 10, 30]) for network in (without, almost))
    np.testing.assert_allclose(without.loads.potential_v, almost.loads.potential_v, rtol=1e-3, atol=1e-3)
    np.testing.assert_allclose(one.towers.potential_rise_v, other.towers.potential_rise_v, rtol=1e-3)
    np.testing.assert_allclose(one.leads.transferred_fault_v, other.leads.transferred_fault_v, rtol=1e-3)
    np.testing.assert_allclose(one.measured.expected_ohm, other.measured.expected_ohm, rtol=1e-3)
