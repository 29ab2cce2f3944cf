"""The electrical part of what is told of one tower, from the hand-made plan as it is written."""

import re

import geopandas as gpd
import numpy as np
import pytest

from layoutplan.errors import OutputError
from layoutplan.layout.rules import SEVERITY, rule_words
from layoutplan.outputs.gpkg import write_gpkg
from layoutplan.reports.explain import TERM_WORDS, explain_tower
from layoutplan.siting.judge import TERMS
from layoutplan.text import three_figures
from layoutplan.written import read as reading
from layoutplan.written.read import read_plan_tables

TOUCH = "EN 50522 (IEC 61936-1), permissible touch voltage (values from memory)"


@pytest.fixture
def folder(make_plan, tmp_path):
    write_gpkg(make_plan(8, hostile=False), tmp_path)
    return tmp_path


def sections(lines: list[str]) -> dict[str, str]:
    """Lines of the tower, of H and of S."""
    starts = [n for n, line in enumerate(lines) if line.startswith(("H ", "S "))]
    end = next((n for n in range(starts[-1], len(lines)) if not lines[n]), len(lines)) if starts else len(lines)
    bounds = [0, *starts, end]
    names = ["tower", "H", "S"]
    return {name: "\n".join(lines[a:b]) for name, a, b in zip(names, bounds, bounds[1:], strict=False)}


def exposure_row(text: str, exposure: str) -> list[str]:
    (line,) = [line for line in text.splitlines() if line.startswith(f"  {exposure} ")]
    return line.removeprefix(f"  {exposure}").split(maxsplit=4)


def test_figures_of_a_tower(folder) -> None:
    text = sections(explain_tower(folder, "001"))["tower"]
    for words in (
        "potential rise 2.54 kV",
        "footing 2.63 %",
        "standing current in the tower 0.399 to 1.43 A",
        "reading expected: 6.50 ohm",
        "bias of the reading: -1.01 ohm, -15.6 %",
        "with H at 103 m or farther",
        "coupling of the leads: 0.439 ohm, 6.76 %",
    ):
        assert words in text


def test_exposures_against_their_limits(folder) -> None:
    found = sections(explain_tower(folder, "001"))
    below, near = found["H"], found["S"]
    assert "voltage on arrival, tower to stake: 2.51 to 9.06 V" in below
    assert "lead in service: below half of every limit: " in below
    assert "lead in service: near a limit: " in near
    assert "lead under a fault: above a limit: " in near
    assert "rods to bring: 1, about 84.3 ohm (at most 1000 ohm)" in near
    value, limit, unit, ratio, basis = exposure_row(near, "standing voltage of the tower")
    assert (value, limit, unit, ratio) == ("34.6", "50.0", "V", "0.692")
    assert basis == "IEC 60364-4-41, long-duration touch voltage, a.c. [footing resistance estimated]"
    assert exposure_row(near, "transferred from the tower by a fault")[4].startswith("EN 50522")
    assert "for 0.25 s" in exposure_row(near, "transferred from the tower by a fault")[4]


def test_editions_stand_below_the_tables(folder) -> None:
    text = "\n".join(explain_tower(folder, "001"))
    assert text.count(f"{TOUCH}: 2010, Table B.3; from memory") == 1


def test_unknown_is_told_with_its_reason(folder) -> None:
    text = sections(explain_tower(folder, "002"))["H"]
    assert "lead in service: unknown: treat the lead as live" in text
    assert "voltage on arrival, tower to stake: unknown" in text
    value, limit, _, ratio, basis = exposure_row(text, "induced by the load, balanced")
    assert (value, limit, ratio) == ("unknown", "50.0", "unknown")
    assert basis.endswith("[unknown: no load current given]")
    assert exposure_row(text, "electric field along the lead")[0] == "0.880"
    assert "V induced by the greatest load unknown (counts nothing)" in text
    assert "nan" not in text.lower()


def test_targets_out_of_reach_and_unknown(folder) -> None:
    assert "not even with H at 100 km" in sections(explain_tower(folder, "002"))["tower"]
    third = sections(explain_tower(folder, "003"))["tower"]
    assert "bias within the job's target: unknown" in third
    assert "potential rise unknown" in third


def test_no_layout_has_no_bias(folder) -> None:
    text = "\n".join(explain_tower(folder, "005"))
    assert "reading expected" in text
    assert "bias" not in text


@pytest.mark.parametrize(
    ("value", "shown"),
    [(np.nan, "unknown"), (0.0, "0.000"), (0.0002, "<0.001"), (0.0436, "0.044"), (9.0554, "9.06"), (47.13, "47.1"),
     (-15.61, "-15.6"), (6340.5, "6340")],
)  # fmt: skip
def test_numbers(value, shown) -> None:
    assert three_figures(value) == shown


def test_every_term_of_the_score_has_words_in_its_place() -> None:
    assert tuple(TERM_WORDS) == TERMS


def test_plan_of_an_earlier_version(folder, monkeypatch) -> None:
    """Neither the table nor the columns of figures were there."""
    read = reading.read_plan_tables
    later = re.compile(r"_(v|kv|ma|a|ohm|pct)(_low|_high)?$|ratio$|handling|lead_level|field_kv_m|exposure_basis|^rods")

    def earlier(path):
        tables = read(path)
        del tables["exposures"]
        return {name: table[[c for c in table if not later.search(c)]] for name, table in tables.items()}

    monkeypatch.setattr(reading, "read_plan_tables", earlier)
    text = "\n".join(explain_tower(folder, "001"))
    assert "electrical figures: none in this plan" in text
    assert "line clearance" in text
    assert "exposure" not in text


def test_plan_of_a_newer_version_is_refused(folder):
    (folder / "plan.json").write_text('{"format_version": 99}', "utf-8")
    with pytest.raises(OutputError, match="format_version is 99"):
        explain_tower(folder, "001")


@pytest.mark.first(1)
@pytest.mark.parametrize("epsg", [4326, 25832])
def test_a_stake_that_was_moved_since_is_said_first(folder, epsg):
    path = folder / "plan.gpkg"
    stakes = gpd.read_file(path, layer="electrodes").to_crs(epsg)
    stakes.to_file(path, layer="electrodes", driver="GPKG")
    assert not explain_tower(folder, "001")[0].startswith("caution")
    mine = (stakes["tower_id"] == "001") & (stakes["role"] == "H")
    moved = stakes.to_crs(4326)
    moved.loc[mine, "geometry"] = moved.loc[mine, "geometry"].translate(0.0001, 0.0)
    moved.to_crs(epsg).to_file(path, layer="electrodes", driver="GPKG")
    first, second = explain_tower(folder, "001")[:2]
    assert first.startswith("caution: plan.gpkg was changed: 001 H moved. ")
    assert "layoutplan check" in first
    assert second.startswith("tower 001")
    other = next(tower for tower in stakes["tower_id"] if tower != "001")
    assert not explain_tower(folder, other)[0].startswith("caution")


def test_in_short_a_tower_fills_no_more_than_a_screen(folder) -> None:
    """What decides, worst first; each line of it stands in the long report as well."""
    whole = explain_tower(folder, "001")
    short = explain_tower(folder, "001", short=True)
    assert len(short) <= 24
    assert [line for line in short if line.startswith("  set out ")] == [
        line for line in whole if line.startswith("  set out ")
    ]
    assert [line for line in short if line.startswith("  lead ")] == [
        line for line in whole if line.startswith("  lead ")
    ]
    checks = read_plan_tables(folder)["checks"].query("tower_id == '001' and role == 'H' and verdict != 'kept'")
    text = sections([*short, ""])["H"]
    for rule, verdict in zip(checks["rule"], checks["verdict"], strict=True):
        (line,) = [line for line in text.splitlines() if line.startswith(f"  {verdict}: ")]
        assert rule_words(rule) in line


def test_rules_that_are_not_kept_come_first(folder) -> None:
    checks = read_plan_tables(folder)["checks"].query("tower_id == '001' and role == 'H'")
    lines = sections(explain_tower(folder, "001", paint=lambda verdict, _: f"<{verdict}>"))["H"].splitlines()
    shown = [match[1] for line in lines[1:] if (match := re.search("<(.+?)>", line))]
    assert sorted(shown) == sorted(checks["verdict"])
    ranks = [SEVERITY[verdict] for verdict in shown]
    assert ranks == sorted(ranks, reverse=True)
    assert ranks[0] > ranks[-1]


def test_a_tower_without_layout_begins_with_the_way_out(make_plan, tmp_path) -> None:
    plan = make_plan(8, hostile=False)
    write_gpkg(plan, tmp_path)
    (tower,) = plan.towers.loc[plan.towers["status"] == "no layout", "tower_id"].tolist()[:1]
    lines = explain_tower(tmp_path, tower, short=True)
    ways, shut = (next(n for n, line in enumerate(lines) if words in line) for words in ("a 171 m reel", "ruled out"))
    assert ways < shut
    assert "right: stake on or near river or canal (100 %)" in lines[shut]
