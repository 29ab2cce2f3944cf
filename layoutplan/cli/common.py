"""What the commands share: options, errors in two lines, progress in three ways."""

from __future__ import annotations

import json
import math
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any, Protocol

import click

from layoutplan.errors import LayoutPlanError

BAD_INPUT = 2
STOPPED = 130
_EVERY_S = 1.0
_LOADED_S = time.perf_counter()

debug_option = click.option("--debug", is_flag=True, help="Show the full traceback of an error.")


def no_nan(context: click.Context, option: click.Parameter, value: float) -> float:
    """Refuse what is no number: it lies in no range, but beyond none either."""
    if math.isnan(value):
        raise click.BadParameter("is no number", context, option)
    return value


@contextmanager
def errors_in_words(debug: bool) -> Iterator[None]:
    """Turn errors of this package into a message on stderr and exit code 2."""
    try:
        yield
    except LayoutPlanError as err:
        if debug:
            raise
        click.echo(f"error: {err}", err=True)
        sys.exit(BAD_INPUT)


@contextmanager
def telling_what_is_kept(folder: Path) -> Iterator[None]:
    """Say on stderr which files somebody else wrote or changed, and lie now under another name."""
    from layoutplan.outputs import copies_in

    before = copies_in(folder)
    yield
    for copy, name in sorted(copies_in(folder).items()):
        if copy not in before:
            click.echo(
                f"note: {name} was not, or is no longer, as this program wrote it: kept as {copy.name}", err=True
            )


@contextmanager
def alone(*folders: Path | None) -> Iterator[None]:
    """Hold folders for this run, and say on stderr what had to be put in order there first.

    A folder that cannot be written to is passed over: nobody else can change it either, or writing will say so.
    """
    from layoutplan.store import alone_in

    with ExitStack() as held:
        for folder in filter(None, folders):
            try:
                notes = held.enter_context(alone_in(folder))
            except OSError:
                continue
            if notes:
                click.echo(f"note: {folder}: {notes}", err=True)
        yield


def settle_folders(*folders: Path) -> None:
    """Have what cut runs left in folders put in order before anything is read there, and say so on stderr."""
    from layoutplan.store import settle

    for folder in folders:
        if notes := settle(folder):
            click.echo(f"note: {folder}: {notes}", err=True)


def since_start_s() -> float:
    """Seconds since this process began, the start of Python included where the system tells."""
    try:
        fields = Path("/proc/self/stat").read_text("ascii").rpartition(")")[2].split()
        return time.clock_gettime(time.CLOCK_BOOTTIME) - int(fields[19]) / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError, AttributeError):
        return time.perf_counter() - _LOADED_S


def print_json(event: dict[str, Any]) -> None:
    """Write one event as a line of ASCII JSON to stdout, at once."""
    click.echo(json.dumps(event))
    sys.stdout.flush()


class Progress(Protocol):
    """Anything that takes a percentage and a text."""

    def __call__(self, percent: float, text: str) -> None:
        """Take note of the progress."""


@contextmanager
def progress(quiet: bool, as_json: bool) -> Iterator[Callable[[float, str], None]]:
    """Progress for a person at a terminal, for a log, for a program, or for nobody."""
    if as_json:
        with _heartbeat() as beat:
            yield beat
    elif quiet:
        yield lambda _percent, _text: None
    elif sys.stderr.isatty():
        from rich.console import Console
        from rich.progress import Progress as Bar

        with Bar(console=Console(stderr=True), transient=True) as bar:
            task = bar.add_task("starting", total=100)
            yield lambda percent, text: bar.update(task, completed=percent, description=text)
    else:
        yield _Lines()


class _Lines:
    """One plain line for each new stage on stderr."""

    def __init__(self) -> None:
        self.last = ""

    def __call__(self, percent: float, text: str) -> None:
        stage = text.split(":")[0]
        if stage != self.last:
            click.echo(f"{percent:3.0f} %  {stage}", err=True)
            self.last = stage


@contextmanager
def _heartbeat() -> Iterator[Callable[[float, str], None]]:
    """Progress events on stdout whenever something is said, and at least every second while nothing is."""
    from threading import Event, Lock, Thread

    state = {"percent": 0.0, "message": "starting"}
    stop, lock, last = Event(), Lock(), [0.0]

    def emit() -> None:
        with lock:
            print_json({"event": "progress", **state})
            last[0] = time.monotonic()

    def beat() -> None:
        while not stop.wait(_EVERY_S):
            emit()

    def note(percent: float, text: str) -> None:
        state.update(percent=round(percent, 1), message=text)
        if time.monotonic() - last[0] > _EVERY_S / 2:
            emit()

    thread = Thread(target=beat, daemon=True)
    thread.start()
    try:
        emit()
        yield note
    finally:
        stop.set()
        thread.join()
