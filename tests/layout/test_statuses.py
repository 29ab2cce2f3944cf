"""Statuses against the verdicts that they follow from, on the sample and by hand."""

from collections import namedtuple

import pytest

from layoutplan.job import Job, shipped_classes
from layoutplan.layout import rules
from layoutplan.layout.reasons import reason_text, reasons_of
from layoutplan.layout.rules import RULES, STATUSES, VERDICTS, counts, rule_words, status_of, worst_status


def test_every_status_of_the_sample_follows_from_its_verdicts(sample_plan):
    checks = sample_plan.checks.groupby(["line_id", "tower_id", "role"])
    seen = {}
    for stake in sample_plan.electrodes.itertuples():
        mine = checks.get_group((stake.line_id, stake.tower_id, stake.role))
        assert stake.status == status_of(zip(mine["rule"], mine["verdict"], strict=True)), stake.waypoint
        seen.setdefault((stake.line_id, stake.tower_id), []).append(stake.status)
    for tower in sample_plan.towers.itertuples():
        assert tower.status == worst_status(seen.get((tower.line_id, tower.tower_id), [])), tower.tower_id
    assert {"all rules met", "take care", "compromise", "needs agreement"} <= set(sample_plan.electrodes["status"])


def test_crossings_are_counted_by_the_checks(sample_plan):
    """One table of facts: the checks hold as many crossings of each level as the table lists."""
    of = {"lead_crossing": "broken", "crossing_agreement": "to be agreed", "crossing_care": "take care"}
    met = sample_plan.crossings[sample_plan.crossings["met_by"] == "lead"]
    for rule, verdict in of.items():
        counted = sample_plan.checks[sample_plan.checks["rule"] == rule].set_index("waypoint")["measured"]
        listed = met[met["verdict"] == verdict].groupby("waypoint").size()
        assert counted[counted > 0].astype(int).to_dict() == listed.to_dict()


def test_who_is_to_be_asked_is_listed_once(sample_plan):
    asked = sample_plan.crossings[sample_plan.crossings["verdict"] == "to be agreed"]
    table = sample_plan.agreements
    assert not table.duplicated(["kind", "what", "whom", "towers"]).any()
    for row in asked.itertuples():
        mine = table[table["reference"].str.split(", ").map(lambda ids, number=row.feature_id: number in ids)]
        assert any(f"{row.tower_id} {row.role}" in stakes.split(", ") for stakes in mine["stakes"]), row.waypoint


@pytest.mark.parametrize("verdict", VERDICTS)
def test_the_worst_verdict_on_the_position_makes_the_status(verdict):
    status = STATUSES[VERDICTS.index(verdict)]
    assert status_of([("reel", "kept"), ("keep_out:building", verdict)]) == status
    of_reading = status_of([("reading_bias", verdict)])
    assert of_reading == ("breaks rules" if verdict == "broken" else "all rules met")


def test_no_way_on_foot_counts_and_asking_on_the_way_does_not():
    found = {verdict: counts("on_foot", verdict) for verdict in VERDICTS}
    assert [verdict for verdict, counted in found.items() if counted] == ["compromise", "broken"]


def test_a_changed_limit_of_any_section_is_a_project_setting():
    """Not those of ``[rules]`` only."""
    job = Job.model_validate({"lines": [{"id": "a", "towers": {"path": "t.csv"}}], "terrain": {"cliff_drop_m": 9.0}})
    assert rules.basis("cliff", job).startswith("project setting (default 5:")
    assert rules.basis("lead_angle", job) == "common practice, no published source"


def test_every_key_of_the_registry_is_a_key_of_the_job():
    job = Job.model_validate({"lines": [{"id": "a", "towers": {"path": "t.csv"}}]})
    for rule in RULES.values():
        section, _, key = rule.key.partition(".")
        assert not rule.key or key in type(getattr(job, section)).model_fields, rule.name


def test_the_word_of_earlier_job_files_is_read():
    lines = [{"id": "a", "towers": {"path": "t.csv"}}]
    changed = {"track_path": {"lead_crossing": "caution"}, "crops": {"stake": "caution"}}
    job = Job.model_validate({"lines": lines, "classes": changed})
    assert job.obstacle_classes["track_path"].lead_crossing == "agree"
    assert job.obstacle_classes["crops"].stake == "agree"
    assert shipped_classes()["track_path"].lead_crossing == "care"


def test_rules_in_words():
    assert rule_words("keep_out:main_road") == "keep-out: main road"
    assert rule_words("lead_crossing:river_canal") == "lead crossing: river canal"
    assert rule_words("opposite_sides") == "opposite sides"


def test_no_status_stands_without_its_reason(sample_plan):
    """Whatever verdict a check has, the reasons do not say that all rules are met."""
    row = namedtuple("row", "rule verdict detail measured limit")
    classes = sample_plan.job.obstacle_classes
    for name in [*RULES, "keep_out:building"]:
        for verdict in VERDICTS:
            if status_of([(name, verdict)]) != "all rules met":
                text = reason_text(reasons_of([row(name, verdict, "x", 1.0, 2.0)], (), classes), fixed=False)
                assert text, (name, verdict)
                assert "all rules met" not in text, (name, verdict)
