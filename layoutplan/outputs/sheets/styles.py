"""How the map is drawn on paper: every class distinct on a copy in grey, by tone, pattern, dash or shape.

A copier turns pale tints white, so that no two things may differ by a pale tint alone.

The plan's own colours are the Okabe-Ito palette (M. Okabe and K. Ito, "Color Universal Design", 2002; values from
memory); H and S differ by shape and dash as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from layoutplan.job.class_model import Look, ObstacleClass, Paper, PaperArea, PaperLine
from layoutplan.outputs.sheets.pen import MM

LEAD_DASH: Mapping[str, tuple[float, ...]] = MappingProxyType({"H": (), "S": (8.0, 4.0)})
LEAD_WIDTH = 2.4
H_COLOR, S_COLOR = "#0072b2", "#b0487f"
WALK_COLOR, WALK_DASH = "#1f6b4a", (0.8, 2.4)
ROLE_COLOR: Mapping[str, str] = MappingProxyType({"H": H_COLOR, "S": S_COLOR})


CONTOUR_COLOR, CONTOUR_WIDTHS = "#9c6b3c", (0.3, 0.6)
KEEP_OUT_COLOR = "#6f6f6f"
LINE_WIDTHS = (1.0, 2.2)  # lines of the job: others, and those to be measured
CORRIDOR_COLOR, CORRIDOR_WIDTH, CORRIDOR_DASH = "#4d3f63", 0.7, (9.0, 3.0)


class PenStroke(NamedTuple):
    """Parallel lines of a pattern: counter-clockwise from level [deg], apart [mm], thick and broken [points].

    ``round``: dots instead of dashes. ``hole``: in the colour of the ground, to leave rings of dots.
    """

    angle_deg: float
    spacing: float
    width: float = 0.3
    dash: tuple[float, ...] = ()
    round: bool = False
    hole: bool = False


_PLUS = (5.0, 4.0 * MM - 5.0)  # short bars whose middles lie on the lines across them
HATCHES: Mapping[str, tuple[PenStroke, ...]] = MappingProxyType(
    {
        "": (),
        "cross": (PenStroke(45.0, 2.4), PenStroke(135.0, 2.4)),
        "diagonal": (PenStroke(135.0, 2.4),),
        "horizontal": (PenStroke(0.0, 1.6),),
        "vertical": (PenStroke(90.0, 2.4),),
        "grid": (PenStroke(0.0, 2.4), PenStroke(90.0, 2.4)),
        "dots": (PenStroke(0.0, 2.6, 1.2, (0.0, 2.6 * MM), round=True),),
        "rings": (
            PenStroke(30.0, 3.2, 2.8, (0.0, 3.2 * MM), round=True),
            PenStroke(30.0, 3.2, 1.8, (0.0, 3.2 * MM), round=True, hole=True),
        ),
        "dashes": (PenStroke(0.0, 1.8, 0.4, (5.0, 4.0)),),
        "ticks": (PenStroke(90.0, 2.4, 0.5, (3.0, 3.0)),),
        "slashes": (PenStroke(120.0, 2.4, 0.5, (6.0, 3.0)),),
        "plus": (PenStroke(0.0, 4.0, 0.7, _PLUS), PenStroke(90.0, 4.0, 0.7, _PLUS)),
        "crosses": (PenStroke(45.0, 4.0, 0.7, _PLUS), PenStroke(135.0, 4.0, 0.7, _PLUS)),
    }
)
FORBIDDING = ("cross",)  # drawn over everything else
KEEP_OUT_HATCH = (PenStroke(45.0, 1.5),)


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


_OTHER_AREA, _OTHER_LINE = PaperArea(line="#666666", width=0.6), PaperLine(line="#666666", width=1.0, dash=(6.0, 1.0))
_PIXEL = 0.75  # points: CSS has 96 pixels to the inch
_FULLER = {"diagonal": "cross"}  # diagonals are the keep-outs'


def _paper(look: Look) -> Paper:
    """What a class is on paper: its own words for it, else as on the map."""
    if look.paper is not None:
        return look.paper
    dash = tuple(part * _PIXEL for part in look.dash)
    width = look.width * _PIXEL
    hatch = _FULLER.get(look.hatch, look.hatch)
    area = {"fill": look.fill, "line": look.line, "width": width, "dash": dash, "hatch": hatch}
    return Paper.model_validate({"area": area, "line": {"line": look.line, "width": width, "dash": dash}})
