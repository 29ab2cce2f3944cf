"""The drawing's blocks: towers and stakes as signs of different shape, with attributes."""

from __future__ import annotations

from collections.abc import Iterable

from ezdxf.document import Drawing
from ezdxf.enums import InsertUnits
from ezdxf.layouts.blocklayout import BlockLayout

TOWER, STAKE_H, STAKE_S = "TOWER", "STAKE_H", "STAKE_S"
SHARED = ("POINT", "TOWER", "LINE", "STATUS", "ELEVATION_M")
OF_STAKES = ("WAYPOINT", "SET_OUT", "FROM_MIDDLE", "CROSSINGS")
_INVISIBLE = 1  # flag of an attribute
_RADIUS_M = 2.0


def add_blocks(drawing: Drawing, metre: float) -> None:
    """Define the blocks; ``metre`` is the length of a metre in the drawing's unit.

    Parameters
    ----------
    drawing : Drawing
        New.
    metre : float
        Length of a metre in the drawing's unit.
    """
    r = _RADIUS_M * metre
    tower = _block(drawing, TOWER, SHARED, r)
    tower.add_lwpolyline([(-r, -r), (r, -r), (r, r), (-r, r)], close=True)
    tower.add_line((-r, -r), (r, r))
    tower.add_line((-r, r), (r, -r))
    current = _block(drawing, STAKE_H, (*SHARED, *OF_STAKES), r)
    current.add_circle((0, 0), r)
    current.add_line((-r, 0), (r, 0))
    current.add_line((0, -r), (0, r))
    potential = _block(drawing, STAKE_S, (*SHARED, *OF_STAKES), r)
    potential.add_lwpolyline([(-r, r), (r, r), (0, -1.2 * r)], close=True)
    potential.add_circle((0, 0), r / 10)


def _block(drawing: Drawing, name: str, tags: Iterable[str], height: float) -> BlockLayout:
    block = drawing.blocks.new(name)
    block.units = InsertUnits(drawing.units)
    for row, tag in enumerate(tags):
        place = (2 * height, -row * height)
        block.add_attdef(tag, place, dxfattribs={"flags": _INVISIBLE, "height": height / 2, "prompt": tag})
    return block
