"""Writing on the map that keeps out of the way of what matters."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from layoutplan.outputs.sheets.layers import Features
from layoutplan.outputs.sheets.panel import Panel, areas_of, lines_of
from layoutplan.outputs.sheets.pen import MM, SMALLEST_PT, Box, Pen

_SHARES = (0.5, 0.3, 0.7, 0.15, 0.85)
_MOST_LABELS = 14


class Labels:
    """Places on the map that are taken."""

    def __init__(self, pen: Pen, frame: Box) -> None:
        self.pen, self.frame = pen, frame.inset(0.8)
        self.taken: list[Box] = []

    def take(self, box: Box) -> None:
        """Keep a place free of writing.

        Parameters
        ----------
        box : Box
            On the page. [mm]
        """
        self.taken.append(box)

    def take_line(self, start: tuple[float, float], end: tuple[float, float], half: float = 1.0) -> None:
        """Keep a line free of writing.

        Parameters
        ----------
        start : (float, float)
            First end. [mm]
        end : (float, float)
            Second end. [mm]
        half : float
            Half the width kept free. [mm]
        """
        steps = max(int(np.hypot(end[0] - start[0], end[1] - start[1]) / (2 * half)), 1)
        for share in np.linspace(0, 1, steps + 1).tolist():
            x, y = start[0] + share * (end[0] - start[0]), start[1] + share * (end[1] - start[1])
            self.take(Box(x - half, y - half, 2 * half, 2 * half))

    def write(
        self,
        places: Iterable[tuple[float, float]],
        text: str,
        size: float,
        *,
        bold: bool = False,
        color: str = "#111111",
    ) -> bool:
        """Write a text about the first of some places (its middle) that is free.

        Parameters
        ----------
        places : iterable of (float, float)
            Middles to try, in order. [mm]
        text : str
            To be written.
        size : float
            Of the letters. [points]
        bold : bool
            Whether the letters are bold.
        color : str
            ``#rrggbb``.

        Returns
        -------
        bool
            Whether there was a free place.
        """
        width, height = self.pen.width(text, size, bold), size / MM
        for x, y in places:
            box = Box(x - width / 2 - 0.4, y - height / 2, width + 0.8, height)
            if self.frame.holds(box) and not any(box.meets(other) for other in self.taken):
                self.pen.text(x, y - height * 0.33, text, size, bold=bold, align="centre", color=color, halo=2.4)
                self.take(box)
                return True
        return False

    def beside(self, x: float, y: float, gap: float, text: str, size: float, *, bold: bool = True) -> bool:
        """Write a text beside a sign, on the first side that is free, near it or twice as far; not at all if none is.

        Parameters
        ----------
        x, y : float
            Middle of the sign. [mm]
        gap : float
            From the middle of the sign to the text. [mm]
        text : str
            To be written.
        size : float
            Of the letters. [points]
        bold : bool
            Whether the letters are bold.

        Returns
        -------
        bool
            Whether there was a free place.
        """
        across, up = gap + self.pen.width(text, size, bold) / 2, gap + size / MM / 2
        sides = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1))
        places = [(x + far * dx * across, y + far * dy * up) for far in (1, 2) for dx, dy in sides]
        return self.write(places, text, size, bold=bold)


def name_features(labels: Labels, panel: Panel, features: Features) -> None:
    """Write the names of features, the more telling classes first; each name once.

    Parameters
    ----------
    labels : Labels
        Places that are taken already.
    panel : Panel
        The map.
    features : Features
        What is mapped.
    """
    order = {name: row.look.named for name, row in features.classes.items()}
    kinds, names = features.kind.tolist(), features.name.tolist()
    named = [row for row in range(len(names)) if names[row] and order[kinds[row]]]
    named.sort(key=lambda row: (order[kinds[row]], names[row], row))
    done: set[tuple[str, str]] = set()
    window = panel.window()
    for row in named:
        key = (kinds[row], names[row])
        if key in done or len(done) >= _MOST_LABELS:
            continue
        places = _places(panel, shapely.clip_by_rect(features.shapes[row], *window))
        if labels.write(places, names[row][:40], SMALLEST_PT, color="#333333"):
            done.add(key)


def _places(panel: Panel, shape: shapely.Geometry) -> list[tuple[float, float]]:
    one = np.array([shape], dtype=object)
    areas, lines = areas_of(one), lines_of(one)
    if len(areas):
        large = areas[np.argmax(shapely.area(areas))]
        points = [shapely.point_on_surface(large), *shapely.get_parts(shapely.points(_spread(large)))]
    elif len(lines):
        long = lines[np.argmax(shapely.length(lines))]
        points = [shapely.line_interpolate_point(long, share, normalized=True) for share in _SHARES]
    else:
        return []
    xy = panel.points_of(shapely.get_coordinates(points)) / MM
    return [(x, y) for x, y in xy.tolist()]


def _spread(area: shapely.Geometry) -> np.ndarray:
    """Some points inside of an area."""
    west, south, east, north = shapely.bounds(area)
    shares = np.array([(a, b) for a in (0.25, 0.5, 0.75) for b in (0.25, 0.5, 0.75)])
    points = np.array([west, south]) + shares * np.array([east - west, north - south])
    return np.asarray(points[shapely.contains_xy(area, *points.T)])
