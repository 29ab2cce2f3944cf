"""The zip of the plug-in, without QGIS. What its metadata must hold: QGIS manual for developers, from memory."""

import ast
import configparser
import sys
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

import layoutplan
from layoutplan.cli.main import cli
from layoutplan.layout.schema import tables
from layoutplan.outputs import FORMATS

NEEDED = ("name", "qgisMinimumVersion", "description", "about", "version", "author", "email", "repository", "tracker")


@pytest.fixture
def packed(tmp_path):
    path = tmp_path / "made" / "plug-in ü.zip"
    result = CliRunner().invoke(cli, ["qgis-plugin", "--out", str(path)])
    assert result.exit_code == 0, result.output
    return path


@pytest.fixture
def files(packed):
    with zipfile.ZipFile(packed) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def test_one_folder_small_and_nothing_but_what_is_needed(packed, files):
    assert {name.partition("/")[0] for name in files} == {"layoutplan_gis"}
    assert packed.stat().st_size < 1e6
    assert not [name for name in files if not name.endswith((".py", "metadata.txt", "LICENSE.txt", "icon.svg"))]
    assert b"MIT License" in files["layoutplan_gis/LICENSE.txt"]


def test_metadata_is_complete_and_of_this_version(files):
    parser = configparser.ConfigParser()
    parser.optionxform = str
    parser.read_string(files["layoutplan_gis/metadata.txt"].decode("utf-8"))
    general = parser["general"]
    assert all(general.get(key, "").strip() for key in NEEDED)
    assert general["version"] == layoutplan.__version__
    assert general["hasProcessingProvider"] == "yes"
    assert (general["qgisMinimumVersion"], general["qgisMaximumVersion"]) == ("3.22", "4.99")
    assert "'layoutplan'" in general["about"]
    assert f"layoutplan_gis/{general['icon']}" in files


def test_icon_is_a_picture_that_refers_to_nothing(files):
    icon = ET.fromstring(files["layoutplan_gis/icon.svg"])
    assert icon.tag == "{http://www.w3.org/2000/svg}svg"
    assert b"href" not in files["layoutplan_gis/icon.svg"]


def test_licence_is_that_of_the_project(files):
    licence = Path(__file__).parents[2] / "docs" / "LICENSE.txt"
    assert files["layoutplan_gis/LICENSE.txt"] == licence.read_bytes()


def test_same_plugin_gives_the_same_bytes(packed, tmp_path):
    again = tmp_path / "again.zip"
    CliRunner().invoke(cli, ["qgis-plugin", "--out", str(again)])
    assert again.read_bytes() == packed.read_bytes()


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    (tmp_path / "file").write_text("x", "utf-8")
    result = CliRunner().invoke(cli, ["qgis-plugin", "--out", str(tmp_path / "file" / "x.zip")])
    assert result.exit_code == 2
    assert "cannot be written" in result.output


def test_code_runs_on_the_python_of_older_qgis_and_imports_only_its_own(files):
    """Windows packages of QGIS 3.22 bring Python 3.9."""
    for name, content in files.items():
        if not name.endswith(".py"):
            continue
        tree = ast.parse(content, name, feature_version=(3, 9))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                found = {alias.name.split(".")[0] for alias in node.names}
            elif isinstance(node, ast.ImportFrom) and not node.level:
                found = {node.module.split(".")[0]}
            else:
                continue
            assert all(top in ("qgis", "processing") or top in sys.stdlib_module_names for top in found), name
            assert "tomllib" not in found, name


def test_every_parameter_has_a_help_text(files):
    """Parameters are added with their help by `add` only."""
    adds = [
        node
        for content in (
            files[f"layoutplan_gis/{name}.py"] for name in ("plan_parameters", "check", "explain", "export")
        )
        for node in ast.walk(ast.parse(content))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    ]
    assert not [node for node in adds if node.func.attr == "addParameter"]
    helped = [node for node in adds if node.func.attr == "add" and len(node.args) == 2]
    assert len(helped) >= 20


def constant(module, name):
    """Value of a constant of the plug-in, which cannot be imported without QGIS."""
    tree = ast.parse((Path(layoutplan.__file__).parent / f"qgis_plugin/layoutplan_gis/{module}.py").read_text("utf-8"))
    (value,) = [
        node.value for node in tree.body if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == name
    ]
    return value


def test_export_offers_every_format_of_this_program():
    """The plug-in cannot ask the registry: nothing of the package is imported into QGIS."""
    offered = ast.literal_eval(constant("export", "FORMATS"))
    assert set(offered) == set(FORMATS) - {"gpkg", "json", "project"}  # the plan itself, and what only fits beside it
    assert len(set(offered.values())) == len(offered)


def test_layers_bear_the_titles_that_their_file_gives_them():
    titles = ast.literal_eval(constant("loading", "TABLES"))
    assert titles == {name: ({**tables("check"), **tables("plan")})[name].title for name in titles}
