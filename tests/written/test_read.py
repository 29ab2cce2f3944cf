"""Reading a plan back: folders without one."""

import json

import pytest

from layoutplan.errors import OutputError
from layoutplan.store.record import FORMAT_VERSION, read_plan_record
from layoutplan.written.read import read_plan_tables


@pytest.mark.parametrize("read", [read_plan_tables, read_plan_record])
@pytest.mark.parametrize("folder", ["", "nowhere"])
def test_no_plan_there(tmp_path, read, folder) -> None:
    with pytest.raises(OutputError, match=r"no plan here .*layoutplan plan"):
        read(tmp_path / folder)


def test_not_a_geopackage(tmp_path) -> None:
    (tmp_path / "plan.gpkg").write_text("nonsense")
    with pytest.raises(OutputError, match="not a readable plan"):
        read_plan_tables(tmp_path)


@pytest.mark.parametrize("text", ["{", "[1]", '{"format_version": 99}', "\udc80"])
def test_not_a_record(tmp_path, text) -> None:
    (tmp_path / "plan.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(OutputError, match=r"not a readable plan|format_version is"):
        read_plan_record(tmp_path)


def test_record_of_another_version(tmp_path) -> None:
    (tmp_path / "plan.json").write_text(json.dumps({"format_version": 0}))
    with pytest.raises(OutputError, match=f"format_version is 0, this program reads {FORMAT_VERSION}. Plan again"):
        read_plan_record(tmp_path)
    (tmp_path / "plan.json").write_text(json.dumps({"format_version": FORMAT_VERSION + 1}))
    with pytest.raises(OutputError, match="Install a newer layoutplan"):  # planning again would lose what it holds
        read_plan_record(tmp_path)
