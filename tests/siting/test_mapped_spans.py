"""A mapped power line that comes to the tower is one of its spans."""

import numpy as np
import pytest
import shapely

from .scenes import Feature, north_line


def line_to(x: float, y: float, start: tuple[float, float] = (0.0, 0.0)) -> Feature:
    return Feature("power_line", shapely.LineString([start, (x, y)]), 16.0)


def angles(scene, bearing_deg: float) -> np.ndarray:
    """Acute angles of the leads at the tower in the middle to a direction."""
    rays = scene.ready().site().chosen.rays
    folded = np.mod(rays.bearing_deg[rays.tower == 1] - bearing_deg, 180.0)
    return np.minimum(folded, 180.0 - folded)


@pytest.mark.parametrize("kind", ["distribution_line", "low_voltage_line", "traction_line"])
def test_any_line_that_hangs_is_a_span_where_it_ends_at_the_tower(kind):
    branch = Feature(kind, shapely.LineString([(0, 0), (300, 0)]), 3.0)
    assert angles(north_line(branch), 90.0).min() >= 30 - 1e-6
    own = north_line(Feature(kind, shapely.LineString([(2, -300), (-2, 300)]), 3.0)).ready()
    assert len(own.obstacles.segment_feature) == 2  # a mapped line on the planned one is that line


@pytest.mark.parametrize("bearing_deg", [70.0, 90.0, 250.0])
def test_leads_keep_their_angle_to_a_mapped_branch(bearing_deg):
    away = np.radians(bearing_deg)
    branch = line_to(300 * np.sin(away), 300 * np.cos(away))
    assert angles(north_line(), bearing_deg).min() < 30
    found = angles(north_line(branch), bearing_deg)
    assert len(found) == 2
    assert found.min() >= 30 - 1e-6


@pytest.mark.parametrize(("start_m", "is_span"), [(7.8, True), (10.5, False)])
def test_a_mapped_line_that_ends_on_the_arms_is_a_branch_and_no_obstacle(start_m, is_span):
    """Drawn to the end of the arm and not to the tower: leads keep their angle to it, and do not pass it by nothing."""
    branch = Feature("power_line", shapely.LineString([(start_m, 0), (300, 90)]), 16.0)
    ready = north_line(branch).ready()
    found = ready.evaluate(1, [180.0 + 73.3, 270.0], 120.0)
    assert (found.rays.angle_deg[0] < 1) == is_span
    assert (found.beside.edge_m[1] == np.inf) == is_span
    assert (found.terms["lead_beside_m"][1] == 0) == is_span


def test_a_line_that_passes_by_is_no_span():
    passing = line_to(-300, 200, start=(300, 196))
    assert angles(north_line(passing), 90.0).min() < 30
