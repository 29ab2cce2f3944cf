"""Where the user states that the map is complete."""

from __future__ import annotations

import shapely
from shapely import Polygon

from layoutplan.errors import LayerError
from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.features import repair, single_parts
from layoutplan.inputs.geodetic import is_usable
from layoutplan.inputs.provenance import Ledger
from layoutplan.inputs.vector import open_vector
from layoutplan.inputs.vector_table import read_vector
from layoutplan.inputs.words import listed
from layoutplan.job import Job
from layoutplan.job.section import FileSource


def read_coverage(job: Job, corridor: Corridor, ledger: Ledger) -> tuple[tuple[Polygon, ...], tuple[str, ...]]:
    """Read the coverage polygons, if the job gives any.

    Parameters
    ----------
    job : Job
        Its coverage section.
    corridor : Corridor
        Where the towers are.
    ledger : Ledger
        Takes note of the file.

    Returns
    -------
    coverage : tuple of Polygon
        Single parts, valid, longitudes as in the corridor's frame; none if there is no map they could be about.
    problems : tuple of str
        Warnings.

    Raises
    ------
    LayerError
        If the layer holds anything but polygons.
    """
    path = job.coverage.path
    if path is None:
        return (), ()
    if not job.layers:
        return (), (f"{path.name}: coverage is given but no map layer; nothing is known of any obstacle",)
    layer = open_vector(FileSource(path=path, layer=job.coverage.layer, crs=job.coverage.crs), "coverage")
    ledger.note(path, "coverage of the map")
    table = read_vector(layer, ())
    usable = is_usable(table.geometry)
    wrong = usable & (shapely.get_dimensions(table.geometry) != 2)
    if wrong.any() or not usable.any():
        found = f"feature {listed(table.rows[wrong])} is none" if wrong.any() else "there is none"
        raise LayerError(f"{layer.where}: coverage needs polygons; {found}. Name a layer of polygons.")
    restored, was_invalid = repair(table.geometry[usable], layer.where)
    parts, _ = single_parts(corridor.frame.geometries(corridor.cut(restored)))
    notes = [*layer.problems, *table.problems]
    if was_invalid.any():
        notes.append(f"{layer.where}: {int(was_invalid.sum())} invalid polygon(s) repaired")
    return tuple(part for part in parts if isinstance(part, Polygon)), tuple(notes)
