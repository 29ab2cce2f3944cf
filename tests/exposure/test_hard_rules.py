"""Limits on voltage and reading as hard rules: chosen positions keep them, and reports name them.

Sources: the job's own limits, common practice, no source; figures against those of the assessment.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely

from layoutplan.errors import JobError
from layoutplan.exposure import CouplingTable, Network, fan_terms, measured, require_figures
from layoutplan.exposure.readings import readings
from layoutplan.planning.asked import Asked
from layoutplan.planning.electrics import stake_places
from layoutplan.siting import Sited, build_obstacles, site_towers
from layoutplan.siting.relaxation import FARTHEST
from layoutplan.terrain import Dem, slope_figures

from ..effort import some
from .worlds import UNBALANCED, Course, World, emf, flat_line, straight, world

ROWS = np.array([4, 6])
MAP = {
    "feature_id": "f",
    "obstacle_class": "river_canal",
    "name": "",
    "width_m": 0.0,
    "source": "scene",
}


def sited(place: World, *walls: Any) -> tuple[Sited, Network]:
    """Towers 5 and 7 of the first line, by the path that planning takes."""
    job, network, model = place.job, place.network(), place.model()
    shapes = [shapely.transform(wall, place.place) for wall in walls]
    table = {key: np.array([value] * len(walls), dtype=object) for key, value in MAP.items()}
    features = gpd.GeoDataFrame(table | {"width_m": np.zeros(len(walls))}, geometry=shapes, crs="EPSG:4326")
    obstacles, _ = build_obstacles(features, model.spans, job.obstacle_classes, permitted_given=False)
    reach = job.rules.reach_m * FARTHEST + 1.0
    require_figures(network)
    terms = fan_terms(network, measured(network), ROWS, reach, CouplingTable(network, reach))
    towers = network.towers.rows(ROWS)
    asked = Asked(terms, slope_figures(Dem(), towers, job, reach))  # no elevation model: nothing known of slopes
    return site_towers(towers, obstacles, job, asked), network


def chosen(found: Sited) -> tuple[np.ndarray, np.ndarray]:
    tower, place = stake_places(found)
    return ROWS[tower], place


def volts(found: Sited, network: Network) -> np.ndarray:
    """What the leads really pick up, summed over lines and sequences."""
    tower, place = chosen(found)
    bearing = np.degrees(np.arctan2(place[..., 0], place[..., 1]))
    length = np.hypot(place[..., 0], place[..., 1])
    return np.array(
        [
            [np.abs(emf(network, int(t), float(b), float(d))).sum() for b, d in zip(*row, strict=True)]
            for t, row in zip(tower, np.stack((bearing, length), axis=1), strict=True)
        ]
    )


def figures(found: Sited, network: Network) -> Any:
    tower, place = chosen(found)
    return readings(network, measured(network), tower, place[:, 0], place[:, 1])


def askew(**rules: Any) -> World:
    """A second line of 3 kA that passes 45 degrees askew."""
    own = flat_line(straight(11), load=UNBALANCED)
    other = flat_line(straight(21, 45.0, 130.0), load=UNBALANCED | {"current_a": 3000.0}, measured=False)
    return world(own, other, rules=rules)


def with_rule(place: World, **rules: float) -> World:
    return place.but(settings=place.settings | {"rules": place.settings["rules"] | rules})


def test_chosen_leads_keep_the_limit_on_voltage():
    """Tower 7 can, at tower 5 the second line is too near."""
    free, network = sited(askew())
    limit = 0.85
    assert (volts(free, network).max(axis=1) > limit).all()
    kept, _ = sited(askew(max_induced_v=limit))
    assert chosen(kept)[0].tolist() == [6]
    assert volts(kept, network).max() <= limit * 1.01
    assert (kept.chosen.terms["induced_v"] <= limit).all()
    assert kept.chosen.allowed.all()


@pytest.mark.long
def test_limit_on_voltage_is_named_and_its_relaxation_gives_a_layout():
    place = askew(max_induced_v=0.6)
    found, _ = sited(place)
    assert "induced_voltage" in found.exclusions.rule
    offered = [(t, i) for t, items in found.relaxations.items() for i in items if i.rule == "induced_voltage"]
    assert offered, "of two towers without layout one needs less than twice the limit"
    for tower, item in offered:
        assert (item.limit, item.unit) == (0.6, "V")
        assert f"induced voltage of {item.needed:g} V instead of 0.6 V" in item.text
        assert "asset owner" in item.text
        again, network = sited(with_rule(place, max_induced_v=item.needed))
        assert tower in again.chosen.rays.tower
        assert volts(again, network).max() <= item.needed * 1.01
        less, _ = sited(with_rule(place, max_induced_v=item.needed - 0.11))
        assert tower not in less.chosen.rays.tower or less.same_side[tower]


def test_more_than_twice_the_limit_on_voltage_is_not_offered():
    found, _ = sited(askew(max_induced_v=0.2))
    assert len(found.relaxations) == 2
    assert not any(item.rule == "induced_voltage" for items in found.relaxations.values() for item in items)


def test_limit_on_bias():
    """24 ohm metres over the distance, of 10 ohm: a limit sends stakes out, and is named where that is not enough."""
    line = flat_line(straight(11), wires=False)
    near, network = sited(world(line))
    limit = 3.5
    assert np.abs(figures(near, network).bias_pct).max() > limit
    far, _ = sited(world(line, rules={"max_bias_pct": limit}))
    assert len(far.chosen) == 4
    assert np.abs(figures(far, network).bias_pct).max() <= limit
    assert far.chosen.distance_m.min() > near.chosen.distance_m.max()
    place = world(line, rules={"max_bias_pct": 1.0})
    found, _ = sited(place)
    assert "reading_bias" in found.exclusions.rule
    for tower, items in found.relaxations.items():
        (item,) = (item for item in items if item.rule == "reading_bias")
        assert (item.limit, item.unit) == (1.0, "%")
        again, network = sited(with_rule(place, max_bias_pct=item.needed))
        assert tower in again.chosen.rays.tower
        assert np.abs(figures(again, network).bias_pct).max() <= item.needed


WALLS = (shapely.box(-400, -2000, -20, 2000),)  # a river all along the left side: both stakes on the right


@pytest.mark.long
def test_limit_on_coupling():
    base = {"same_side_min_angle_deg": 60.0}
    free, network = sited(world(flat_line(straight(11)), rules=base), *WALLS)
    assert free.same_side.all()
    most = figures(free, network).coupling_pct.max()
    limit = 0.7 * most
    kept, _ = sited(world(flat_line(straight(11)), rules=base | {"max_coupling_pct": limit}), *WALLS)
    assert len(kept.chosen) == 4
    assert figures(kept, network).coupling_pct.max() <= limit


@pytest.mark.long
def test_limit_on_coupling_is_named_and_its_relaxation_gives_a_layout():
    """With 60 degrees to the line no two leads on opposite sides are at right angles, where nothing couples."""
    place = world(flat_line(straight(11)), rules={"max_coupling_pct": 0.05, "min_angle_deg": 60.0})
    found, _ = sited(place)
    assert sorted(found.relaxations) == [0, 1]
    for tower, items in found.relaxations.items():
        assert [item.rule for item in items] == ["lead_coupling"]
        again, network = sited(with_rule(place, max_coupling_pct=items[0].needed))
        assert tower in again.chosen.rays.tower
        assert figures(again, network).coupling_pct.max() <= items[0].needed


UNKNOWN = Course(straight(11), {"voltage_kv": None})
BESIDE = Course(straight(11, aside_m=90.0), {"voltage_kv": None, "measured": False, "id": "other"})


@pytest.mark.parametrize(
    ("courses", "rules", "words"),
    [
        ([UNKNOWN], {"max_induced_v": 5.0}, ["rules.max_induced_v", "line 'line 0' has no voltage_kv"]),
        ([UNKNOWN], {"max_bias_pct": 5.0}, ["rules.max_bias_pct", "line 'line 0' has no voltage_kv"]),
        ([UNKNOWN], {"max_coupling_pct": 5.0}, ["rules.max_coupling_pct", "line 'line 0' has no voltage_kv"]),
        ([flat_line(straight(11), load=None)], {"max_induced_v": 5.0}, ["line 'line 0' has no [lines.load]"]),
        ([flat_line(straight(11)), BESIDE], {"max_induced_v": 5.0}, ["line 'other' has no voltage_kv"]),
    ],
)
def test_limit_on_what_is_unknown(courses, rules, words):
    with pytest.raises(JobError) as caught:
        require_figures(world(*courses, rules=rules).network())
    for word in words:
        assert word in str(caught.value)


def test_unknown_line_beside_does_not_forbid_a_limit_on_the_reading():
    rules = {"max_bias_pct": 5.0, "max_coupling_pct": 5.0}
    for courses in ([flat_line(straight(11)), BESIDE], [flat_line(straight(11), load=None)]):
        require_figures(world(*courses, rules=rules).network())


LAYERED = {"resistivity_ohm_m": 300.0, "lower_resistivity_ohm_m": 60.0, "upper_thickness_m": 12.0}


@pytest.mark.first(2)
@pytest.mark.parametrize("soil", [{"resistivity_ohm_m": 100.0}, LAYERED])
@pytest.mark.parametrize("legs_only", [True, False])
@pytest.mark.parametrize("limit", some([6.0, 15.0, 40.0], 2))
def test_limit_on_bias_holds_for_pairs_on_one_side(soil: dict[str, float], legs_only: bool, limit: float) -> None:
    """Both on the right: they keep the limit as a pair, or there is no pair, and that is said."""
    line = flat_line(straight(11))
    found, network = sited(
        world(line, method={"legs_only": legs_only}, soil=soil, rules={"max_bias_pct": limit}), *WALLS
    )
    if len(found.chosen):
        assert found.same_side[np.unique(found.chosen.rays.tower)].all()
        assert np.abs(figures(found, network).bias_pct).max() <= limit + 1e-6
    for ways in found.relaxations.values():
        assert any(way.rule == "reading_bias" for way in ways)
