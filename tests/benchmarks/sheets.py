"""Time the staking sheets on made-up corridors: python tests/benchmarks/sheets.py [30 100 300]

Each size runs in a fresh process; printed are sheets per second (imports and planning apart), sheets per second of
processor time (for a machine with other work), the file's size, and how far writing raised the memory in use (Linux).
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
import json, re, sys, time
from pathlib import Path
import layoutplan
from layoutplan.outputs.columns import on_the_globe
from layoutplan.outputs.sheets import write_sheets
plan = on_the_globe(layoutplan.plan(layoutplan.load_job(sys.argv[1])))
in_use = lambda key: int(re.search(key + r":\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1]) / 1024
Path("/proc/self/clear_refs").write_text("5")  # forget the peak of planning
before, start, cpu = in_use("VmRSS"), time.perf_counter(), time.process_time()
path = write_sheets(plan, Path(sys.argv[2]))
print(json.dumps({"seconds": time.perf_counter() - start, "cpu": time.process_time() - cpu,
                  "more_mb": in_use("VmHWM") - before, "file_mb": path.stat().st_size / 1e6}))
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
            f"{towers / found['cpu']:5.1f} per second of processor time; {found['file_mb']:.1f} MB, "
            f"memory up by {found['more_mb']:.0f} MB\n"
        )


if __name__ == "__main__":
    main([int(size) for size in sys.argv[1:]] or [30, 100, 300])
