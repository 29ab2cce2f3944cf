"""Finding and starting the command, without QGIS."""

import os
import sys
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layoutplan.qgis_plugin.layoutplan_gis.command import (
    CommandError,
    checked_version,
    child_environment,
    found_command,
)
from layoutplan.qgis_plugin.layoutplan_gis.job_text import job_text

LEAKED = (
    *("PYTHONHOME", "PYTHONPATH", "PYTHONEXECUTABLE", "PROJ_DATA", "PROJ_LIB", "GDAL_DATA", "GDAL_DRIVER_PATH"),
    *("LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "QT_PLUGIN_PATH", "QGIS_PREFIX_PATH", "VIRTUAL_ENV"),
)
posix = pytest.mark.skipif(os.name == "nt", reason="shell scripts")


def program(path, body="import sys\nprint('layoutplan, version 9.8.7')\n"):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!{sys.executable}\n{body}", "utf-8")
    path.chmod(0o755)
    return path


@pytest.mark.parametrize("name", LEAKED)
def test_settings_of_the_desktop_are_not_passed_on(name):
    child = child_environment({name: "/usr/share/qgis", "HOME": "/h"})
    assert name not in child
    assert child == {"HOME": "/h", "PYTHONUTF8": "1", "PYTHONUNBUFFERED": "1"}


@posix
def test_order_in_which_the_command_is_looked_for(tmp_path):
    home, usual = tmp_path, program(tmp_path / ".local/bin/layoutplan")
    on_path = program(tmp_path / "a b ü/layoutplan")
    named, chosen = program(tmp_path / "named"), program(tmp_path / "chosen")
    surroundings = {"PATH": os.pathsep.join((".", str(tmp_path / "none"), str(on_path.parent)))}
    assert found_command("", {}, home, False) == usual
    assert found_command("", surroundings, home, False) == on_path
    surroundings["LAYOUTPLAN_CLI"] = str(named)
    assert found_command("", surroundings, home, False) == named
    assert found_command(str(chosen), surroundings, home, False) == chosen


@posix
def test_never_from_the_current_folder(tmp_path, monkeypatch):
    program(tmp_path / "bin/layoutplan")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(CommandError, match="not found"):
        found_command("", {"PATH": os.pathsep.join(("bin", "", "."))}, tmp_path / "home", False)


def test_a_missing_command_is_said_with_the_line_that_installs_it(tmp_path):
    with pytest.raises(CommandError, match=r"(?s)pipx install.*LAYOUTPLAN_CLI"):
        found_command("", {"PATH": ""}, tmp_path, False)
    with pytest.raises(CommandError, match=r"gone' is no program.*environment variable LAYOUTPLAN_CLI"):
        found_command("", {"LAYOUTPLAN_CLI": str(tmp_path / "gone")}, tmp_path, False)
    with pytest.raises(CommandError, match=r"is no program.*Settings > Options > Processing"):
        found_command(str(tmp_path), {}, tmp_path, False)


@posix
@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("print('layoutplan, version 0.0.9')", "0.0.9, this plug-in needs"),
        ("print('hello')", "says no version.*correct the path in Settings > Options"),
        ("raise RuntimeError('no numpy')", "no numpy"),
        ("import os; os.write(1, bytes([255, 254]))", "says no version"),
    ],
)
def test_a_command_too_old_or_broken_is_said(tmp_path, body, words):
    with pytest.raises(CommandError, match=words):
        checked_version(program(tmp_path / "layoutplan", body), os.environ)


@posix
def test_a_version_that_fits_is_returned(tmp_path):
    assert checked_version(program(tmp_path / "layoutplan"), os.environ) == "9.8.7"
    (tmp_path / "empty").write_text("#!/no/such/thing\n", "utf-8")
    (tmp_path / "empty").chmod(0o755)
    with pytest.raises(CommandError, match="cannot be started"):
        checked_version(tmp_path / "empty", os.environ)


WORDS = st.text(st.characters(exclude_categories=["Cs"]))
LEAVES = WORDS | st.booleans() | st.integers(-(2**60), 2**60) | st.floats(allow_nan=False, allow_infinity=False)


@pytest.mark.long
@given(st.dictionaries(WORDS, st.recursive(LEAVES, lambda inner: st.lists(inner) | st.dictionaries(WORDS, inner))))
def test_job_text_is_read_back_by_an_independent_reader(job):
    assert tomllib.loads(job_text(job)) == job


def test_a_name_that_is_no_text_is_said():
    with pytest.raises(CommandError, match="no text"):
        job_text({"path": "a\udcff.tif"})
