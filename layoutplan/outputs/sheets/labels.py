"""Writing on the map that keeps out of the way of what matters."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely

from layoutplan.arrays import FloatArray
from layoutplan.outputs.sheets.layers import Features
from layoutplan.outputs.sheets.panel import Panel, areas_of, lines_of
from layoutplan.outputs.sheets.pen import MM, SMALLEST_PT, Box, Pen

_SHARES = (0.5, 0.3, 0.7, 0.15, 0.85)
_MOST_LABELS = 14
_TURN = np.radians(np.array([90, 270, 0, 180, 45, 315, 135, 225, 67.5, 292.5, 112.5, 247.5, 22.5, 337.5, 157.5, 202.5]))
_AROUND = np.stack((np.sin(_TURN), np.cos(_TURN)), axis=1)  # right, left, above, below, then between
_FIRST_MM, _FURTHER_MM = 1.6, np.array([0.0, 1.5, 3.0, 5.0, 7.0, 9.0, 12.0, 15.0, 18.0, 22.0, 26.0])


class Labels:
    """Places on the map that are taken."""

    def __init__(self, pen: Pen, frame: Box) -> None:
        self.pen, self.frame = pen, frame.inset(0.8)
        self.taken: list[Box] = []
        self.written: list[FloatArray] = []  # what `led` wrote: left, bottom, right, top

    def take(self, box: Box) -> None:
        """Keep a place free of writing.

        Parameters
        ----------
        box : Box
            On the page. [mm]
        """
        self.taken.append(box)

    def free(self, box: Box) -> bool:
        """Whether a place is free of signs and writing.

        Parameters
        ----------
        box : Box
            On the page. [mm]

        Returns
        -------
        bool
        """
        return not any(box.meets(other) for other in self.taken)

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
            if self.frame.holds(box) and self.free(box):
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

    def led(self, x: float, y: float, text: str, size: float = SMALLEST_PT) -> bool:
        """Write a text near a sign, with a line from the sign where the nearest free place is not beside it.

        Parameters
        ----------
        x, y : float
            Middle of the sign. [mm]
        text : str
            To be written.
        size : float
            Of the letters. [points]

        Returns
        -------
        bool
            Whether there was a free place.
        """
        half = np.array([self.pen.width(text, size, True) / 2 + 0.3, size / MM / 2])
        middles = np.array([x, y]) + _AROUND * (half + _FIRST_MM) + _AROUND * _FURTHER_MM[:, None, None]
        middles = middles.reshape(-1, 2)
        low, high = middles - half, middles + half
        frame = np.array([self.frame.left, self.frame.bottom, self.frame.right, self.frame.top])
        free = (low >= frame[:2]).all(axis=1) & (high <= frame[2:]).all(axis=1)
        taken = np.array([(box.left, box.bottom, box.right, box.top) for box in self.taken]).reshape(-1, 4)
        free &= ~((low[:, None] < taken[:, 2:]) & (taken[:, :2] < high[:, None])).all(axis=2).any(axis=1)
        for place in np.flatnonzero(free).tolist():
            (left, bottom), (width, height) = low[place].tolist(), (2 * half).tolist()
            end = np.clip([x, y], low[place], high[place])
            start = np.array([x, y]) + (end - [x, y]) * min(1.0, _FIRST_MM / max(np.hypot(*(end - [x, y])), 1e-9))
            if place >= len(_AROUND):
                along = start + np.linspace(0.0, 1.0, 12)[1:-1, None] * (end - start)
                if any(((along > box[:2]) & (along < box[2:])).all(axis=1).any() for box in self.written):
                    continue
                self.pen.line([tuple(start.tolist()), tuple(end.tolist())], 0.4)
                self.take_line((start[0], start[1]), (end[0], end[1]), 0.3)
            middle = float(middles[place, 0]), float(middles[place, 1])
            self.pen.text(middle[0], middle[1] - half[1] * 0.66, text, size, bold=True, align="centre", halo=2.0)
            self.take(Box(left, bottom, width, height))
            self.written.append(np.array([left, bottom, left + width, bottom + height]))
            return True
        return False


def shortened(name: str, most: int) -> str:
    """A name as it stands on a map: of a long one its end, for ids often differ there.

    Parameters
    ----------
    name : str
        Id of a tower.
    most : int
        Letters.

    Returns
    -------
    str

    Examples
    --------
    >>> shortened("OSTREL-VARNAU-STRAIN-011", 16), shortened("T1", 16)
    ('…RNAU-STRAIN-011', 'T1')
    """
    return name if len(name) <= most else f"…{name[1 - most :]}"


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
