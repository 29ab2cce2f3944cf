"""Says which of the installed packages have other versions than the tests ran with.

python tests/moved.py tests/constraints.txt
"""

import re
import sys
from importlib.metadata import distributions
from pathlib import Path


def name_of(text: str) -> str:
    """A package's name as the registry compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", text).lower()


def main(constraints: Path) -> None:
    """Print one line for each package that moved, or that nothing did."""
    lines = [line for line in constraints.read_text("utf-8").splitlines() if "==" in line and line[0] != "#"]
    known = {name_of(name): version for name, version in (line.split("==") for line in lines)}
    here = {name_of(found.metadata["Name"]): found.version for found in distributions()}
    moved = [
        f"{name}: {known[name]} -> {here[name]}" for name in sorted(here.keys() & known) if here[name] != known[name]
    ]
    new = sorted(here.keys() - known.keys() - {"layoutplan", "pip", "setuptools", "wheel", "uv"})
    said = [f"moved: {text}" for text in moved] + [f"new: {name} {here[name]}" for name in new]
    nothing = f"nothing moved: all {len(here.keys() & known)} packages are those of {constraints.name}"
    print(*(said or [nothing]), sep="\n")  # noqa: T201


if __name__ == "__main__":
    main(Path(sys.argv[1]))
