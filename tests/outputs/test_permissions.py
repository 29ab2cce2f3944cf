"""The access officer's list, read back with another reader."""

import csv
from dataclasses import replace

from layoutplan.outputs import write_plan
from layoutplan.outputs.permissions import write_permissions


def test_one_row_for_each_parcel(make_plan, tmp_path):
    plan = make_plan(towers=5)
    with write_permissions(plan, tmp_path).open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["state"] for row in rows] == plan.permissions["state"].tolist()
    assert [row["owner_ref"] for row in rows] == [f"P-{number}" for number in range(len(plan.electrodes))]
    assert float(rows[1]["lead_m"]) == 10.5
    assert "geometry" not in rows[0]


def test_no_cell_runs(make_plan, tmp_path):
    text = write_permissions(make_plan(towers=8, hostile=True), tmp_path).read_text("utf-8")
    for row in csv.reader(text.splitlines()):
        assert not any(cell.startswith(("=", "@")) for cell in row)


def test_only_where_the_job_names_land(make_plan, tmp_path):
    plan = make_plan(towers=3, formats=("csv", "permissions"))
    assert [path.name for path in write_plan(plan, tmp_path / "with")] == ["stakes.csv", "permissions.csv"]
    without = replace(plan, job=plan.job.model_copy(update={"land": ()}))
    assert [path.name for path in write_plan(without, tmp_path / "without")] == ["stakes.csv"]
