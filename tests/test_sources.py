"""Each test of a formula says beside the check, or its file at the head, what it is held against."""

import ast
import re
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
FORMULAS = [
    *(
        path
        for name in ("electrical", "exposure", "network", "terrain", "profiles")
        for path in (TESTS / name).glob("test_*.py")
    ),
    *(TESTS / "line" / f"test_{name}.py" for name in ("declination", "geodesy", "grid", "legs")),
    TESTS / "access" / "test_cost.py",
]
SAID = re.compile(r"\b(sources?:|no (published )?source\b|from memory\b|derived here\b)", re.IGNORECASE)


def silent(text):
    """Names of the tests in a file's text of which neither they nor its head says a source."""
    tree, lines = ast.parse(text), text.splitlines()
    if SAID.search(ast.get_docstring(tree) or ""):
        return []
    tests = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")]
    first = {test.name: min(node.lineno for node in (test, *test.decorator_list)) for test in tests}
    return [test.name for test in tests if not SAID.search("\n".join(lines[first[test.name] - 1 : test.end_lineno]))]


@pytest.mark.parametrize("path", FORMULAS, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_every_test_of_a_formula_names_its_source(path):
    assert not silent(path.read_text("utf-8")), "say 'Source: …', 'derived here: …', 'from memory' or 'no source'"


def test_a_test_without_a_source_is_found():
    said = "@mark(\n    # Source: Dwight 1936\n    [1])\ndef test_one():\n    pass\n"
    assert silent(f"{said}\ndef test_two():\n    # open source program\n    pass\n") == ["test_two"]
    assert silent(f'"""Sources: Tagg 1964."""\n{said}def test_two():\n    pass\n') == []
