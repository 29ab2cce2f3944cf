"""A run is cut or disturbed at every operation on files: the folder then holds the old plan or the new one, whole."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.mark.long
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_after_every_operation_the_next_command_finds_one_whole_plan(tmp_path) -> None:
    """And the user's own files: one beside the plan, and one of the plan's that was changed."""
    script = Path(__file__).with_name("faults.py")
    run = subprocess.run(
        [sys.executable, "-B", "-W", "ignore", str(script), str(ROOT / "tests" / "outputs"), str(tmp_path)],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        timeout=900,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    found = json.loads(run.stdout.splitlines()[-1])
    assert found["faults"] == []
    assert found["points"] > 30, found  # else the operations were not seen, and nothing was tried
    assert {"fsync", "open", "os.link", "os.remove", "os.rename"} <= set(found["operations"])
    assert found["tried"] > 5 * found["points"], "no run was cut between the first move and the last"
    assert {"SIGKILL: -9", "SIGINT: 130", "SIGINT twice: 130", "ENOSPC: 2", "EIO: 2"} <= set(found["ends"])
