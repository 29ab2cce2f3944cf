"""What a crew reports of each stake: its state, with and without a position; never kept where nobody saw it."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import pyogrio
import pytest
from click.testing import CliRunner

from layoutplan.checking.check import check_folder
from layoutplan.checking.reported import NONE, NOT_TAKEN, TAKEN
from layoutplan.cli.main import cli
from layoutplan.errors import ColumnError, InputError
from layoutplan.inputs.staked import read_staked
from layoutplan.layout.model import Plan
from layoutplan.outputs.write import write_plan

HOSTILE = '\'=HYPERLINK("http://x");a,b\t<b>\x1b[31m\u202e\n2'
SHOWN = '=HYPERLINK("http://x");a,b <b> [31m 2'
COLUMNS = ("name", "plan_number", "state", "time", "lon", "lat", "accuracy_m", "note")


@pytest.fixture(scope="module")
def written(sample_plan_with: Callable[..., Plan], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("plan")
    write_plan(sample_plan_with(formats=("gpkg", "json")), folder)
    return folder


@pytest.fixture(scope="module")
def stakes(written: Path) -> gpd.GeoDataFrame:
    return pyogrio.read_dataframe(written / "plan.gpkg", layer="electrodes").to_crs(4326).set_index("waypoint")


@pytest.fixture(scope="module")
def number(written: Path) -> str:
    return str(json.loads((written / "plan.json").read_text("utf-8"))["plan_number"])


def write(folder: Path, *rows: dict[str, Any]) -> Path:
    path = folder / "staked.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, restval="")
        writer.writeheader()
        writer.writerows(rows)
    return path


def at(stakes: gpd.GeoDataFrame, name: str, **more: Any) -> dict[str, Any]:
    place = stakes.geometry[name]
    return {"name": name, "lon": f"{place.x:.7f}", "lat": f"{place.y:.7f}", "accuracy_m": "4", **more}


@pytest.mark.long
def test_states_with_and_without_a_position(written, stakes, number, tmp_path) -> None:
    path = write(
        tmp_path,
        at(stakes, "102-H", state="measured", note=HOSTILE, time="2026-05-01T09:30:00.25Z", plan_number=number),
        {"name": "102-S", "state": "Measured", "note": "no sky", "plan_number": number},
        at(stakes, "103-H", state="failed", note="rock"),
        {"name": "103-S", "state": "again"},
    )
    found = check_folder(written, staked=path)
    assert found.electrodes["waypoint"].tolist() == ["102-H"], "a failed stake stands nowhere"
    told = found.reported.set_index("waypoint")
    assert told["state"].to_dict() == {"102-H": "measured", "102-S": "measured", "103-H": "failed", "103-S": "again"}
    assert told["position"].tolist() == [TAKEN, NOT_TAKEN, NONE, NOT_TAKEN]
    assert told.loc["102-H", ["note", "reported_at", "accuracy_m"]].tolist() == [SHOWN, "2026-05-01T09:30:00Z", 4.0]
    assert found.not_confirmed["waypoint"].tolist() == ["102-S", "103-S"]
    assert {"102-S", "103-H", "103-S"} <= set(found.missing["waypoint"]), "nobody knows that they are where planned"
    assert not {"102-S", "103-H", "103-S"} & set(found.checks["waypoint"]), "never kept"


def test_the_report_names_states(written, stakes, number, tmp_path) -> None:
    path = write(
        tmp_path,
        at(stakes, "102-H", state="staked", note=HOSTILE, plan_number=number),
        {"name": "102-S", "state": "measured"},
        {"name": "103-H", "state": "failed", "note": "rock"},
    )
    run = CliRunner().invoke(cli, ["check", str(written), "--staked", str(path), "--out", str(tmp_path / "out")])
    assert run.exit_code in (0, 1)
    head, *lines = run.output.splitlines()
    assert head.endswith("51 not surveyed yet, of these 1 reported without a position: planned place not confirmed")
    assert f'  102-H: staked; position taken, known to 4 m; note: "{SHOWN}"' in lines
    assert "  102-S: measured; position none: planned place not confirmed" in lines
    assert '  103-H: failed; position none: no stake stands there; note: "rock"' in lines
    assert "\x1b" not in run.output
    layer = pyogrio.read_dataframe(tmp_path / "out" / "check.gpkg", layer="reported")
    assert layer["state"].tolist() == ["staked", "measured", "failed"]
    arguments = ["check", str(written), "--staked", str(path), "--out", str(tmp_path / "out"), "--json", "--complete"]
    run = CliRunner().invoke(cli, arguments)
    assert run.exit_code == 1, "with --complete a stake without a position is missing"
    result = json.loads(run.output.splitlines()[-1])
    assert [row["position"] for row in result["reported"]] == [TAKEN, NOT_TAKEN, NONE]
    assert "102-S" in [row["waypoint"] for row in result["missing"]]


@pytest.mark.long
def test_nobody_took_a_position(written, tmp_path) -> None:
    found = check_folder(written, staked=write(tmp_path, {"name": "102-S", "state": "measured"}))
    assert len(found.electrodes) == len(found.checks) == 0
    assert found.not_confirmed["waypoint"].tolist() == ["102-S"]


def test_rows_of_another_plan_are_refused_whatever_a_note_says(written, number, tmp_path) -> None:
    other = "0000-0000"
    rows = [
        {"name": "102-S", "state": "measured", "plan_number": other, "note": f"plan number {number}"},
        {"name": "102-H", "state": "measured", "plan_number": number},
    ]
    for given in (rows[:1], rows):
        with pytest.raises(InputError, match=f"carries the number of another plan.*{other}.*this is plan {number}"):
            check_folder(written, staked=write(tmp_path, *given))
    note = f"they had plan number {other}"
    told = check_folder(written, staked=write(tmp_path, {**rows[1], "note": note})).reported
    assert told["note"].tolist() == [note]


def test_no_place_without_a_state_is_refused(tmp_path) -> None:
    for row in ({"name": "A"}, {"name": "A", "state": "Bavaria"}, {"name": "A", "state": "staked", "lon": "9"}):
        with pytest.raises(ColumnError, match="row 2: no 'lon' or no 'lat'"):
            read_staked(write(tmp_path, row))


@pytest.mark.long
def test_a_note_alone(written, number, tmp_path) -> None:
    row = {"name": "102-S", "note": "gate locked"}
    with pytest.raises(ColumnError, match="row 2: no 'lon' or no 'lat'"):
        read_staked(write(tmp_path, row))
    found = check_folder(written, staked=write(tmp_path, {**row, "plan_number": number}))
    assert found.reported[["state", "note", "position"]].to_numpy().tolist() == [["", "gate locked", NOT_TAKEN]]


def test_a_column_of_states_that_means_something_else(tmp_path) -> None:
    staked = read_staked(write(tmp_path, {"name": "A", "state": "Bavaria", "lon": "9", "lat": "47"}))
    assert staked.points["state"].tolist() == [""]
    said = "staked.csv, row 2, field 'state': 'bavaria' is none of staked, measured, failed, again: unknown"
    assert said in staked.problems


@pytest.mark.long
def test_a_feature_without_place(written, number, tmp_path) -> None:
    """RFC 7946, section 3.2: a feature that lies nowhere has null for its geometry."""
    path = tmp_path / "staked.geojson"
    features = [
        {"type": "Feature", "geometry": None, "properties": {"name": name, "state": state, "plan_number": number}}
        for name, state in (("102-H", "measured"), ("103-S", "failed"))
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    found = check_folder(written, staked=path)
    assert found.reported["position"].tolist() == [NOT_TAKEN, NONE]
    features[0]["properties"]["state"] = ""
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    with pytest.raises(InputError, match="no coordinates"):
        read_staked(path)


@pytest.mark.long
def test_what_was_staked_against_the_plans_word_is_said(written, stakes, tmp_path) -> None:
    path = write(tmp_path, at(stakes, "101-H", state="staked"), {"name": "102-H", "state": "measured"},
                 {"name": "112-S", "state": "again"}, {"name": "113-S", "state": "failed"})  # fmt: skip
    said = (
        "staked.csv: reported as staked although the plan says not yet: 101-H (DO NOT STAKE YET: map does not cover), "
        "112-S (DO NOT STAKE YET: needs agreement)"
    )
    assert said in check_folder(written, staked=path).problems


def test_a_guarded_name_is_the_name(tmp_path) -> None:
    assert read_staked(write(tmp_path, {"name": "'=1-H", "state": "staked"})).unplaced["name"].tolist() == ["=1-H"]


@pytest.mark.long
def test_unknown_names_and_repeats_are_said(written, stakes, tmp_path) -> None:
    path = write(
        tmp_path,
        {"name": "999-H", "state": "measured"},
        at(stakes, "102-H", state="staked"),
        {"name": "102-H", "state": "failed"},
    )
    found = check_folder(written, staked=path)
    assert "staked.csv: 1 row without a position name no planned stake: '999-H'" in found.problems
    assert "staked.csv: reported more than once; decide which one counts: 102-H (staked, failed)" in found.problems
    assert len(found.not_confirmed) == 0
