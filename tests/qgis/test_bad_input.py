"""What goes wrong is said in words, and leaves an earlier plan as it was."""

import os
import re
import sys
import time
from pathlib import Path
from textwrap import dedent

import pytest
from qgis.core import QgsApplication, QgsFeature, QgsGeometry, QgsProcessingException, QgsVectorLayer

ROOT = Path(__file__).parents[2]
JOB = str(ROOT / "sample_gis" / "job.toml")


@pytest.fixture
def refused(processing, feedback, tmp_path):
    def refused(algorithm="plan", stop_at=None, **parameters):
        parameters.setdefault("OUTPUT", str(tmp_path / "out"))
        with pytest.raises(QgsProcessingException) as err:
            processing.run(f"layoutplan:{algorithm}", parameters, feedback=feedback(stop_at))
        return str(err.value)

    return refused


@pytest.fixture
def fake(tmp_path, monkeypatch):
    """A command of our own making that says a good version and then does what ``body`` says."""

    def fake(body):
        path = tmp_path / "fake"
        text = f"#!{sys.executable}\nimport os, sys, time\n"
        text += "if '--version' in sys.argv:\n    print('x, version 0.1.0'); sys.exit()\n"
        path.write_text(text + dedent(body), "utf-8")
        path.chmod(0o755)
        monkeypatch.setenv("LAYOUTPLAN_CLI", str(path))

    return fake


def points(crs, *fields):
    uri = "&".join([f"Point?crs={crs}", *(f"field={name}:string" for name in fields)])
    layer = QgsVectorLayer(uri, "my towers", "memory")
    assert layer.isValid()
    return layer


def test_nothing_given(refused):
    assert "Give a layer of towers" in refused()


def test_towers_without_id_column(refused):
    words = refused(TOWERS=points("EPSG:4326", "name", "kind"))
    assert "no column 'tower_id'" in words
    assert "name, kind" in words


def test_layer_without_reference_system(refused):
    layer = points("EPSG:4326", "tower_id")
    layer.setCrs(type(layer.crs())())
    words = refused(TOWERS=layer)
    assert "'my towers' has no coordinate reference system" in words


def test_layer_without_towers(refused, tmp_path):
    assert "Planning failed: error:" in refused(TOWERS=points("EPSG:4326", "tower_id"))
    assert not list((tmp_path / "out").glob("*"))


def test_obstacle_class_that_is_none(refused):
    layer = QgsVectorLayer("Polygon?crs=EPSG:4326", "houses", "memory")
    assert "no obstacle class 'houses'" in refused(JOB=JOB, OBSTACLES=[layer])
    assert "'hauses'" in refused(JOB=JOB, OBSTACLES=[layer], CLASSES=["hauses", "building"])
    words = refused(JOB=JOB, OBSTACLES=[layer])
    assert "this dialog" in words
    assert "layoutplan-" not in words  # a folder that the user has never seen
    assert "'Class of each obstacle layer'" in words


def test_what_is_wrong_with_a_layer_is_said_with_its_own_name(refused):
    layer = points("EPSG:4326", "tower_id")
    for number in range(2):
        feature = QgsFeature(layer.fields())
        feature.setGeometry(QgsGeometry.fromWkt(f"Point (561000 {5236000 + number})"))
        feature.setAttributes([str(number)])
        layer.dataProvider().addFeatures([feature])
    words = refused(TOWERS=layer)
    assert "layer 'my towers', feature 1" in words
    assert "layers.gpkg" not in words


def test_missing_command_is_said_with_the_install_line(refused, monkeypatch, tmp_path):
    monkeypatch.setenv("LAYOUTPLAN_CLI", str(tmp_path / "gone"))
    assert "LAYOUTPLAN_CLI" in refused(JOB=JOB)
    monkeypatch.delenv("LAYOUTPLAN_CLI")
    monkeypatch.setenv("PATH", "/nowhere")
    monkeypatch.setenv("HOME", str(tmp_path))
    algorithm = QgsApplication.processingRegistry().algorithmById("layoutplan:plan")
    possible, why = algorithm.canExecute()
    assert not possible
    assert "pipx install" in why


@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("print('garbage'); os.write(1, bytes(range(256)))", "Is it really layoutplan"),
        ("os._exit(9)", "code 9"),
        ("sys.exit('error: the disk is full')", "Planning failed: error: the disk is full"),
        ("raise RuntimeError('boom')", "RuntimeError: boom"),
        ("os.kill(os.getpid(), 9)", "code -9"),
    ],
)
def test_command_that_dies_or_talks_nonsense(refused, fake, body, words):
    fake(body)
    assert words in refused(JOB=JOB)


def test_command_too_old(refused, fake, tmp_path):
    fake("")
    (tmp_path / "fake").write_text(f"#!{sys.executable}\nprint('x, version 0.0.1')\n", "utf-8")
    assert "needs 0.1.0 or newer" in refused(JOB=JOB)


def test_cancelled_run_ends_the_command_and_keeps_the_earlier_plan(refused, plan_copy, cli):
    before = {path.name: path.read_bytes() for path in plan_copy.iterdir()}
    began = time.monotonic()
    assert "Cancelled" in refused(JOB=JOB, OUTPUT=str(plan_copy), stop_at=20)
    assert time.monotonic() - began < 12
    assert {path.name: path.read_bytes() for path in plan_copy.iterdir()} == before
    assert not _running(str(plan_copy))


def test_command_killed_in_the_middle_leaves_no_half_written_folder(refused, fake, plan_copy):
    fake(
        """
        import signal
        signal.signal(signal.SIGTERM, signal.SIG_IGN)
        out = sys.argv[sys.argv.index('--out') + 1]
        os.mkdir(os.path.join(out, '.layoutplan-half'))
        print('{"event": "progress", "percent": 95, "message": "writing"}', flush=True)
        time.sleep(600)
        """
    )
    names = {path.name for path in plan_copy.iterdir()}
    assert "Cancelled" in refused(JOB=JOB, OUTPUT=str(plan_copy), stop_at=50)
    assert {path.name for path in plan_copy.iterdir()} == names
    assert not _running(str(plan_copy))


def _running(text):
    """Command lines of running processes that hold a text."""
    found = []
    for path in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            line = path.read_bytes().decode("utf-8", "replace")
        except OSError:
            continue
        if text in line and int(path.parent.name) != os.getpid():
            found.append(line)
    return found


def test_a_plan_of_a_newer_version(refused, plan_copy):
    record = plan_copy / "plan.json"
    text = record.read_text("utf-8")
    newer = re.sub(r'"format_version": \d+', '"format_version": 99', text, count=1)
    assert newer != text
    record.write_text(newer, "utf-8")
    for algorithm, more in (("check", {}), ("explain", {"TOWER": "107"}), ("export", {"FORMATS": [4]})):
        assert "99" in refused(algorithm, PLAN=str(plan_copy / "plan.gpkg"), **more)


def test_a_file_that_is_no_plan(refused, tmp_path):
    (tmp_path / "other.gpkg").write_bytes(b"x")
    assert "is no plan" in refused("check", PLAN=str(tmp_path / "other.gpkg"))
