"""What a crew reported of each stake: its state, a note, and whether anybody knows where it stands."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from layoutplan.checking.matching import Matches
from layoutplan.checking.matching_pairs import claims
from layoutplan.inputs.staked import Staked
from layoutplan.inputs.staked_states import FAILED
from layoutplan.inputs.words import counted, listed
from layoutplan.layout.schema import tables
from layoutplan.layout.set_out import warning
from layoutplan.planning.tables import rounded_columns

TAKEN, NOT_TAKEN, NONE = "taken", "none: planned place not confirmed", "none: no stake stands there"
_KEYS = ["line_id", "tower_id", "role", "waypoint"]


def reported(staked: Staked, found: Matches, planned: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Table of what was reported, in the order of the plan, and warnings.

    Parameters
    ----------
    staked : Staked
    found : Matches
        Of its points.
    planned : DataFrame
        The plan's electrodes.

    Returns
    -------
    table : DataFrame
        ``line_id, tower_id, role, waypoint, state, note, reported_at`` (ISO 8601, UTC), ``position`` (``TAKEN``,
        ``NOT_TAKEN`` or ``NONE``), ``accuracy_m``; one row for each row of the file that tells a state or has a note.
    problems : list of str
    """
    stakes = planned.reset_index(drop=True)
    stake = claims(staked.unplaced["name"].tolist(), stakes["waypoint"].tolist())
    there = stake >= 0
    unplaced = staked.unplaced[there].reset_index(drop=True).assign(**_of_plan(stakes, stake[there]))
    place = np.where(unplaced["state"] == FAILED, NONE, NOT_TAKEN)
    table = pd.concat([_told(found.matched, np.full(len(found.matched), TAKEN)), _told(unplaced, place)])
    table = table[(table["state"] != "") | (table["note"] != "")]
    order = table["waypoint"].map({name: row for row, name in enumerate(stakes["waypoint"])})
    table = table.iloc[np.argsort(order.to_numpy(dtype=np.int64), kind="stable")].reset_index(drop=True)
    forbidden = dict(zip(stakes["waypoint"], map(warning, stakes["status"]), strict=True))
    return table, _problems(staked, table, staked.unplaced[~there], forbidden)


def _of_plan(stakes: pd.DataFrame, rows: np.ndarray) -> dict[str, np.ndarray]:
    return {name: stakes[name].to_numpy()[rows] for name in _KEYS}


def _told(rows: pd.DataFrame, place: np.ndarray) -> pd.DataFrame:
    at = [time.strftime("%Y-%m-%dT%H:%M:%SZ") if pd.notna(time) else "" for time in rows["time"]]
    accuracy = np.where(place == TAKEN, rows["accuracy_m"].to_numpy(dtype=float), np.nan)
    facts = {"reported_at": np.array(at, dtype=object), "position": place.astype(object), "accuracy_m": accuracy}
    return pd.DataFrame(rows[[*_KEYS, "state", "note"]]).assign(**rounded_columns(facts, tables("check")["reported"]))


def _problems(staked: Staked, table: pd.DataFrame, strange: pd.DataFrame, forbidden: Mapping[str, str]) -> list[str]:
    notes = []
    stands = table["waypoint"][~table["state"].isin(["", FAILED])]
    early = {name: forbidden[name] for name in stands if forbidden[name]}
    if early:
        stakes = listed(f"{name} ({text})" for name, text in early.items())
        notes.append(f"{staked.source}: reported as staked although the plan says not yet: {stakes}")
    if len(strange):
        names = listed(f"'{name}'" for name in strange["name"])
        rows = counted(len(strange), "row")
        notes.append(f"{staked.source}: {rows} without a position name no planned stake: {names}")
    twice = table[table.duplicated("waypoint", keep=False)]
    if len(twice):
        texts = twice["state"].where(twice["state"] != "", "no state").groupby(twice["waypoint"], sort=False).agg(list)
        told = listed(f"{name} ({', '.join(states)})" for name, states in texts.items())
        notes.append(f"{staked.source}: reported more than once; decide which one counts: {told}")
    return notes
