"""review.csv, read back with the csv module."""

from __future__ import annotations

import csv
import dataclasses
import re

import pytest

from layoutplan.layout.rules import NO_LAYOUT
from layoutplan.outputs.review import write_review_table
from layoutplan.text import clean, csv_cell


def read(path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


def test_a_row_for_each_tower_stake_and_rule(plan, tmp_path) -> None:
    rows = read(write_review_table(plan, tmp_path))
    assert list(rows[0]) == ["line_id", "tower_id", "status", "role", "waypoint", "rule", "measured", "limit", "unit",
                             "verdict", "basis", "detail", "plan_number"]  # fmt: skip
    checked = [row for row in rows if row["rule"] != "layout"]
    found = {(row["tower_id"], row["role"], row["rule"]): row for row in checked}
    assert len(checked) == len(found) == len(plan.checks)
    status = plan.towers.set_index("tower_id")["status"]
    for check in plan.checks.itertuples():
        row = found[csv_cell(clean(check.tower_id)), check.role, check.rule]
        assert (row["verdict"], row["unit"], row["basis"]) == (check.verdict, check.unit, check.basis)
        assert row["status"] == status[check.tower_id]
        assert row["measured"] == "" if check.measured != check.measured else float(row["measured"]) == pytest.approx(
            check.measured, abs=1e-6
        )  # fmt: skip
        assert float(row["limit"]) == check.limit


def test_no_tower_is_missing(plan, tmp_path) -> None:
    rows = read(write_review_table(plan, tmp_path))
    assert list(dict.fromkeys(row["tower_id"] for row in rows)) == [csv_cell(clean(t)) for t in plan.towers["tower_id"]]
    without = plan.towers[plan.towers["status"] == NO_LAYOUT]
    bare = [row for row in rows if row["rule"] == "layout"]
    assert [row["detail"] for row in bare] == without["reasons"].tolist()
    assert {row["verdict"] for row in bare} == {"no layout"}


def test_a_tower_that_nothing_is_known_of_is_unknown(plan, tmp_path) -> None:
    rows = read(write_review_table(dataclasses.replace(plan, checks=plan.checks.iloc[:0]), tmp_path))
    verdicts = {row["status"]: row["verdict"] for row in rows}
    assert verdicts.pop(NO_LAYOUT) == "no layout"
    assert set(verdicts.values()) == {"unknown"}


def test_rfc_4180_and_utf_8(make_plan, tmp_path) -> None:
    data = write_review_table(make_plan(14), tmp_path).read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == data.count(b"\r")
    assert not data.startswith(b"\xef\xbb\xbf")
    assert "Башня 12 鉄塔 🗼" in data.decode("utf-8")


def test_no_cell_runs_in_a_spreadsheet(make_plan, tmp_path) -> None:
    rows = read(write_review_table(make_plan(14), tmp_path))
    assert any(row["tower_id"] == "'=1+1" for row in rows)
    for row in rows:
        assert not any(re.match(r"[=+@\t\r|%-]", cell) for cell in row.values())


def test_same_plan_same_bytes(make_plan, tmp_path) -> None:
    first = write_review_table(make_plan(14), tmp_path).read_bytes()
    assert write_review_table(make_plan(14), tmp_path).read_bytes() == first
