"""What the package imports and what pyproject.toml declares are the same."""

import ast
import re
import subprocess
import sys
import tomllib
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

from layoutplan.outputs.registry import FORMATS

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
# extras of the program itself, with what each brings
OURS = {name: needs for name, needs in PROJECT["optional-dependencies"].items() if name not in ("test", "docs", "dev")}
NOT_IMPORTED = {"django-js-lib-leaflet"}  # its files are read as data, by the name of their folder


def plain(requirement: str) -> str:
    """``Fastkml[lxml]>=1.4`` is ``fastkml``."""
    return re.match(r"[A-Za-z0-9_.-]+", requirement)[0].lower().replace("_", "-").replace(".", "-")


def distributions(module: str) -> set[str]:
    return {plain(name) for name in _packages().get(module, [])}


_packages = cache(packages_distributions)


def imported(folder: Path) -> dict[str, set[Path]]:
    """Other packages by their top-level name, with the files that import them."""
    found: dict[str, set[Path]] = {}
    for path in folder.rglob("*.py"):
        if "qgis_plugin" in path.parts:  # runs on the Python of QGIS
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            names = []
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                names = [node.module or ""]
            for name in names:
                top = name.partition(".")[0]
                if top not in sys.stdlib_module_names and top != "layoutplan":
                    found.setdefault(top, set()).add(path)
    return found


def test_what_is_imported_is_declared_and_what_is_declared_is_imported() -> None:
    declared = {plain(one) for one in (*PROJECT["dependencies"], *(one for needs in OURS.values() for one in needs))}
    used = imported(ROOT / "layoutplan")
    for module, paths in used.items():
        assert distributions(module) & declared, f"{module} ({sorted(paths)[0].name}) is not in pyproject.toml"
    names = set().union(*map(distributions, used))
    assert declared - names == NOT_IMPORTED


@pytest.mark.long
def test_tests_and_docs_import_what_is_declared() -> None:
    every = (*PROJECT["dependencies"], *(one for needs in PROJECT["optional-dependencies"].values() for one in needs))
    declared = {plain(one) for one in every}
    for folder in ("tests", "docs", "sample_gis"):
        for module, paths in imported(ROOT / folder).items():
            if all("qgis" in path.parts for path in paths):  # these run on the Python of QGIS
                continue
            names = distributions(module)  # none of what lies in the folder itself
            assert not names or names & declared, f"{module} ({sorted(paths)[0]})"


def test_dev_holds_every_extra() -> None:
    (own,) = [one for one in PROJECT["optional-dependencies"]["dev"] if plain(one) == "layoutplan"]
    assert {"test", "docs", *OURS} == set(re.search(r"\[(.*)\]", own)[1].split(","))


_WITHOUT = """
import sys
class Absent:  # what is not installed
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {absent!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)
sys.meta_path.insert(0, Absent())
from layoutplan.outputs import require_formats, write_plan
from layoutplan.outputs.registry import DEFAULT, FORMATS
from layoutplan.written.export import format_lines
from layoutplan.errors import OutputError
print(*format_lines(), sep="\\n")
for name in DEFAULT:
    FORMATS[name].load()
require_formats(None)
for entry in FORMATS.values():
    if entry.extra:
        try:
            require_formats([entry.name, "json"])
        except OutputError as err:
            print("refused:", err)
"""


@pytest.fixture(scope="module")
def said_without_extras() -> str:
    """What the program says where nothing of its extras is installed; all default outputs must load."""
    modules = {module for module in imported(ROOT / "layoutplan") for needs in OURS.values()
               if distributions(module) & {plain(one) for one in needs}}  # fmt: skip
    assert modules
    code = _WITHOUT.format(absent=modules)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_what_is_asked_for_without_its_extra_names_the_extra(said_without_extras) -> None:
    for entry in FORMATS.values():
        if entry.extra:
            assert entry.extra in OURS
            assert f"format '{entry.name}' needs " in said_without_extras
            assert f'pip install "layoutplan[{entry.extra}]"' in said_without_extras
            assert re.search(
                rf"^{entry.name} .*on request, with layoutplan\[{entry.extra}\]$", said_without_extras, re.M
            )
            assert f'pip install "layoutplan[{entry.extra}]"' in (ROOT / "docs" / "outputs.md").read_text("utf-8")
    assert {entry.extra for entry in FORMATS.values()} - {""} == set(OURS)


@pytest.mark.long
def test_what_only_some_need_loads_only_then() -> None:
    """Plots and drawings: neither the commands' help nor a plan's default outputs load what draws them."""
    code = (
        "import sys; from layoutplan.cli.main import cli; from layoutplan.outputs.registry import DEFAULT, FORMATS\n"
        "from layoutplan.planning import pipeline\n"
        "[FORMATS[name].load() for name in DEFAULT]\n"
        "print(sorted({'matplotlib', 'ezdxf'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True)
    assert done.stdout.strip() == "[]"
