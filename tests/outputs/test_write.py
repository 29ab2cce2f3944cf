"""All files together or none; an earlier plan is never half replaced."""

import errno
import hashlib
import os
import shutil
import subprocess
import sys
import types
from pathlib import Path

import pyogrio
import pytest

from layoutplan.errors import OutputError
from layoutplan.outputs import FORMATS, write, write_plan
from layoutplan.outputs.earlier import LEDGER_NAME

from .conftest import build_plan

FILES = [name for entry in FORMATS.values() if entry.by_default for name in entry.files if "*" not in name]


STAKES = "layoutplan.outputs.stakes.write_stakes"
LIGHT = ("gpkg", "gpx", "csv", "json")  # the map takes longest to write


def listing(folder: Path) -> dict[str, str]:
    """Files by name; not the list of what was written, which lies in folders without a record."""
    files = (path for path in folder.iterdir() if path.name != LEDGER_NAME)
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.fixture(scope="module")
def first(tmp_path_factory) -> tuple[list[Path], Path]:
    """A plan in all its formats: what was said to be written, and the folder; to be read only."""
    folder = tmp_path_factory.mktemp("first") / "deep" / "out"
    return write_plan(build_plan(), folder), folder


@pytest.fixture
def again(first, tmp_path) -> Path:
    """The same, to be written into."""
    return Path(shutil.copytree(first[1], tmp_path / "again"))


def test_all_files(first) -> None:
    written, folder = first
    assert [path.name for path in written] == FILES
    assert sorted(listing(folder)) == sorted(FILES)


def test_formats_of_the_job(make_plan, tmp_path) -> None:
    assert [path.name for path in write_plan(make_plan(formats=("json", "csv")), tmp_path)] == [
        "stakes.csv",
        "plan.json",
    ]


def test_the_registry_names_the_files_and_the_record_comes_last(first) -> None:
    assert [path.name for path in first[0]] == FILES
    assert {"plan.gpkg", "waypoints.gpx", "stakes.csv", "map.html", "sheets.pdf"} <= {*FILES}
    assert [*FORMATS][-1] == "json"


@pytest.mark.long
def test_again_gives_the_same_bytes(make_plan, first, again) -> None:
    written = {path.name: path.stat().st_ino for path in again.iterdir()}
    write_plan(make_plan(), again)
    assert not [name for name in FILES if (again / name).stat().st_ino == written[name]]
    assert listing(again) == listing(first[1])


def failing(error: Exception):
    def writer(_plan: object, folder: Path) -> Path:
        (folder / "stakes.csv").write_text("half")
        raise error

    return writer


@pytest.mark.first(2)
@pytest.mark.parametrize(
    ("error", "message"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), "disk is full"),
        (OSError(errno.EDQUOT, "Disk quota exceeded"), "disk is full"),
        (pyogrio.errors.DataLayerError("sqlite3_exec(COMMIT) failed: database or disk is full"), "disk is full"),
        (PermissionError(errno.EACCES, "Permission denied", "stakes.csv"), "'stakes.csv' cannot be written"),
        (OSError(errno.EROFS, "Read-only file system", "x"), "cannot be written"),
        (pyogrio.errors.DataSourceError("something odd"), "could not be written .*something odd"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_a_failed_run_leaves_the_earlier_plan(make_plan, tmp_path, monkeypatch, error, message) -> None:
    formats = ("gpx", "csv", "json")
    write_plan(make_plan(3, formats=formats), tmp_path)
    before = listing(tmp_path)
    monkeypatch.setattr(STAKES, failing(error))
    with pytest.raises(OutputError, match=message) as caught:
        write_plan(make_plan(4, formats=formats), tmp_path)
    assert str(tmp_path) in str(caught.value)
    assert listing(tmp_path) == before


def test_a_vague_error_on_a_full_disk(make_plan, tmp_path, monkeypatch) -> None:
    full = types.SimpleNamespace(free=0)
    monkeypatch.setattr(shutil, "disk_usage", lambda _folder: full)
    monkeypatch.setattr(STAKES, failing(pyogrio.errors.DataLayerError("cannot rollback")))
    with pytest.raises(OutputError, match="disk is full"):
        write_plan(make_plan(formats=("csv",)), tmp_path)
    assert listing(tmp_path) == {}


@pytest.mark.long
def test_a_bug_is_not_dressed_up_and_leaves_nothing(make_plan, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(STAKES, failing(ZeroDivisionError()))
    with pytest.raises(ZeroDivisionError):
        write_plan(make_plan(formats=LIGHT), tmp_path)
    assert listing(tmp_path) == {}


@pytest.mark.long
@pytest.mark.parametrize("links", [True, False], ids=["hard links", "copies"])
def test_a_file_that_cannot_be_replaced_puts_the_others_back(make_plan, tmp_path, monkeypatch, links) -> None:
    """As when a spreadsheet holds stakes.csv open on Windows."""
    write_plan(make_plan(formats=("gpkg", "gpx", "csv")), tmp_path)
    (tmp_path / "waypoints.gpx").unlink()
    before = listing(tmp_path)
    replace = os.replace

    def held_open(source: Path, target: Path) -> None:
        if Path(target) == tmp_path / "stakes.csv":
            raise PermissionError(errno.EACCES, "Permission denied", str(source), None, str(target))
        replace(source, target)

    def no_links(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    monkeypatch.setattr(os, "replace", held_open)
    if not links:
        monkeypatch.setattr(os, "link", no_links)
    with pytest.raises(OutputError, match=r"'stakes\.csv' cannot be written .*Close programs"):
        write_plan(make_plan(12, formats=LIGHT), tmp_path)
    assert listing(tmp_path) == before


@pytest.mark.long
@pytest.mark.parametrize("done", [True, False], ids=["right after a file was moved", "right before"])
def test_stopped_between_two_files_the_earlier_plan_is_as_it_was(make_plan, tmp_path, monkeypatch, done) -> None:
    write_plan(make_plan(formats=("gpkg", "gpx", "csv")), tmp_path)
    (tmp_path / "waypoints.gpx").unlink()
    before = listing(tmp_path)
    replace, stopped = os.replace, []

    def stop(source: Path, target: Path) -> None:
        if Path(target) == tmp_path / "waypoints.gpx" and not stopped:
            stopped.append(target)
            if done:
                replace(source, target)
            raise SystemExit(143)
        replace(source, target)

    monkeypatch.setattr(os, "replace", stop)
    with pytest.raises(SystemExit):
        write_plan(make_plan(12, formats=LIGHT), tmp_path)
    assert stopped
    assert listing(tmp_path) == before


def test_files_of_an_earlier_plan_in_other_formats_go(make_plan, again) -> None:
    (again / "notes.txt").write_text("the user's own")
    with (again / "stakes.csv").open("a") as file:
        file.write("a note of the user's\r\n")
    write_plan(make_plan(12, formats=("gpx",)), again)
    assert sorted(listing(again)) == ["notes.txt", "stakes.csv", "waypoints.gpx"]


def test_a_foreign_plan_json_makes_nothing_go(make_plan, tmp_path) -> None:
    (tmp_path / "plan.json").write_text('{"format_version": 1, "files": [{"file": "../a.txt", "sha256": ""}]}')
    (tmp_path / "map.html").write_text("the user's own")
    write_plan(make_plan(formats=("csv", "json")), tmp_path)
    assert sorted(listing(tmp_path)) == ["map.html", "plan.json", "stakes.csv"]


def test_folder_is_a_file(make_plan, tmp_path) -> None:
    (tmp_path / "out").write_text("x")
    with pytest.raises(OutputError, match="not a folder"):
        write_plan(make_plan(), tmp_path / "out")
    with pytest.raises(OutputError, match="not a folder"):
        write_plan(make_plan(), tmp_path / "out" / "below")


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="no /proc on this system")
def test_folder_that_takes_no_files(make_plan) -> None:
    with pytest.raises(OutputError, match=r"'/proc/self.*(cannot be written|could not be written)"):
        write_plan(make_plan(formats=LIGHT), Path("/proc/self/out"))


def test_geopackage_open_elsewhere(make_plan, tmp_path) -> None:
    write_plan(make_plan(formats=LIGHT), tmp_path)
    before = listing(tmp_path)
    (tmp_path / "plan.gpkg-wal").write_bytes(b"x")
    with pytest.raises(OutputError, match=r"plan\.gpkg is open in another program"):
        write_plan(make_plan(12, formats=LIGHT), tmp_path)
    (tmp_path / "plan.gpkg-wal").unlink()
    assert listing(tmp_path) == before


def _limit_file_size() -> None:
    import resource
    import signal

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (25_000, 25_000))


SCRIPT = """\
import sys, types
import layoutplan
package = sys.modules['factory'] = types.ModuleType('factory')
package.__path__ = [sys.argv[1]]
from factory.conftest import build_plan
from layoutplan.errors import OutputError
for name in sys.argv[3:]:
    plan = build_plan(120, formats=(name,), hostile=False)
    object.__setattr__(plan, 'cautions', ('x' * 50_000,))
    object.__setattr__(plan, 'permissions', plan.permissions.assign(note='x' * 500))
    try:
        layoutplan.write(plan, f'{sys.argv[2]}/{name}')
    except OutputError as err:
        print(f'{name} refused:', ' '.join(str(err).split()), flush=True)
"""


@pytest.mark.long
@pytest.mark.skipif(os.name != "posix", reason="needs a limit on the size of files")
def test_no_writer_hides_a_failed_write(tmp_path) -> None:
    """Every write beyond 25 kB fails with an error of the system, below Python and below GDAL alike."""
    names = [name for name, entry in FORMATS.items() if not entry.beside]  # its fellow would fail first
    (tmp_path / "script.py").write_text(SCRIPT, "utf-8")
    root = Path(write.__file__).parents[2]
    run = subprocess.run(
        [sys.executable, "-B", str(tmp_path / "script.py"), str(Path(__file__).parent), str(tmp_path / "out"), *names],
        env={**os.environ, "PYTHONPATH": str(root)},
        capture_output=True,
        text=True,
        preexec_fn=_limit_file_size,
        timeout=600,
    )
    refused = [line.split(" refused:")[0] for line in run.stdout.splitlines() if " refused:" in line]
    assert refused == names, run.stdout + run.stderr
    for name in names:
        out = tmp_path / "out" / name
        assert not out.exists() or listing(out) == {}
