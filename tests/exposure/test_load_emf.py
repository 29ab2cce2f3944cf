"""Voltages induced by a load, against summed images of short pieces and an endless line in closed form.

Sources: Deri et al. 1981 in closed form and by own dense reference (dense.py, reference.py).
"""

from __future__ import annotations

import numpy as np
import pytest

from .dense import SEQUENCES, DenseLine, DenseLines, conductor_arrays
from .reference import endless_emf, sequence
from .worlds import BALANCED, FLAT, SPAN_M, UNBALANCED, WIRES, emf, flat_line, lead, straight, world

MIDDLE = 20
SIZES = np.array([500.0, 15.0, 10.0])  # of the sequences of UNBALANCED
TWO = (
    *({**c, "offset_m": c["offset_m"] - 12.0} for c in FLAT),
    *({**c, "offset_m": c["offset_m"] + 12.0, "circuit": 2} for c in FLAT[::-1]),
    *WIRES,
)


def bent(turn_deg: float, count: int = 41) -> np.ndarray:
    """A line that comes from the south and turns at its middle tower."""
    half, turn = (count - 1) // 2, np.radians(turn_deg)
    back = SPAN_M * np.arange(-half, 1)[:, None] * [0.0, 1.0]
    ahead = SPAN_M * np.arange(1, half + 1)[:, None] * [np.sin(turn), np.cos(turn)]
    return np.vstack((back, ahead))


def test_lead_at_60_degrees_in_the_middle_against_an_endless_line(plain, dense):
    """Deri et al. 1981 integrated in closed form; the line really ends 6 km off, which earth currents still feel."""
    arrays = conductor_arrays(dense.conductors)
    found = emf(plain, MIDDLE, 60.0)[0]
    for number, allowed in ((0, 0.004), (1, 0.004), (2, 0.02)):
        current = dense.load(SEQUENCES[:, number] * SIZES[number])[1][MIDDLE]
        expected = endless_emf(arrays["x"], arrays["h"], current, 60.0, 100.0, 100.0, 50.0)
        assert found[number] == pytest.approx(expected, rel=allowed)


@pytest.mark.parametrize(("tower", "bearing"), [(20, 60.0), (3, 60.0), (20, 300.0), (0, 20.0), (40, 135.0)])
def test_lead_anywhere_against_summed_pieces(plain, dense, tower, bearing):
    found = emf(plain, tower, bearing)[0]
    for number in range(3):
        expected = dense.emf(tower, lead(bearing), dense.load(SEQUENCES[:, number] * SIZES[number])[1])
        assert found[number] == pytest.approx(expected, rel=2e-3)


@pytest.mark.parametrize("turn", [-50.0, 20.0])
def test_lead_at_an_angle_tower_against_summed_pieces(whole_ground, turn):
    towers = bent(turn)
    network = world(flat_line(towers, load=UNBALANCED)).network()
    reference = DenseLine(towers, [*FLAT, *WIRES], np.full(41, 10.0))
    for tower, bearing in ((MIDDLE, 60.0), (MIDDLE + 1, 200.0), (MIDDLE - 2, 100.0)):
        found = emf(network, tower, bearing)[0]
        for number in range(3):
            expected = reference.emf(tower, lead(bearing), reference.load(SEQUENCES[:, number] * SIZES[number])[1])
            assert found[number] == pytest.approx(expected, rel=2e-3, abs=5e-4)


@pytest.mark.parametrize("turn", [0.0, 20.0, 60.0])
def test_lead_on_the_bisector_picks_up_nothing(turn):
    """By symmetry: what one half of the line drives outwards, the other drives inwards.

    Only the far parts of the line, taken in chords with the current of their first span, do not quite cancel.
    """
    network = world(flat_line(bent(turn), load=UNBALANCED)).network()
    along = np.abs(emf(network, MIDDLE, 0.0)).sum()
    for bearing in (90.0 + turn / 2, 270.0 + turn / 2):
        assert np.abs(emf(network, MIDDLE, bearing)).max() < 5e-4 * along


def test_leads_forward_and_backward_are_opposite(plain):
    for bearing in (20.0, 60.0, 80.0):
        assert emf(plain, MIDDLE, 180.0 - bearing) == pytest.approx(-emf(plain, MIDDLE, bearing), rel=5e-4)


def test_mirrored_line_and_mirrored_lead():
    mirrored = [{**c, "offset_m": -c["offset_m"]} for c in (*FLAT, *WIRES)]
    one, other = (world(flat_line(sections=[{"conductors": c}])).network() for c in ([*FLAT, *WIRES], mirrored))
    assert emf(one, MIDDLE, 60.0) == pytest.approx(emf(other, MIDDLE, 300.0), rel=1e-9)
    assert abs(emf(one, MIDDLE, 60.0)[0, 0]) != pytest.approx(abs(emf(one, MIDDLE, 300.0)[0, 0]), rel=1e-3)


def test_voltage_is_proportional_to_the_greatest_current():
    one, other = (world(flat_line(load=UNBALANCED | extra)).network() for extra in ({}, {"maximum_a": 1250.0}))
    assert emf(other, MIDDLE, 60.0) == pytest.approx(2.5 * emf(one, MIDDLE, 60.0), rel=1e-12)


def test_usual_load_of_0_does_not_hide_the_greatest():
    idle = world(flat_line(load=BALANCED | {"current_a": 0.0, "maximum_a": 500.0})).network()
    busy = world(flat_line(load=BALANCED)).network()
    assert emf(idle, MIDDLE, 60.0) == pytest.approx(emf(busy, MIDDLE, 60.0), rel=1e-12)


def two_circuits(**factor: float) -> np.ndarray:
    load = UNBALANCED | {"circuit_factor": {int(key[1:]): value for key, value in factor.items()}}
    return emf(world(flat_line(sections=[{"conductors": TWO}], load=load)).network(), MIDDLE, 60.0)


def test_circuit_out_of_service_is_as_if_it_were_not_there():
    alone = flat_line(sections=[{"conductors": [*TWO[:3], *WIRES]}], load=UNBALANCED)
    assert two_circuits(c2=0.0) == pytest.approx(emf(world(alone).network(), MIDDLE, 60.0), rel=1e-12)


def test_circuit_that_carries_the_other_way():
    both, first, against = two_circuits(c1=1.0), two_circuits(c2=0.0), two_circuits(c2=-1.0)
    assert against == pytest.approx(2 * first - both, rel=1e-9)
    assert np.abs(against[0, 0]) != pytest.approx(np.abs(both[0, 0]), rel=0.05)


def test_phase_currents_are_split_into_sequences():
    pure = {"current_a": 500.0, "phase_currents_a": [[500, 0], [500, -120], [500, 120]]}
    shares = emf(world(flat_line(load=BALANCED)).network(), MIDDLE, 60.0)
    assert emf(world(flat_line(load=pure)).network(), MIDDLE, 60.0) == pytest.approx(shares, rel=1e-9, abs=1e-12)
    given = [[520, 5], [490, -112], [505, 124]]
    phasors = [size * np.exp(1j * np.radians(angle)) for size, angle in given]
    skewed = emf(world(flat_line(load=pure | {"phase_currents_a": given})).network(), MIDDLE, 60.0)[0]
    unit = emf(world(flat_line(load=UNBALANCED)).network(), MIDDLE, 60.0)[0] / SIZES
    assert skewed == pytest.approx(unit * sequence(phasors), rel=1e-9)


def test_phase_currents_are_those_at_the_usual_current():
    load = {"current_a": 500.0, "phase_currents_a": [[520, 5], [490, -112], [505, 124]]}
    one, other = (world(flat_line(load=load | extra)).network() for extra in ({}, {"maximum_a": 1000.0}))
    assert emf(other, MIDDLE, 60.0) == pytest.approx(2 * emf(one, MIDDLE, 60.0), rel=1e-12)


@pytest.mark.parametrize("count", [2, 3, 5])
def test_line_given_by_few_points_induces_like_one_given_by_many(count):
    """Neither is a tower of it near: the span is what matters."""
    found = []
    for towers in (straight(41, 30.0, 120.0), straight(count, 30.0, 120.0, 40 * SPAN_M / (count - 1))):
        beside = flat_line(towers, wires=False, measured=False)
        found.append(emf(world(flat_line(), beside).network(), MIDDLE, 60.0)[1, 0])
    assert abs(found[0]) > 0.1
    assert found[1] == pytest.approx(found[0], rel=1e-4)


@pytest.mark.long
def test_lines_of_several_frequencies_stand_side_by_side(whole_ground):
    """The earth wires of both carry what either load drives, at its own frequency."""
    own, aside = straight(21), straight(21, aside_m=150.0)
    beside = flat_line(aside, measured=False, frequency_hz=60.0)
    found = emf(world(flat_line(own), beside).network(), 10, 60.0)
    for number, hz in enumerate((50.0, 60.0)):
        both = DenseLines(
            tuple(DenseLine(towers, [*FLAT, *WIRES], np.full(21, 10.0), hz=hz) for towers in (own, aside))
        )
        _, currents = both.load(number, SEQUENCES[:, 0] * 500.0)
        expected = both.emf(own[10], lead(60.0), currents)[0]
        assert found[number, 0] == pytest.approx(expected, rel=0.02)
        without = DenseLine((own, aside)[number], [*FLAT, *WIRES], np.full(21, 10.0), hz=hz)
        place = lead(60.0) + own[10] - without.towers_m[0]
        bare = without.emf(0, place, without.load(SEQUENCES[:, 0] * 500.0)[1])
        assert number or abs(bare - expected) > 0.04 * abs(expected)  # the other line's wires matter
