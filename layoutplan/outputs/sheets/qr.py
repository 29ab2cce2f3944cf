"""QR codes with ``geo:`` links, drawn as one path."""

from __future__ import annotations

from functools import lru_cache

import segno

from layoutplan.outputs.geo_uri import geo_uri
from layoutplan.outputs.sheets.pen import INK, MM, WHITE, Box, Pen

_QUIET = 4  # modules of white around, as ISO/IEC 18004 asks for


def place_code(pen: Pen, box: Box, lon_deg: float, lat_deg: float) -> None:
    """Draw the code of a place into a square box, its quiet zone included.

    Parameters
    ----------
    pen : Pen
        Draws on the page.
    box : Box
        On the page. [mm]
    lon_deg, lat_deg : float
        The place. [deg]
    """
    rows = _modules(geo_uri(lat_deg=lat_deg, lon_deg=lon_deg))
    side = box.width / (len(rows) + 2 * _QUIET)
    pen.box(box, 0, fill=WHITE)
    ops = []
    for number, row in enumerate(rows):
        y = box.top - (_QUIET + number + 1) * side
        for start, length in row:
            x = box.left + (_QUIET + start) * side
            ops.append(f"{x * MM:.3f} {y * MM:.3f} {length * side * MM:.3f} {side * MM:.3f} re")
    pen.path(ops, fill=INK)


@lru_cache(maxsize=4096)
def _modules(text: str) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Runs of dark modules in each row: where they start and how long they are."""
    rows = []
    for row in segno.make(text, error="m", micro=False, boost_error=False).matrix:
        runs: list[tuple[int, int]] = []
        for place, dark in enumerate(row):
            if dark and runs and sum(runs[-1]) == place:
                runs[-1] = (runs[-1][0], runs[-1][1] + 1)
            elif dark:
                runs.append((place, 1))
        rows.append(tuple(runs))
    return tuple(rows)
