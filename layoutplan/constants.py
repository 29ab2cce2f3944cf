"""Physical constants, each with its unit and source."""

from __future__ import annotations

import math

MU_0_H_PER_M = 4e-7 * math.pi
"""Magnetic constant. [H/m] Conventional value; the measured one (CODATA 2018) differs by less than 1e-9 of it."""

EPS_0_F_PER_M = 8.8541878128e-12
"""Electric constant. [F/m] CODATA 2018."""
