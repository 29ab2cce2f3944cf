"""Look for inputs that break a rule, for as long as one likes: ``python -m tests.fuzz --help``."""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.fuzz.harness import KINDS, Bench


def main() -> int:
    """Run examples of every kind in turn until the time is up or the number is reached."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=main.__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="how long (1)")
    parser.add_argument("--first", type=int, default=10_000, help="number of the first example (10000)")
    parser.add_argument("--number", type=int, help="examples of each kind; as many as the time allows if left out")
    parser.add_argument("--kind", choices=KINDS, action="append", help="only this kind; may be repeated")
    parser.add_argument("--keep", type=Path, help="folder into which examples that break a rule are copied")
    asked = parser.parse_args()
    kinds, end, number = asked.kind or list(KINDS), time.monotonic() + 60 * asked.minutes, asked.first
    done, found = Counter(), Counter()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        bench = Bench(Path(folder))
        while time.monotonic() < end and (asked.number is None or number < asked.first + asked.number):
            for kind in kinds:
                done[kind] += 1
                if wrong := bench.example(kind, number):
                    found[kind] += 1
                    print(f"{kind} {number}: {wrong.command}: {wrong.what}", flush=True)  # noqa: T201
                    _show_report(Path(folder) / "example")
                    if asked.keep:
                        shutil.copytree(Path(folder) / "example", asked.keep / f"{kind} {number}", dirs_exist_ok=True)
            number += 1
        bench.close()
    for kind in kinds:
        print(f"{kind:16} {done[kind]:6} examples {found[kind]:5} broke a rule")  # noqa: T201
    return 1 if found else 0


def _show_report(folder: Path) -> None:
    for path in folder.glob("layoutplan_report_*.txt"):
        lines = path.read_text("utf-8").splitlines()[7:]
        kept = [line for line in lines if "layoutplan/" in line or (line and not line.startswith(" "))]
        print("\n".join(f"    {line}" for line in kept[-8:]), flush=True)  # noqa: T201


if __name__ == "__main__":
    sys.exit(main())
