"""The shape of the ground, as a function of the place in the valley."""

from __future__ import annotations

import numpy as np
import shapely

from . import ways
from .shapes import FloatArray, curve, waves

_AXIS = curve(
    [(-900, 30), (600, -60), (1800, -140), (2700, 0), (3400, 10), (4300, 120), (5200, 180), (6300, 60), (7600, 0)]
)
_SIDE_VALLEYS = (
    curve([(652, -250), (655, -700), (620, -1200), (540, -2000)]),
    curve([(3845, 100), (3960, 600), (3990, 1100), (4060, 2000)]),
    curve([(1208, 130), (1175, 700), (1120, 1900)]),
    curve([(2392, -330), (2360, -800), (2330, -1900)]),
)
_SPUR = ((4960.0, 455.0), (150.0, 95.0), 52.0)  # middle, radii, height
_FLOOR_M, _FALL = 662.0, 0.008
_FLOOR_HALF_WIDTH_M, _FLANK_SLOPE, _FOOT_M = 380.0, 0.56, 260.0


def height_m(uv: FloatArray) -> FloatArray:
    """Return the height of the ground at (n, 2) places in the valley frame."""
    u, v = uv.T
    places = shapely.points(uv)
    off_axis = shapely.distance(places, _AXIS)
    flank = _flank(off_axis - _FLOOR_HALF_WIDTH_M * (1 + 0.12 * waves(u, 81, (900, 2100))))
    side = np.min([shapely.distance(places, line) for line in _SIDE_VALLEYS], axis=0)
    flank *= 1 - 0.55 * np.exp(-((side / 210) ** 2))
    rough = _rough(uv, 82)
    ground = _FLOOR_M - _FALL * u + 0.004 * off_axis + flank * (1 + 0.09 * rough) + 0.3 * rough
    return ground + _spur(u, v) - 2.8 * np.exp(-((shapely.distance(places, ways.RIVER) / 22) ** 4))


def _rough(uv: FloatArray, seed: int) -> FloatArray:
    """Lay plane waves of many lengths and directions over each other; about ±1."""
    lengths, turns = np.geomspace(160.0, 1500.0, 15), np.radians(137.5) * np.arange(15)  # no two the same way
    crests = [
        waves(uv @ np.array([np.cos(turn), np.sin(turn)]), seed + k, (length,)) * (length / 1500) ** 0.6
        for k, (length, turn) in enumerate(zip(lengths, turns, strict=True))
    ]
    return np.sum(crests, axis=0) / 1.6


def _flank(beyond_m: FloatArray) -> FloatArray:
    """Rise gently at the foot, then at the slope of the flank."""
    beyond_m = np.maximum(beyond_m, 0.0)
    foot = np.minimum(beyond_m, _FOOT_M)
    return _FLANK_SLOPE * (foot**2 / (2 * _FOOT_M) + beyond_m - foot)


def _spur(u: FloatArray, v: FloatArray) -> FloatArray:
    (u0, v0), (ru, rv), top = _SPUR
    return top * np.exp(-(((u - u0) / ru) ** 2) - ((v - v0) / rv) ** 2)
