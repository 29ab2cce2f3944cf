"""The OpenStreetMap extracts of a job, each read once whatever it serves."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from shapely import Polygon

from layoutplan.inputs.corridor import Corridor
from layoutplan.inputs.osm_file import ATTRIBUTION, OsmExtract, read_osm
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
        self._read: dict[Path, OsmExtract] = {}

    def read(self, path: Path, corridor: Corridor | None = None) -> OsmExtract:
        """Return what a file holds; one that serves lines and map alike is read before the corridor is known."""
        if path not in self._read:
            self._read[path] = read_osm(
                path,
                rules=self._rules if path in self._of_map else None,
                lines=path in self._of_lines,
                corridor=corridor,
                tick=lambda: self._report(f"reading {path.name}", 0.1 if corridor is None else 0.5),
            )
        return self._read[path]

    def credit(self, path: Path) -> str:
        """Whom the data is credited to: as the job says, else the map's contributors."""
        return self._credits.get(path, ATTRIBUTION)

    def boxes(self) -> list[Polygon]:
        """Boxes that the map's extracts declare, of those read so far."""
        return [found.box for path, found in self._read.items() if path in self._of_map and found.box is not None]
