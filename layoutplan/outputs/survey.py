"""``stakes_survey.csv``: towers and stakes for a survey controller, with the side-car ``stakes_survey.txt``."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from layoutplan.arrays import FloatArray
from layoutplan.job.survey import COLUMN_WORDS
from layoutplan.layout.model import Plan
from layoutplan.layout.set_out import MARK
from layoutplan.outputs.grid import Grid, Unit, grid_of
from layoutplan.outputs.grid_factors import grid_factors
from layoutplan.outputs.grid_notes import caution_notes, coordinate_notes, factor_notes, height_notes
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.survey_points import survey_points
from layoutplan.text import clean, csv_cell

_DECIMALS = 3  # millimetres, or thousandths of a foot
_HEIGHT_DECIMALS = 2  # no elevation model is better
NAME = "stakes_survey"


def write_survey(plan: Plan, folder: Path) -> list[Path]:
    """Write the list and its side-car; the list has no quotes, no commas within cells and ASCII only.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    list of Path
        List and side-car.

    Raises
    ------
    OutputError
        If the job's grid gives no eastings and northings, or does not reach the plan.
    """
    grid, points = grid_of(plan), survey_points(plan)
    places = grid.positions(points[["lon", "lat"]])
    table, notes = folder / f"{NAME}.csv", folder / f"{NAME}.txt"
    with table.open("w", encoding="ascii", newline="") as file:
        csv.writer(file, lineterminator="\r\n").writerows(_rows(plan, grid.unit, points, places))
    notes.write_text("\n".join(_notes(plan, grid, points, places)) + "\n", encoding="utf-8", newline="\n")
    return [table, notes]


def _rows(plan: Plan, unit: Unit, points: pd.DataFrame, places: FloatArray) -> Iterator[list[object]]:
    letters, header = plan.job.output.survey.letters, plan.job.output.survey.header
    height = points["elevation_m"].to_numpy(dtype=float) / unit.metres
    cells = {
        "P": points["number"].tolist(),
        "N": _figures(places[:, 1], _DECIMALS),
        "E": _figures(places[:, 0], _DECIMALS),
        "Z": _figures(height, _HEIGHT_DECIMALS),
        "D": [
            csv_cell(f"{name} {status} {plan_number(plan)}")
            for name, status in zip(points["shown_as"], points["status"], strict=True)
        ],
    }
    if header:
        yield [COLUMN_WORDS[letter] + (f"_{unit.symbol}" if letter in "NEZ" else "") for letter in letters]
    yield from (list(row) for row in zip(*(cells[letter] for letter in letters), strict=True))


def _figures(values: FloatArray, decimals: int) -> list[str]:
    return ["" if value != value else f"{value:.{decimals}f}" for value in (np.round(values, decimals) + 0.0).tolist()]


def _notes(plan: Plan, grid: Grid, points: pd.DataFrame, places: FloatArray) -> Iterator[str]:
    survey = plan.job.output.survey
    order = ", ".join(COLUMN_WORDS[letter] for letter in survey.letters)
    yield f"To be read with {NAME}.csv: proposed stakes and towers for setting out"
    yield f"Job: {clean(plan.job.title)}"
    yield f"Plan number: {plan_number(plan)}"
    yield ""
    yield from coordinate_notes(grid, points[["lon", "lat"]])
    yield f"Columns: {survey.columns} ({order}); {'a header line' if survey.header else 'no header line'}; comma, CRLF"
    yield (
        "Description: waypoint name as in waypoints.gpx (T tower, H current, S potential electrode; marked "
        f"-{MARK}, or X before the last letter: do not stake yet), then the status and the plan number"
    )
    yield ""
    yield from height_notes(grid.unit, points["elevation_m"])
    yield ""
    yield from factor_notes(grid_factors(grid, places, points["elevation_m"]))
    yield ""
    yield from _points_table(grid, points, places)
    yield ""
    yield from caution_notes(plan)


def _points_table(grid: Grid, points: pd.DataFrame, places: FloatArray) -> Iterator[str]:
    """Which point is which, and its own factors."""
    factors = grid_factors(grid, places, points["elevation_m"])
    yield "POINTS"
    yield f"{'point':>6} {'grid scale':>11} {'elevation':>11} {'combined':>11} {'convergence':>12}  tower, line, status"
    columns = (factors.scale, factors.elevation, factors.combined, factors.convergence_deg)
    figures = np.column_stack(columns).tolist()
    rows = zip(
        points["number"], points["role"], points["tower_id"], points["line_id"], points["status"], figures, strict=True
    )
    for number, role, tower, line, status, (scale, elevation, combined, convergence) in rows:
        what = "" if role == "T" else f"{role} of "
        yield (
            f"{number:>6} {_factor(scale)} {_factor(elevation)} {_factor(combined)} {convergence:>11.5f}°  "
            f"{what}{clean(tower)}, {clean(line)}, {status}"
        )


def _factor(value: float) -> str:
    return f"{'unknown':>11}" if value != value else f"{value:>11.8f}"
