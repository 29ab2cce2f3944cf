"""Limits are common practice without a published source; the tests hold the hints against the numbers in the job."""

from __future__ import annotations

import re
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from layoutplan.checking.field_hints import HINT_COLUMNS, MODEL, PRACTICE, field_hints
from layoutplan.checking.field_readings import readings_of_stakes
from layoutplan.errors import ColumnError
from layoutplan.inputs.staked_readings import READING_COLUMNS, Readings

WHOLE = {
    "electrode_h_ohm": 400.0,
    "electrode_s_ohm": 1000.0,
    "voltage_h_v": 5.0,
    "voltage_s_v": 4.5,
    "leakage_total_a": 2.0,
    "leakage_leg1_a": 0.5,
    "leakage_leg2_a": 0.5,
    "leakage_leg3_a": 0.5,
    "leakage_leg4_a": 0.5,
    "tower_resistance_ohm": 4.9,
}


def readings(*rows: dict[str, Any]) -> Readings:
    """One row for each tower; tower 12 unless said otherwise."""
    table = pd.DataFrame(
        [{"line_id": "", "tower_id": "12", **dict.fromkeys(READING_COLUMNS, np.nan), **r} for r in rows]
    )
    return Readings(table.assign(date=pd.NaT, row=range(2, 2 + len(rows))), "readings.csv")


def plan(*keys: tuple[str, str], structure: str = "lattice_4", **known: float) -> dict[str, pd.DataFrame]:
    """Tables of a plan in which nothing is expected unless given."""
    keys = keys or (("A", "12"),)
    frame = pd.DataFrame(keys, columns=["line_id", "tower_id"])
    names = ["standing_current_a_low", "standing_current_a_high"]
    towers = frame.assign(structure=structure, **{name: known.get(name, np.nan) for name in names})
    ends = {f"expected_reading_v_{end}": known.get(f"v_{end}", np.nan) for end in ("low", "high")}
    leads = pd.concat([frame.assign(role=role, **ends) for role in "HS"]).sort_values(["tower_id", "role"])
    return {"towers": towers, "leads": leads}


def hints(tables: dict[str, pd.DataFrame] | None = None, **changed: float) -> pd.DataFrame:
    return field_hints(readings({**WHOLE, **changed}), tables or plan())


def test_nothing_is_said_of_readings_as_they_should_be() -> None:
    found = hints()
    assert found.empty
    assert tuple(found.columns) == HINT_COLUMNS


@pytest.mark.parametrize(
    ("changed", "hint", "measured", "limit", "unit"),
    [
        ({"electrode_h_ohm": 1000.1}, "electrode H has a high resistance", 1000.1, 1000, "ohm"),
        ({"electrode_s_ohm": 5e4}, "electrode S has a high resistance", 5e4, 1000, "ohm"),
        ({"voltage_h_v": 5.6}, "the voltages from the tower to H and to S differ", 1.1, 1, "V"),
        ({"voltage_h_v": 0.09, "voltage_s_v": 0.0}, "hardly any voltage to H and to S", 0.09, 0.1, "V"),
        ({"leakage_leg4_a": 0.39}, "the legs' currents add up to less than the total", 1.89, 2, "A"),
        ({"leakage_leg4_a": 0.61}, "the legs' currents add up to more than the total", 2.11, 2, "A"),
        ({"leakage_total_a": 10.0, "leakage_leg1_a": 7.9}, "add up to less", 9.4, 10, "A"),
        ({"tower_resistance_ohm": 15.0}, "the tower's resistance is high", 15, 15, "ohm"),
        ({"tower_resistance_ohm": 5.0}, "the tower's resistance is above the ideal", 5, 5, "ohm"),
        ({"tower_resistance_ohm": 14.99}, "the tower's resistance is above the ideal", 14.99, 5, "ohm"),
    ],
)  # fmt: skip
def test_what_is_odd(changed: dict[str, float], hint: str, measured: float, limit: float, unit: str) -> None:
    (row,) = hints(**changed).to_dict("records")
    assert hint in row["hint"]
    assert (row["measured"], row["limit"]) == pytest.approx((measured, limit))
    assert (row["line_id"], row["tower_id"], row["unit"]) == ("A", "12", unit)
    assert row["basis"] == PRACTICE == "common practice, no published source"
    assert row["what_to_do"]


@pytest.mark.parametrize(
    "changed",
    [
        {"electrode_h_ohm": 1000.0},
        {"voltage_h_v": 5.5},
        {"voltage_h_v": 3.3, "voltage_s_v": 2.3},
        {"voltage_h_v": 0.1, "voltage_s_v": 0.05},
        {"leakage_leg4_a": 0.4},
        {"leakage_leg4_a": 0.6},
        {"leakage_total_a": 10.0, "leakage_leg1_a": 8.0},
        {"tower_resistance_ohm": 0.0},
    ],
    ids=str,
)
def test_at_the_limit_nothing_is_said(changed: dict[str, float]) -> None:
    assert hints(**changed).empty


def test_what_to_do() -> None:
    assert "water it" in hints(electrode_h_ohm=2000)["what_to_do"][0]
    assert "two to four rod depths apart" in hints(electrode_h_ohm=2000)["what_to_do"][0]
    assert hints(voltage_h_v=9.0)["what_to_do"][0].startswith("move S, the lower one, further out")
    assert hints(voltage_h_v=1.0)["what_to_do"][0].startswith("move H, the lower one, further out")


def test_no_voltage_is_no_leave_to_touch() -> None:
    (row,) = hints(voltage_h_v=0.0, voltage_s_v=0.0).to_dict("records")
    assert "out of service" in row["hint"]
    assert "overhead earth wire" in row["hint"]
    assert "NOT a sign that leads may be touched" in row["what_to_do"]


# ---- what was not measured


def test_one_line_says_what_was_not_measured_and_nothing_else_is_said() -> None:
    (row,) = field_hints(readings({}), plan(v_low=1.0, v_high=2.0)).to_dict("records")
    assert row["hint"] == "not measured: " + ", ".join(READING_COLUMNS)
    assert np.isnan(row["measured"])
    assert np.isnan(row["limit"])
    assert (row["unit"], row["basis"], row["what_to_do"]) == ("", "", "")


@pytest.mark.parametrize("name", READING_COLUMNS)
def test_each_reading_may_be_missing(name: str) -> None:
    found = hints(**{name: np.nan})
    assert found["hint"].tolist() == [f"not measured: {name}"]


@pytest.mark.parametrize(
    ("structure", "legs", "said"),
    [
        ("lattice_4", [0.7, 0.7, 0.7], ["not measured: leakage_leg4_a"]),
        ("lattice_3", [0.7, 0.7, 0.6], []),
        ("lattice_3", [0.9, 0.9], ["not measured: leakage_leg3_a"]),
        ("lattice_3", [0.3, 0.3, 0.3], ["the legs' currents add up to less"]),
        ("frame_2", [1.0, 1.0], []),
        ("pole", [2.0], []),
        ("pole", [], ["not measured: leakage_leg1_a"]),
        ("", [0.7, 0.7, 0.7], ["not measured: leakage_leg4_a"]),
    ],
)  # fmt: skip
def test_legs_of_the_structure(structure: str, legs: list[float], said: list[str]) -> None:
    given = dict(zip([f"leakage_leg{i}_a" for i in (1, 2, 3, 4)], [*legs, *[np.nan] * 4], strict=False))
    found = hints(plan(structure=structure), **given)["hint"].tolist()
    assert len(found) == len(said)
    assert all(text in hint for text, hint in zip(said, found, strict=True))


# ---- beside the plan


@pytest.mark.parametrize(
    ("h", "word", "limit"), [(5.01, "above", 5.0), (3.99, "below", 4.0), (5.0, "", 0), (4.0, "", 0)]
)
def test_voltages_outside_what_the_plan_expects(h: float, word: str, limit: float) -> None:
    found = hints(plan(v_low=4.0, v_high=5.0), voltage_h_v=h)
    if not word:
        assert found.empty
        return
    (row,) = found.to_dict("records")
    assert row["hint"] == f"the voltage from tower to electrode H is {word} what the plan expects"
    assert (row["measured"], row["limit"], row["unit"], row["basis"]) == (h, limit, "V", MODEL)
    assert "not as the plan has it" in row["what_to_do"]
    assert ("may be too low as well" in row["what_to_do"]) == (word == "above")


def test_each_electrode_has_its_own_range() -> None:
    tables = plan()
    tables["leads"]["expected_reading_v_low"] = np.where(tables["leads"]["role"] == "H", 4.0, 1.0)
    tables["leads"]["expected_reading_v_high"] = np.where(tables["leads"]["role"] == "H", 6.0, 2.0)
    (row,) = hints(tables).to_dict("records")
    assert row["hint"] == "the voltage from tower to electrode S is above what the plan expects"
    assert (row["measured"], row["limit"]) == (4.5, 2.0)


def test_current_outside_what_the_plan_expects() -> None:
    (row,) = hints(plan(standing_current_a_low=0.1, standing_current_a_high=1.5)).to_dict("records")
    assert row["hint"] == "the current in the tower is above what the plan expects"
    assert (row["measured"], row["limit"], row["unit"]) == (2.0, 1.5, "A")


def test_a_tower_without_stakes_has_no_expected_voltages() -> None:
    tables = plan()
    tables["leads"] = tables["leads"].iloc[:0]
    assert hints(tables).empty


def test_order_and_lines() -> None:
    tables = plan(("A", "1"), ("A", "12"), ("B", "1"), ("B", "7"))
    given = readings(
        {**WHOLE, "tower_id": "7", "electrode_h_ohm": 2000, "tower_resistance_ohm": 30},
        {**WHOLE, "tower_id": "1", "line_id": "B", "tower_resistance_ohm": 20},
        {**WHOLE, "tower_id": "12", "voltage_s_v": np.nan},
    )
    found = field_hints(given, tables)
    assert found[["line_id", "tower_id"]].to_numpy().tolist() == [["B", "7"], ["B", "7"], ["B", "1"], ["A", "12"]]
    assert found["measured"].tolist() == pytest.approx([2000, 30, 20, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ({"tower_id": "1"}, "row 2: more than one line of the plan has a tower '1': add a column line_id"),
        ({"tower_id": "99"}, "readings.csv, row 2: no such tower in the plan: '99'. Correct the id or the line"),
        ({"tower_id": "12", "line_id": "B"}, "readings.csv, row 2: no such tower in the plan: '12'"),
    ],
)  # fmt: skip
def test_towers_that_cannot_be_meant(row: dict[str, str], message: str) -> None:
    with pytest.raises(ColumnError, match=re.escape(message)):
        field_hints(readings(row), plan(("A", "1"), ("A", "12"), ("B", "1")))


@pytest.mark.long
def test_no_hint_is_a_verdict() -> None:
    """Every hint there is, and none promises anything."""
    texts = []
    for name in READING_COLUMNS:
        for value in (0.0, 10.0, 1e4):
            found = hints(
                plan(v_low=4.0, v_high=4.6, standing_current_a_low=1.9, standing_current_a_high=2.1), **{name: value}
            )
            texts += [*found["hint"], *found["what_to_do"]]
    texts += hints(voltage_h_v=0.0, voltage_s_v=0.0)["what_to_do"].tolist()
    assert len(set(texts)) > 20
    assert not re.search(r"\b(un)?safe(ly|ty)?\b", " ".join(texts), re.IGNORECASE)


# ---- readings that came with the stakes


def matched(**columns: Any) -> gpd.GeoDataFrame:
    count = len(columns["role"])
    table = {
        "line_id": "A",
        "row": range(1, count + 1),
        "time": pd.to_datetime(["2026-04-13T08:00Z"] * count),
        **columns,
    }
    return gpd.GeoDataFrame(table, geometry=shapely.points(np.zeros((count, 2))), crs="EPSG:4326")


def test_readings_of_stakes_come_together_by_tower() -> None:
    table = matched(
        tower_id=["1", "1", "2", "3"],
        role=["H", "S", "H", "H"],
        electrode_h_ohm=[300, np.nan, 200, np.nan],
        electrode_s_ohm=[np.nan, 450, np.nan, np.nan],
        tower_resistance_ohm=[3.0, 3.0, np.nan, np.nan],
    )
    found = readings_of_stakes(table, "stakes.csv")
    assert found.problems == ()
    assert found.table["tower_id"].tolist() == ["1", "2"]
    assert found.table["electrode_h_ohm"].tolist() == [300, 200]
    assert found.table["electrode_s_ohm"].tolist() == pytest.approx([450, np.nan], nan_ok=True)
    assert found.table["tower_resistance_ohm"].tolist() == pytest.approx([3, np.nan], nan_ok=True)
    assert found.table["voltage_h_v"].isna().all()
    assert len(field_hints(found, plan(("A", "1"), ("A", "2")))) == 2


def test_of_two_different_values_none_is_taken() -> None:
    table = matched(tower_id=["1", "1"], role=["H", "S"], tower_resistance_ohm=[3.0, 30.0], voltage_h_v=[2.0, 2.0])
    found = readings_of_stakes(table, "stakes.csv")
    assert found.table["tower_resistance_ohm"].isna().all()
    assert found.table["voltage_h_v"].tolist() == [2.0]
    assert found.problems == (
        "stakes.csv: the points of a tower give different values, and none is taken: tower_resistance_ohm of tower 1",
    )


@pytest.mark.parametrize("columns", [{}, {"voltage_h_v": [np.nan]}])
def test_stakes_without_readings(columns: dict[str, Any]) -> None:
    found = readings_of_stakes(matched(tower_id=["1"], role=["H"], **columns), "stakes.gpx")
    assert found.table.empty
    assert field_hints(found, plan(("A", "1"))).empty
