"""What all tests share."""

import os
import socket
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


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
