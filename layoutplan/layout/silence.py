"""Why the map does not show what is about a tower, and what would cure it, in words."""

from __future__ import annotations

from layoutplan.inputs import gaps
from layoutplan.inputs.gaps import GAPS, causes_of, cures_of
from layoutplan.inputs.houses import DOUBT_M, WITHIN_M
from layoutplan.inputs.signs import COVER_M, PLACE, STREET
from layoutplan.job import Job
from layoutplan.job.classes import the
from layoutplan.job.roles import Role

_SAYS = {
    gaps.NO_MAP: "no map layer given, or none with anything near the line",
    gaps.OUTSIDE_POLYGON: "the coverage polygon does not cover all ground within {reach:.0f} m",
    gaps.OUTSIDE_BOX: "the map's own box does not cover all ground within {reach:.0f} m",
    gaps.FEW_FEATURES: "mapped features within {radius:.0f} m in fewer than {octants} of 8 directions",
    gaps.NO_LAND_COVER: f"roads are mapped, but no water and no land cover within {COVER_M:.0f} m",
    gaps.BARE_STREETS: "houses are not mapped here: a street, drive or house number without a house or residential "
    f"land within {WITHIN_M[STREET]:.0f} m (a named place: {WITHIN_M[PLACE]:.0f} m) is within {DOUBT_M[STREET]:.0f} m "
    f"({DOUBT_M[PLACE]:.0f} m) of the lead",
    gaps.UNCLEAR_SHORE: "the map's coastlines do not separate land from sea here",
}
_CURES = {
    gaps.ADD_MAP: "add the region's OpenStreetMap extract, or layers of roads, waters and buildings, to the job",
    gaps.WIDER_POLYGON: "widen the coverage polygon to where the map is complete",
    gaps.NEIGHBOUR: "add the neighbouring region's extract to the job",
    gaps.LAND_COVER_LAYER: "add layers of waters and land cover to the job",
    gaps.BUILDINGS_LAYER: "add a layer of buildings to the job",
    gaps.WHOLE_COAST: f"fetch an extract with whole coastlines, or add a layer of the sea (class {the(Role.SEA)})",
}
_VOUCH = "vouch for it with a coverage polygon and themes = {themes}"


def gap_text(stored: str, job: Job) -> str:
    """State what the map does not show and what would cure it.

    Parameters
    ----------
    stored : str
        Causes as :func:`layoutplan.inputs.gaps.joined` makes them.
    job : Job
        Its reach and its coverage section.

    Returns
    -------
    str
        Empty for no gap.

    Examples
    --------
    >>> from layoutplan.job import load_job
    >>> print(gap_text("reach:no_map", load_job("sample_gis/job.toml")).partition(" (remedy")[0])
    no map layer given, or none with anything near the line
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
    return f"{says} (remedy: {', or '.join(ways)})"
