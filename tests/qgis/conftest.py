"""The plug-in inside QGIS. Run with the Python that has PyQGIS: LAYOUTPLAN_CLI=… /usr/bin/python3 -m pytest tests/qgis.

Without PyQGIS, or without the command, these tests fail; they are never skipped.
"""

import gc
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_gis"
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
sys.path[:0] = ["/usr/share/qgis/python/plugins", str(ROOT / "layoutplan" / "qgis_plugin")]

try:
    from qgis.core import QgsApplication, QgsProcessingFeedback
except ImportError as err:
    raise pytest.UsageError(
        f"no PyQGIS in {sys.executable} ({err}); run /usr/bin/python3 -m pytest tests/qgis"
    ) from err


def pytest_configure(config):
    """Processing, which is not part of this project, warns on import."""
    config.addinivalue_line("filterwarnings", "ignore::DeprecationWarning")
    config.addinivalue_line("filterwarnings", "ignore::pytest.PytestUnraisableExceptionWarning")


@pytest.fixture(scope="session")
def cli():
    """The ``layoutplan`` command that the plug-in starts."""
    path = os.environ.get("LAYOUTPLAN_CLI", "")
    if not os.access(path, os.X_OK):
        pytest.fail("set LAYOUTPLAN_CLI to the layoutplan command of an environment that has this package")
    return path


@pytest.fixture(scope="session")
def processing(tmp_path_factory, cli):
    """Processing with the plug-in, in a profile of its own."""
    os.environ["QGIS_CUSTOM_CONFIG_PATH"] = str(tmp_path_factory.mktemp("profile"))
    application = QgsApplication([], True)
    application.initQgis()
    import processing
    from processing.core.Processing import Processing

    Processing.initialize()
    from layoutplan_gis import classFactory

    plugin = classFactory(None)
    plugin.initProcessing()
    yield processing
    plugin.unload()
    gc.collect()  # layers that only a cycle keeps alive crash the program when they go after it
    application.exitQgis()


class Feedback(QgsProcessingFeedback):
    """Keeps what it is told; may stop a run."""

    def __init__(self, stop_at=None):
        super().__init__(False)
        self.said, self.warnings, self.stop_at = [], [], stop_at
        self.progressChanged.connect(self._reached)

    def _reached(self, percent):
        if self.stop_at is not None and percent >= self.stop_at:
            self.cancel()

    def pushInfo(self, info):  # noqa: N802
        self.said.append(info)

    def pushConsoleInfo(self, info):  # noqa: N802
        self.said.append(info)

    def pushWarning(self, warning):  # noqa: N802
        self.warnings.append(warning)

    def setProgressText(self, text):  # noqa: N802
        self.said.append(text)


@pytest.fixture
def feedback():
    return Feedback


def layoutplan(cli, *arguments, expected=(0, 1)):
    """Run the command as a user does."""
    done = subprocess.run([cli, *map(str, arguments)], capture_output=True, text=True, check=False)
    assert done.returncode in expected, done.stderr
    return done


@pytest.fixture(scope="session")
def command(cli):
    return lambda *arguments, **options: layoutplan(cli, *arguments, **options)


def rows(file, table):
    """All rows of a table, as the database holds them, shapes as bytes."""
    with closing(sqlite3.connect(f"{Path(str(file)).as_uri()}?mode=ro", uri=True)) as base:
        return base.execute(f'SELECT * FROM "{table}" ORDER BY 1').fetchall()


@pytest.fixture(scope="session")
def table():
    return rows


@pytest.fixture(scope="session")
def planned(command, tmp_path_factory):
    """The sample, planned on the command line."""
    out = tmp_path_factory.mktemp("planned") / "valley"
    command("plan", SAMPLE / "job.toml", "--out", out, "--quiet")
    return out


@pytest.fixture(scope="session")
def sample(tmp_path_factory):
    """A copy of the sample: QGIS writes into files that it opens, and beside them."""
    folder = tmp_path_factory.mktemp("sample") / "gis"
    shutil.copytree(SAMPLE, folder)
    return folder


@pytest.fixture
def plan_copy(planned, tmp_path):
    """A copy of it that a test may change, where the path is not plain and no elevation model is found from it.

    One folder deeper than the plan was: wherever the checkout lies, the noted way to the model leads nowhere.
    """
    target = tmp_path / "carried" / "Plan für Süd – 塔 'x' & \"y\""
    shutil.copytree(planned, target)
    return target
