"""stakes.csv, read back with the csv module."""

import csv
import re

import numpy as np
import pytest

from layoutplan.layout.schema import TABLES
from layoutplan.outputs.rounding import rounded, rounded_bearing, rounded_lon
from layoutplan.outputs.stakes import write_stakes


def read(path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_a_row_for_each_electrode(plan, tmp_path) -> None:
    rows = read(write_stakes(plan, tmp_path))
    assert [row["waypoint"] for row in rows] == plan.electrodes["waypoint"].tolist()
    assert [row["role"] for row in rows[:4]] == ["H", "S", "H", "S"]
    assert np.allclose([float(row["lon"]) for row in rows], plan.electrodes["lon"], atol=6e-8)
    assert np.allclose([float(row["distance_m"]) for row in rows], plan.electrodes["distance_m"], atol=0.006)
    assert {"crossings", "reasons", "lead_length_m"} <= set(rows[0])
    assert any("Mill Lane" in row["crossings"] for row in rows)


def test_what_the_crew_brings_and_finds(plan, tmp_path) -> None:
    rows = read(write_stakes(plan, tmp_path))
    leads = plan.leads
    for row, lead, stake in zip(rows, leads.itertuples(), plan.electrodes.itertuples(), strict=True):
        assert row["rods"] == str(stake.rods)
        assert row["rods_note"] == stake.rods_note
        assert float(row["rod_resistance_ohm"]) == pytest.approx(stake.rod_resistance_ohm, abs=0.0051)
        assert (row["handling"], row["handling_fault"]) == (lead.handling, lead.handling_fault)
        for name in ("expected_reading_v_low", "expected_reading_v_high"):
            value = getattr(lead, name)
            assert row[name] == "unknown" if np.isnan(value) else float(row[name]) == pytest.approx(value, abs=0.0051)
    assert {row["expected_reading_v_high"] for row in rows} >= {"unknown", "9.06"}


def test_rfc_4180_and_utf_8(plan, tmp_path) -> None:
    data = write_stakes(plan, tmp_path).read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == data.count(b"\r") == len(plan.electrodes) + 1
    assert data.decode("utf-8").endswith("\r\n")


def test_no_cell_runs_in_a_spreadsheet(make_plan, tmp_path) -> None:
    plan = make_plan(14)
    rows = read(write_stakes(plan, tmp_path))
    assert any(row["tower_id"] == "'=1+1" for row in rows)
    for row in rows:
        for cell in row.values():
            assert not re.match(r"[=+@\t\r|%]", cell)
            assert not cell.startswith("-") or float(cell) < 0


def test_roundings(plan, tmp_path) -> None:
    for row in read(write_stakes(plan, tmp_path)):
        assert re.fullmatch(r"-?\d+\.\d{1,7}", row["lon"])
        assert all(
            re.fullmatch(r"-?\d+(\.\d{1,2})?", row[key]) for key in ("distance_m", "bearing_true_deg", "easting")
        )


@pytest.mark.parametrize(("value", "shown"), [(359.996, 0.0), (0.004, 0.0), (-0.0, 0.0), (12.345, 12.34)])
def test_bearings_stay_below_360(value: float, shown: float) -> None:
    assert rounded_bearing(value) == shown
    assert 0 <= float(rounded_bearing(value)) < 360


def test_longitudes_stay_below_180() -> None:
    assert rounded_lon([179.99999999, -180.0, 180.0]).tolist() == [-180.0, -180.0, -180.0]


def test_no_minus_zero(plan) -> None:
    table = rounded(plan.electrodes.drop(columns="geometry").assign(beyond_min_m=-0.001), TABLES["electrodes"])
    assert not np.signbit(table["beyond_min_m"]).any()


def test_no_stakes_no_rows(empty_plan, tmp_path) -> None:
    assert read(write_stakes(empty_plan, tmp_path)) == []
