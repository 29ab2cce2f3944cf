"""How the map is drawn on paper: pale ground, and every class distinct in grey by shape, dash or hatch.

The plan's own colours are the Okabe-Ito palette (M. Okabe and K. Ito, "Color Universal Design", 2002; values from
memory); H and S differ by shape and dash as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from layoutplan.job.class_model import Look, ObstacleClass, Paper, PaperArea, PaperLine

H_COLOR, S_COLOR = "#0072b2", "#b0487f"
WALK_COLOR, WALK_DASH = "#1f6b4a", (0.8, 2.4)
ROLE_COLOR: Mapping[str, str] = MappingProxyType({"H": H_COLOR, "S": S_COLOR})


class Looks(NamedTuple):
    """Classes as they are drawn on paper, areas and lines, in the order of drawing; what has none is drawn grey."""

    areas: Mapping[str, PaperArea]
    lines: Mapping[str, PaperLine]

    @classmethod
    def of(cls, classes: Mapping[str, ObstacleClass]) -> Looks:
        """Looks of a job's classes.

        Parameters
        ----------
        classes : mapping of str to ObstacleClass
            Of the job.

        Returns
        -------
        Looks
        """
        ordered = sorted(classes.items(), key=lambda item: item[1].look.order)
        papers = {name: _paper(row.look) for name, row in ordered}
        return cls(
            {name: paper.area for name, paper in papers.items() if paper.area},
            {name: paper.line for name, paper in papers.items() if paper.line},
        )

    def area(self, name: str) -> PaperArea:
        """Look of the areas of a class.

        Parameters
        ----------
        name : str
            Of the obstacle class.

        Returns
        -------
        PaperArea
            A common one for other classes.
        """
        return self.areas.get(name, _OTHER_AREA)

    def line(self, name: str) -> PaperLine:
        """Look of the lines of a class.

        Parameters
        ----------
        name : str
            Of the obstacle class.

        Returns
        -------
        PaperLine
            A common one for other classes.
        """
        return self.lines.get(name, _OTHER_LINE)


_OTHER_AREA, _OTHER_LINE = PaperArea(line="#777777", width=0.6), PaperLine(line="#777777", width=1.0)
_PIXEL = 0.75  # points: CSS has 96 pixels to the inch
_FULLER = {"dots": "", "diagonal": "cross"}  # dots are lost in print, and diagonals are the keep-outs'


def _paper(look: Look) -> Paper:
    """What a class is on paper: its own words for it, else as on the map."""
    if look.paper is not None:
        return look.paper
    dash = tuple(part * _PIXEL for part in look.dash)
    width = look.width * _PIXEL
    hatch = _FULLER.get(look.hatch, look.hatch)
    area = {"fill": look.fill, "line": look.line, "width": width, "dash": dash, "hatch": hatch}
    return Paper.model_validate({"area": area, "line": {"line": look.line, "width": width, "dash": dash}})
