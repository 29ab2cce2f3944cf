"""Signals that ask a run to end, held back while a folder is between two states."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

_ASK_TO_END = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # those that the system knows


@contextmanager
def held_back() -> Iterator[Callable[[], bool]]:
    """Hold signals back until the block is left, then deliver the first one; the others are dropped.

    Outside of the main thread signals do not arrive, and nothing is done.

    Yields
    ------
    callable
        Returns whether a signal has come.
    """
    if threading.current_thread() is not threading.main_thread():
        yield lambda: False
        return
    came: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        del frame
        came.append(number)

    numbers = [getattr(signal, name) for name in _ASK_TO_END if hasattr(signal, name)]
    before = {number: signal.getsignal(number) for number in numbers}
    held = {number: handler for number, handler in before.items() if handler not in (None, signal.SIG_IGN)}
    for number in held:
        signal.signal(number, note)
    try:
        yield lambda: bool(came)
    finally:
        for number, handler in held.items():
            signal.signal(number, handler)
        if came:
            signal.raise_signal(came[0])
