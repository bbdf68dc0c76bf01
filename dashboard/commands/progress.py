"""How far a long command is: one line on a terminal, nothing in a pipe."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

#: Seconds after which the line is first written, and between two writings.
PATIENCE, EVERY = 0.5, 0.1


class Line:
    """Called with (done, total) as the work goes on, or with the share done alone; writes over its own line."""

    def __init__(self, what: str, stream: TextIO) -> None:
        self._what, self._stream = what, stream
        self._shown = 0
        self._next = time.monotonic() + PATIENCE

    def __call__(self, done: float, total: float = 1.0) -> None:
        if not self._stream.isatty() or time.monotonic() < self._next:
            return
        self._next = time.monotonic() + EVERY
        text = f"{self._what}: {100 * min(done / total, 1.0) if total else 100:.0f} %"
        self._stream.write("\r" + text.ljust(self._shown))
        self._stream.flush()
        self._shown = len(text)

    def clear(self) -> None:
        """Take the line away, so that what is printed next stands alone."""
        if self._shown:
            self._stream.write("\r" + " " * self._shown + "\r")
            self._stream.flush()
            self._shown = 0


@contextmanager
def progress(what: str, stream: TextIO | None = None) -> Iterator[Line]:
    """A line that says how far ``what`` is, on standard error unless said; taken away at the end, also of a failure."""
    line = Line(what, stream if stream is not None else sys.stderr)
    try:
        yield line
    finally:
        line.clear()
