"""The class file, and that nothing else knows the classes."""

import ast
import tomllib
from pathlib import Path

import pytest

import layoutplan
from layoutplan.errors import JobError
from layoutplan.job import shipped_classes
from layoutplan.job.classes import Role, class_table, with_overrides
from layoutplan.layout.rules import RULES

PACKAGE = Path(layoutplan.__file__).parent
SHIPPED = (PACKAGE / "job" / "obstacle_classes.toml").read_text("utf-8")
# words that are the names of classes by chance
_TAGS = {"inputs/osm_tags.py": {"pipeline"}, "inputs/signs.py": {"building", "wetland"}}  # of OpenStreetMap
_RULES = {"permitted_land", "cliff"}  # rules about the same thing, by their own names


def texts(path: Path) -> set[str]:
    return {
        node.value
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


def test_no_module_knows_a_class_by_name() -> None:
    """A class is added in one place: everything else asks its properties."""
    assert set(RULES) >= _RULES
    knowing = {}
    for path in PACKAGE.rglob("*.py"):
        where = path.relative_to(PACKAGE).as_posix()
        if where.startswith("job/") or "qgis_plugin" in path.parts:
            continue
        found = texts(path) & set(shipped_classes()) - _TAGS.get(where, set())
        if where.startswith(("layout/", "planning/", "siting/")):
            found -= _RULES
        if found:
            knowing[where] = sorted(found)
    assert not knowing, "give the class a property in job/class_model.py instead"


def test_within_job_only_the_file_and_an_example_name_classes() -> None:
    named = {
        path.name: found for path in (PACKAGE / "job").glob("*.py") if (found := texts(path) & set(shipped_classes()))
    }
    assert named == {}


def test_every_class_has_a_reason_for_its_figures_and_its_own_label() -> None:
    labels = [row.label for row in shipped_classes().values()]
    assert len(set(labels)) == len(labels)
    assert {row.role for row in shipped_classes().values()} - {None} == set(Role)


def test_a_new_class_needs_a_label_and_a_basis_only() -> None:
    row = class_table(SHIPPED + '\n[shoal]\nlabel = "shoal"\nbasis = "judgement"\n')["shoal"]
    assert (row.stake, row.lead_crossing, row.keep_out_m, row.on_foot.factor, row.role) == ("no", "no", 0.0, 1.0, None)
    assert list(tomllib.loads(SHIPPED)) == list(shipped_classes())


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("[shoal", ["classes.toml: not valid TOML", "line"]),
        ('shoal = "x"\n' + SHIPPED, ["'shoal' stands outside of any class"]),
        (SHIPPED + '[shoal]\nbasis = "x"\n', ["'shoal.label' is missing", "head of the shipped"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nkeepout_m = 3\n', ["'shoal.keepout_m' is no key of a class"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nkeep_out_m = -3\n', ["'shoal.keep_out_m'", "greater"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nstake = "never"\n', ["'shoal.stake'", "'agree'"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nlook.line = "red"\n', ["'shoal.look.line'", "pattern"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nlook.group = "sea"\n', ["'shoal.look.group'", "'water'"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\non_foot.effort = 0.2\n', ["'shoal.on_foot.effort", "greater"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nosm_width_m = { shoal = 0 }\n', ["'shoal'", "key=value"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\ntagged.below = "hole"\n', ["'shoal.tagged' names 'hole'"]),
        (SHIPPED + '[shoal]\nlabel = "x"\nbasis = "x"\nrole = "sea"\n', ['role = "sea" is on 2 classes']),
    ],
)
def test_what_is_wrong_in_a_class_file_is_said(text, parts) -> None:
    with pytest.raises(JobError) as caught:
        class_table(text, "classes.toml")
    assert all(part in str(caught.value) for part in parts), caught.value


def test_a_job_adds_a_class_after_the_others_and_keeps_them() -> None:
    table = with_overrides({"shoal": {"label": "shoal", "width_m": 4.0}, "quarry": {"keep_out_m": 3.0}})
    assert list(table) == [*shipped_classes(), "shoal"]
    assert table["shoal"].basis == "project setting"
    assert table["quarry"].basis.startswith("project setting (default: ")
