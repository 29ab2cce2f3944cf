"""The OpenStreetMap extracts of a job, each read once whatever it serves; a large one apart for lines and map."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from shapely import Polygon

from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.osm_file import ATTRIBUTION, OsmExtract, read_osm
from layoutplan.inputs.osm_objects import is_large
from layoutplan.inputs.osm_tags import TagRules
from layoutplan.job import Job


class Extracts:
    """Reads extracts when they are first asked for.

    Parameters
    ----------
    job : Job
    report : callable
        Called with what is being read and the share done.
    """

    def __init__(self, job: Job, report: Callable[[str, float], None]) -> None:
        self._report = report
        self._rules = TagRules(job.obstacle_classes)
        self._of_lines = {line.osm.path for line in job.lines if line.osm}
        self._of_map = {layer.path for layer in job.layers if layer.is_osm}
        self._credits = {layer.path: layer.attribution for layer in job.layers if layer.attribution}
        self._read: dict[tuple[Path, bool], OsmExtract] = {}

    def read(self, path: Path, corridor: Corridor | None = None) -> OsmExtract:
        """Return the contents of a file; one that serves lines and map alike is read before the corridor is known.

        Not so a large one: all the obstacles of a country would fill the memory. Its lines are read first, alone.

        Parameters
        ----------
        path : Path
            Of an extract that the job names.
        corridor : Corridor, optional
            Obstacles elsewhere may be left out.

        Returns
        -------
        OsmExtract

        Raises
        ------
        InputError
            If the file cannot be used.
        """
        with_map = path in self._of_map and (corridor is not None or not is_large(path))
        found = self._read.get((path, with_map)) or self._read.get((path, True))
        if found is None:
            found = self._read[path, with_map] = read_osm(
                path,
                rules=self._rules if with_map else None,
                lines=path in self._of_lines and (path, False) not in self._read,
                corridor=corridor,
                tick=lambda: self._report(f"reading {path.name}", 0.1 if corridor is None else 0.5),
            )
        return found

    def credit(self, path: Path) -> str:
        """Whom the data is credited to: as the job states, else the map's contributors.

        Parameters
        ----------
        path : Path
            Of an extract that the job names.

        Returns
        -------
        str
        """
        return self._credits.get(path, ATTRIBUTION)

    def boxes(self) -> list[Polygon]:
        """Boxes that the map's extracts declare, of those read so far.

        Returns
        -------
        list of Polygon
            EPSG:4326.
        """
        return [found.box for (_, with_map), found in self._read.items() if with_map and found.box is not None]
