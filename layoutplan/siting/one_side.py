"""Two stakes on one side of the line where the rules let in no pair as they are: what would, and how it would read."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layoutplan.arrays import FloatArray
from layoutplan.job import Job
from layoutplan.line.geodesy import turn_deg
from layoutplan.siting.rays import ANGLE_TOLERANCE_DEG
from layoutplan.siting.relaxation import AGREEMENT_SHARE, MEANS, Relaxation, effort, least_between_deg
from layoutplan.siting.scene import Scene

_SIDES = ("left", "right")


def leads_nearer_together(scene: Scene, open_at: NDArray[np.bool_]) -> Relaxation | None:
    """Let the two leads come nearer together than the job asks, as far as is ever proposed.

    Parameters
    ----------
    scene : Scene
        One tower with its widened fan.
    open_at : ndarray of bool, shape (rays, distance steps)
        Candidates that keep all rules.

    Returns
    -------
    Relaxation or None
        None where the angle is not what stands in the way, or too little would be left of it. [deg]
    """
    limit = scene.job.rules.same_side_min_angle_deg
    found = _widest(scene, open_at)
    if found is None:
        return None
    between, reading, side = found
    needed = float(np.floor(between + ANGLE_TOLERANCE_DEG))
    if not least_between_deg(scene.job.rules) <= needed < limit:
        return None
    text = f"two leads {needed:.0f} degrees apart on the {side} of the line instead of {limit:g}{reading}"
    return Relaxation("opposite_sides", needed, limit, "deg", effort(MEANS, (limit - needed) / limit), text)


def two_on_one_side(scene: Scene, open_at: NDArray[np.bool_]) -> Relaxation | None:
    """Let both stakes stand on one side where the job requires opposite ones.

    Parameters
    ----------
    scene : Scene
        One tower with its widened fan.
    open_at : ndarray of bool, shape (rays, distance steps)
        Candidates that keep all rules.

    Returns
    -------
    Relaxation or None
        None where no two leads keep the angle between them.
    """
    limit = scene.job.rules.same_side_min_angle_deg
    found = _widest(scene, open_at)
    if found is None or found[0] < limit - ANGLE_TOLERANCE_DEG:
        return None
    between, reading, side = found
    text = f"both stakes on the {side} of the line, {between:.0f} degrees between the leads{reading}"
    return Relaxation("opposite_sides", np.nan, np.nan, "", effort(MEANS, AGREEMENT_SHARE), text)


def reading_words(job: Job) -> str:
    """Words on how a pair on one side must read, where the job limits the readings of pairs.

    Parameters
    ----------
    job : Job
        With its limits for pairs.

    Returns
    -------
    str
        Empty where it sets none.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from layoutplan.job import Rules
    >>> reading_words(SimpleNamespace(rules=Rules(max_bias_pct=5.0)))
    ", if their reading keeps the job's limits"
    """
    limited = job.rules.max_bias_pct is not None or job.rules.max_coupling_pct is not None
    return ", if their reading keeps the job's limits" if limited else ""


def _widest(scene: Scene, open_at: NDArray[np.bool_]) -> tuple[float, str, str] | None:
    """Angle between the two open leads farthest apart on one side, words on their reading, and the side."""
    ray = np.flatnonzero(open_at.any(axis=1))
    bearing = scene.rays.bearing_deg[ray]
    between: FloatArray = np.abs(turn_deg(bearing[:, None] - bearing))
    between[scene.rays.side[ray][:, None] != scene.rays.side[ray]] = 0.0
    if not between.any():
        return None
    pair = np.array(np.unravel_index(np.argmax(np.round(between, 6)), between.shape))
    step_no = np.argmax(open_at[ray[pair]], axis=1)
    where = 0, bearing[pair], scene.steps.distance_m[ray[pair], step_no]
    bias, coupled = (float(of(*where)[0, 1]) for of in (scene.figures.pair_bias_pct, scene.figures.coupling_pct))
    parts = [f"the geometry bends the reading by {bias:.1f} %"] if np.isfinite(bias) else []
    parts += [f"{coupled:.1f} % is coupled from lead to lead"] if np.isfinite(coupled) else []
    reading = f" ({', '.join(parts)})" if parts else ""
    return float(between[tuple(pair)]), reading + reading_words(scene.job), _SIDES[scene.rays.side[ray[pair[0]]]]
