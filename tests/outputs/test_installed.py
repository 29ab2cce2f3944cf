"""Formats of other packages: really installed, found, made, and refused where they are wrong."""

import os
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

from layoutplan import load_job
from layoutplan import plan as plan_of
from layoutplan.errors import OutputError
from layoutplan.outputs import FORMATS, require_formats, write_plan
from layoutplan.outputs.installed import GROUP, chosen_formats, known_formats
from layoutplan.reports.inspect import inspect_job
from layoutplan.written.export import format_lines

ROOT = Path(__file__).parents[2]
WHEEL = "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"


def install(target: Path, name: str, module: str, code: str, points: dict[str, str]) -> Path:
    """Make a wheel (the binary distribution format of the Python packaging specifications) and unpack it."""
    stem = name.replace("-", "_")
    info = f"{stem}-1.0.dist-info"
    entries = "".join(f"{key} = {value}\n" for key, value in points.items())
    members = {
        f"{module}.py": code,
        f"{info}/METADATA": f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n",
        f"{info}/WHEEL": WHEEL,
        f"{info}/entry_points.txt": f"[{GROUP}]\n{entries}",
    }
    members[f"{info}/RECORD"] = "".join(f"{path},,\n" for path in (*members, f"{info}/RECORD"))
    wheel = target.parent / f"{stem}-1.0-py3-none-any.whl"
    with zipfile.ZipFile(wheel, "w") as archive:
        for path, text in members.items():
            archive.writestr(path, text)
        archive.extractall(target)
    return wheel


def pip_install(wheel: Path, target: Path) -> None:
    options = ["--no-index", "--no-deps", "--quiet", "--disable-pip-version-check", "--target", str(target)]
    subprocess.run([sys.executable, "-m", "pip", "install", *options, str(wheel)], check=True, capture_output=True)


@pytest.fixture
def installed(tmp_path, monkeypatch):
    """Installs a package with a writer of the given body; returns nothing."""
    target = tmp_path / "site"

    def make(body: str, name: str = "own", module: str = "own_format", package: str = "own-format") -> None:
        install(target, package, module, f"{body}\n", {name: f"{module}:write"})
        monkeypatch.delitem(sys.modules, module, raising=False)

    target.mkdir()
    monkeypatch.syspath_prepend(target)
    return make


@pytest.fixture(scope="module")
def documented(tmp_path_factory):
    """The package that the documentation shows, installed."""
    page = (ROOT / "docs" / "writers.md").read_text("utf-8")
    code, project = (re.search(rf"```{kind}\n(.*?)```", page, re.S)[1] for kind in ("python", "toml"))
    table = tomllib.loads(project)["project"]
    points = table["entry-points"][GROUP]
    assert len(code.strip().splitlines()) - 1 <= 10, "the example is to stay short"
    (module,) = {value.partition(":")[0] for value in points.values()}
    target = tmp_path_factory.mktemp("documented") / "site"
    package, _, stem = module.partition(".")
    flat = {name: value.replace(module, f"{package}_{stem}") for name, value in points.items()}
    pip_install(install(target.parent / "unpacked", table["name"], f"{package}_{stem}", code, flat), target)
    return target


def run(site: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join((str(ROOT), str(site)))
    command = [sys.executable, "-m", "layoutplan", *arguments]
    return subprocess.run(command, env={**os.environ, "PYTHONPATH": path}, capture_output=True, text=True, check=False)


@pytest.mark.long
def test_the_documented_package_from_the_command_line(documented, plan, tmp_path) -> None:
    write_plan(plan, tmp_path)
    listed = run(documented, "export", "--list")
    assert "stakes_xyz" in listed.stdout
    assert "from package own-format 1.0; on request" in listed.stdout
    done = run(documented, "export", str(tmp_path), "--to", "stakes_xyz")
    assert done.returncode == 0, done.stderr
    lines = (tmp_path / "stakes.xyz").read_text("utf-8").splitlines()
    assert lines[0] == "# EPSG:32632"
    first = plan.electrodes.iloc[0]
    assert lines[1] == f"{first['waypoint']} {first['easting']:.3f} {first['northing']:.3f}"
    assert len(lines) == 1 + len(plan.electrodes)


@pytest.mark.long
def test_a_job_may_name_an_installed_format(documented, tmp_path) -> None:
    (tmp_path / "towers.csv").write_text("tower_id,lon,lat\n1,8.0,46.0\n2,8.004,46.0\n3,8.008,46.0\n", "utf-8")
    job = tmp_path / "job.toml"
    formats = 'formats = ["json", "stakes_xyz", "csv"]'
    job.write_text(f'[[lines]]\ntowers = {{ path = "towers.csv" }}\n[output]\n{formats}\n', "utf-8")
    done = run(documented, "plan", str(job), "--out", str(tmp_path / "out"), "--quiet")
    assert done.returncode == 0, done.stderr
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["plan.json", "stakes.csv", "stakes.xyz"]
    record = (tmp_path / "out" / "plan.json").read_text("utf-8")
    assert '"file": "stakes.xyz"' in record


def test_several_files(installed, make_plan, tmp_path) -> None:
    installed(
        "def write(plan, folder):\n"
        "    paths = [folder / f'{n}.txt' for n in range(3)]\n"
        "    for path in (*paths, folder / 'scratch'):\n"
        "        path.write_text('x')\n"
        "    return paths\n"
    )
    written = write_plan(make_plan(formats=("json", "own")), tmp_path / "out")
    assert [path.name for path in written] == ["0.txt", "1.txt", "2.txt", "plan.json"]
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["0.txt", "1.txt", "2.txt", "plan.json"]


def test_nothing_is_imported_before_it_is_asked_for(installed, make_plan, tmp_path) -> None:
    installed("raise RuntimeError('imported')")
    assert "own" in [entry.name for entry in known_formats()]
    assert any("own-format 1.0" in line for line in format_lines())
    assert write_plan(make_plan(formats=("csv",)), tmp_path / "out")


def test_a_writer_changes_the_plan_for_nobody_else(installed, make_plan, tmp_path) -> None:
    write_plan(make_plan(formats=("json",)), tmp_path / "plain")
    installed(
        "def write(plan, folder):\n"
        "    plan.towers['status'] = 'no layout'\n"
        "    plan.exposures.loc[:, 'ratio'] = 0.0\n"
        "    (folder / 'a.txt').write_text('x')\n"
        "    return folder / 'a.txt'\n"
    )
    plan = make_plan(formats=("own", "json"))
    write_plan(plan, tmp_path / "out")
    assert set(plan.towers["status"]) != {"no layout"}
    summaries = [(tmp_path / name / "plan.json").read_text("utf-8").split('"settings"')[0] for name in ("plain", "out")]
    assert summaries[0] == summaries[1]


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("import no_such_module_at_all", r"cannot be imported \(ModuleNotFoundError: No module named"),
        ("raise SystemExit(3)", r"cannot be imported \(SystemExit"),
        ("other = 1", "cannot be imported .*has no attribute 'write'"),
        ("write = 'text'", "is no function"),
    ],
    ids=lambda value: value[:25],
)
def test_a_writer_that_cannot_be_loaded_is_refused_before_planning(installed, body, message) -> None:
    installed(body)
    with pytest.raises(OutputError, match=rf"format 'own' of package own-format 1\.0: .*{message}"):
        require_formats(["csv", "own"])


@pytest.mark.first(4)
@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("    raise ValueError('odd \\x1b[31m towers')", r"failed \(ValueError: odd \[31m towers\)"),
        ("    raise SystemExit(0)", r"failed \(SystemExit"),
        ("    pass", "returned no path"),
        ("    return []", "returned no path"),
        ("    return 'a.txt'", "returned no path"),
        ("    return folder / 'a.txt'", "no file directly in the folder"),
        ("    return folder", "no file directly in the folder"),
        ("    return folder.parent / 'plan.json'", "no file directly in the folder"),
        ("    return __import__('pathlib').Path('/etc/hostname')", "no file directly in the folder"),
        ("    p = folder / 'a'; p.symlink_to('/etc/hostname'); return p", "no file directly in the folder"),
        ("    d = folder / 'd'; d.mkdir(); p = d / 'a'; p.write_text('x'); return p", "no file directly in the folder"),
        ("    p = folder / 'stakes.csv'; p.write_text('x'); return p", "bears the name of another"),
        ("    p = folder / 'PLAN.json'; p.write_text('x'); return p", "bears the name of another"),
        ("    p = folder / 'a'; p.write_text('x'); return [p, p]", "bears the name of another"),
    ],
)
def test_a_writer_that_fails_leaves_an_earlier_plan_alone(installed, make_plan, tmp_path, body, message) -> None:
    out = tmp_path / "out"
    write_plan(make_plan(formats=("csv", "json")), out)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    installed(f"def write(plan, folder):\n{body}\n")
    with pytest.raises(OutputError, match=rf"format 'own' of package own-format 1\.0: .*{message}"):
        write_plan(make_plan(9, formats=("csv", "own", "json")), out)
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


def test_a_name_given_twice(installed) -> None:
    installed("def write(plan, folder): ...")
    installed("def write(plan, folder): ...", module="third", package="third-format")
    with pytest.raises(OutputError, match=r"'own' is given twice, by own-format 1\.0 and third-format 1\.0"):
        require_formats(["own"])
    require_formats(["csv"])


def test_a_name_of_our_own_taken_by_a_package(installed) -> None:
    installed("def write(plan, folder): ...", name="gpx")
    with pytest.raises(OutputError, match=r"'gpx' is given twice, by layoutplan itself and own-format 1\.0"):
        require_formats(None)
    require_formats(["csv"])


def test_a_name_nobody_knows() -> None:
    with pytest.raises(OutputError, match=r"output\.formats': no format 'gpxx'; did you mean 'gpx'\? known: gpkg, "):
        require_formats(["gpxx"])


def test_a_wrong_format_is_said_before_anything_is_read(tmp_path) -> None:
    text = '[[lines]]\ntowers = { path = "missing.gpkg" }\n[output]\nformats = ["gpxx"]\n'
    (tmp_path / "job.toml").write_text(text, "utf-8")
    job = load_job(tmp_path / "job.toml")
    for act in (plan_of, inspect_job):
        with pytest.raises(OutputError, match="did you mean 'gpx'"):
            act(job)


def test_the_order_is_that_of_the_registry_whatever_was_asked() -> None:
    assert [entry.name for entry in chosen_formats(["json", "csv", "gpkg", "csv"])] == ["gpkg", "csv", "json"]
    assert [entry.name for entry in chosen_formats(None)] == [
        name for name, entry in FORMATS.items() if entry.by_default
    ]
