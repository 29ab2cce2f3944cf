"""Any positions held against the rules: chosen ones, alternatives, positions moved by hand or staked in the field."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray, IntArray
from layoutplan.job import Job
from layoutplan.line.model import Towers
from layoutplan.siting.beside import Beside, beside
from layoutplan.siting.figures import NOTHING_KNOWN, Figures, beyond_limits
from layoutplan.siting.judge import TERMS, DistanceSteps, permitted, score_terms, total
from layoutplan.siting.mapped_spans import with_mapped_spans
from layoutplan.siting.measure import Clearances, clearances, distance_to_axis_m, holding
from layoutplan.siting.near import NearPairs
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG, Rays, make_rays, nearest_span
from layoutplan.siting.trace import Touches, trace_rays


@dataclass(frozen=True, slots=True)
class Evaluated:
    """Positions with everything that the rules ask of them; one entry each, sorted by tower and bearing.

    Attributes
    ----------
    rays : Rays
        One for each position.
    distance_m : ndarray
        From the tower point. [m]
    touches : Touches
        What the leads touch on their way; the ray is the number of the position.
    held_position, held_feature : ndarray of int
        Areas that hold a position; ``OUTSIDE_PERMITTED`` for land that is not permitted.
    close_position, close_feature : ndarray of int
        Features of the map that a position is nearer to than their keep-out and the margin together.
    span : ndarray of str
        The adjoining span nearest in direction to each lead.
    clear : Clearances
    beside : Beside
        What the leads pass that they must not cross.
    axis_m : ndarray
        To the nearest axis of the planned lines. [m]
    allowed : ndarray of bool
        Whether every hard rule of a single position is kept, the angle to the spans included.
    terms : dict
        Terms of the score, each of shape (n,).
    score : ndarray
        Points.
    """

    rays: Rays
    distance_m: FloatArray
    touches: Touches
    held_position: IntArray
    held_feature: IntArray
    close_position: IntArray
    close_feature: IntArray
    span: NDArray[np.str_]
    clear: Clearances
    beside: Beside
    axis_m: FloatArray
    allowed: NDArray[np.bool_]
    terms: dict[str, FloatArray]
    score: FloatArray

    def __len__(self) -> int:
        """Return the number of positions."""
        return len(self.distance_m)


def evaluate(
    towers: Towers,
    tower: IntArray,
    bearing_deg: FloatArray,
    distance_m: FloatArray,
    near: NearPairs,
    obstacles: Obstacles,
    job: Job,
    figures: Figures = NOTHING_KNOWN,
) -> Evaluated:
    """Hold positions against the rules.

    Parameters
    ----------
    towers : Towers
        Of one section.
    tower : ndarray of int, shape (n,)
        Rows of ``towers``.
    bearing_deg : ndarray, shape (n,)
        From the tower point, clockwise from true north. [deg]
    distance_m : ndarray, shape (n,)
        From the tower point on the ground. [m]
    near : NearPairs
        What lies near ``towers``, as far as the farthest of the positions and the margin.
    obstacles : Obstacles
        Of the whole job.
    job : Job
        Its rules, limits and weights.
    figures : Figures
        Of ``towers``.

    Returns
    -------
    Evaluated
        n positions, sorted by tower and bearing.
    """
    bearing_deg = np.mod(bearing_deg, 360.0)
    order = np.lexsort((bearing_deg, tower))
    spanned = with_mapped_spans(towers, near, obstacles)
    rays = make_rays(spanned, tower[order], bearing_deg[order], job.rules)
    distance = distance_m[order]
    reach = float(distance.max(initial=0.0)) + 1.0
    trace = trace_rays(rays, near, obstacles, reach_m=reach, margin_m=job.score.margin_m)
    step_no = DistanceSteps(distance, 1.0, 1)
    table = score_terms(rays, trace, step_no, figures)
    score = total(table, job.score)[:, 0]
    kept = permitted(rays, trace, step_no)[:, 0] & (rays.angle_deg >= job.rules.min_angle_deg - ANGLE_TOLERANCE_DEG)
    for beyond in beyond_limits(table, job).values():
        kept &= ~beyond[:, 0]
    terms = {name: np.broadcast_to(table[name], (len(rays), 1))[:, 0].astype(float) for name in TERMS}
    held, area = holding(trace.inside, distance)
    close = trace.close.take(~obstacles.is_planned[trace.close.feature])  # distances from the tower need no map
    close_position, close_feature = holding(close, distance)
    off_limits, outside = holding(trace.blocked.take(trace.blocked.feature < 0), distance)
    return Evaluated(
        rays=rays,
        distance_m=distance,
        touches=_on_the_way(trace.touches, distance),
        held_position=np.concatenate((held, off_limits)),
        held_feature=np.concatenate((area, outside)),
        close_position=close_position,
        close_feature=close_feature,
        span=nearest_span(spanned, rays.tower, rays.bearing_deg),
        clear=clearances(rays, distance, near, obstacles, trace),
        beside=beside(rays, distance, near, obstacles),
        axis_m=distance_to_axis_m(rays, distance, near, obstacles),
        allowed=kept,
        terms=terms,
        score=score,
    )


def _on_the_way(touches: Touches, distance_m: FloatArray) -> Touches:
    """Touches of the leads, which end at their stakes; in order along each lead."""
    rows = np.flatnonzero(touches.at_m <= distance_m[touches.ray])
    rows = rows[np.lexsort((touches.at_m[rows], touches.ray[rows]))]
    return Touches(*(getattr(touches, name)[rows] for name in Touches.__slots__))
