"""Ending a run wherever it is: the work goes on in a process of its own, and the first one watches over it.

A library that is at work in C hears of no signal until it is done, which may take minutes. So the first process passes
the signal on, gives the other one time to clean up, and ends it then. Where processes cannot be doubled (Windows) the
run ends when the library is done.
"""

from __future__ import annotations

import ctypes
import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import FrameType

from layoutplan.unfinished import remove_left, report_to

GRACE_S = 1.4
"""For cleaning up after Ctrl+C, before the run is ended from outside."""

_ASK_TO_END = tuple(getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name))
_PARENT_DIES = 1  # PR_SET_PDEATHSIG of prctl(2), Linux
_SHOW_CURSOR = "\x1b[?25h"


def watched() -> int | None:
    """Go on in a child process: None there; here, when it has ended, its exit code.

    A child that was ended by the system (a crash within a library, no memory left) gives minus the signal's number.
    """
    if not hasattr(os, "fork") or threads_run():
        return None
    reads, writes = os.pipe()
    with suppress(OSError, ValueError):
        sys.stdout.flush()
    first = os.getpid()
    child = os.fork()
    if child == 0:
        os.close(reads)
        report_to(writes)
        _end_with(first)
        return None
    os.close(writes)
    with _passing_on(child) as asked:
        _, status = os.waitpid(child, 0)
    ended = os.WIFEXITED(status)
    if asked:
        _clean_up(reads, ended)
    if asked and not ended:
        return 128 + asked[0]
    return os.WEXITSTATUS(status) if ended else -os.WTERMSIG(status)


def threads_run() -> bool:
    """Whether other threads run in this process; doubling it would leave them behind."""
    import threading

    return threading.active_count() > 1


def end_when_asked() -> None:
    """Have this process leave when it is asked to, once: unfinished files are removed, and asking again is no use."""

    def leave(number: int, frame: FrameType | None) -> None:
        del frame
        for other in _ASK_TO_END:
            signal.signal(other, signal.SIG_IGN)
        raise SystemExit(128 + number)

    for number in _ASK_TO_END:
        if number == signal.SIGINT or signal.getsignal(number) != signal.SIG_IGN:  # nohup
            signal.signal(number, leave)


@contextmanager
def _passing_on(child: int) -> Iterator[list[int]]:
    """Pass signals on to the child; it is ended if it still runs after the time for cleaning up."""
    asked: list[int] = []

    def ask(number: int, frame: FrameType | None) -> None:
        del frame
        if not asked:
            asked.append(number)
            signal.setitimer(signal.ITIMER_REAL, GRACE_S)
        _send(child, number)

    def end(number: int, frame: FrameType | None) -> None:
        del number, frame
        _send(child, signal.SIGKILL)

    signal.signal(signal.SIGALRM, end)
    for number in _ASK_TO_END:
        if number == signal.SIGINT or signal.getsignal(number) != signal.SIG_IGN:
            signal.signal(number, ask)
    yield asked
    signal.setitimer(signal.ITIMER_REAL, 0)


def _send(child: int, number: int) -> None:
    with suppress(ProcessLookupError):
        os.kill(child, number)


def _end_with(parent: int) -> None:
    """Have this process ended if the one that watches over it is."""
    if sys.platform == "linux":
        with suppress(OSError, AttributeError):
            ctypes.CDLL(None).prctl(_PARENT_DIES, signal.SIGKILL)
        if os.getppid() != parent:
            os.kill(os.getpid(), signal.SIGKILL)


def _clean_up(reads: int, by_itself: bool) -> None:
    """Remove what the child could not, and put the terminal right if it was ended from outside."""
    announced = b""
    while part := os.read(reads, 65536):
        announced += part
    remove_left(announced)
    with suppress(OSError, ValueError):
        if not by_itself and sys.stderr.isatty():
            sys.stderr.write(_SHOW_CURSOR)
