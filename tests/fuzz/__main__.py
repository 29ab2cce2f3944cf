"""Look for inputs that break a rule, for as long as one likes: ``python -m tests.fuzz --help``."""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.fuzz.harness import KINDS, Bench

BATCH = 25  # examples of one kind after each other


def main() -> int:
    """Run examples of every kind in turn until the time is up or the number is reached."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=main.__doc__)
    parser.add_argument("--minutes", type=float, default=1.0, help="how long (1)")
    parser.add_argument("--first", type=int, default=10_000, help="number of the first example (10000)")
    parser.add_argument("--number", type=int, help="examples of each kind; as many as the time allows if left out")
    parser.add_argument("--kind", choices=KINDS, action="append", help="only this kind; may be repeated")
    asked = parser.parse_args()
    kinds, end, number = asked.kind or list(KINDS), time.monotonic() + 60 * asked.minutes, asked.first
    done, found = Counter(), Counter()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        bench = Bench(Path(folder))
        while time.monotonic() < end and (asked.number is None or number < asked.first + asked.number):
            for kind in kinds:
                numbers = range(number, number + BATCH)
                done[kind] += BATCH
                for wrong in bench.examples(kind, numbers):
                    found[kind] += 1
                    print(f"{kind} {wrong.number}: {wrong.command}: {wrong.what}", flush=True)  # noqa: T201
            print(f"{sum(done.values())} examples", flush=True)  # noqa: T201
            number += BATCH
        bench.close()
    for kind in kinds:
        print(f"{kind:16} {done[kind]:6} examples {found[kind]:5} broke a rule")  # noqa: T201
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
