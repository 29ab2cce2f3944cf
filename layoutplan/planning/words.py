"""What shuts a tower's sides and what would open them, in words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import NamedTuple

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from layoutplan.job import Job
from layoutplan.layout.reasons import MOST_SHOWN, NO_WAY_OUT, WAY_OUT, shut_text, side_text, ways_out
from layoutplan.layout.rules import worst_status
from layoutplan.line.structures import names_of
from layoutplan.siting.evaluate import Evaluated
from layoutplan.siting.exclusions import Exclusions
from layoutplan.siting.obstacles import Obstacles
from layoutplan.siting.scene import describe
from layoutplan.siting.site import Sited

SIDES = np.array(["left", "right"])


def beside_texts(chosen: Evaluated, obstacles: Obstacles, job: Job) -> list[str]:
    """What each lead passes, within the margin for the map's accuracy, that it must not cross."""
    close = chosen.beside.edge_m < job.score.margin_m
    return [
        describe(obstacles, job, feature) if near else ""
        for feature, near in zip(chosen.beside.feature.tolist(), close.tolist(), strict=True)
    ]


def tower_names(towers: gpd.GeoDataFrame) -> dict[tuple[str, str], str]:
    """Names of towers by line and id: the id, with its line where several lines have it."""
    line, tower = (towers[key].to_numpy(dtype=str) for key in ("line_id", "tower_id"))
    return dict(zip(zip(line.tolist(), tower.tolist(), strict=True), names_of(line, tower).tolist(), strict=True))


class _Excluded(NamedTuple):
    """A row of the table of exclusions."""

    rule: str
    detail: str
    candidates: int
    of: int


def side_texts(exclusions: Exclusions) -> dict[tuple[int, int], str]:
    """Name for each tower and side the rules that excluded most."""
    rows: dict[tuple[int, int], list[_Excluded]] = defaultdict(list)
    columns = (exclusions.rule, exclusions.detail, exclusions.candidates, exclusions.of)
    places = zip(exclusions.tower.tolist(), exclusions.side.tolist(), strict=True)
    for place, row in zip(places, zip(*(column.tolist() for column in columns), strict=True), strict=True):
        rows[place].append(_Excluded(*row))
    return {place: side_text(found) for place, found in rows.items()}


_COUPLED = "no pair on opposite sides keeps the limit on coupling of the leads"
_FEWER = "fewer points than a pair on opposite sides"


def other_side_texts(sited: Sited, excluded: dict[tuple[int, int], str]) -> dict[int, str]:
    """State for towers with both stakes on one side what keeps the other one shut, or what else decided."""
    used = dict(zip(sited.chosen.rays.tower.tolist(), sited.chosen.rays.side.tolist(), strict=True))
    return {
        int(tower): _COUPLED
        if sited.coupled[tower]
        else _FEWER
        if sited.opposite[tower]
        else _other_side(str(SIDES[1 - used[tower]]), excluded.get((tower, 1 - used[tower]), ""))
        for tower in np.flatnonzero(sited.same_side).tolist()
    }


def _other_side(side: str, shut: str) -> str:
    return (
        f"ruled out on the {side}, as a share of the positions tried: {shut}" if shut else f"no position on the {side}"
    )


def no_layout_reasons(sited: Sited, excluded: dict[tuple[int, int], str]) -> dict[int, str]:
    """State for towers without layout what would open a side, and what shuts each of them."""
    out = {}
    for tower, relaxations in sited.relaxations.items():
        sides = shut_text({str(SIDES[side]): excluded.get((tower, side), "") for side in (0, 1)})
        ways = "; or ".join(ways_out(relaxations)[:MOST_SHOWN])
        first = f"{WAY_OUT}: {ways}" if ways else NO_WAY_OUT
        out[tower] = f"{first}. {sides[0].upper()}{sides[1:]}"
    return out


def tower_status(status: Sequence[str], tower: NDArray[np.int64], count: int) -> list[str]:
    """Worst status of a tower's stakes; no layout where there are none."""
    mine: list[list[str]] = [[] for _ in range(count)]
    for row, name in zip(tower.tolist(), status, strict=True):
        mine[row].append(name)
    return [worst_status(found) for found in mine]


def tower_reasons(electrodes: gpd.GeoDataFrame, sited: Sited, uncovered: list[str]) -> list[str]:
    """Reasons for the status of each tower: those of its two stakes, or why there are none."""
    shut = no_layout_reasons(sited, side_texts(sited.exclusions))
    tower = np.repeat(np.unique(sited.chosen.rays.tower), 2)  # H and S follow each other in the table
    of_stakes = dict(zip(tower[::2].tolist(), _both(electrodes["reasons"].tolist()), strict=True))
    out = []
    for i, reason in enumerate(uncovered):
        text = of_stakes.get(i) or shut[i]
        out.append(f"{reason}; {text}" if reason and i in shut else text)
    return out


def _both(reasons: list[str]) -> list[str]:
    pairs = zip(reasons[::2], reasons[1::2], strict=True)
    return [h if h == s else f"H: {h}. S: {s}" for h, s in pairs]
