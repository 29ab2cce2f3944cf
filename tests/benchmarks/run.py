"""Time the main job on made-up corridors: python tests/benchmarks/run.py [--plain] [100 1000 10000]

Each size runs in a fresh process; printed are towers per second from files to written plan (imports apart), peak
memory, and the share of each stage. ``--plain`` leaves terrain and ways on foot out.
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
import layoutplan, layoutplan.outputs.write
from layoutplan.planning.pipeline import plan as plan_function
job = layoutplan.load_job(sys.argv[1])
start = time.perf_counter()
plan = plan_function(job)
planned = time.perf_counter()
layoutplan.write(plan, sys.argv[2])
written = time.perf_counter()
print(json.dumps({
    "seconds": written - start,
    "stages": dict(plan.timings_s) | {"write": written - planned},
    "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    "status": plan.summary["by_status"],
}))
"""


def measure(towers: int, *, ground: bool = True) -> dict[str, object]:
    """Plan a corridor in a fresh process and return what it reports."""
    with tempfile.TemporaryDirectory() as folder:
        job = make_corridor(Path(folder), towers, ground=ground)
        command = [sys.executable, "-c", _RUN, str(job), str(Path(folder) / "out")]
        out = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    return dict(json.loads(out.splitlines()[-1]))


def main(sizes: list[int], *, ground: bool = True) -> None:
    """Print one line for each size, and the share of each stage below it."""
    sys.stdout.write(f"{os.cpu_count()} processors\n")
    for towers in sizes:
        found = measure(towers, ground=ground)
        seconds, stages = found["seconds"], found["stages"]
        sys.stdout.write(
            f"{towers:6d} towers: {seconds:7.2f} s, {towers / seconds:6.0f} towers/s, peak {found['peak_mb']:5.0f} MB, "
            f"{found['status']}\n       "
            + ", ".join(f"{name} {value:.2f} s ({100 * value / seconds:.0f} %)" for name, value in stages.items())
            + "\n"
        )


if __name__ == "__main__":
    numbers = [int(size) for size in sys.argv[1:] if size != "--plain"]
    main(numbers or [100, 1000, 10000], ground="--plain" not in sys.argv)
