"""Faults of lines that run beside a tower and do not hang on it: what they do to its leads is never left out."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from layoutplan.electrical import chain_state
from layoutplan.errors import JobError
from layoutplan.exposure.beside import span_shares
from layoutplan.planning.electrics import exposures_table

from .dense import DenseLine
from .test_exposures_table import keys
from .worlds import BALANCED, FLAT, WIRES, Course, assessed, ends, flat_line, lead, straight, world

OWN = {"current_ka": 0.03, "clearing_time_s": 0.2}
BESIDE = {"from_start_ka": 25.0, "from_end_ka": 15.0, "clearing_time_s": 0.5}
NAME = "by a fault of a line beside"
ASIDE_M, H_DEG, S_DEG = 35.0, 60.0, 250.0


def line(aside_m: float = 0.0, fault: dict | None = OWN, **settings: object) -> Course:
    return flat_line(straight(21, aside_m=aside_m), load=BALANCED, fault=fault, **settings)


def found_of(*courses: Course, tower: int | list[int] = 10) -> tuple:
    network = world(line(), *courses).network()
    found = assessed(network, tower, H_DEG, S_DEG)
    return network, found, {item.name: item for item in found.leads.exposures}


GRIDS = {"start_grid_ohm": 0.4, "end_grid_ohm": 0.2}


@pytest.mark.parametrize("wires", [True, False])
def test_it_is_what_it_induces_and_how_it_lifts_the_ground(wires):
    """By a dense solve, and by hand: I rho/(2 pi r) about the tower 35 m off. The tower itself has no earth wire."""
    network = world(line(wires=False), line(ASIDE_M, BESIDE, measured=False, wires=wires)).network()
    found = assessed(network, 10, H_DEG, S_DEG)
    exposures = {item.name: item for item in found.leads.exposures}
    dense = DenseLine(straight(21, aside_m=ASIDE_M), [*FLAT, *(WIRES if wires else ())], np.full(21, 10.0))
    for side, bearing in enumerate((H_DEG, S_DEG)):
        states = {at: dense.fault(at, 0, 25e3, 15e3) for at in (9, 10, 11)}
        induced = max(abs(dense.emf(10, lead(bearing) - [ASIDE_M, 0.0], current)) for _, current in states.values())
        rise = abs(states[10][0][10])
        away = np.hypot(*(ends(bearing)[0] - [ASIDE_M, 0.0]))
        tower, stake = (rise / 10.0 * 100.0 / (2 * np.pi * r) for r in (ASIDE_M, away))
        expected = induced + max(stake, abs(tower - stake))
        assert exposures[NAME].value[0, side] == pytest.approx(expected, rel=5e-3)
    assert exposures[NAME].limit.value == pytest.approx(220.0)  # of that line's clearing time
    assert exposures["induced by a fault"].limit.value == pytest.approx(537.0)
    assert all(str(text).startswith("above a limit") for text in found.leads.handling("under a fault").ravel())


@pytest.mark.parametrize("aside_m", [ASIDE_M, 400.0])
@pytest.mark.parametrize("wires", [True, False])
def test_the_earth_wires_of_the_tower_carry_it_there(aside_m, wires):
    """The voltage along every span of the tower's own line, by the reference, put into its chain."""
    own, beside = line(**GRIDS), line(aside_m, BESIDE, measured=False, wires=wires, **GRIDS)
    network = world(own, beside).network()
    found = assessed(network, [3, 10, 17], H_DEG, S_DEG)
    bare = assessed(world(line(wires=False), beside).network(), [3, 10, 17], H_DEG, S_DEG)
    more = [next(item for item in each.leads.exposures if item.name == NAME).value[:, 0] for each in (found, bare)]
    dense = DenseLine(straight(21, aside_m=aside_m), [*FLAT, *(WIRES if wires else ())], np.full(21, 10.0), **GRIDS)
    chain, towers = network.sources[0].chain, straight(21)
    for row, tower in enumerate((3, 10, 17)):
        rises = []
        for at in (tower - 1, tower, tower + 1):
            _, current = dense.fault(at, 0, 25e3, 15e3)
            along = [dense.emf(0, towers[k : k + 2] - dense.towers_m[0], current) for k in range(20)]
            state = chain_state(chain.footing_ohm, chain.span_ohm, span_voltage_v=along)
            rises.append(abs(state.potential_v[tower]))
        assert more[0][row] - more[1][row] == pytest.approx(max(rises), rel=0.05)
        assert max(rises) > 110.0  # more than half of the limit, even at 400 m


def test_its_own_fault_alone_would_be_below_half_of_every_limit():
    """What the plan said before lines beside were looked at: the case that shows it matters."""
    _, found, exposures = found_of()
    assert NAME not in exposures
    assert all(str(text).startswith("below half") for text in found.leads.handling("under a fault").ravel())


@pytest.mark.parametrize(
    "beside",
    [
        line(ASIDE_M, None),
        line(ASIDE_M, None, measured=False),
        Course(straight(21, aside_m=900.0), {"voltage_kv": None}),
    ],
    ids=["no fault", "not measured", "no voltage"],
)
def test_a_fault_of_unknown_size_makes_the_handling_unknown(beside):
    network, found, exposures = found_of(beside, tower=[1, 10])
    assert np.isnan(exposures[NAME].ratio).all()
    assert all(str(text).startswith("unknown") for text in found.leads.handling("under a fault").ravel())
    assert np.isnan(found.leads.worst_ratio("under a fault")).all()
    assert np.isfinite(found.leads.emf_fault_v).all()  # its own
    table = exposures_table(found, network, keys())
    texts = table[table["exposure"] == NAME]["assumptions"]
    assert texts.str.startswith("unknown: ").all()
    assert texts.str.contains("fault current of a line near by not given").all()


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("second", [None, {"current_ka": 1e-3, "clearing_time_s": 0.2}], ids=["unknown", "small"])
def test_the_worst_line_beside_counts_in_whatever_order(order, second):
    both = [line(ASIDE_M, BESIDE), line(-60.0, second)]
    network, found, exposures = found_of(*both[::order])
    assert all(str(text).startswith("above a limit") for text in found.leads.handling("under a fault").ravel())
    worst = "line 1" if order == 1 else "line 2"
    assert exposures[NAME].caused_by == [worst]
    table = exposures_table(assessed(network, [1, 3], 60.0, 250.0), network, keys())
    assert table[table["exposure"] == NAME]["assumptions"].str.contains(f"line '{worst}'").all()


@pytest.mark.parametrize("order", [1, -1])
def test_an_unknown_one_outweighs_one_known_to_keep_the_limit(order):
    both = [line(ASIDE_M, {"current_ka": 1e-3, "clearing_time_s": 0.2}), line(-60.0, None)]
    _, found, exposures = found_of(*both[::order])
    assert np.isnan(exposures[NAME].ratio).all()
    assert all(str(text).startswith("unknown") for text in found.leads.handling("under a fault").ravel())


def test_only_towers_with_such_a_line_have_the_row():
    """The second line begins 4 km north of the first one's start, 400 km off it at the other towers."""
    far = straight(21) + np.array([4e5, 0.0])
    away = np.vstack((straight(21, aside_m=ASIDE_M)[:2], far[2:]))
    course = flat_line(away, load=BALANCED, fault=BESIDE, measured=False)
    network = world(line(), course).network()
    table = exposures_table(assessed(network, [1, 20], 60.0, 250.0), network, keys())
    rows = table[table["exposure"] == NAME]
    assert rows["tower_id"].nunique() == 1
    assert len(rows) == 2
    found = assessed(network, [20], 60.0, 250.0)
    assert np.isfinite(found.leads.worst_ratio("under a fault")).all()


def test_a_line_on_the_same_towers_is_not_beside():
    _, _, exposures = found_of(line(0.0, BESIDE))
    assert NAME not in exposures


def test_its_clearing_time_must_be_one_that_the_standard_knows():
    with pytest.raises(JobError, match=r"line 'line 1', fault\.clearing_time_s"):
        found_of(line(ASIDE_M, BESIDE | {"clearing_time_s": 60.0}))


def test_what_each_piece_of_a_chain_does_to_a_tower_against_the_whole_chain():
    """By reciprocity it is the current there for 1 A put into the tower; one span is without earth wire."""
    (source,) = world(flat_line(straight(31))).network().sources
    span_ohm = source.chain.span_ohm.copy()
    span_ohm[20] = np.inf
    source = dataclasses.replace(source, chain=dataclasses.replace(source.chain, span_ohm=span_ohm))
    pieces = {0: [0, 1, 2, 5, 9], 7: [0, 3, 7, 8, 30], 19: [17, 18, 19, 22, 22], 21: [18, 20, 21, 24, 30],
              30: [2, 12, 28, 29, 30]}  # fmt: skip
    found = span_shares(source, np.array([*pieces]), np.array([*pieces.values()]))
    chainage = source.course.axis.chainage_m
    for row, (vertex, at) in enumerate(pieces.items()):
        current = chain_state(source.chain.footing_ohm, span_ohm, injected_current_a=np.eye(31)[vertex]).span_current_a
        along = np.concatenate(([0.0], np.cumsum(-current * np.diff(chainage))))
        length = np.diff(chainage[at])
        want = np.divide(np.diff(along[at]), length, out=np.zeros(4, dtype=complex), where=length > 0)
        assert found[row] == pytest.approx(want, rel=1e-9, abs=1e-12)
