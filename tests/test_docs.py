"""The documentation cannot drift from the code."""

import importlib.util
from pathlib import Path

import pytest

from layoutplan import load_job
from layoutplan.electrical import limits
from layoutplan.electrical.touch_voltage import EN_50522_2010, IEEE_80_EDITION
from layoutplan.job import Line, shipped_classes
from layoutplan.job.electrical import Soil
from layoutplan.layout.rules import PRACTICE, RULES, STATUSES
from layoutplan.siting.judge import TERMS

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def generate():
    spec = importlib.util.spec_from_file_location("generate", ROOT / "docs" / "generate.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", ["job_file.md", "obstacle_classes.md", "columns.md", "commands.md"])
def test_generated_pages_are_as_committed(generate, page):
    assert (ROOT / "docs" / page).read_text("utf-8") == generate.PAGES[page](), "run: python docs/generate.py"


def test_every_term_of_the_score_is_explained():
    text = (ROOT / "docs" / "siting_rules.md").read_text("utf-8")
    assert all(f"`{term}`" in text for term in TERMS)


def test_every_class_says_where_its_figures_come_from():
    assert all(row.basis and row.label for row in shipped_classes().values())


def test_the_page_for_who_signs_has_every_status_and_every_standard_that_limits_are_taken_from():
    text = (ROOT / "docs" / "for_signers.md").read_text("utf-8")
    rows = [line.split("|")[1].strip() for line in text.splitlines() if line.startswith("| ")]
    assert rows[2:] == list(STATUSES)
    fixed = [limits.LONG_DURATION_VOLTAGE, limits.LONG_DURATION_VOLTAGE_PUBLIC, limits.CONTACT_CURRENT]
    fields = [limits.electric_field_limit(hertz, public=public) for hertz in (16.7, 50) for public in (False, True)]
    for limit in (*fixed, limits.CONTACT_CURRENT_PUBLIC, *fields):
        assert limit.standard.split(",")[0].split(" (")[0] in text
    assert f"EN 50522:{EN_50522_2010.edition[:4]}" in text
    assert EN_50522_2010.source.startswith("values from memory")
    assert IEEE_80_EDITION in text
    for key in ("line_clearance_m", "min_angle_deg"):  # no published source: the page says so
        assert next(rule.basis for rule in RULES.values() if rule.key == f"rules.{key}") == PRACTICE
    default = Soil.model_fields["resistivity_ohm_m"].default
    assert f"soil {default:g} Ω·m" in text
    assert f"{Line.model_fields['frequency_hz'].default:g} Hz" in text


@pytest.mark.parametrize("path", sorted((ROOT / "docs" / "examples").glob("*.toml")), ids=lambda path: path.name)
def test_examples_are_valid_job_files(path):
    load_job(path)
