"""What the map is silent about, stake by stake, and the words for it: the one place where they are made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from layoutplan.inputs import gaps
from layoutplan.inputs.gaps import GAPS, SILENT_CLASSES, causes_of, cures_of
from layoutplan.inputs.houses import DOUBT_M, WITHIN_M
from layoutplan.inputs.signs import COVER_M, PLACE, STREET
from layoutplan.job import Job
from layoutplan.line.geodesy import FloatArray, direct
from layoutplan.siting.obstacles import Obstacles

_SAYS = {
    gaps.NO_MAP: "no map layer given, or none with anything near the line",
    gaps.OUTSIDE_POLYGON: "the coverage polygon does not hold all ground within {reach:.0f} m",
    gaps.OUTSIDE_BOX: "the map's own box does not hold all ground within {reach:.0f} m",
    gaps.FEW_FEATURES: "mapped features within {radius:.0f} m in fewer than {octants} of 8 directions",
    gaps.NO_LAND_COVER: f"roads are mapped, but no water and no land cover within {COVER_M:.0f} m",
    gaps.BARE_STREETS: "houses are not mapped here: a street, drive or house number without a house or residential "
    f"land within {WITHIN_M[STREET]:.0f} m (a named place: {WITHIN_M[PLACE]:.0f} m) is within {DOUBT_M[STREET]:.0f} m "
    f"({DOUBT_M[PLACE]:.0f} m) of the lead",
    gaps.UNCLEAR_SHORE: "the map's coastlines do not tell land from sea here",
}
_CURES = {
    gaps.ADD_MAP: "add the region's OpenStreetMap extract, or layers of its roads, waters and buildings, to [[layers]]",
    gaps.WIDER_POLYGON: "widen the [coverage] polygon to where the map is complete",
    gaps.NEIGHBOUR: "add the neighbouring region's extract to [[layers]]",
    gaps.LAND_COVER_LAYER: "add layers of waters and land cover to [[layers]]",
    gaps.BUILDINGS_LAYER: "add a layer of buildings to [[layers]]",
    gaps.WHOLE_COAST: "fetch an extract with whole coastlines, or add a layer of the sea (class standing_water)",
}
_UNSEEN = "; {}: what else may be in the way is not known"
_NOTHING, _PARTS = "the map does not cover this tower", "the map is silent of ground near this tower"
_CORNERS = 16  # of what stands for the disc about a tower
_VOUCH = "vouch for it with a [coverage] polygon and themes = {themes}"


def gap_text(stored: str, job: Job) -> str:
    """Say what the map does not tell and what would cure it; empty for no gap.

    Parameters
    ----------
    stored : str
        Causes as :func:`layoutplan.inputs.gaps.joined` makes them.
    job : Job
    """
    causes = causes_of(stored)
    if not causes:
        return ""
    limits = {"reach": job.rules.reach_m, "radius": job.coverage.radius_m, "octants": job.coverage.octants}
    says = ", and ".join(_SAYS[cause].format(**limits) for cause in causes)
    codes = cures_of(causes).split()
    themes = dict.fromkeys(GAPS[cause].theme for cause in causes if gaps.POLYGON in GAPS[cause].cures)
    asked = [*dict.fromkeys((*job.coverage.themes, *themes))] if job.coverage.path else [*themes]
    vouch = _VOUCH.format(themes=str(asked).replace("'", '"'))
    ways = [vouch if code == gaps.POLYGON else _CURES[code] for code in codes]
    return f"{says} (cure: {', or '.join(ways)})"


def silent_on_the_way(obstacles: Obstacles, start_deg: FloatArray, end_deg: FloatArray) -> list[list[str]]:
    """Causes for which the map is silent of ground that leads run over, lead by lead.

    Parameters
    ----------
    obstacles : Obstacles
    start_deg, end_deg : ndarray, shape (n, 2)
        Ends of the leads, longitude and latitude.
    """
    found: list[list[str]] = [[] for _ in start_deg]
    codes = {obstacles.code(name): cause for name, cause in SILENT_CLASSES.items()}
    if not np.isin(obstacles.class_code, list(codes)).any():
        return found
    leads = shapely.linestrings(np.stack((start_deg, end_deg), axis=1))
    lead, area = obstacles.areas.query(leads, predicate="intersects")
    for row, code in zip(lead.tolist(), obstacles.class_code[obstacles.area_feature[area]].tolist(), strict=True):
        if code in codes:
            found[row].append(codes[code])
    return found


def unseen_by_advice(
    obstacles: Obstacles, towers_deg: FloatArray, covers: NDArray[np.bool_], reach_m: float
) -> list[str]:
    """Say, tower by tower, that more may be in the way of what is advised than the map tells; empty where it tells all.

    Parameters
    ----------
    obstacles : Obstacles
    towers_deg : ndarray, shape (n, 2)
        Longitude and latitude.
    covers : ndarray of bool, shape (n,)
        Whether the map reaches the tower's surroundings.
    reach_m : float
        How far about a tower a lead may run. [m]
    """
    corners = np.repeat(towers_deg[:, None], _CORNERS, axis=1).reshape(-1, 2)
    bearing = np.tile(np.arange(_CORNERS) * (360.0 / _CORNERS), len(towers_deg))
    around = direct(corners, bearing, np.full(len(bearing), reach_m)).reshape(-1, _CORNERS, 2)
    tower, area = obstacles.areas.query(shapely.polygons(around), predicate="intersects")
    silent = np.zeros(len(towers_deg), dtype=bool)
    silent[tower[is_silent(obstacles, obstacles.area_feature[area])]] = True
    return [
        "" if known and not parts else _UNSEEN.format(_PARTS if known else _NOTHING)
        for known, parts in zip(covers.tolist(), silent.tolist(), strict=True)
    ]


def is_silent(obstacles: Obstacles, feature: Sequence[int] | np.ndarray) -> np.ndarray:
    """Mark features that stand for ground of which the map is silent."""
    codes = [obstacles.code(name) for name in SILENT_CLASSES]
    return np.asarray(np.isin(obstacles.class_code[feature], codes))
