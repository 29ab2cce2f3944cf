"""Pages of some towers: which, in which words, and that nobody takes a part for the whole."""

import dataclasses
import shutil

import pandas as pd
import pytest
from click.testing import CliRunner

from layoutplan.cli.main import cli
from layoutplan.errors import OutputError
from layoutplan.layout.part import part_of, part_words
from layoutplan.outputs import FORMATS, write_plan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.plan_number import plan_number
from layoutplan.outputs.review.register import register_of
from layoutplan.outputs.sheets import write_sheets
from layoutplan.written.export import export_plan

from .conftest import build_plan
from .sheets.conftest import Document


@pytest.fixture(scope="module")
def plan(sample_plan):
    """Towers 101 to 124 of one line, T1 to T3 of another; to be read only."""
    return on_the_globe(sample_plan)


@pytest.mark.parametrize(
    ("asked", "towers", "words"),
    [
        ("103-110,T1", [*map(str, range(103, 111)), "T1"], "towers 103-110, T1 of 27"),
        ("T1, 110 - 103", [*map(str, range(103, 111)), "T1"], "towers 103-110, T1 of 27"),
        ("104", ["104"], "tower 104 of 27"),
        ("104,104,103-104", ["103", "104"], "towers 103, 104 of 27"),
        ("kress-tee:T1-T3", ["T1", "T2", "T3"], "towers T1-T3 of 27"),
        ("ostrel-varnau:124,T1", ["124", "T1"], "towers 124, T1 of 27"),
        ("101-123,T2", [*map(str, range(101, 124)), "T2"], "towers 101-123, T2 of 27"),
        ("101,103,105,107,109,111,113", ["101", "103", "105", "107", "109", "111", "113"],
         "towers 101, 103, 105, 107, 109, … 113 (7 in all) of 27"),
    ],
)  # fmt: skip
def test_towers_by_what_a_person_writes(plan, asked, towers, words):
    part = part_of(plan, asked)
    assert part.towers["tower_id"].tolist() == towers
    assert part_words(part) == words
    assert words in part.job.title
    for table in (part.electrodes, part.leads, part.checks, part.exposures, part.approaches, part.relaxations):
        assert set(table["tower_id"]) <= set(towers)
    assert set(part.checks["tower_id"]) == set(part.electrodes["tower_id"])


def test_a_part_has_the_number_and_the_surroundings_of_the_whole(plan):
    part = part_of(plan, "103-110,T1")
    assert plan_number(part) == plan_number(plan)
    assert len(part.spans) == len(plan.spans)
    assert len(part.obstacles) == len(plan.obstacles)
    assert part_of(plan, "101-124,T1-T3") is plan
    assert part_words(plan) == ""


def test_who_is_to_be_asked_about_a_tower_is_kept_with_it(plan):
    """Out of the crossings, ways and parcels of the part's own towers, not out of lists that people read."""
    whole, keys = register_of(on_the_globe(plan)), [*zip(plan.towers["line_id"], plan.towers["tower_id"], strict=True)]
    for asked in ("112", "106", "102-104,T1"):
        part = part_of(plan, asked)
        rows = {keys.index(key) for key in zip(part.towers["line_id"], part.towers["tower_id"], strict=True)}
        mine = [entry for entry in whole if rows & {*entry.towers}]
        found = register_of(on_the_globe(part))
        assert [(entry.kind, entry.whom, entry.what) for entry in found] == [
            (entry.kind, entry.whom, entry.what) for entry in mine
        ]
    assert len(register_of(on_the_globe(part_of(plan, "112"))))


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("999", "no tower '999'"),
        ("103-999", "no tower '103-999'"),
        ("103-T1", "103 and T1 stand in two lines, ostrel-varnau and kress-tee"),
        ("kress-tee:103", "no tower 'kress-tee:103'"),
        ("no-line:T1", "no tower 'no-line:T1'"),
        (" , ", "names no tower. Write for instance 101-124."),
        ("103-110,T11", "no tower 'T11'"),
    ],
)
def test_what_is_not_in_the_plan_is_refused(plan, asked, says):
    with pytest.raises(OutputError, match=r"option --towers") as refused:
        part_of(plan, asked)
    assert says in str(refused.value)


def renamed(plan, names):
    """The plan with other ids for its towers, and each line's numbers from 1."""
    keys = dict(zip(zip(plan.towers["line_id"], plan.towers["tower_id"], strict=True), names, strict=True))
    tables = {}
    for item in dataclasses.fields(plan):
        table = getattr(plan, item.name)
        if isinstance(table, pd.DataFrame) and {"line_id", "tower_id"} <= set(table.columns):
            ids = [keys[pair] for pair in zip(table["line_id"], table["tower_id"], strict=True)]
            tables[item.name] = table.assign(tower_id=ids)
    return dataclasses.replace(plan, **tables)


def test_an_id_of_two_lines_is_asked_about(plan):
    twice = renamed(plan, [*map(str, range(1, 25)), "1", "2", "3"])
    with pytest.raises(OutputError, match=r"tower 2 stands in lines ostrel-varnau, kress-tee; write the line before"):
        part_of(twice, "2")
    with pytest.raises(OutputError, match="stands in lines"):
        part_of(twice, "1-3")
    part = part_of(twice, "kress-tee:1-3,24")
    assert part.towers[["line_id", "tower_id"]].to_numpy().tolist() == [
        ["ostrel-varnau", "24"], ["kress-tee", "1"], ["kress-tee", "2"], ["kress-tee", "3"]
    ]  # fmt: skip
    assert part_words(part_of(twice, "kress-tee:2")) == "tower 2 of line 'kress-tee' of 27"


def test_ids_with_hyphens_commas_and_colons(plan):
    odd = renamed(plan, [f"seq-{n:03}" for n in range(1, 23)] + ["a, b", "x:y", "T-1", "T-1-2", "2"])
    assert part_of(odd, "seq-003-seq-005").towers["tower_id"].tolist() == ["seq-003", "seq-004", "seq-005"]
    assert part_of(odd, "a, b").towers["tower_id"].tolist() == ["a, b"]
    assert part_of(odd, "x:y,2").towers["tower_id"].tolist() == ["x:y", "2"]
    assert part_of(odd, "T-1-2").towers["tower_id"].tolist() == ["T-1-2"]  # the id before the stretch
    assert part_of(odd, "T-1-2-2").towers["tower_id"].tolist() == ["T-1-2", "2"]


@pytest.mark.long
def test_sheets_of_a_part_say_so_on_every_page(plan, tmp_path):
    whole, part = tmp_path / "whole", tmp_path / "part"
    whole.mkdir(), part.mkdir()
    every = Document(write_sheets(plan, whole))
    some = Document(write_sheets(part_of(plan, "103-110,T1"), part))
    assert len(some.pages) == 2 + 9
    for page in range(1, len(some.pages) + 1):
        text = some.text(page)
        assert f"towers 103-110, T1 of 27 plan {plan_number(plan)} page {page} of 11" in text
        assert f"plan {plan_number(plan)}" in text
    assert "PART OF A PLAN: towers 103-110, T1 of 27" in some.text(1)
    assert "of 27 plan" not in every.text(3)
    # tower 103's page is the one of the whole plan but for its foot: the other towers are still on its map
    tails = [text[: text.index("Map data")] for text in (some.text(3), every.text(5))]
    assert tails[0].split() == tails[1].split()


@pytest.mark.long
def test_the_command(sample_plan, tmp_path):
    write_plan(sample_plan, tmp_path / "plan")
    before = {path.name: path.read_bytes() for path in (tmp_path / "plan").iterdir()}
    out = str(tmp_path / "a")
    asked = ["export", str(tmp_path / "plan"), "--to", "sheets,map,review", "--towers", "103-110,T1", "--out", out]
    run = CliRunner().invoke(cli, asked)
    assert run.exit_code == 0, run.output
    for name in ("map.html", "review.html"):
        assert "towers 103-110, T1 of 27" in (tmp_path / "a" / name).read_text("utf-8")
    assert {path.name: path.read_bytes() for path in (tmp_path / "plan").iterdir()} == before


def test_a_part_is_never_put_beside_the_whole_nor_made_of_what_programs_read(tmp_path):
    write_plan(build_plan(formats=("gpkg", "json")), tmp_path / "plan")
    with pytest.raises(OutputError, match=r"not put beside the whole plan; name a folder for them with --out"):
        export_plan(tmp_path / "plan", ["sheets"], towers="001")
    shutil.copytree(tmp_path / "plan", tmp_path / "copy")
    with pytest.raises(OutputError, match="not put beside the whole plan"):
        export_plan(tmp_path / "plan", ["sheets"], tmp_path / "plan", towers="001")
    data = [name for name, entry in FORMATS.items() if not entry.by_tower and name not in ("json", "project")]
    assert {"gpx", "csv", "gpkg", "geojson"} <= set(data)
    for name in data:
        with pytest.raises(OutputError, match=rf"'{name}' is made of all towers only; of some: map, review, sheets"):
            export_plan(tmp_path / "plan", [name], tmp_path / "out", towers="001")
    assert not (tmp_path / "out").exists()
