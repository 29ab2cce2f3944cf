"""Shared line geometries."""

from __future__ import annotations

import numpy as np
import pytest

A = np.exp(2j * np.pi / 3)


@pytest.fixture
def balanced() -> np.ndarray:
    """Phases A, B, C of 100 A."""
    return 100 * np.array([1, A**2, A])


@pytest.fixture
def straight_line() -> np.ndarray:
    """Two towers 120 km apart on the y axis."""
    return np.array([[0.0, -60_000], [0, 60_000]])
