from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from layoutplan.errors import ColumnError, InputError, LayerError
from layoutplan.inputs import Inputs, read_inputs
from layoutplan.inputs.fault_table import read_fault_table
from layoutplan.inputs.model import FaultTable
from layoutplan.job import Job, Line
from layoutplan.job.section import FileSource

Write = Callable[..., Path]
HEAD = "tower_id,from_start_ka,from_end_ka\n"
FULL = HEAD + "1,8,0\n2,5.5,2\n3,4,3.25\n"
LINE = Line.model_validate({"id": "A", "towers": {"path": "towers.csv"}})


def read(path: Path, **keys: Any) -> tuple[FaultTable, tuple[str, ...]]:
    return read_fault_table(FileSource(path=path, **keys), LINE, ["1", "2", "3"], "lines[0].fault.table")


@pytest.mark.parametrize(
    "text",
    [
        FULL,
        "\ufeff" + FULL.replace("\n", "\r\n"),
        "tower_id;from_start_ka;from_end_ka\n1;8;0\n2;5,5;2\n3;4;3,25\n",
        "from_end_ka\tnote\ttower_id\tfrom_start_ka\n0\t\t1\t8\n2\ta, b\t2\t5.5\n3.25\t\t3\t4e0\n",
        FULL + "\n,,\n",
    ],
    ids=["comma", "bom and crlf", "semicolon and decimal comma", "tab, other order, other columns", "blank rows"],
)
def test_kiloamperes_become_amperes(towers_csv: Write, text: str) -> None:
    table, problems = read(towers_csv(text, "faults.csv"))
    assert table.tower_id == ("1", "2", "3")
    assert table.from_start_a.tolist() == [8000, 5500, 4000]
    assert table.from_end_a.tolist() == [0, 2000, 3250]
    assert problems == ()


def test_order_of_the_file_is_free(towers_csv: Write) -> None:
    table, _ = read(towers_csv(HEAD + "3,1,1\n1,2,2\n2,3,3\n"))
    assert dict(zip(table.tower_id, table.from_start_a.tolist(), strict=True)) == {"3": 1000, "1": 2000, "2": 3000}


@pytest.mark.parametrize("rows", ["2,5,1\n", "1,,2\n2,5,1\n3,,\n"], ids=["no row", "empty cells"])
def test_unknown_is_said_and_is_not_zero(towers_csv: Write, rows: str) -> None:
    table, problems = read(towers_csv(HEAD + rows, "faults.csv"))
    known = np.isfinite(table.from_start_a + table.from_end_a)
    assert [name for name, there in zip(table.tower_id, known, strict=True) if there] == ["2"]
    assert problems == (
        "faults.csv: no fault currents for 2 of 3 towers of line 'A' (1, 3): unknown there; where a side feeds "
        "nothing write 0",
    )


def test_filter_picks_the_rows_of_a_case(towers_csv: Write) -> None:
    text = "tower_id,from_start_ka,from_end_ka,year\n" + "".join(
        f"{i},{y - 2020},1,{y}\n" for y in (2025, 2030) for i in (1, 2, 3)
    )
    table, _ = read(towers_csv(text), where="year = '2030'")
    assert table.from_start_a.tolist() == [10_000] * 3


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("tower_id,from_start_ka\n1,2\n", r"f.csv \(lines\[0\].fault.table\): no column 'from_end_ka'; there are: to"),
        ("tower,from_start_ka,from_end_ka\n1,2,3\n", "no column 'tower_id'; there are: tower, from_start_ka, "),
        (FULL + "2,1,1\n", "f.csv, row 3, 5, field 'tower_id': the tower id '2' is used more than once"),
        (FULL + ",1,1\n", "f.csv, row 5, field 'tower_id': no tower id"),
        (FULL + "4,1,1\n02,1,1\n", "row 5, 6, field .tower_id.: no such tower in line 'A': '4', '02'. Its towers"),
        (HEAD + "1,-2,3\n2,1,1\n3,-0.1,0\n", "row 2, 4, field 'from_start_ka': '-2' is no number from 0 up. Correct"),
        (HEAD + "1,2,nan\n", "row 2, field 'from_end_ka': 'nan' is no number from 0 up"),
        (HEAD + "1,inf,3\n", "row 2, field 'from_start_ka': 'inf' is no number from 0 up"),
        (HEAD + "1,2,3 kA\n", "row 2, field 'from_end_ka': '3 kA' is no number from 0 up"),
        (HEAD + '1,2,"1,200"\n', "row 2, field 'from_end_ka': '1,200' is no number from 0 up"),
        ("tower_id\tfrom_start_ka\tfrom_end_ka\n1\t2\t1,200\n", "'1,200' is no number from 0 up"),
        (HEAD + "1,0,0\n2,1,1\n3,0,0\n", "row 2, 4: from_start_ka and from_end_ka are both 0, so nothing feeds"),
    ],
)  # fmt: skip
def test_bad_cells_name_the_row(towers_csv: Write, text: str, message: str) -> None:
    with pytest.raises(ColumnError, match=message):
        read(towers_csv(text, "f.csv"))


def test_unusable_files(towers_csv: Write, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.csv: no such file. Paths in a job file are taken from"):
        read(tmp_path / "none.csv")
    with pytest.raises(LayerError, match="no rows below the header"):
        read(towers_csv(HEAD))
    with pytest.raises(InputError, match=r"row 2: not UTF-8 text \(byte 0xFC"):
        read(towers_csv((HEAD + "Mühle,1,1\n").encode("latin-1")))


def job_keys(towers: Path, faults: Path) -> dict[str, Any]:
    fault = {"table": {"path": faults}, "clearing_time_s": 0.2}
    return {"id": "A", "towers": {"path": towers}, "fault": fault}


def read_job(make_job: Callable[..., Job], *lines: dict[str, Any]) -> Inputs:
    return read_inputs(make_job(lines=list(lines)))


def test_table_comes_with_its_line(make_job: Callable[..., Job], towers_csv: Write) -> None:
    other = {"id": "B", "towers": {"path": towers_csv(name="b.csv")}}
    faults = towers_csv(HEAD + "2,5,1\n", "faults.csv")
    inputs = read_job(make_job, job_keys(towers_csv(), faults), other)
    first, second = inputs.lines
    assert first.faults is not None
    assert first.faults.tower_id == ("2",)
    assert second.faults is None
    assert [text.split(":")[0] for text in inputs.problems] == ["faults.csv"]
    assert {file.path: file.used_for for file in inputs.files}[faults] == "fault currents of line 'A'"


def test_table_outlives_the_antimeridian(make_job: Callable[..., Job], towers_csv: Write) -> None:
    towers = towers_csv("tower_id,lon,lat\n1,179.99,-17\n2,-179.99,-17\n3,-179.97,-17\n")
    (line,) = read_job(make_job, job_keys(towers, towers_csv(FULL, "faults.csv"))).lines
    assert line.towers.geometry.x.round(2).tolist() == [-180.01, -179.99, -179.97]
    assert line.faults is not None
    assert line.faults.from_start_a.tolist() == [8000, 5500, 4000]


def test_branches_of_an_extract_stay_unknown(
    make_job: Callable[..., Job], towers_csv: Write, osm_file: Callable[..., Any]
) -> None:
    new = osm_file()
    nodes = [new.node(8 + i / 100, 49, power="tower", ref=str(i + 1)) for i in range(4)]
    new.way(nodes, 50, power="line")
    tee = [new.node(8.01, 49 + i / 1000, power="tower", ref=f"T{i}") for i in (1, 2)]
    new.way([nodes[1], *tee], 60, power="line")
    osm = {"path": new.save(), "way_ids": [50, 60]}
    fault = {"table": {"path": towers_csv(FULL + "4,3,5\n", "faults.csv")}, "clearing_time_s": 0.2}
    inputs = read_job(make_job, {"id": "L", "osm": osm, "fault": fault})
    trunk, branch = inputs.lines
    assert trunk.faults is not None
    assert branch.faults is None
    assert "faults.csv: fault currents are those of line 'L'; unknown on its branches 'L-2'" in inputs.problems
    fault["table"] = {"path": towers_csv(FULL + "T1,3,5\n", "more.csv")}
    with pytest.raises(ColumnError, match="row 5, field 'tower_id': no such tower in line 'L': 'T1'"):
        read_job(make_job, {"id": "L", "osm": osm, "fault": fault})
