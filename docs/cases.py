"""Two made-up places where the electrical terms of the score move a stake; the page about them is written from here."""

from __future__ import annotations

import tempfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
from shapely import Point, Polygon

_CRS = pyproj.CRS("+proj=aeqd +lat_0=46.2 +lon_0=8.1 +datum=WGS84 +units=m")
_SPAN_M, _WEIGHT = 330.0, 10.0
_JOB = """\
title = "{title}"
{lines}
[[layers]]
path = "map.gpkg"
layer = "ground"
class_column = "kind"
class_map = {{ crops = "crops", water = "standing_water" }}
[coverage]
path = "map.gpkg"
layer = "reach"
[score]
off_perpendicular_per_deg = 0.2
induced_per_v = {weight}
"""
_LINE = """\
[[lines]]
id = "{name}"
measured = {measured}
voltage_kv = 380
load = {{ current_a = {load}, maximum_a = {load} }}
towers = {{ path = "map.gpkg", layer = "{name}", order_column = "seq" }}
"""
_HEAD = """\
# Two cases: when the voltage decides

<!-- Written by docs/generate.py from docs/cases.py: change that, not this page. -->

Both places are invented: flat ground, towers {span:.0f} m apart, a 380 kV line with the generic cross-section of its
class. Each was planned twice with `score.off_perpendicular_per_deg = 0.2`: once with `score.induced_per_v = 0` (the
voltage has no say), and once with {weight:g} points for a volt, as a crew may set it that wants quiet leads. With
the default weights a degree off the perpendicular counts as much as half a volt, and both stakes stay perpendicular
to the line: a lead nearly perpendicular picks up little, and the voltage the tower itself stands at is the larger
part of what the crew will read.
"""
_ANGLE = """
## At an angle tower the bisector beats the normal to one span

The line turns by 50 degrees at tower 6 and carries 2,400 A. A field of crops lies on the bisector of its outer side, so
that a lead across it costs points for every metre; beside the field, nearer to the normal of the span behind (bearing
115), the ground is free. Left to the ground alone the stake moves off the bisector. On it the two spans cancel each
other, so the voltage is least there; with its say the stake stays.

{table}
"""
_PARALLEL = """
## A second line pulls the choice away

The line is straight, runs north and carries 200 A; a second one beside it, 45 degrees askew, carries 3,000 A and passes
tower 6 at 120 m. Perpendicular to the own line a lead is far from perpendicular to the other one. With its say, the
voltage turns the lead towards the direction that is perpendicular to the second line (bearings 135 and 315), and
pays for it in degrees.

{table}
"""


def case_page() -> str:
    """Plan both cases with and without the electrical term, and put the chosen stakes side by side."""
    parts = [_HEAD.format(span=_SPAN_M, weight=_WEIGHT)]
    for text, make in ((_ANGLE, _angle_tower), (_PARALLEL, _second_line)):
        with tempfile.TemporaryDirectory() as folder:
            lines = make(Path(folder))
            parts.append(text.format(table=_table(Path(folder), lines)))
    return "".join(parts)


def _table(folder: Path, lines: str) -> str:
    from layoutplan.job import load_job
    from layoutplan.planning.pipeline import plan

    rows = ["| `induced_per_v` | stake | bearing | off perpendicular | distance m | induced by the load V |\n",
            "| --- | --- | --- | --- | --- | --- |\n"]  # fmt: skip
    for weight in (0.0, _WEIGHT):
        path = folder / "job.toml"
        path.write_text(_JOB.format(title="case", lines=lines, weight=weight), "utf-8")
        leads = plan(load_job(path)).leads
        for lead in leads[leads["tower_id"] == "6"].itertuples():
            volts = lead.emf_load_v + lead.emf_unbalance_v
            rows.append(
                f"| {weight:g} | {lead.role} | {lead.bearing_true_deg:.0f} | {lead.off_square_deg:.0f} "
                f"| {lead.distance_m:.0f} | {volts:.1f} |\n"
            )
    return "".join(rows)


def _angle_tower(folder: Path) -> str:
    turn = np.radians(25.0)
    steps = np.array([[np.sin(turn), np.cos(turn)]] * 5 + [[np.sin(-turn), np.cos(-turn)]] * 5) * _SPAN_M
    _write_line(folder, "line", np.vstack(([0.0, 0.0], np.cumsum(steps, axis=0))) - np.cumsum(steps, axis=0)[4])
    field = Polygon([(30, -9), (140, -9), (140, 60), (30, 60)])
    _write_ground(folder, [("crops", field)])
    return _LINE.format(name="line", measured="true", load=2400)


def _second_line(folder: Path) -> str:
    along = np.arange(-5, 6) * _SPAN_M
    _write_line(folder, "line", np.column_stack((np.zeros(11), along)))
    way = np.array([np.sin(np.radians(45.0)), np.cos(np.radians(45.0))])
    beside = np.array([way[1], -way[0]]) * 120.0
    _write_line(folder, "other", beside + (along[:, None] + 40.0) * way)
    _write_ground(folder, [("water", Point(-900, 0).buffer(20))])
    return _LINE.format(name="line", measured="true", load=200) + _LINE.format(
        name="other", measured="false", load=3000
    )


def _write_line(folder: Path, name: str, xy_m: np.ndarray) -> None:
    numbers = [str(number) for number in range(1, len(xy_m) + 1)]
    table = gpd.GeoDataFrame(
        {"tower_id": numbers, "seq": range(len(xy_m))}, geometry=gpd.points_from_xy(*xy_m.T), crs=_CRS
    )
    table.to_crs(4326).to_file(folder / "map.gpkg", layer=name, driver="GPKG")


def _write_ground(folder: Path, areas: list[tuple[str, Polygon]]) -> None:
    kinds, shapes = zip(*areas, strict=True)
    ground = gpd.GeoDataFrame(pd.DataFrame({"kind": kinds}), geometry=list(shapes), crs=_CRS)
    ground.to_crs(4326).to_file(folder / "map.gpkg", layer="ground", driver="GPKG")
    reach = gpd.GeoDataFrame({"name": ["all"]}, geometry=[Point(0, 0).buffer(9000)], crs=_CRS)
    reach.to_crs(4326).to_file(folder / "map.gpkg", layer="reach", driver="GPKG")
