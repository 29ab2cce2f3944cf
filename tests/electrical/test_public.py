"""The package's face: exported names, documentation, what it may import.

Sources: rules of this package, no source.
"""

import ast
import inspect
from pathlib import Path

import pytest

from layoutplan import electrical
from layoutplan.errors import InputRangeError, LayoutPlanError

FOLDER = Path(electrical.__file__).parent
FUNCTIONS = [name for name in electrical.__all__ if inspect.isfunction(getattr(electrical, name))]


def test_every_export_exists_and_is_listed_once():
    assert len(set(electrical.__all__)) == len(electrical.__all__)
    assert all(hasattr(electrical, name) for name in electrical.__all__)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_every_public_function_states_parameters_results_and_units(name):
    text = inspect.getdoc(getattr(electrical, name))
    assert "Parameters\n----------" in text
    assert "Returns\n-------" in text
    undocumented = [p for p in inspect.signature(getattr(electrical, name)).parameters if p not in text]
    assert not undocumented


def test_only_numpy_and_scipy_are_imported():
    allowed = {
        "__future__",
        "collections",
        "dataclasses",
        "enum",
        "functools",
        "itertools",
        "math",
        "typing",
        "numpy",
        "scipy",
    }
    for path in FOLDER.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module] if isinstance(node, ast.ImportFrom) else []
            for module in names:
                own = module.startswith(
                    (
                        *("layoutplan.electrical", "layoutplan.errors", "layoutplan.constants"),
                        *("layoutplan.arrays", "layoutplan.first_use"),
                    )
                )
                assert own or module.split(".")[0] in allowed, f"{path.name} imports {module}"


def test_range_errors_are_value_errors_of_this_package():
    assert issubclass(InputRangeError, LayoutPlanError)
    assert issubclass(InputRangeError, ValueError)
