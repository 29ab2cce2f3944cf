"""Running the command as a child process: progress, result, cancelling, what it said when it failed."""

from __future__ import annotations

import json
import os
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from queue import Empty, Queue
from threading import Thread
from typing import IO, Any

from .command import CommandError, child_environment, window_flags

_POLL_S = 0.1
_GRACE_S = 5.0  # to clean up before it is killed
_LONGEST_LINE = 8 * 2**20  # bytes
_MOST_LINES = 20_000
_FAILURE = ("error:", "Error:")  # how the command begins its last words


class Cancelled(Exception):  # noqa: N818 - nothing went wrong
    """The user stopped the run; the command has ended."""

    def __init__(self, finished: bool = False) -> None:
        super().__init__("cancelled")
        self.finished = finished
        """It had done all its work before it could be stopped."""


@dataclass
class Listener:
    """Who is told, and who may stop the run."""

    progress: Callable[[float, str], None] = lambda _percent, _text: None
    message: Callable[[str], None] = lambda _text: None
    cancelled: Callable[[], bool] = lambda: False
    longest_silence_s: float | None = None
    """The command is stopped if it says nothing for so long; for commands that say how far they are."""


@dataclass
class Outcome:
    """What the command said."""

    code: int = 0
    result: dict[str, Any] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    failing: bool = False
    """Its last words have begun."""


def run(arguments: Sequence[str], listener: Listener, surroundings: Mapping[str, str]) -> Outcome:
    """Run the command to its end.

    Parameters
    ----------
    arguments : sequence of str
        The command's path first.
    listener : Listener
    surroundings : mapping
        Environment of the desktop program; see `command.child_environment`.

    Raises
    ------
    Cancelled
        The listener asked for it.
    CommandError
        It cannot be started, or is silent for too long.
    """
    try:
        child = subprocess.Popen(
            list(arguments),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=child_environment(surroundings),
            creationflags=window_flags(),
        )
    except (OSError, ValueError) as err:
        raise CommandError(f"'{arguments[0]}' cannot be started ({err}).") from err
    stream_lines: Queue[tuple[str, str]] = Queue()
    readers = [
        Thread(target=_read, args=(stream, name, stream_lines), daemon=True)
        for stream, name in ((child.stdout, "out"), (child.stderr, "err"))
    ]
    for reader in readers:
        reader.start()
    outcome = Outcome()
    try:
        _follow(child, readers, stream_lines, outcome, listener)
    except Cancelled:
        stop(child)
        for reader in readers:
            reader.join(_GRACE_S)
        while not stream_lines.empty():
            _take(*stream_lines.get(), outcome, listener)
        if outcome.result or not child.returncode:
            raise Cancelled(finished=True) from None
        raise
    finally:
        stop(child)
    outcome.code = child.returncode
    return outcome


def _read(stream: IO[bytes], name: str, stream_lines: Queue[tuple[str, str]]) -> None:
    with stream:
        while line := stream.readline(_LONGEST_LINE):
            stream_lines.put((name, line.decode("utf-8", "replace").rstrip("\r\n")))


def _follow(
    child: subprocess.Popen[bytes],
    readers: Sequence[Thread],
    stream_lines: Queue[tuple[str, str]],
    outcome: Outcome,
    listener: Listener,
) -> None:
    heard = time.monotonic()
    while True:
        ended = child.poll() is not None and not any(reader.is_alive() for reader in readers)
        try:
            name, line = stream_lines.get(timeout=0 if ended else _POLL_S)
        except Empty:
            if ended:
                return
        else:
            heard = time.monotonic()
            _take(name, line, outcome, listener)
        if listener.cancelled():
            raise Cancelled
        limit = listener.longest_silence_s
        if limit is not None and time.monotonic() - heard > limit:
            raise CommandError(f"The command gave no output for {limit:g} s and was stopped. Try it in a terminal.")


def _take(name: str, line: str, outcome: Outcome, listener: Listener) -> None:
    if name == "err":
        if len(outcome.errors) < _MOST_LINES:
            outcome.errors.append(line)
            outcome.failing = outcome.failing or line.startswith(_FAILURE)
            if not outcome.failing:  # what it failed of is told once, by `failure`
                listener.message(line)
        return
    event = _event(line)
    if event.get("event") == "progress":
        percent, text = event.get("percent"), event.get("message")
        if isinstance(percent, (int, float)):
            listener.progress(min(100.0, max(0.0, float(percent))), text if isinstance(text, str) else "")
    elif event.get("event") == "result":
        outcome.result = event
    elif len(outcome.lines) < _MOST_LINES:
        outcome.lines.append(line)


def _event(line: str) -> dict[str, Any]:
    try:
        event = json.loads(line)
    except (ValueError, RecursionError):
        return {}
    return event if isinstance(event, dict) else {}


def stop(child: subprocess.Popen[bytes]) -> None:
    """End the command if it still runs: asked first, so that it can clean up, then made to."""
    if child.poll() is None:
        child.terminate()
        try:
            child.wait(_GRACE_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()


def failure(outcome: Outcome, what: str) -> str:
    """What went wrong, in the command's own words where it found some."""
    starts = [number for number, line in enumerate(outcome.errors) if line.startswith(_FAILURE)]
    stream_lines = outcome.errors[starts[-1] :] if starts else [line for line in outcome.errors if line.strip()][-1:]
    words = os.linesep.join(stream_lines).strip()
    if not words and not outcome.code:
        return f"{what}: the command ended without saying what it made. Is it really layoutplan?"
    if not words:
        return f"{what}: the command ended with code {outcome.code} without a message. Try it in a terminal."
    return f"{what}: {words}"
