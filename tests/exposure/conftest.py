"""Networks that several files ask for; hypothesis without deadlines, so that a busy machine fails no test."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import settings

from layoutplan.exposure import Network

from .dense import DenseLine
from .worlds import FLAT, UNBALANCED, WIRES, flat_line, straight, world

settings.register_profile("layoutplan-exposure", deadline=None, max_examples=5, derandomize=True, database=None)
settings.load_profile("layoutplan-exposure")


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
