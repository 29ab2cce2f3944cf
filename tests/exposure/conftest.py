"""Networks that several files ask for."""

from __future__ import annotations

import numpy as np
import pytest

from layoutplan.exposure import Network

from .dense import DenseLine
from .worlds import FLAT, UNBALANCED, WIRES, flat_line, straight, world


@pytest.fixture
def whole_ground(monkeypatch: pytest.MonkeyPatch) -> None:
    """Footings lift each other and every stake, however far off: as in the reference, on lines of any length."""
    for name in ("TOWER_M", "STATION_M", "_NEAR_M"):
        monkeypatch.setattr(f"layoutplan.exposure.footings.{name}", 1e6)
    monkeypatch.setattr("layoutplan.exposure.footings._MOST", 200)


@pytest.fixture(scope="module")
def plain() -> Network:
    """A straight flat line to the north, 41 towers, unbalanced load."""
    return world(flat_line(load=UNBALANCED)).network()


@pytest.fixture(scope="module")
def dense() -> DenseLine:
    """The same line by the reference."""
    return DenseLine(straight(), [*FLAT, *WIRES], np.full(41, 10.0))
