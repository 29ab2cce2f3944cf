"""Soil resistivity at the towers out of a raster, with a look at whether its values can be ohm metres."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.enums import ColorInterp

from layoutplan.arrays import FloatArray
from layoutplan.errors import InputError
from layoutplan.inputs.model import LineInput
from layoutplan.inputs.provenance import Ledger
from layoutplan.inputs.raster import open_raster, values_at
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Job
from layoutplan.job.bounds import greatest
from layoutplan.text import clean

_COLUMN = "soil_resistivity_ohm_m"
_MOST_OHM_M = greatest(_COLUMN)
_LOW_OHM_M = (10.0, 7.0)  # greatest and median value under which ohm metres are doubtful (judgement)


def sample_soil(job: Job, lines: Sequence[LineInput], ledger: Ledger) -> tuple[list[LineInput], list[str]]:
    """Fill in the soil resistivity of the towers that have none, from the cell of the job's raster they stand in.

    Cells are not interpolated: resistivity maps are classed, and between two classes lies nothing that was measured.

    Parameters
    ----------
    job : Job
        With ``soil.raster`` set.
    lines : sequence of LineInput
        Longitudes of towers may go beyond ±180°.
    ledger : Ledger
        Takes note of the files.

    Returns
    -------
    lines : list of LineInput
        Still NaN where the raster does not reach or has no data. [Ω·m]
    problems : list of str
        Warnings.

    Raises
    ------
    InputError
        If the file is no raster on this machine, or its values cannot be ohm metres.
    CRSError
        If it is not placed on the ground.
    """
    path = job.soil.raster
    assert path is not None, "the caller samples only where the job names a raster"
    where = f"{path.name}, band 1"
    with open_raster(path) as raster:
        problems = _check(raster, where)
        ledger.note(path, "soil resistivity")
        for part in (Path(name) for name in raster.files):
            if part != path and part.exists():
                ledger.note(part, "soil resistivity")
        wanted = [line.towers[_COLUMN].isna().to_numpy() for line in lines]
        found = [
            values_at(raster, shapely.get_coordinates(line.towers.geometry.to_numpy()[rows]))
            for line, rows in zip(lines, wanted, strict=True)
        ]
    filled = []
    for line, rows, (values, inside) in zip(lines, wanted, found, strict=True):
        _check_range(line, rows, values, where)
        problems += _unknown(job, line, rows, values, inside, path.name)
        column = line.towers[_COLUMN].to_numpy(dtype=float, copy=True)
        column[rows] = values
        filled.append(replace(line, towers=line.towers.assign(**{_COLUMN: column})))
    return filled, problems + _check_unit(np.concatenate([values for values, _ in found]), where)


def _check(raster: Any, where: str) -> list[str]:
    """Refuse what is declared as other than ohm metres; return warnings."""
    if raster.colorinterp[0] == ColorInterp.red:
        raise InputError(f"{where}: the red of a picture, not a resistivity. Name the raster it was drawn from.")
    unit = clean(raster.units[0])
    spelt = re.sub("[^a-z]", "", re.sub("met(re|er)s?", "m", unit.lower().replace("ω", "ohm")))
    if unit and spelt not in ("ohmm", "ohmsm"):
        raise InputError(f"{where}: its unit is '{unit}', not ohm metres. Convert it, or clear a wrong unit.")
    problems = []
    if raster.count > 1:
        problems.append(f"{where}: taken as the soil resistivity; the file has {raster.count} bands")
    if raster.colorinterp[0] == ColorInterp.palette:
        problems.append(f"{where}: has a colour table; its values are taken as ohm metres, not as numbers of classes")
    return problems


def _check_range(line: LineInput, rows: NDArray[np.bool_], values: FloatArray, where: str) -> None:
    with np.errstate(invalid="ignore"):
        wrong = (values <= 0.0) | (values > _MOST_OHM_M)
    if not wrong.any():
        return
    low, high = np.nanmin(values), np.nanmax(values)
    fix = "Declare the mark of cells without data as the file's nodata value, or convert it."
    if high < _LOW_OHM_M[0]:
        fix = "They may be logarithms: convert them. " + fix
    towers = listed(line.towers["tower_id"].to_numpy()[rows][wrong])
    raise InputError(
        f"{where}: values at the towers of line '{line.line.id}' range from {low:g} to {high:g}: not ohm metres? "
        f"(tower {towers}) {fix}"
    )


def _check_unit(values: FloatArray, where: str) -> list[str]:
    known = values[np.isfinite(values)]
    if len(known) == 0:
        return []
    low, high = known.min(), known.max()
    if high < 1.0:
        raise InputError(
            f"{where}: values at the towers range from {low:g} to {high:g}: looks like siemens per metre "
            "(conductivity). Convert it to ohm metres."
        )
    if high < _LOW_OHM_M[0] and np.median(known) < _LOW_OHM_M[1]:
        return [
            f"{where}: values at the towers range from {low:g} to {high:g}, very low for ohm metres, but taken as "
            "such; check that they are not logarithms"
        ]
    return []


def _unknown(
    job: Job, line: LineInput, rows: NDArray[np.bool_], values: FloatArray, inside: NDArray[np.bool_], where: str
) -> list[str]:
    ids, count = line.towers["tower_id"].to_numpy(), counted(len(line.towers), "tower")
    cases = {"outside the raster": ~inside, "on cells without data": inside & np.isnan(values)}
    return [
        f"{where}: {int(mask.sum())} of {count} of line '{line.line.id}' {what} ({listed(ids[rows][mask])}): "
        f"soil.resistivity_ohm_m = {job.soil.resistivity_ohm_m:g} is taken there"
        for what, mask in cases.items()
        if mask.any()
    ]
