"""The lines of a job, from files of towers and centrelines or out of an extract."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import LineString

from layoutplan.arrays import FloatArray
from layoutplan.errors import LayerError, LineError
from layoutplan.inputs.extracts import Extracts
from layoutplan.inputs.fault_table import read_fault_table
from layoutplan.inputs.geodetic import geocentric, is_usable
from layoutplan.inputs.model import LineInput
from layoutplan.inputs.osm_line import read_osm_line
from layoutplan.inputs.provenance import Ledger
from layoutplan.inputs.towers import read_towers
from layoutplan.inputs.vector import open_vector
from layoutplan.inputs.vector_table import read_vector
from layoutplan.inputs.words import counted, listed
from layoutplan.job import Job, Line
from layoutplan.job.section import FileSource

_FAR_M = 50_000.0  # towers so far from their centreline are not merely displaced


def read_lines(
    job: Job, extracts: Extracts, ledger: Ledger, report: Callable[[str, float], None]
) -> tuple[list[LineInput], list[str]]:
    """Read all lines of a job.

    Parameters
    ----------
    job : Job
        Its lines.
    extracts : Extracts
        Of OpenStreetMap, each read once.
    ledger : Ledger
        Takes note of the files.
    report : callable
        Called with what is being read and the share done, 0 to 1.

    Returns
    -------
    lines : list of LineInput
        In the job's order; branches found in an extract follow their line.
    problems : list of str
        Warnings.

    Raises
    ------
    InputError
        If a file cannot be used, or holds no line; see the error tree.
    """
    lines: list[LineInput] = []
    problems: list[str] = []
    for number, line in enumerate(job.lines):
        report(f"line {line.id}", 0.2 * number / len(job.lines))
        key = f"lines[{number}]"
        if line.osm is None:
            found, notes = _line_from_files(line, key, ledger)
            run = [found]
        else:
            extract = extracts.read(line.osm.path)
            ledger.note(
                line.osm.path,
                f"line '{line.id}'",
                data_date=extract.data_date,
                attribution=extracts.credit(line.osm.path),
            )
            taken = [other.id for other in job.lines] + [other.line.id for other in lines]
            run, notes = read_osm_line(line, extract, key, taken)
        run, further_notes = _with_faults(run, line, key, ledger)
        lines += run
        problems += (*notes, *further_notes)
    if job.soil.raster is not None:
        from layoutplan.inputs.soil_raster import sample_soil  # only jobs with a raster wait for the library

        lines, soil_notes = sample_soil(job, lines, ledger)
        problems += soil_notes
    return lines, problems


def read_course(source: FileSource, key: str) -> tuple[tuple[LineString, ...], str, tuple[str, ...]]:
    """Read a centreline.

    Parameters
    ----------
    source : FileSource
        File and layer.
    key : str
        The job's key of ``source``, for messages.

    Returns
    -------
    course : tuple of LineString
        Its single parts in EPSG:4326.
    where : str
        File and layer.
    problems : tuple of str
        Warnings.

    Raises
    ------
    LayerError
        If the layer is empty or holds anything but lines.
    """
    layer = open_vector(source, key)
    table = read_vector(layer, ())
    usable = is_usable(table.geometry)
    usable &= ~((shapely.get_dimensions(table.geometry) == 1) & (shapely.length(table.geometry) == 0))
    if not usable.any():
        raise LayerError(f"{layer.where}: no line in it. Name a layer that holds the centreline.")
    wrong = shapely.get_dimensions(table.geometry) != 1
    if (wrong & usable).any():
        kind = table.geometry[wrong & usable][0].geom_type
        raise LayerError(
            f"{layer.where}, feature {listed(table.rows[wrong & usable])}: {kind} where a centreline was expected. "
            f"Name a layer of lines, or leave {key} out: then the line is built through its towers."
        )
    notes = [*layer.problems, *table.problems]
    if not usable.all():
        notes.append(f"{layer.where}: {counted(int((~usable).sum()), 'feature')} without a usable geometry left out")
    parts = shapely.get_parts(table.geometry[usable])
    return tuple(parts[shapely.length(parts) > 0].tolist()), layer.where, tuple(notes)


def _line_from_files(line: Line, key: str, ledger: Ledger) -> tuple[LineInput, tuple[str, ...]]:
    assert line.towers is not None, "the job model sees to it that a line has towers or an extract"
    towers, table = read_towers(line.towers, f"{key}.towers")
    ledger.note(line.towers.path, f"towers of line '{line.id}'")
    course: tuple[LineString, ...] = ()
    notes: tuple[str, ...] = ()
    if line.centreline is not None:
        course, where, notes = read_course(line.centreline, f"{key}.centreline")
        ledger.note(line.centreline.path, f"centreline of line '{line.id}'")
        _check_swapped(shapely.get_coordinates(table.geometry), course, table.where, where)
    in_order = line.towers.order_column is not None
    return LineInput(line, towers, course, in_order, table.where), (*table.problems, *notes)


def _with_faults(run: list[LineInput], line: Line, key: str, ledger: Ledger) -> tuple[list[LineInput], tuple[str, ...]]:
    """Add the table of fault currents to the line itself.

    Its branches stay without: "start" and "end" mean the line's, and its towers are numbered anew on each branch.
    """
    if line.fault is None or line.fault.table is None:
        return run, ()
    source, (main, *branches) = line.fault.table, run
    faults, notes = read_fault_table(source, line, main.towers["tower_id"].tolist(), f"{key}.fault.table")
    ledger.note(source.path, f"fault currents of line '{line.id}'")
    if branches:
        names = listed(f"'{branch.line.id}'" for branch in branches)
        notes += (f"{source.path.name}: fault currents are those of line '{line.id}'; unknown on its branches {names}",)
    return [replace(main, faults=faults), *branches], notes


def _check_swapped(towers: FloatArray, course: tuple[LineString, ...], where: str, course_where: str) -> None:
    tree = cKDTree(geocentric(shapely.get_coordinates(list(course))))
    as_given, swapped = (np.median(tree.query(geocentric(lonlat))[0]) for lonlat in (towers, towers[:, ::-1]))
    if as_given > _FAR_M and swapped < _FAR_M:
        raise LineError(
            f"{where}: the towers lie {as_given / 1000:,.0f} km from the centreline ({course_where}), but on it with "
            "longitude and latitude swapped. Swap them in one of the two files (in a CSV: x_column and y_column)."
        )
