"""What all tests share."""

import os
import socket
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


QGIS_TESTS = Path(__file__).parent / "qgis"


def pytest_ignore_collect(collection_path, config):
    """Leave the tests of the plug-in out unless they are asked for: they need the Python that QGIS came with."""
    asked = any(QGIS_TESTS.name in Path(arg.partition("::")[0]).parts for arg in config.invocation_params.args)
    return True if collection_path == QGIS_TESTS and not asked else None


def pytest_report_header(config):
    """Say what is left out."""
    if not any(QGIS_TESTS.name in Path(arg.partition("::")[0]).parts for arg in config.invocation_params.args):
        return "tests/qgis: left out here, they run inside QGIS: /usr/bin/python3 -m pytest tests/qgis (DEVELOPERS.md)"
    return None


@pytest.fixture(scope="session")
def sample_folder():
    """The sample valley that comes with the project."""
    return ROOT / "sample_gis"


@pytest.fixture(scope="session")
def shared_data():
    """Real open map extracts, which are no part of the repository; in CI they must be there."""
    folder = Path(os.environ.get("LAYOUTPLAN_SHARED_DATA") or ROOT.parent / "shared" / "data")
    if not folder.is_dir():
        message = f"the open map extracts are not at {folder}; set LAYOUTPLAN_SHARED_DATA"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return folder


@pytest.fixture(autouse=True)
def _no_network(monkeypatch):
    """Tests may talk to this machine only."""
    connect = socket.socket.connect

    def guarded(self, address):
        if isinstance(address, tuple) and address[0] not in ("127.0.0.1", "::1", "localhost"):
            raise OSError(f"a test tried to reach {address}")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)
