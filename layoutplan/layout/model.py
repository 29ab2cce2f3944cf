"""The plan: what was decided, as tables, with everything needed to defend it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import pandas as pd

from layoutplan.access.verdicts import PERMISSION as PERMISSION
from layoutplan.access.verdicts import REACHABLE as REACHABLE  # verdicts of ways on foot that are open
from layoutplan.inputs.model import InputFile
from layoutplan.layout.rules import STATUSES

if TYPE_CHECKING:
    from layoutplan.job import Job


@dataclass(frozen=True)
class Plan:
    """A finished plan. All geometries are WGS 84 (EPSG:4326); bearings are degrees clockwise from true north.

    Attributes
    ----------
    towers : GeoDataFrame
        One point per tower, in line order.
    spans : GeoDataFrame
        One line per span of the planned lines.
    electrodes, leads : GeoDataFrame
        One row per stake, H before S; leads run from tower to stake.
    checks : DataFrame
        One row per electrode and rule: measured value, limit, unit, verdict, basis, detail.
    crossings : DataFrame
        One row per electrode and feature that its lead crosses or it stands on, where that is forbidden, to be agreed
        or to be minded.
    alternatives : GeoDataFrame
        Further distinct positions, best first on each side.
    obstacles : GeoDataFrame
        The corridor's map features with class, width and keep-out as used.
    exclusions : DataFrame
        How many candidates each rule excluded, by tower and side.
    relaxations : DataFrame
        For towers without layout: the single changes that would give one, in the order of asking.
    exposures : DataFrame
        One row per lead and exposure: value, limit, ratio, basis, edition, duration, fault location, assumptions.
    readings : DataFrame
        One row per tower and test frequency: expected resistance, bias, coupling.
    approaches : GeoDataFrame
        One row per tower and stake: where the vehicle stops, and the way on foot; empty where ways are not looked for.
    permissions : GeoDataFrame
        One row per parcel that stakes, leads or approaches touch, those to be asked about first; empty without land.
    agreements : DataFrame
        One row per person, body or parcel to be asked: whom, about what, for which towers and stakes, and its state.
    files : tuple of InputFile
        Every file read, with its SHA-256.
    assumptions, cautions, problems : tuple of str
        What was taken for granted; what the crew is warned of; warnings about the inputs.
    grid_crs : str
        Projected system of easting, northing and grid bearing.
    pairs : DataFrame
        For towers where a pair on one side of the line has fewer points than the chosen pair on opposite sides, and
        reads as well: that pair, with the readings of both.
    timings_s : mapping
        Seconds for each stage.
    whole : Plan or None
        The plan that this is a part of (`layoutplan.layout.part`); it has the number of the whole.
    """

    job: Job
    towers: gpd.GeoDataFrame
    spans: gpd.GeoDataFrame
    electrodes: gpd.GeoDataFrame
    leads: gpd.GeoDataFrame
    checks: pd.DataFrame
    crossings: pd.DataFrame
    alternatives: gpd.GeoDataFrame
    obstacles: gpd.GeoDataFrame
    exclusions: pd.DataFrame
    relaxations: pd.DataFrame
    exposures: pd.DataFrame
    readings: pd.DataFrame
    approaches: gpd.GeoDataFrame
    permissions: gpd.GeoDataFrame
    agreements: pd.DataFrame
    files: tuple[InputFile, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    problems: tuple[str, ...]
    grid_crs: str
    pairs: pd.DataFrame = field(default_factory=pd.DataFrame)
    timings_s: Mapping[str, float] = field(default_factory=dict)
    whole: Plan | None = None

    @property
    def walks(self) -> gpd.GeoDataFrame:
        """Those of the approaches that have a shape: to the others there is no way, or nobody knows one."""
        return self.approaches[self.approaches.geometry.notna()]

    @property
    def summary(self) -> dict[str, Any]:
        """Towers by status, and the worst cases."""
        counts = self.towers["status"].value_counts()
        return {
            "towers": len(self.towers),
            "by_status": {status: int(counts.get(status, 0)) for status in STATUSES},
            "worst": self._worst(),
            "worst_exposure": self._worst_exposure(),
            "exposures_unknown": int(self.exposures["ratio"].isna().sum()),
        }

    def _worst_exposure(self) -> dict[str, Any]:
        """Exposure nearest to, or farthest beyond, its limit in each state, the sums left out."""
        single = self.exposures[~self.exposures["exposure"].str.startswith("arithmetic")]
        rows = single.loc[single.dropna(subset="ratio").groupby("state")["ratio"].idxmax()]
        names = ["exposure", "value", "unit", "limit", "ratio", "tower_id", "role"]
        return {row["state"]: {name: row[name] for name in names} for row in rows.to_dict("records")}

    def _worst(self) -> dict[str, Any]:
        """Lowest angle, least line clearance and longest lead among the chosen positions."""
        table = self.electrodes
        if table.empty:
            return {}
        picks = {
            "angle_to_line_deg": table["angle_to_line_deg"].idxmin(),
            "distance_to_line_m": table["distance_to_line_m"].idxmin(),
            "lead_length_m": table["lead_length_m"].idxmax(),
        }
        return {
            name: {
                "value": round(float(table.at[row, name]), 2),
                "tower_id": table.at[row, "tower_id"],
                "role": table.at[row, "role"],
            }
            for name, row in picks.items()
        }
