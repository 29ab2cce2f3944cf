"""The documentation cannot drift from the code."""

import importlib.util
from pathlib import Path

import pytest

from layoutplan import load_job
from layoutplan.job import shipped_classes
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


@pytest.mark.parametrize("path", sorted((ROOT / "docs" / "examples").glob("*.toml")), ids=lambda path: path.name)
def test_examples_are_valid_job_files(path):
    load_job(path)
