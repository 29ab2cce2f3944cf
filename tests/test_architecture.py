"""The folder tree is the architecture: each stage imports only from those before it."""

import ast
from functools import cache
from graphlib import CycleError, TopologicalSorter
from importlib import import_module
from pathlib import Path

import pytest

import layoutplan

ROOT = Path(layoutplan.__file__).parent
# stage: what it may import from; itself and the modules of EVERYWHERE always
MAY_USE = {
    "job": set(),
    "inputs": {"job"},
    "line": {"job", "inputs"},
    "terrain": {"job", "inputs", "line"},
    "access": {"job", "line"},
    "siting": {"job", "line"},
    "electrical": set(),
    "exposure": {"job", "inputs", "line", "electrical"},
    "store": set(),
    "layout": {"job", "inputs", "line", "access", "electrical"},
    "outputs": {"layout", "job", "inputs", "line", "terrain", "store"},
    "planning": {
        *("layout", "job", "inputs", "line", "siting", "access", "electrical", "exposure", "terrain", "outputs")
    },
    "written": {"layout", "job", "inputs", "line", "electrical", "outputs", "store"},
    "checking": {"layout", "job", "inputs", "line", "siting", "exposure", "terrain", "store", "planning", "written"},
    "reports": {"layout", "job", "inputs", "line", "access", "exposure", "terrain", "outputs", "planning", "written"},
    "profiles": {"layout", "job", "inputs", "line", "siting", "exposure", "planning"},
    "qgis_plugin": set(),  # what it holds for QGIS starts the command and imports nothing of this package
    "cli": {
        *("layout", "job", "inputs", "outputs", "planning", "written", "checking", "reports", "profiles"),
        *("store", "qgis_plugin"),
    },
}
EVERYWHERE = {"arrays", "first_use", "errors", "text", "constants", "archive", "files", "unfinished", "windows"}
# one stage may look into another only at this seam
SEAMS = {
    ("planning", "outputs"): {"layoutplan.outputs", "layoutplan.outputs.waypoint_names"},
    ("exposure", "inputs"): {"layoutplan.inputs.model"},
    ("reports", "outputs"): {"layoutplan.outputs"},
    ("outputs", "line"): {"layoutplan.line.geodesy", "layoutplan.line.legs", "layoutplan.line.declination"},
    ("outputs", "terrain"): {"layoutplan.terrain"},
}


MODULES = {
    ".".join(path.relative_to(ROOT.parent).with_suffix("").parts).removesuffix(".__init__"): path
    for path in sorted(ROOT.glob("**/*.py"))
}


@cache
def imports(path):
    """Modules of this package that a module imports, wherever in it: in functions and for type checkers too."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "layoutplan":
            whole = (f"{node.module}.{alias.name}" for alias in node.names)
            found |= {name if name in MODULES else node.module for name in whole}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names if alias.name.startswith("layoutplan.")}
    return found


def circle(graph):
    """Return a circle of a graph, each with those that it imports; empty if there is none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as err:
        return err.args[1]
    return []


def test_no_module_imports_itself_by_way_of_others():
    assert not circle({name: imports(path) - {name} for name, path in MODULES.items()})


def test_no_package_imports_itself_by_way_of_others():
    graph = {}
    for name, path in MODULES.items():
        stage = ".".join(name.split(".")[:2])
        graph.setdefault(stage, set()).update(".".join(module.split(".")[:2]) for module in imports(path))
    assert not circle({stage: used - {stage} for stage, used in graph.items()})


def test_a_circle_is_found_wherever_it_is_closed(tmp_path):
    (tmp_path / "a.py").write_text("def f():\n    from layoutplan.layout import rules\n", "utf-8")
    assert imports(tmp_path / "a.py") == {"layoutplan.layout.rules"}
    assert circle({"a": {"b"}, "b": {"c"}, "c": {"a"}})


@pytest.mark.parametrize("path", sorted(ROOT.glob("*/**/*.py")), ids=lambda path: str(path.relative_to(ROOT)))
def test_imports_go_one_way(path):
    stage = path.relative_to(ROOT).parts[0]
    for module in imports(path) - {"layoutplan"}:
        target = module.split(".")[1]
        assert target in MAY_USE[stage] | EVERYWHERE | {stage}, f"{stage} must not import {module}"
        if (stage, target) in SEAMS:
            assert module in SEAMS[stage, target], f"{stage} may use of {target} only {SEAMS[stage, target]}"


LAZY = sorted(path.parent for path in ROOT.glob("**/__init__.py") if "on_first_use(" in path.read_text("utf-8"))


@pytest.mark.parametrize("folder", LAZY, ids=lambda folder: folder.name)
def test_what_a_package_imports_on_first_use_is_there_and_no_module_stands_before_it(folder):
    package = import_module(".".join(folder.relative_to(ROOT.parent).parts))
    tree = ast.parse((folder / "__init__.py").read_text("utf-8"))
    later = next(node for node in tree.body if isinstance(node, ast.If)).body
    names = {alias.asname or alias.name for node in later for alias in node.names}
    assert names <= set(package.__all__)
    for name in names:
        assert not (folder / f"{name}.py").exists()
        assert getattr(package, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'not_there'"):
        package.not_there  # noqa: B018


@pytest.mark.parametrize("stage", ["electrical", "siting"])
def test_physics_and_geometry_know_no_files(stage):
    banned = {"pyogrio", "rasterio", "folium", "click", "osmium", "pathlib", "logging", "datetime", "random"}
    for path in (ROOT / stage).glob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        names = {
            alias.name.split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
        }
        names |= {(node.module or "").split(".")[0] for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        assert not names & banned, path


def test_files_stay_short():
    long = {
        str(path.relative_to(ROOT)): n
        for path in ROOT.glob("**/*.py")
        if (n := len(path.read_text("utf-8").splitlines())) > 320
    }
    assert not long
