"""What the docstrings promise: examples that run, formulas with a source."""

import ast
import doctest
import inspect
import re
import subprocess
import sys
from functools import cache
from importlib import import_module
from pathlib import Path

import pytest

import layoutplan

ROOT = Path(layoutplan.__file__).parent
MODULES = sorted(path for path in ROOT.glob("**/*.py") if "qgis_plugin" not in path.parts)  # that one needs QGIS
WITH_EXAMPLES = [path for path in MODULES if ">>>" in path.read_text("utf-8")]
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def module_of(path):
    parts = path.relative_to(ROOT.parent).with_suffix("").parts
    return ".".join(part for part in parts if part != "__init__")


@cache
def exported_functions():
    """Functions that a package of layoutplan names in its ``__all__``, by where they are written."""
    found = {}
    for path in ROOT.glob("**/__init__.py"):
        if path not in MODULES:
            continue
        package = import_module(module_of(path))
        for name in getattr(package, "__all__", ()):
            value = getattr(package, name)
            if inspect.isfunction(value):
                found[f"{value.__module__}.{value.__qualname__}"] = inspect.getdoc(value) or ""
    return found


def share(texts, pattern):
    return sum(bool(re.search(pattern, text)) for text in texts) / len(texts)


@pytest.mark.parametrize("path", WITH_EXAMPLES, ids=module_of)
def test_examples_run(path, monkeypatch, capsys):
    monkeypatch.chdir(ROOT.parent)
    failed, tried = doctest.testmod(import_module(module_of(path)), optionflags=FLAGS)
    assert tried
    assert not failed, capsys.readouterr().out


@pytest.mark.long
def test_modules_do_nothing_but_define_when_they_are_imported(tmp_path):
    """All of them in one fresh process: no word, no file, no warning, no thread left."""
    names = [module_of(path) for path in MODULES if path.name != "__main__.py"]
    code = (
        "import importlib, sys, threading\n"
        f"for name in {names}: importlib.import_module(name)\n"
        "assert threading.active_count() == 1, threading.enumerate()\n"
    )
    command = [sys.executable, "-W", "error", "-c", code]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert not list(tmp_path.iterdir())


def test_formulas_have_a_reference():
    texts = [text for name, text in exported_functions().items() if name.startswith("layoutplan.electrical.")]
    assert share(texts, r"References\n-+\n") >= 0.95
    published = [text.partition("References\n---")[2] for text in texts]
    assert share(published, r"\.\. \[1\] ") >= 0.8
    without = [text for text in published if ".. [1] " not in text]
    assert all(re.search("no (published )?source", text) for text in without), "one without a source must say so"


def test_public_functions_have_examples():
    """Of what packages export, and of all that calculates or reads the job: what writes files is shown by its files."""
    functions = exported_functions()
    assert share(functions.values(), ">>> ") >= 0.3
    formulas = [text for name, text in functions.items() if name.startswith("layoutplan.electrical.")]
    assert share(formulas, ">>> ") >= 0.95
    stages = ("job", "line", "terrain", "siting", "access", "electrical", "exposure")
    tops = [node for path in MODULES if path.parts[-2] in stages for node in ast.parse(path.read_text("utf-8")).body]
    named = [node for node in tops if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")]
    assert share([ast.get_docstring(node) or "" for node in named], ">>> ") >= 0.3


def test_examples_of_formulas_show_units():
    units = r"Ω|\bV\b|\bA\b|\bm\b|\bmm\b|%|°|F/m|V/m"
    texts = [text.partition("Examples\n---")[2] for name, text in exported_functions().items() if "electrical" in name]
    assert share([text for text in texts if text], units) >= 0.8
