"""The plan as a whole, on the sample."""

import importlib.util
from pathlib import Path

import pandas as pd
import pytest

from layoutplan import load_job
from layoutplan.planning.pipeline import plan

from ..effort import some

ROOT = Path(__file__).parents[2]
TABLES = ("towers", "spans", "electrodes", "leads", "checks", "alternatives", "obstacles", "exclusions", "relaxations")


@pytest.fixture(scope="module")
def made(sample_plan):
    return sample_plan


def test_every_tower_is_accounted_for(made):
    assert len(made.towers) == 27
    assert made.towers[["line_id", "tower_id"]].drop_duplicates().shape[0] == 27
    with_stakes = made.electrodes.groupby(["line_id", "tower_id"])["role"].agg(list)
    assert all(roles == ["H", "S"] for roles in with_stakes)
    assert len(with_stakes) == (made.towers["status"] != "no layout").sum()


def test_no_hard_rule_is_broken(made):
    assert not (made.checks["verdict"] == "broken").any()


def test_the_compromise_is_named_with_its_reason(made):
    tower = made.towers.set_index("tower_id").loc["108"]
    assert tower["status"] == "compromise"
    assert (
        "both stakes on one side of the line: ruled out on the left, as a share of the positions tried: "
        in tower["reasons"]
    )
    assert "lead across river or canal (" in tower["reasons"]


def test_no_layout_comes_with_a_way_out(made):
    text = made.relaxations.set_index("tower_id").loc[["105"], "text"].tolist()
    assert any("P-0031" in item for item in text)


def test_not_covered_is_never_clear(made):
    checks = made.checks[made.checks["tower_id"] == "101"].set_index("rule")
    assert (checks.loc[["map_coverage", "lead_crossing", "line_clearance"], "verdict"] == "unknown").all()
    assert not (checks.loc[checks.index.str.startswith("keep_out"), "verdict"] == "kept").any()


@pytest.mark.long
@pytest.mark.parametrize("workers", some([1, 3], 1))
def test_number_of_workers_does_not_show(plan_without_ways, workers):
    job = plan_without_ways.job
    again = plan(job.model_copy(update={"search": job.search.model_copy(update={"workers": workers})}))
    for name in TABLES:
        left, right = getattr(plan_without_ways, name), getattr(again, name)
        pd.testing.assert_frame_equal(pd.DataFrame(left), pd.DataFrame(right), check_exact=True)


@pytest.mark.long
def test_both_maps_of_the_valley_give_the_same_picture(made, sample_folder):
    other = plan(load_job(sample_folder / "job_osm.toml"))
    left, right = (p.towers.set_index("tower_id")["status"] for p in (made, other))
    assert left.to_dict() == right.to_dict()


def test_written_plan_holds_against_the_independent_check(sample_run, sample_folder):
    spec = importlib.util.spec_from_file_location("independent_check", ROOT / "tests" / "independent_check.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert module.violations(sample_run[0], sample_folder / "job.toml") == []


def test_summary_adds_up(made):
    summary = made.summary
    assert sum(summary["by_status"].values()) == summary["towers"] == 27
    assert set(summary["worst"]) == {"angle_to_line_deg", "distance_to_line_m", "lead_length_m"}


def test_public_name_is_the_function():
    import layoutplan
    import layoutplan.planning.pipeline

    assert layoutplan.plan is layoutplan.planning.pipeline.plan
