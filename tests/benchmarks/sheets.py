"""Time the staking sheets on made-up corridors: python tests/benchmarks/sheets.py [30 100 300]

Each size runs in a fresh process; printed are sheets per second (imports and planning apart), the file's size, and by
how much writing raised the peak memory.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from corridor import make_corridor

_RUN = """
import json, resource, sys, time
from pathlib import Path
import layoutplan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.sheets import write_sheets
plan = on_the_globe(layoutplan.plan(layoutplan.load_job(sys.argv[1])))
peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
before, start = peak(), time.perf_counter()
path = write_sheets(plan, Path(sys.argv[2]))
print(json.dumps({"seconds": time.perf_counter() - start, "planned_mb": before, "peak_mb": peak(),
                  "file_mb": path.stat().st_size / 1e6}))
"""


def measure(towers: int) -> dict[str, float]:
    """Plan a corridor in a fresh process, write its sheets and return what it reports."""
    with tempfile.TemporaryDirectory() as folder:
        job = make_corridor(Path(folder), towers)
        command = [sys.executable, "-c", _RUN, str(job), folder]
        out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return dict(json.loads(out.splitlines()[-1]))


def main(sizes: list[int]) -> None:
    """Print one line for each size."""
    sys.stdout.write(f"{os.cpu_count()} processors, one used\n")
    for towers in sizes:
        found = measure(towers)
        sys.stdout.write(
            f"{towers:5d} towers: {found['seconds']:6.2f} s, {towers / found['seconds']:5.1f} sheets/s, "
            f"{found['file_mb']:.1f} MB; peak {found['peak_mb']:.0f} MB, {found['planned_mb']:.0f} MB of it before\n"
        )


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [30, 100, 300])
