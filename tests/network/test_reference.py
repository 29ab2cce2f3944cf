"""The reference solve against values from outside and against laws it must obey, before anything is held against it.

Sources: Endrenyi 1967, Carson 1926, Tagg 1964 and Kirchhoff's laws, named beside the values that they give.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from .adapter import JobWorld
from .branches import Topology
from .data import Line, Options, Station, Vertex, World, wire
from .earth_return import carson
from .jobs import write_job
from .reference import Network
from .worlds import GENERIC, SAMPLE, generic, parting_corridor, ring, sample_faults, sample_world

A = np.exp(2j * np.pi / 3)
WORLDS = {"sample": sample_world, "corridor": parting_corridor, "ring": ring}
EVERYTHING = Options(mutual_footings=True, own_line="neumann")


def straight(spans, length_m=300.0, footing_ohm=10.0, wires=None, **ends):
    vertices = tuple(Vertex(0.0, i * length_m, str(i), footing_ohm) for i in range(spans + 1))
    return Line("line", vertices, (generic(110) if wires is None else wires,) * spans, **ends)


# ---- networks


def test_endrenyis_line():
    """Zs = 0.10 + j 0.25, Rt = 10 in the middle of a long line: 0.6800 + j 0.4573 (Endrenyi 1967)."""
    network = Network(World((straight(100),)), options=Options(mutual_lines=False))
    network.branch_ohm = np.eye(100) * (0.10 + 0.25j)
    earth = network.at_node.T @ np.linalg.solve(network.electrode_ohm, network.at_node)
    z = np.linalg.inv(earth + network.incidence.T @ np.linalg.inv(network.branch_ohm) @ network.incidence)
    assert z[50, 50] == pytest.approx(0.6800 + 0.4573j, abs=5e-5)
    # and the matrix of the class itself, by Endrenyi's formula with the impedance of its own spans
    whole = Network(World((straight(100),)))
    zs, rt = whole.branch_ohm[0, 0], 10.0
    side = zs / 2 + np.sqrt(zs**2 / 4 + zs * rt)
    assert whole.node_ohm[50, 50] == pytest.approx(1 / (1 / rt + 2 / side), rel=1e-5)


def test_reduction_factor_of_a_long_line():
    """Far from its ends and from the fault the earth wire carries -Zm/Zs of the phase current."""
    network = Network(World((straight(100, footing_ohm=1.0),)))
    state = network.solve(network.fault("line", -1, 1000.0, 0.0))
    heights = {w.phase: w for w in generic(110)}
    zm = carson(heights["E"].height_m, heights["A"].height_m, 4.5, 100.0, 50.0)
    assert state.branch_a[50] == pytest.approx(-1000 * zm * 300 / network.branch_ohm[0, 0], rel=1e-6)


def test_finite_spans_add_up_to_carsons_wire():
    """All spans of a long straight wire, carrying one current, drop in each what an infinite wire does."""
    network = Network(World((straight(80),)), options=Options(own_line="neumann"))
    own = generic(110)[-1]
    per_m = carson(own.height_m, own.height_m, 0.0, 100.0, 50.0, own.gmr_m) + own.ohm_per_m
    assert network.branch_ohm[40].sum() == pytest.approx(per_m * 300, rel=1e-3)
    phase = [j for j, b in enumerate(network.phases) if b.wire.phase == "A"]
    mutual = carson(own.height_m, generic(110)[0].height_m, 4.5, 100.0, 50.0)
    assert network.phase_ohm[40, phase].sum() == pytest.approx(mutual * 300, rel=1e-3)


def test_two_wires_of_a_span_are_branches_with_their_mutual():
    one = Network(World((straight(6, wires=generic(220)),)))
    assert len(one.earth) == 12
    z = carson(22.9, 22.9, 11.0, 100.0, 50.0) * 300
    assert one.branch_ohm[0, 1] == pytest.approx(z, rel=1e-9)
    assert one.branch_ohm[0, 2] == 0  # the next span


@pytest.mark.first(2)
@pytest.mark.parametrize("options", [Options(), EVERYTHING], ids=["ladder", "everything"])
@pytest.mark.parametrize("name", WORLDS)
def test_symmetry_reciprocity_and_conservation(name, options):
    network = Network(WORLDS[name](), options=options)
    assert network.asymmetry < 1e-6
    assert np.abs(network.node_ohm - network.node_ohm.T).max() < 1e-9 * np.abs(network.node_ohm).max()
    assert np.linalg.eigvalsh(network.node_ohm.real).min() > 0  # passive
    assert np.linalg.eigvalsh(network.electrode_ohm).min() > 0
    i, j = 1, network.nodes - 2
    states = [network.solve(network.unit(n)) for n in (i, j)]
    assert states[0].potential_v[j] == pytest.approx(states[1].potential_v[i], rel=1e-9)
    line = network.world.lines[0].name
    station = network.world.stations[0].name
    for excitation in (
        network.fault(line, 4, 6000.0, 3000.0),
        network.load(line, {"A": 20, "B": 20 * A, "C": 25}),
        network.station_fault(station, 1e4, {line: ("A", 1, 3000.0)}),
    ):
        state = network.solve(excitation)
        assert state.electrode_a.sum() == pytest.approx(excitation.injected_a.sum(), rel=1e-9, abs=1e-6)
        at_node = network.at_node.T @ state.electrode_a + network.incidence.T @ state.branch_a
        assert at_node == pytest.approx(excitation.injected_a, rel=1e-9, abs=1e-6)
        drop = network.incidence @ state.potential_v
        driven = network.branch_ohm @ state.branch_a + network.phase_ohm @ excitation.phase_a
        assert driven == pytest.approx(drop, rel=1e-9, abs=1e-6)


@pytest.mark.long
def test_a_line_counted_the_other_way_round_is_the_same_line():
    world = parting_corridor()
    line = world.lines[1]
    back = Line(
        line.name,
        line.vertices[::-1],
        tuple(
            tuple(type(w)(w.phase, -w.offset_m, w.height_m, w.gmr_m, w.ohm_per_m, w.circuit) for w in span)
            for span in line.spans[::-1]
        ),
        end="south",
    )
    for options in (Options(), EVERYTHING):
        one = Network(world, options=options)
        two = Network(World((world.lines[0], back), world.stations, world.soil_ohm_m), options=options)
        a = one.solve(one.fault("two", "B9", 5000.0, 2000.0)).potential_v[one.node("one", "A20")]
        b = two.solve(two.fault("two", "B9", 2000.0, 5000.0)).potential_v[two.node("one", "A20")]
        assert a == pytest.approx(b, rel=1e-6)


def test_two_lines_on_the_same_towers_are_one_line_with_the_wires_of_both():
    """Counted in opposite directions, so that offsets and currents change sign from one to the other."""
    left = (wire("A", -6, 20, 0, 0.01, 1e-4), wire("E", -3, 30, 0, 0.008, 3e-4))
    right = (wire("A", 6, 20, 0, 0.01, 1e-4, 2), wire("E", 3, 30, 0, 0.008, 3e-4))
    one_way = straight(10, wires=(*left, *right))
    back = tuple(type(w)(w.phase, -w.offset_m, w.height_m, w.gmr_m, w.ohm_per_m, w.circuit) for w in right)
    there = Line("there", one_way.vertices, (left,) * 10)
    two_ways = World((there, Line("back", one_way.vertices[::-1], (back,) * 10)))
    for options in (Options(), EVERYTHING):
        one, two = Network(World((one_way,)), options=options), Network(two_ways, options=options)
        assert two.node_ohm == pytest.approx(one.node_ohm, rel=1e-6)
        a = one.solve(one.fault("line", 3, 900.0, 400.0, circuit=2)).potential_v
        b = two.solve(two.fault("back", 7, 400.0, 900.0, circuit=2)).potential_v
        assert b == pytest.approx(a, rel=1e-6)


def test_a_bend_between_towers_passes_the_wire_through():
    straight_on = straight(4)
    v = list(straight_on.vertices)
    v.insert(2, Vertex(0.0, 450.0))  # on the straight course: nothing may change
    bent = Line("line", tuple(v), straight_on.spans[:1] * 5)
    for options in (Options(), EVERYTHING):
        one, two = (Network(World((line,)), options=options) for line in (straight_on, bent))
        assert two.nodes == one.nodes
        assert len(two.earth) == len(one.earth)
        assert two.node_ohm == pytest.approx(one.node_ohm, rel=1e-5)
        a, b = (n.solve(n.fault("line", 1, 1000.0, 500.0)).potential_v for n in (one, two))
        assert b == pytest.approx(a, rel=1e-5)


def test_what_stands_at_one_place_or_hangs_on_one_station_is_one_node():
    corridor = Topology(parting_corridor())
    assert corridor.node("one", -1) == corridor.node("two", -1)
    assert corridor.node("one", 0) == corridor.node("two", 0) == corridor.station_node("south")
    around = Topology(ring())
    assert around.node("north", -1) == around.node("south", -1) != around.node("north", 0)
    sample = Topology(sample_world())
    assert sample.node("kress-tee", "104") == sample.node("ostrel-varnau", "104")
    assert sample.node("tolvenz-varnau", -1) == sample.node("ostrel-varnau", "124") == sample.station_node("Varnau")
    assert sample.node("tolvenz-varnau", 0) != sample.node("ostrel-varnau", 0)


def test_footing_within_a_grid_adds_nothing():
    line = straight(1, wires=(), start="s")
    network = Network(World((line,), (Station("s", 0.5, 0, 0),)), options=Options(mutual_footings=True))
    assert network.node_ohm[0, 0] == pytest.approx(0.5, rel=1e-9)


# ---- fields


def test_emf_on_a_lead_beside_a_straight_line():
    """Phases (-8, 15) (0, 15) (8, 15), 100 A, lead at x = 40, y -50 to 50, 100 ohm m, 50 Hz: 0.1919 V (Carson)."""
    wires = tuple(wire(p, x, 15, 0, 0.01, 0) for p, x in (("A", -8), ("B", 0), ("C", 8)))
    vertices = tuple(Vertex(0.0, y, str(y), 10.0) for y in np.linspace(-8000.0, 8000.0, 41))
    network = Network(World((Line("line", vertices, (wires,) * 40),)))
    state = network.solve(network.load("line", {"A": 100, "B": 100 * A**2, "C": 100 * A}))
    assert abs(network.lead_emf(state, np.array([[40.0, -50.0], [40.0, 50.0]]))) == pytest.approx(0.1919, abs=1.5e-4)
    across = abs(network.lead_emf(state, np.array([[10.0, 0.0], [110.0, 0.0]])))
    assert across < 1e-9


def test_emf_on_a_lead_at_an_angle_tower():
    """The same line bent by 20 deg to the right at the origin, lead (-5, 0) to (-105, 0): 0.02553 V, exact kernel."""
    wires = tuple(wire(p, x, 15, 0, 0.01, 0) for p, x in (("A", -8), ("B", 0), ("C", 8)))
    ahead = np.array([np.sin(np.radians(20)), np.cos(np.radians(20))]) * 8000
    vertices = (Vertex(0.0, -8000.0, "0", 10.0), Vertex(0.0, 0.0, "1", 10.0), Vertex(*ahead, "2", 10.0))
    network = Network(World((Line("line", vertices, (wires,) * 2),)))
    state = network.solve(network.load("line", {"A": 100, "B": 100 * A**2, "C": 100 * A}))
    course = np.array([[-5.0 - 20 * i, 0.0] for i in range(6)])
    assert abs(network.lead_emf(state, course)) == pytest.approx(0.02553, rel=5e-3)


def test_ground_potential_of_a_footing_alone():
    network = Network(World((straight(1, wires=()),)))
    state = network.solve(network.unit(0))
    assert network.ground_v(state, np.array([40.0, 0.0])) == pytest.approx(100 / (2 * np.pi * 40))
    assert network.ground_v(state, np.zeros(2)) == pytest.approx(10.0)  # on the hemisphere: the footing's own rise


@pytest.mark.parametrize(
    ("d_m", "x_m", "degrees", "ratio"),
    [(100, 61.8, 0, 1.0), (100, 100, 90, 0.9354), (100, 50, 90, 0.8947)],
)
def test_reading_of_a_tower_alone_is_taggs(d_m, x_m, degrees, ratio):
    """Fall of potential over a hemisphere of 5 m in uniform soil (Tagg 1964), without earth wires."""
    vertices = Vertex(0.0, 0.0, "0", 100 / (2 * np.pi * 5)), Vertex(0.0, 1e7, "1", 10.0)
    network = Network(World((Line("line", vertices, ((),)),)))
    angle = np.radians(degrees)
    volts, amps = network.reading(0, np.array([d_m, 0.0]), x_m * np.array([np.cos(angle), np.sin(angle)]))
    assert amps == pytest.approx(1.0)
    assert volts.real / vertices[0].footing_ohm == pytest.approx(ratio, abs=6e-5)


# ---- inputs


def test_the_reference_shares_no_code_with_the_package():
    """Only the adapter imports of ``layoutplan``, and of its stages before the voltages; what compares both apart."""
    folder = Path(__file__).parent
    for path in folder.glob("*.py"):
        names = set(re.findall(r"^\s*(?:from|import) (layoutplan[\w.]*)", path.read_text("utf-8"), re.MULTILINE))
        if path.name in ("product.py", "test_product.py"):
            continue
        if path.name == "adapter.py":
            assert not [name for name in names if name.startswith("layoutplan.exposure")]
        else:
            assert names <= ({"layoutplan.electrical"} if path == Path(__file__) else set()), path.name


def test_the_sample_read_here_and_by_the_package_is_the_same():
    """Only positions, conductors, footings and soil are compared: inputs, no result."""
    job = JobWorld(SAMPLE)
    ours, theirs = sample_world(), job.world
    assert {station.name: station.grid_ohm for station in ours.stations} == {
        station.name: station.grid_ohm for station in theirs.stations
    }
    lines = [_towers_only(line) for line in theirs.lines]
    theirs = World(tuple(lines), theirs.stations, theirs.soil_ohm_m)
    for a, b in zip(ours.lines, theirs.lines, strict=True):
        assert [v.name for v in a.vertices] == [v.name for v in b.vertices]
        assert [v.footing_ohm for v in a.vertices] == pytest.approx([v.footing_ohm for v in b.vertices], rel=1e-9)
        assert a.spans == b.spans
    assert {line.name: job.faults(line.name) for line in ours.lines} == sample_faults()
    one, two = (Network(world) for world in (ours, theirs))
    currents = sample_faults()["ostrel-varnau"]["104"]
    for n in (one, two):
        n.found = n.solve(n.fault("ostrel-varnau", "104", *currents)).potential_v
    assert two.found == pytest.approx(one.found, rel=5e-3)


def _towers_only(line: Line) -> Line:
    """The line without what its centreline has beyond the last tower."""
    count = sum(v.footing_ohm is not None for v in line.vertices)
    return Line(line.name, line.vertices[:count], line.spans[: count - 1], line.start, line.end)


@pytest.mark.first(1)
@pytest.mark.parametrize("make", [parting_corridor, ring])
def test_a_world_written_as_a_job_is_read_as_the_same_world(make, tmp_path):
    world = make()
    read = JobWorld(write_job(world, tmp_path), soil_ohm_m=world.soil_ohm_m).world
    one, two = Network(world), Network(read)
    assert two.nodes == one.nodes
    assert [e.ohm for e in two.electrodes] == pytest.approx([e.ohm for e in one.electrodes])
    assert two.node_ohm == pytest.approx(one.node_ohm, rel=1e-4)


def test_generic_sections_are_those_of_the_package():
    from layoutplan.electrical import generic_cross_section

    for kv_, rows in GENERIC.items():
        for row, c in zip(rows, generic_cross_section(kv_).conductors, strict=True):
            theirs = (c.offset_m, c.attachment_height_m, c.sag_m, c.radius_m, c.resistance_ohm_per_m)
            assert row[0] == c.phase
            assert row[1:] == pytest.approx(theirs)
