"""What siting looks up while it chooses, against the same figures worked out in full.

Sources: against own full assessment, no source.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from layoutplan.exposure import CouplingTable, FanTerms, Network, fan_terms, measured
from layoutplan.exposure.induced import fan_emf, load_emf
from layoutplan.exposure.readings import readings

from .test_load_emf import bent
from .worlds import UNBALANCED, Course, World, ends, flat_line, lead, straight, world

REACH = 143.0
WORLDS = {
    "straight": world(flat_line(load=UNBALANCED | {"maximum_a": 900.0})),
    "angle": world(flat_line(bent(60.0), load=UNBALANCED)),
    "beside": world(
        flat_line(load=UNBALANCED),
        flat_line(straight(aside_m=60.0), load=UNBALANCED, measured=False, frequency_hz=60.0),
        flat_line(straight(bearing_deg=30.0, aside_m=-90.0), load=UNBALANCED, measured=False),
    ),
    "low": world(Course(straight(span_m=80.0), {"voltage_kv": 20.0, "load": UNBALANCED})),
    "antimeridian": world(flat_line(straight(bearing_deg=50.0), load=UNBALANCED)).but(lon=179.99, lat=-17.0),
    "far north": world(flat_line(bent(20.0), load=UNBALANCED)).but(lon=25.0, lat=84.0),
}


def terms_of(network: Network, tower: int = 20, reach: float = REACH) -> FanTerms:
    return fan_terms(network, measured(network), np.array([tower]), reach, CouplingTable(network, reach))


def told(terms: FanTerms, bearing: Any, distance: Any) -> dict[str, np.ndarray]:
    bearing, distance = np.broadcast_arrays(np.asarray(bearing, float), np.asarray(distance, float))
    found = terms(np.zeros(bearing.size, dtype=np.int64), bearing.ravel(), distance.reshape(-1, 1))
    return {name: values[:, 0] for name, values in found.items()}


def in_full(network: Network, bearing: np.ndarray, distance: np.ndarray, tower: int = 20) -> np.ndarray:
    leads = np.stack([lead(b, d) for b, d in zip(bearing, distance, strict=True)])
    return np.abs(load_emf(network, np.array([tower]), leads[None])[0]).sum(axis=(-2, -1))


@pytest.mark.first(2)
@pytest.mark.parametrize("name", WORLDS)
def test_looked_up_voltage(name):
    """Within 1 % of a lead along the line of the same length, and 2 % and 7 % nearer to its direction."""
    network = WORLDS[name].network()
    rng = np.random.default_rng(7)
    bearing, distance = rng.uniform(0, 360, 400), rng.uniform(50, REACH, 400)
    spans = [network.towers.adjoining_deg[20], *([np.array([30.0, 210.0])] if name == "beside" else [])]
    off = np.abs((bearing[:, None] - np.concatenate(spans) + 90) % 180 - 90).min(axis=1)
    found = told(terms_of(network), bearing, distance)["induced_v"]
    along = in_full(network, np.full(400, network.towers.ahead_deg[20]), distance)
    error = np.abs(found - in_full(network, bearing, distance)) / along
    assert error[off >= 15].max() < 0.01
    assert error[off < 15].max() < 0.07
    assert error[(off >= 5) & (off < 15)].max() < 0.02


@pytest.mark.long
def test_four_points_for_a_panel_of_a_ray_are_enough(monkeypatch):
    """Within 0.1 % of ten, of what a lead along the line picks up."""
    for name in ("straight", "angle", "low", "beside"):
        network = WORLDS[name].network()
        rays = (network, np.array([20]), np.arange(0, 360, 7.0)[None], np.arange(10.0, 150.0, 10.0))
        four = fan_emf(*rays)
        monkeypatch.setattr("layoutplan.exposure.induced._ORDER", 10)
        ten = fan_emf(*rays)
        monkeypatch.undo()
        assert np.abs(four - ten).sum(axis=(-2, -1)).max() < 1e-3 * np.abs(ten).sum(axis=(-2, -1)).max()


def test_greatest_load_counts_and_not_the_usual():
    usual, greatest = (world(flat_line(load=UNBALANCED | extra)).network() for extra in ({}, {"maximum_a": 900.0}))
    one, other = (told(terms_of(network), 60.0, 100.0)["induced_v"] for network in (usual, greatest))
    assert other == pytest.approx(900 / 500 * one, rel=1e-9)


def test_all_round_without_a_seam():
    terms = terms_of(WORLDS["angle"].network())
    at = np.array([359.999999, 0.0, 1e-6, 360.0])
    assert np.ptp(told(terms, at, 87.0)["induced_v"]) < 1e-5


def test_many_distances_at_once_and_some_towers_only():
    network = WORLDS["straight"].network()
    rows = np.array([3, 20, 33])
    both = fan_terms(network, measured(network), rows, REACH, CouplingTable(network, REACH))
    distance = np.array([[60.0, 61.5, 140.0], [70.0, 99.0, 100.0]])
    found = both(np.array([0, 2]), np.array([60.0, 200.0]), distance)
    for row, (tower, bearing) in enumerate(((3, 60.0), (33, 200.0))):
        alone = told(terms_of(network, tower), np.full(3, bearing), distance[row])
        part = both.rows(np.array([2 * row]))(np.array([0]), np.array([bearing]), distance[row : row + 1])
        for name in ("induced_v", "bias_pct"):
            assert found[name][row] == pytest.approx(alone[name], rel=1e-12)
            assert part[name][0] == pytest.approx(alone[name], rel=1e-12)


@pytest.mark.parametrize("legs_only", [True, False])
def test_bias_is_that_of_two_leads_of_this_length_on_opposite_sides(legs_only):
    network = world(flat_line(), method={"legs_only": legs_only}).network()
    terms = terms_of(network)
    for distance in (60.0, 87.0, 140.0):
        h, s = ends(80.0, distance), ends(260.0, distance)
        exact = readings(network, measured(network), np.array([20]), h, s).bias_pct[0]
        # straight between bearings of 15 degrees and distances of 10 m: 0.02 of 100
        assert told(terms, 80.0, distance)["bias_pct"][0] == pytest.approx(abs(exact), rel=0.01, abs=0.02)


def test_coupling_of_a_pair_in_per_cent_of_the_reading():
    network = WORLDS["straight"].network()
    terms = terms_of(network)
    found = terms.coupling_pct(0, np.array([90.0, 30.0]), np.array([120.0, 80.0]))[0, 1]
    exact = readings(network, measured(network), np.array([20]), ends(90.0, 120.0), ends(30.0, 80.0)).coupling_pct[0]
    assert exact <= found <= 1.08 * exact  # how much the earth wires take is asked at the full reach


def unknown_axes(aside_m: float) -> Course:
    return Course(straight(aside_m=aside_m), {"voltage_kv": None, "measured": False})


def no_load(aside_m: float) -> Course:
    return flat_line(straight(aside_m=aside_m), load=None, measured=False)


@pytest.mark.first(1)
@pytest.mark.parametrize("beside", [unknown_axes, no_load], ids=["no voltage", "no load"])
@pytest.mark.parametrize(("aside", "known"), [(500.0, False), (3000.0, True)])
def test_line_of_unknown_load_near_by_makes_the_voltage_unknown(beside, aside, known):
    network = world(flat_line(), beside(aside)).network()
    found = told(terms_of(network), [90.0, 30.0], 100.0)
    assert np.isfinite(found["induced_v"]).tolist() == [known, known]
    assert np.isfinite(found["bias_pct"]).all()


def test_unknown_span_counts_where_it_passes_and_not_where_its_towers_stand():
    """Given by its two ends, 6 km away each way."""
    beside = Course(straight(2, aside_m=300.0, span_m=12000.0), {"voltage_kv": 110.0, "measured": False})
    assert np.isnan(told(terms_of(world(flat_line(), beside).network()), 60.0, 100.0)["induced_v"]).all()


@pytest.mark.parametrize("voltage", [None, 220.0])
def test_own_line_unknown(voltage):
    """Without voltage nothing is known; without load the bias is."""
    network = World((Course(straight(), {"voltage_kv": voltage}),)).network()
    found = told(terms_of(network), [90.0, 30.0], 100.0)
    assert np.isnan(found["induced_v"]).all()
    assert np.isnan(found["bias_pct"]).all() == (voltage is None)
    coupled = terms_of(network).coupling_pct(0, np.array([0.0, 60.0]), np.full(2, 100.0))
    assert np.isnan(coupled).all() == (voltage is None)
