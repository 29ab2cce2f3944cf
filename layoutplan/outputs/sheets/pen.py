"""Drawing in millimetres from the lower left corner of the page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from layoutplan.outputs.sheets.fonts import Fonts

MM = 72 / 25.4  # points
INK, GREY, PALE, WHITE = "#111111", "#666666", "#dddddd", "#ffffff"
_LONGEST = 500  # letters
SMALLEST_PT = 7.0
"""Smaller letters are not read in the field, on a copy, in the rain; judgement."""
_ALIGN = {"left": 0.0, "centre": 0.5, "right": 1.0}


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle on the page. [mm]."""

    left: float
    bottom: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Right edge."""
        return self.left + self.width

    @property
    def top(self) -> float:
        """Upper edge."""
        return self.bottom + self.height

    def inset(self, by: float) -> Box:
        """Box smaller by so much on every side.

        Parameters
        ----------
        by : float
            [mm]

        Returns
        -------
        Box

        Examples
        --------
        >>> Box(10.0, 10.0, 100.0, 80.0).inset(5.0)
        Box(left=15.0, bottom=15.0, width=90.0, height=70.0)
        """
        return Box(self.left + by, self.bottom + by, self.width - 2 * by, self.height - 2 * by)

    def meets(self, other: Box) -> bool:
        """Whether two boxes overlap.

        Parameters
        ----------
        other : Box
            On the same page.

        Returns
        -------
        bool
            False where they only touch.

        Examples
        --------
        >>> Box(0.0, 0.0, 10.0, 10.0).meets(Box(10.0, 0.0, 5.0, 5.0))
        False
        """
        return (
            self.left < other.right and other.left < self.right and self.bottom < other.top and other.bottom < self.top
        )

    def holds(self, other: Box) -> bool:
        """Whether another box lies within this one.

        Parameters
        ----------
        other : Box
            On the same page.

        Returns
        -------
        bool
            True where edges coincide.
        """
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.bottom <= other.bottom
            and other.top <= self.top
        )


class Pen:
    """A canvas with fonts, in millimetres."""

    def __init__(self, canvas: Canvas, fonts: Fonts) -> None:
        self.canvas, self.fonts = canvas, fonts

    def width(self, text: str, size: float, bold: bool = False) -> float:
        """Width of a text of ``size`` points. [mm]."""
        return self.fonts.width(text, bold) * size / MM

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = 8,
        *,
        bold: bool = False,
        align: str = "left",
        color: str = INK,
        halo: float = 0,
    ) -> None:
        """Write one line with its baseline at ``y``; a white ``halo`` of so many points leaves it searchable."""
        runs = self.fonts.runs(text, bold)
        start = x * MM - _ALIGN[align] * self.fonts.width(text, bold) * size
        if halo:
            self.canvas.setStrokeColor(_color(WHITE))
            self.canvas.setLineWidth(halo)
            self.canvas.setLineJoin(1)
            self._runs(runs, start, y * MM, size, 1)
        self.canvas.setFillColor(_color(color))
        self._runs(runs, start, y * MM, size, 0)

    def _runs(self, runs: Sequence[tuple[str, str]], x: float, y: float, size: float, mode: int) -> None:
        line = self.canvas.beginText(x, y)
        line.setTextRenderMode(mode)
        for font, run in runs:
            line.setFont(font, size)
            line.textOut(run)
        line.setTextRenderMode(0)
        self.canvas.drawText(line)

    def fitted(self, x: float, y: float, text: str, width: float, size: float, **look: Any) -> None:
        """Write one line made to fit: in smaller letters as far as they can be read, then cut with an ellipsis."""
        bold, text = look.get("bold", False), text[:_LONGEST]
        size = max(min(size, size * width / max(self.width(text, size, bold), 1e-9)), 0.7 * size, SMALLEST_PT)
        self.text(x, y, cut(self, text, width + 0.01, size, bold), size, **look)

    def line(
        self, points: Iterable[tuple[float, float]], width: float = 0.5, color: str = INK, dash: Sequence[float] = ()
    ) -> None:
        """Draw a polyline; widths and dashes in points."""
        self._pen(width, color, dash)
        path = self.canvas.beginPath()
        for number, (x, y) in enumerate(points):
            (path.lineTo if number else path.moveTo)(x * MM, y * MM)
        self.canvas.drawPath(path)

    def box(self, box: Box, width: float = 0.5, color: str = INK, fill: str | None = None) -> None:
        """Draw a rectangle; no outline if ``width`` is 0."""
        self._pen(width, color, ())
        if fill:
            self.canvas.setFillColor(_color(fill))
        self.canvas.rect(
            box.left * MM, box.bottom * MM, box.width * MM, box.height * MM, stroke=int(width > 0), fill=int(bool(fill))
        )

    def polygon(
        self, points: Iterable[tuple[float, float]], fill: str | None, width: float = 0.5, color: str = INK
    ) -> None:
        """Draw a closed shape."""
        ops = " ".join(f"{x * MM:.2f} {y * MM:.2f} {'l' if n else 'm'}" for n, (x, y) in enumerate(points))
        self.path([ops + " h"], fill=fill, width=width, color=color)

    def circle(self, x: float, y: float, radius: float, fill: str | None, width: float = 0.5, color: str = INK) -> None:
        """Draw a circle."""
        self._pen(width, color, ())
        if fill:
            self.canvas.setFillColor(_color(fill))
        self.canvas.circle(x * MM, y * MM, radius * MM, stroke=int(width > 0), fill=int(bool(fill)))

    def path(
        self,
        ops: Sequence[str],
        *,
        fill: str | None = None,
        width: float = 0.0,
        color: str = INK,
        dash: Sequence[float] = (),
        phase: float = 0.0,
        round_ends: bool = False,
    ) -> None:
        """Draw finished path operators, in points; holes stay open (even-odd)."""
        if not ops:
            return
        self._pen(width, color, dash)
        if round_ends:
            self.canvas.setLineCap(1)
        if phase:
            self.canvas.setDash(list(dash), phase)
        if fill:
            self.canvas.setFillColor(_color(fill))
        self.canvas.drawPath(PDFPathObject(code=list(ops)), stroke=int(width > 0), fill=int(bool(fill)), fillMode=0)

    @contextmanager
    def within(self, ops: Sequence[str]) -> Iterator[None]:
        """Draw only inside of a path."""
        self.canvas.saveState()
        self.canvas.clipPath(PDFPathObject(code=list(ops)), stroke=0, fill=0, fillMode=0)
        yield
        self.canvas.restoreState()

    def _pen(self, width: float, color: str, dash: Sequence[float]) -> None:
        self.canvas.setLineWidth(width)
        self.canvas.setStrokeColor(_color(color))
        self.canvas.setLineJoin(1)
        self.canvas.setLineCap(0)
        self.canvas.setDash(list(dash))


@lru_cache(maxsize=256)
def _color(text: str) -> Color:
    """Colour read once: reading it takes longer than drawing with it."""
    return HexColor(text)


def cut(pen: Pen, text: str, width: float, size: float, bold: bool = False) -> str:
    """Text cut with an ellipsis so that it fits."""
    text = text[:_LONGEST]  # no line is longer, whatever it holds
    if pen.width(text, size, bold) <= width:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if pen.fonts.width(text[:middle] + "…", bold) * size / MM <= width:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…"


def ops_of(box: Box) -> str:
    """Path of a box.

    Parameters
    ----------
    box : Box
        On the page. [mm]

    Returns
    -------
    str
        Path operators. [points]

    Examples
    --------
    >>> ops_of(Box(0.0, 0.0, 25.4, 12.7))
    '0.00 0.00 72.00 36.00 re'
    """
    return f"{box.left * MM:.2f} {box.bottom * MM:.2f} {box.width * MM:.2f} {box.height * MM:.2f} re"
