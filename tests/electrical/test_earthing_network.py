"""The sparse network against chains of towers, a dense solve written from Kirchhoff's laws, and its own symmetries."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.electrical import EarthingNetwork, SolvedNetwork, chain_state, driving_point_impedance
from layoutplan.errors import InputRangeError

NO_PAIR = (np.zeros((0, 2), dtype=np.int64), np.zeros(0, dtype=complex))
NO_FOOTINGS = (np.zeros((0, 2), dtype=np.int64), np.zeros(0))


def chain_of(footing, span):
    nodes = len(footing)
    ends = np.column_stack((np.arange(nodes - 1), np.arange(1, nodes)))
    return EarthingNetwork(nodes, ends, np.asarray(span), np.arange(nodes), np.asarray(footing), *NO_PAIR, *NO_FOOTINGS)


@st.composite
def networks(draw):
    """Trees with loops in them, several footings at some nodes and none at others, pairs of both kinds."""
    nodes, rng = draw(st.integers(2, 12)), np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    tree = [(int(rng.integers(0, i)), i) for i in range(1, nodes)]
    loops = [tuple(rng.choice(nodes, 2, replace=False).tolist()) for _ in range(draw(st.integers(0, 4)))]
    branch = np.array(tree + loops)
    b = len(branch)
    footing = np.concatenate(([0], rng.integers(0, nodes, draw(st.integers(0, 10)))))
    f = len(footing)
    ohm = rng.uniform(1, 50, f)
    own = rng.uniform(0.02, 0.5, b) + 1j * rng.uniform(0.05, 0.6, b)
    wires = [(i, j) for i in range(b) for j in range(i) if rng.random() < 0.3]
    soils = [(i, j) for i in range(f) for j in range(i) if rng.random() < 0.5]
    return EarthingNetwork(
        nodes,
        branch,
        own,
        footing,
        ohm,
        np.array(wires, dtype=np.int64).reshape(-1, 2),
        np.array([0.2 / b * abs(own[[i, j]]).min() * np.exp(1j * rng.uniform(0, 6)) for i, j in wires], dtype=complex),
        np.array(soils, dtype=np.int64).reshape(-1, 2),
        np.array([rng.uniform(0, 0.9) / f * ohm[[i, j]].min() for i, j in soils]),
    )


def causes(network, seed, states=3):
    rng = np.random.default_rng(seed)
    sizes = (network.nodes, len(network.branch), len(network.footing))
    return [rng.normal(size=(n, states)) + 1j * rng.normal(size=(n, states)) for n in sizes]


def dense(network, injected, driven, ground):
    """Nodal solve: branches by their inverted impedances, footings by their inverted resistances."""
    b, f = len(network.branch), len(network.footing)
    z, r = np.diag(network.branch_ohm).astype(complex), np.diag(network.footing_ohm)
    for (i, j), ohm in zip(network.branch_pair, network.branch_pair_ohm, strict=True):
        z[i, j] = z[j, i] = ohm
    for (i, j), ohm in zip(network.footing_pair, network.footing_pair_ohm, strict=True):
        r[i, j] = r[j, i] = ohm
    join, at = np.zeros((b, network.nodes)), np.zeros((f, network.nodes))
    join[np.arange(b), network.branch[:, 0]] += 1
    join[np.arange(b), network.branch[:, 1]] -= 1
    at[np.arange(f), network.footing] = 1
    y = join.T @ np.linalg.solve(z, join) + at.T @ np.linalg.solve(r, at)
    put = injected - join.T @ np.linalg.solve(z, driven) + at.T @ np.linalg.solve(r, ground)
    v = np.linalg.solve(y, put)
    return v, np.linalg.solve(z, join @ v + driven), np.linalg.solve(r, at @ v - ground)


@given(networks(), st.integers(0, 2**32 - 1))
def test_equals_a_dense_nodal_solve(network, seed):
    # Source: Kirchhoff's laws, own dense reference.
    given = causes(network, seed)
    found = SolvedNetwork(network).state(*given, states=3)
    for part, expected in zip(
        (found.potential_v, found.branch_a, found.footing_a), dense(network, *given), strict=True
    ):
        assert part == pytest.approx(expected, rel=1e-6, abs=1e-6 * np.abs(expected).max())


@given(networks(), st.integers(0, 2**32 - 1))
def test_current_is_conserved_at_every_node_and_as_a_whole(network, seed):
    # Source: Kirchhoff's laws.
    given = causes(network, seed)
    found = SolvedNetwork(network).state(*given, states=3)
    out = np.zeros((network.nodes, 3), dtype=complex)
    np.add.at(out, network.branch[:, 0], found.branch_a)
    np.add.at(out, network.branch[:, 1], -found.branch_a)
    np.add.at(out, network.footing, found.footing_a)
    scale = np.abs(found.potential_v).max()
    assert np.abs(given[0] - out).max() < 1e-8 * (1 + scale)
    assert np.abs(given[0].sum(axis=0) - found.footing_a.sum(axis=0)).max() < 1e-7 * (1 + scale)


@given(networks())
def test_the_matrix_is_symmetric(network):
    # Derived here: mutual impedances stand on both sides alike, and incidence enters with its transpose.
    matrix = network.matrix()
    assert abs(matrix - matrix.T).max() == 0


@given(networks(), st.data())
def test_reciprocity(network, data):
    """What 1 A at one place makes at another, 1 A there makes here; likewise for all unknowns."""
    # Derived here: the inverse of a symmetric matrix is symmetric.
    one, two = (data.draw(st.integers(0, network.size - 1)) for _ in range(2))
    found = SolvedNetwork(network).solve(np.eye(network.size)[:, [one, two]])
    assert found[two, 0] == pytest.approx(found[one, 1], rel=1e-6, abs=1e-9)


@given(networks(), st.data())
def test_no_node_stands_higher_than_the_one_that_is_fed(network, data):
    """Passive: real power goes into it. Without mutual parts no potential exceeds that of the node itself."""
    # Derived here: passive: the power v i fed in at one node, 1 A, is v and cannot be negative.
    node = data.draw(st.integers(0, network.nodes - 1))
    state = SolvedNetwork(network).state(np.eye(network.nodes)[:, [node]])
    assert state.potential_v[node, 0].real > 0


@given(networks(), st.integers(0, 2**32 - 1))
def test_states_add_up(network, seed):
    # Derived here: node equations are linear, so states add up.
    injected, driven, ground = causes(network, seed, 1)
    factors = SolvedNetwork(network)
    total = factors.state(injected, driven, ground)
    parts = [factors.state(injected), factors.state(branch_v=driven), factors.state(ground_v=ground)]
    for name in ("potential_v", "branch_a", "footing_a"):
        summed = sum(getattr(part, name) for part in parts)
        assert getattr(total, name) == pytest.approx(summed, rel=1e-8, abs=1e-8 * (1 + np.abs(summed).max()))


@given(st.integers(2, 40), st.integers(0, 2**32 - 1))
def test_one_chain_is_the_chain_of_towers(count, seed):
    # Source: the other solver of this package, held against Endrenyi 1967 in test_earth_wire_chain.py.
    rng = np.random.default_rng(seed)
    footing = rng.uniform(1, 100, count)
    span = rng.uniform(0.02, 0.5, count - 1) + 1j * rng.uniform(0.05, 0.6, count - 1)
    network = chain_of(footing, span)
    injected, driven, _ = causes(network, seed, 1)
    found = SolvedNetwork(network).state(injected, driven)
    expected = chain_state(footing, span, driven[:, 0], injected[:, 0])
    assert found.potential_v[:, 0] == pytest.approx(expected.potential_v, rel=1e-6, abs=1e-7)
    assert found.branch_a[:, 0] == pytest.approx(expected.span_current_a, rel=1e-6, abs=1e-7)
    assert found.footing_a[:, 0] == pytest.approx(expected.tower_current_a, rel=1e-6, abs=1e-7)
    seen = np.diag(SolvedNetwork(network).state(np.eye(count), states=count).potential_v)
    assert seen == pytest.approx(driving_point_impedance(footing, span), rel=1e-6)


def test_a_footing_beside_another_at_one_node_is_in_parallel():
    # Source: Kirchhoff's laws.
    network = EarthingNetwork(1, np.zeros((0, 2), dtype=np.int64), np.zeros(0, dtype=complex), np.array([0, 0]),
                              np.array([10.0, 2.5]), *NO_PAIR, *NO_FOOTINGS)  # fmt: skip
    state = SolvedNetwork(network).state([[1.0]])
    assert state.potential_v[0, 0] == pytest.approx(2.0, rel=1e-6)
    assert state.footing_a[:, 0] == pytest.approx([0.2, 0.8], rel=1e-6)


def test_footings_that_lift_each_other_help_less():
    """Two alike, R and m: (R + m)/2 together."""
    # Source: two equal coupled resistances, Sunde 1949, ch. 3 (from memory).
    network = EarthingNetwork(1, np.zeros((0, 2), dtype=np.int64), np.zeros(0, dtype=complex), np.array([0, 0]),
                              np.array([10.0, 10.0]), *NO_PAIR, np.array([[0, 1]]), np.array([3.0]))  # fmt: skip
    assert SolvedNetwork(network).state([[1.0]]).potential_v[0, 0] == pytest.approx(6.5, rel=1e-6)


def test_node_that_nothing_leads_to_keeps_the_network_solvable():
    # No source: this package's own bookkeeping.
    network = EarthingNetwork(3, np.array([[0, 1]]), np.array([0.1 + 0.3j]), np.array([0]), np.array([10.0]), *NO_PAIR,
                              *NO_FOOTINGS)  # fmt: skip
    state = SolvedNetwork(network).state([[1.0], [0.0], [0.0]])
    assert state.potential_v[:, 0] == pytest.approx([10.0, 10.0, 0.0], abs=1e-6)


@given(st.integers(0, 2**32 - 1))
def test_a_part_is_right_where_the_state_has_died_away(seed):
    """Footings of 5 ohm and spans of 0.3 ohm: 30 spans on hardly anything of it is left."""
    # Source: own reference: the whole network.
    rng = np.random.default_rng(seed)
    footing, span = rng.uniform(3, 7, 121), rng.uniform(0.2, 0.4, 120) * np.exp(1j * rng.uniform(0.8, 1.3, 120))
    network = chain_of(footing, span)
    keep = np.abs(np.arange(121) - 60) <= 45
    part, unknown = network.part(keep)
    unit = np.zeros((network.size, 1))
    unit[60] = 1.0
    whole = SolvedNetwork(network).solve(unit)[unknown, 0]
    local = np.zeros((part.size, 1))
    here = np.arange(len(unknown)) + (np.arange(len(unknown)) >= keep.sum())  # its last node stands for the rest
    local[here, 0] = unit[unknown, 0]
    assert SolvedNetwork(part).solve(local)[here, 0] == pytest.approx(whole, abs=1e-3 * abs(whole).max())


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"branch_ohm": np.array([0.0 + 0j])}, "branch_ohm holds a 0"),
        ({"branch_ohm": np.array([np.inf + 0j])}, "leave a missing earth wire out"),
        ({"footing_ohm": np.array([0.0, 5.0])}, "footing_ohm"),
        ({"footing_ohm": np.array([-3.0, 5.0])}, "footing_ohm"),
    ],
)
def test_values_that_cannot_be(changes, message):
    # No source: this package's own check of what it is given.
    base = chain_of([10.0, 5.0], [0.1 + 0.3j])
    values = {name: changes.get(name, getattr(base, name)) for name in base.__slots__}
    with pytest.raises(InputRangeError, match=message):
        SolvedNetwork(EarthingNetwork(**values))
