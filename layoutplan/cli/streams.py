"""Standard output and error as a run needs them: there, taking every letter, and no trouble when nobody reads on."""

from __future__ import annotations

import io
import os
import sys
from contextlib import suppress
from typing import Any, NoReturn, TextIO

from layoutplan.errors import OutputError


class _Patient(io.RawIOBase):
    """A stream that goes on when its reader has gone (``| head``), and says in words when it cannot be written to."""

    def __init__(self, number: int, *, needed: bool) -> None:
        self._number, self._needed, self._gone = number, needed, False

    def writable(self) -> bool:
        """It is for writing only."""
        return True

    def fileno(self) -> int:
        """Return the number of the stream."""
        return self._number

    def write(self, data: Any) -> int:
        """Write, unless nobody reads."""
        size = memoryview(data).nbytes
        if self._gone:
            return size
        try:
            return os.write(self._number, data)
        except BrokenPipeError:
            self._gone = True
        except OSError as err:
            self._gone = True
            if self._needed:
                raise OutputError(
                    f"what was found cannot be written to the standard output: {err.strerror}. Make room there, or "
                    "send it elsewhere. Files of a plan are written before."
                ) from err
        return size


def use_streams() -> None:
    """Make sure of all three streams: a file opened in place of a closed one would get what libraries say."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free
    for number, name in ((1, "stdout"), (2, "stderr")):
        stream = getattr(sys, name)
        if stream is None or (isinstance(stream, io.TextIOWrapper) and not stream.isatty()):
            setattr(sys, name, _patient(number, stream, needed=name == "stdout"))
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # it may not know every letter of a tower's name


def _patient(number: int, stream: TextIO | None, *, needed: bool) -> TextIO:
    buffered = io.BufferedWriter(_Patient(number, needed=needed))
    encoding = "utf-8" if stream is None else stream.encoding
    return io.TextIOWrapper(buffered, encoding, errors="replace", line_buffering=not needed)


def leave(code: int) -> NoReturn:
    """End the process; one that was asked to end does not wait for its threads."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(OutputError, OSError, ValueError):
            stream.flush()
    if code > 128:
        os._exit(code)
    sys.exit(code)
