"""Mapped overhead lines that end at a planned tower: spans of the tower that the job does not know of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from layoutplan.line.model import Towers
from layoutplan.siting.near import NearPairs
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.ragged import expand

_STUB_M = 10.0  # a piece no longer than this, or an end on the arms, says nothing of a span's direction (judgement)


def with_mapped_spans(towers: Towers, near: NearPairs, obstacles: Obstacles) -> Towers:
    """Towers whose adjoining spans include the mapped power lines that come to the tower point.

    A line of which only a part is planned goes on, and branches may be missing from the job: leads keep their angle to
    those spans as well.

    Parameters
    ----------
    towers : Towers
        Of one section.
    near : NearPairs
        What lies near them.
    obstacles : Obstacles
        Of the whole job.

    Returns
    -------
    Towers
        With more adjoining bearings [deg] and their names.
    """
    rows = near.fastened & ~obstacles.is_planned[near.feature]
    tower = np.tile(near.tower[rows], 2)
    end = np.concatenate((near.start_m[rows], near.end_m[rows]))
    feature = np.tile(near.feature[rows], 2)
    far = np.hypot(*end.T) > _STUB_M
    if not far.any():
        return towers
    order = np.argsort(tower[far], kind="stable")
    tower, end, feature = tower[far][order], end[far][order], feature[far][order]
    count = np.bincount(tower, minlength=len(towers))
    _, place = expand(count)
    extra = np.full((len(towers), int(count.max())), np.nan)
    extra[tower, place] = np.mod(np.degrees(np.arctan2(*end.T)), 360.0)
    names = np.full(extra.shape, "", dtype=object)
    names[tower, place] = [_name(obstacles, one) for one in feature.tolist()]
    return replace(
        towers,
        adjoining_deg=np.hstack((towers.adjoining_deg, extra)),
        adjoining_name=np.hstack((towers.adjoining_name, names.astype(str))),
    )


def _name(obstacles: Obstacles, feature: int) -> str:
    words = (obstacles.name[feature] and f"'{obstacles.name[feature]}'", obstacles.feature_id[feature])
    return " ".join(("mapped power line", *filter(None, words)))
