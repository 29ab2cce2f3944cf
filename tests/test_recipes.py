"""The recipes of DEVELOPERS.md, followed on a copy of the package: what they add is in outputs and documentation.

What a class needs and where it shows is in tests/test_new_class.py.
"""

import json

import pyogrio
import pytest

from .changed_package import Package, small_job

pytestmark = pytest.mark.long

WRITER = '''\
"""``towers.txt``: one tower a line."""

from __future__ import annotations

from pathlib import Path

from layoutplan.layout.model import Plan


def write_towers(plan: Plan, folder: Path) -> Path:
    """Write the towers' ids and statuses."""
    path = folder / "towers.txt"
    lines = (f"{row.tower_id} {row.status}\\n" for row in plan.towers.itertuples())
    path.write_text("".join(lines), encoding="utf-8", newline="\\n")
    return path
'''
FORMAT = """\
    Format("tower_list", "towers by status", ("towers.txt",), f"{_HERE}.tower_list:write_towers"),
"""
KEY = """\
    easy_lead_m: NonNegative = Field(35.0, description="A longer lead is a compromise. Judgement.")
"""
RULE = """\
            Rule("easy_lead", "rules.easy_lead_m", "m", JUDGEMENT, COMPROMISE),
"""
BLOCK = """\
        _block("easy_lead", facts.lead_m, rules.easy_lead_m, _kept("easy_lead", facts.lead_m <= rules.easy_lead_m), job,
               count=n),
"""
FORMULA = '''\
"""Voltage with a margin."""

from __future__ import annotations

from numpy.typing import ArrayLike, NDArray
import numpy as np


def with_margin(voltage_v: ArrayLike) -> NDArray[np.float64]:
    """Twice a voltage. [V]"""
    return 2.0 * np.asarray(voltage_v, dtype=float)
'''
EXPOSURE = """\
        Exposure("twice the arithmetic sum", SERVICE, with_margin(balanced + unbalance + standing), voltage, True, \
_STANDING),
"""
IMPORT = "from layoutplan.electrical.margin import with_margin\n"


def where(package: Package, text: str) -> str:
    """Name of the only module that holds a text: the recipes name modules, and modules may be moved."""
    root = package.root
    (path,) = [path for path in (root / "layoutplan").rglob("*.py") if text in path.read_text("utf-8")]
    return path.relative_to(root).as_posix()


@pytest.fixture(scope="module")
def followed(tmp_path_factory):
    """All recipes followed on one copy, and a small job planned with it."""
    folder = tmp_path_factory.mktemp("recipes")
    package = Package.copied(folder)
    # a class
    package.append("layoutplan/job/obstacle_classes.toml", '\n[leat]\nlabel = "leat"\nbasis = "judgement"\n')
    # an output format
    package.write("layoutplan/outputs/tower_list.py", WRITER)
    package.insert("layoutplan/outputs/registry.py", "    Format(RECORD,", FORMAT)
    # a key of the job file
    package.insert("layoutplan/job/rules.py", "    perpendicular_within_deg:", KEY)
    # a check
    package.insert("layoutplan/layout/rules.py", '            Rule("fixed_stake"', RULE)
    package.insert(where(package, "def check_rows"), '        _block("reel",', BLOCK)
    # an electrical figure
    package.write("layoutplan/electrical/margin.py", FORMULA)
    package.insert("layoutplan/exposure/assess.py", '        Exposure("capacitive current, lead carried"', EXPOSURE)
    package.insert("layoutplan/exposure/assess.py", "from layoutplan.exposure.capacitive import", IMPORT)
    package.python("docs/generate.py")
    job = small_job(folder / "job")
    over = folder / "job" / "over.toml"
    over.write_text("[rules]\neasy_lead_m = 40.0\n")
    package.command("plan", str(job), "--over", str(over), "--out", str(folder / "plan"), code=(0, 1))
    return package, folder / "plan"


def page(package: Package, name: str) -> str:
    return (package.root / "docs" / name).read_text("utf-8")


def test_the_class_is_documented(followed) -> None:
    package, _ = followed
    assert "| `leat` | leat | no | 0 | no | 0 |" in page(package, "obstacle_classes.md")


def test_the_format_is_written_listed_and_made_later(followed, tmp_path) -> None:
    package, plan = followed
    towers = pyogrio.read_dataframe(plan / "plan.gpkg", layer="towers")
    lines = (plan / "towers.txt").read_text().splitlines()
    assert lines == [f"{row.tower_id} {row.status}" for row in towers.itertuples()]
    assert "tower_list    towers.txt" in package.command("export", str(plan), "--list")
    package.command("export", str(plan), "--to", "tower_list", "--out", str(tmp_path))
    assert (tmp_path / "towers.txt").read_bytes() == (plan / "towers.txt").read_bytes()
    record = json.loads((plan / "plan.json").read_text("utf-8"))
    assert "towers.txt" in {entry["file"] for entry in record["files"]}


def test_the_key_is_read_recorded_documented_and_offered(followed, tmp_path) -> None:
    package, plan = followed
    record = json.loads((plan / "plan.json").read_text("utf-8"))
    assert record["settings"]["rules"]["easy_lead_m"] == 40.0
    assert "rules.easy_lead_m" in record["given"]
    assert "| `easy_lead_m` | `35.0` | A longer lead is a compromise. Judgement. |" in page(package, "job_file.md")
    package.command("start", str(tmp_path / "new"))
    assert "# easy_lead_m = 35.0    # A longer lead" in (tmp_path / "new" / "job.toml").read_text("utf-8")
    (tmp_path / "over.toml").write_text("[rules]\neasy_led_m = 40.0\n")
    job = plan.parent / "job" / "job.toml"
    said = package.command(
        "plan", str(job), "--over", str(tmp_path / "over.toml"), "--out", str(tmp_path / "p"), code=2
    )
    assert "did you mean 'easy_lead_m'" in said


def test_the_rule_makes_statuses_reasons_and_pages(followed, tmp_path) -> None:
    package, plan = followed
    checks = pyogrio.read_dataframe(plan / "plan.gpkg", layer="checks")
    rows = checks[checks["rule"] == "easy_lead"]
    stakes = pyogrio.read_dataframe(plan / "plan.gpkg", layer="electrodes")
    assert len(rows) == len(stakes) > 0
    missed = rows[rows["verdict"] == "compromise"]
    assert set(missed["waypoint"]) == set(rows[rows["measured"] > 40.0]["waypoint"])
    assert len(missed)
    assert set(rows["basis"]) == {"project setting (default 35: engineering judgement)"}
    broken = stakes[stakes["waypoint"].isin(missed["waypoint"])]
    assert not (broken["status"] == "all rules met").any()
    assert broken["reasons"].str.contains(r"easy lead [\d.]+ m, limit 40 m: compromise").all()
    for name in ("review.html", "review.csv", "stakes.csv", "map.html"):
        assert "easy lead" in (plan / name).read_text("utf-8").replace("easy_lead", "easy lead"), name
    assert "easy lead" in package.command("explain", str(plan), missed["tower_id"].iloc[0])
    package.command("check", str(plan), "--out", str(tmp_path), code=(0, 1))
    checked = pyogrio.read_dataframe(tmp_path / "check.gpkg", layer="checks")
    assert (checked["rule"] == "easy_lead").sum() == len(rows)


def test_the_figure_is_held_against_its_limit(followed) -> None:
    _, plan = followed
    exposures = pyogrio.read_dataframe(plan / "plan.gpkg", layer="exposures")
    keys = ["line_id", "tower_id", "role"]
    once, twice = (
        exposures[exposures["exposure"] == name].set_index(keys)
        for name in ("arithmetic sum in service", "twice the arithmetic sum")
    )
    assert len(twice) == len(once) > 0
    assert twice["value"].to_numpy() == pytest.approx(2 * once["value"].to_numpy(), abs=0.011)  # two digits
    assert (twice["limit"] == once["limit"]).all()
    assert "twice the arithmetic sum" in (plan / "review.html").read_text("utf-8")
