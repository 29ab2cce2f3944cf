"""``stakes.dxf``: the plan as a drawing in grid coordinates, and what to know of it in ``stakes_dxf.txt``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from layoutplan.layout.model import Plan
from layoutplan.outputs.dxf.drawing import save_drawing
from layoutplan.outputs.grid import Grid, grid_of
from layoutplan.outputs.grid_factors import grid_factors
from layoutplan.outputs.grid_notes import caution_notes, coordinate_notes, factor_notes
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.survey_points import survey_points
from layoutplan.text import clean

__all__ = ["write_dxf"]


def write_dxf(plan: Plan, folder: Path) -> list[Path]:
    """Write the drawing and its side-car; the same plan gives the same bytes.

    Parameters
    ----------
    plan : Plan
        On the globe (`layoutplan.outputs.columns.on_the_globe`).
    folder : Path
        Where the file is made.

    Returns
    -------
    list of Path
        Drawing and side-car.

    Raises
    ------
    OutputError
        If the job's grid gives no eastings and northings, or does not reach the plan.
    """
    grid = grid_of(plan)
    drawing, notes = folder / "stakes.dxf", folder / "stakes_dxf.txt"
    save_drawing(plan, grid, drawing)
    notes.write_text("\n".join(_notes(plan, grid)) + "\n", encoding="utf-8", newline="\n")
    return [drawing, notes]


def _notes(plan: Plan, grid: Grid) -> Iterator[str]:
    points = survey_points(plan)
    places = grid.positions(points[["lon", "lat"]])
    yield "To be read with stakes.dxf: proposed stakes, leads and keep-outs as a drawing"
    yield f"Job: {clean(plan.job.title)}"
    yield f"Plan number: {plan_number(plan)}"
    yield ""
    yield from coordinate_notes(grid, points[["lon", "lat"]])
    if not grid.unit.dxf_code:
        yield "DXF has no code for this unit: the drawing says it has none."
    yield "The drawing is flat: elevations, where they are known, are attributes of the blocks, in metres."
    yield ""
    yield "KEEP-OUTS"
    yield "Drawn by class as the rules of the job ask for, up to 0.1 m and 0.12 % of the distance too large."
    yield "Map features are drawn as far as they could matter for a stake, and cut there."
    yield "The map shows only what somebody mapped. Where it does not reach, nothing is drawn and nothing is clear."
    if plan.job.gives_permitted_land:
        yield "The job names permitted land: all ground outside OBSTACLES-PERMITTED_LAND is out of bounds, not hatched."
    yield ""
    yield from factor_notes(grid_factors(grid, places, points["elevation_m"]))
    yield ""
    yield from caution_notes(plan)
