"""How a run ends: stopped wherever it is, with streams that are full or closed, and with errors nobody foresaw."""

import getpass
import os
import platform
import re
import signal
import subprocess
import sys
import time

import pytest

from layoutplan.cli import report
from layoutplan.unfinished import remove_left

TOWERS = "tower_id,lon,lat\n1,8.000,49.000\n2,8.004,49.001\n3,8.008,49.001\n"
JOB = '[[lines]]\ntowers = { path = "towers.csv" }\n[output]\nformats = ["gpkg", "json"]\n'
STUCK = """
import sys
import layoutplan.job
from layoutplan.__main__ import main
def stuck(*paths):
    print("stuck", file=sys.stderr, flush=True)
    sum(range(10**12))  # hours within C; no signal is heard there
layoutplan.job.load_job = stuck
sys.argv = ["layoutplan", "plan", "job.toml", "--out", "plan", "--quiet"]
main()
"""
BROKEN = """
import sys
import layoutplan.job
from layoutplan.__main__ import main
def broken(*paths):
    raise KeyError("Hans Muster, 0123 456")
layoutplan.job.load_job = broken
sys.argv = ["layoutplan", *sys.argv[1:]]
main()
"""
CRASH = "import os, layoutplan.job\nlayoutplan.job.load_job = lambda *paths: os.abort()\n"
CRASH += (
    "from layoutplan.__main__ import main\nimport sys\nsys.argv = ['layoutplan', 'plan', 'j', '--out', 'p']\nmain()\n"
)
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes cannot be doubled here")


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "towers.csv").write_text(TOWERS, "utf-8")
    (tmp_path / "job.toml").write_text(JOB, "utf-8")
    return tmp_path


def run(folder, *arguments, code=None, **how):
    start = ["-c", code] if code else ["-m", "layoutplan"]
    keep = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | how
    return subprocess.run([sys.executable, *start, *arguments], cwd=folder, text=True, check=False, **keep)


@pytest.mark.long
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_a_run_deep_within_a_library_is_ended_in_time(folder, number, code):
    with subprocess.Popen(
        [sys.executable, "-c", STUCK], cwd=folder, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as started:
        assert started.stderr.readline() == "stuck\n"
        asked = time.monotonic()
        os.killpg(started.pid, number)  # as a terminal does: the whole group
        assert started.wait(60) == code
        took_s = time.monotonic() - asked
    assert took_s < 10  # GRACE_S on a machine that is not busy
    from layoutplan.cli.watch import GRACE_S

    assert GRACE_S < 2
    with pytest.raises(ProcessLookupError):
        os.killpg(started.pid, 0)
    assert sorted(path.name for path in folder.iterdir()) == ["job.toml", "towers.csv"]


@pytest.mark.long
def test_the_work_ends_with_its_watcher(folder):
    with subprocess.Popen(
        [sys.executable, "-c", STUCK], cwd=folder, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as started:
        assert started.stderr.readline() == "stuck\n"
        started.kill()
        assert started.stderr.read() == ""  # closed by the end of the other process


def test_an_error_nobody_foresaw_has_a_code_and_a_report_of_its_own(folder):
    done = run(folder, "plan", "secret/Muster.toml", "--out", "Muster plan", "--quiet", code=BROKEN)
    assert done.returncode == 70
    assert "Traceback" not in done.stderr
    (path,) = folder.glob("layoutplan_report_*.txt")
    assert path.name in done.stderr
    text = path.read_text("utf-8")
    assert "builtins.KeyError: <21 letters>" in text
    assert "layoutplan/cli/plan.py, line " in text
    assert "command: plan ….toml --out … --quiet" in text
    for secret in ("Muster", "Hans", str(folder), str(folder.parent), platform.node(), os.path.dirname(sys.prefix)):
        assert secret not in text
    assert getpass.getuser() == "root" or getpass.getuser() not in text
    assert not re.search(r"(?<![\w<])/(home|root|usr|tmp|work)\b", text)


def test_where_no_report_can_be_written_the_mend_is_said(monkeypatch):
    monkeypatch.setattr(report, "_written", lambda _text: None)
    assert "--debug" in report.write_report(ValueError("x"), ["plan"])


@pytest.mark.long
def test_a_crash_within_a_library_is_told_in_words(folder):
    done = run(folder, code=CRASH)
    assert done.returncode == 70
    assert "signal 6" in done.stderr
    assert len(list(folder.glob("layoutplan_report_*.txt"))) == 1


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("[Errno 2] No such file: '/home/anna/job.toml'", "[Errno 2] No such file: <19 letters>"),
        ("cannot open /home/anna/my map.gpkg: bad", "cannot open <path> map.gpkg: bad"),
        (r"C:\Users\anna\x.gpkg failed", "<path> failed"),
        ("KeyError: 'lon'", "KeyError: 'lon'"),
        ("codec can't decode", "codec can't decode"),
    ],
)
def test_messages_lose_what_is_personal(text, shown):
    assert report.anonymous(text, 'table["lon"]') == shown


@pytest.mark.long
@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
def test_a_full_output_is_said(folder):
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = run(folder, "--help", stdout=full)
        assert done.returncode == 2
        assert "cannot be written to the standard output" in done.stderr
        assert run(folder, "plan", "nowhere.toml", "--out", "p", stdout=full, stderr=full).returncode == 2


def test_a_reader_that_has_gone_is_no_error(folder):
    reads, writes = os.pipe()
    os.close(reads)
    done = run(folder, "--help", stdout=writes)
    os.close(writes)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.long
def test_closed_streams_take_no_file_with_them(folder):
    command = f'exec "{sys.executable}" -m layoutplan plan job.toml --out plan <&- >&- 2>&-'
    assert subprocess.run(["bash", "-c", command], cwd=folder, check=False).returncode == 0
    assert (folder / "plan" / "plan.gpkg").read_bytes()[:15] == b"SQLite format 3"


@pytest.mark.parametrize("locale", [{}, {"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}])
def test_names_that_are_no_text_are_refused(folder, locale):
    name = b"j\xff.toml"
    start = [os.fsencode(sys.executable), b"-m", b"layoutplan", b"plan", name, b"--out", b"p"]
    done = subprocess.run(start, cwd=folder, env=os.environ | locale, capture_output=True, check=False)
    assert done.returncode == 2
    assert b"not UTF-8 text" in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ("plan", "job.toml", "--out", ""),
        ("plan", "", "--out", "p"),
        ("plan", "job.toml", "--out", "n" * 300),
        ("plan", "job.toml", "--out", "/".join(["n" * 200] * 30)),
        ("plan", "n" * 300, "--out", "p"),
        ("start", " "),
        ("explain", "n" * 300, "2"),
        ("check", ".", "--staked", "n" * 300),
        ("check", ".", "--tolerance", "nan"),
        ("check", ".", "--tolerance", "-5"),
        ("compare", "n" * 300, "."),
        ("qgis-plugin", "--out", ""),
        ("profile", "job.toml", "--tower", "2", "--out", ""),
    ],
)
def test_names_no_file_system_takes(folder, arguments, monkeypatch):
    from click.testing import CliRunner

    from layoutplan.cli.main import cli

    monkeypatch.chdir(folder)
    result = CliRunner().invoke(cli, list(arguments))
    assert result.exit_code == 2
    assert isinstance(result.exception, SystemExit)
    assert "Invalid value" in result.stderr


def test_what_an_ended_run_left_is_removed_but_for_earlier_files(tmp_path):
    for name in ("gone", "done", "kept"):
        (tmp_path / name / "earlier").mkdir(parents=True)
    (tmp_path / "kept" / "earlier" / "plan.gpkg").write_text("x", "utf-8")
    said = f"+{tmp_path}/gone\n+{tmp_path}/done\n-{tmp_path}/done\n+{tmp_path}/kept\n"
    remove_left(said.encode())
    assert sorted(path.name for path in tmp_path.iterdir()) == ["done", "kept"]
    (tmp_path / ".layoutplan.journal").touch()
    remove_left(f"+{tmp_path}/done\n".encode())
    assert (tmp_path / "done").exists()


@pytest.mark.first(1)
@pytest.mark.parametrize("where", ["while files are made", "while they are removed"])
def test_a_run_that_hears_nothing_leaves_no_unfinished_files(tmp_path, where):
    """A library at work in C hears of no signal; here the run hears of none, and is ended from outside."""
    code = (
        "import os, signal, shutil, sys, time; from pathlib import Path\n"
        "from layoutplan.cli.watch import watched\n"
        "from layoutplan.store import staging_in\n"
        "def deaf(*_, **__): print('in', flush=True); time.sleep(60)\n"
        "code = watched()\n"
        "if code is None:\n"
        "    signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
        "    with staging_in(Path(sys.argv[1])) as staging:\n"
        "        (staging / 'plan.gpkg').write_text('half')\n"
        "        if 'made' in sys.argv[2]: deaf()\n"
        "        shutil.rmtree = deaf\n"
        "os._exit(code)\n"
    )
    start = [sys.executable, "-c", code, str(tmp_path), where]
    with subprocess.Popen(start, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout.readline() == "in\n"
        run.terminate()
    assert run.returncode == 128 + signal.SIGTERM
    assert list(tmp_path.iterdir()) == []
