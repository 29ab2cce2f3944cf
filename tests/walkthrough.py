"""A page of the documentation, followed: files that it asks to write, commands that it shows, and what they print.

- A block ``sh`` is typed as it stands, all of it in one shell, in the folder that the earlier blocks were typed in. It
  ends with code 0.
- A block ``text`` right below it is what is printed, from the first line to the last. A line ``…`` stands for any
  number of lines, ``…`` within a line for anything. Lines of progress are left out: on a terminal they vanish.
- Another block is written to a file where the sentence before it says so: *write this to* `name`.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
_FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_NAMED = re.compile(r"\bthis\s+to\s+`([^`]+)`[^.`]*:\s*$")
_PROGRESS = re.compile(r"^ *\d+ %  .*\n", re.MULTILINE)
_ANY = "…"


@dataclass(frozen=True)
class Step:
    """A file to write (``path`` set) or commands to type, with what they print where the page says so."""

    line: int
    text: str
    path: str = ""
    printed: str | None = None


def steps(page: str) -> Iterator[Step]:
    """What a page asks for, in its order; other blocks are left out."""
    blocks = list(_FENCE.finditer(page))
    for block, after in zip(blocks, [*blocks[1:], None], strict=True):
        line = page[: block.start()].count("\n") + 1
        before = page[: block.start()].rstrip().rpartition("\n\n")[2]
        if block[1] == "sh":
            below = after is not None and after[1] == "text" and not page[block.end() : after.start()].strip()
            yield Step(line, block[2], printed=after[2] if below else None)
        elif named := _NAMED.search(before):
            yield Step(line, block[2], path=named[1])


def follow(page: Path, folder: Path, environment: Mapping[str, str]) -> int:
    """Do what a page asks for; the number of outputs compared. Fails at the first step that is not as told."""
    compared = 0
    for step in steps(page.read_text("utf-8")):
        where = f"{page.name}, line {step.line}"
        if step.path:
            (folder / step.path).parent.mkdir(parents=True, exist_ok=True)
            (folder / step.path).write_text(step.text, "utf-8")
            continue
        done = subprocess.run(
            ["bash", "-c", step.text],
            cwd=folder,
            env=dict(environment),
            text=True,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=300,
            check=False,
        )
        printed = _PROGRESS.sub("", done.stdout)
        assert done.returncode == 0, f"{where}: code {done.returncode}\n{step.text}\n{printed}"
        if step.printed is not None:
            assert is_as_told(step.printed, printed), f"{where}: told\n{step.printed}\nprinted\n{printed}"
            compared += 1
    return compared


def is_as_told(told: str, printed: str) -> bool:
    """Whether what was printed is what the page says, but for what it leaves open."""
    parts = [
        r"(?:.*\n)*?" if line == _ANY else ".*".join(re.escape(part) for part in line.split(_ANY)) + r"\n"
        for line in told.splitlines()
    ]
    return re.fullmatch("".join(parts), printed) is not None


def empty_place(folder: Path) -> tuple[Path, dict[str, str]]:
    """An empty folder to work in, and an environment with an empty home in which ``layoutplan`` is this package's."""
    work, home, tools = folder / "work", folder / "home", folder / "bin"
    for each in (work, home, tools):
        each.mkdir()
    command = tools / "layoutplan"
    command.write_text(f'#!/bin/sh\nPYTHONPATH="{ROOT}" exec "{sys.executable}" -m layoutplan "$@"\n', "utf-8")
    command.chmod(0o755)
    return work, {"HOME": str(home), "PATH": f"{tools}{os.pathsep}{os.environ['PATH']}", "LC_ALL": "C.UTF-8"}
