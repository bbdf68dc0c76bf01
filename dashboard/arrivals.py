"""Files on their way from a browser: their pieces are counted here, and let go when no more come."""

from __future__ import annotations

import base64
import binascii
import threading
from typing import Any

#: Files in one go, and bytes of all that is on its way to this process, from all its visitors.
MOST_FILES = 50
MOST_ON_THE_WAY = 1_000_000_000
#: Seconds after which a file whose next piece does not come is let go.
PATIENCE_S = 120.0

_on_the_way = 0
_lock = threading.Lock()


def on_the_way() -> int:
    """Bytes that have come of files that are not whole yet."""
    return _on_the_way


class Arrival:
    """The pieces of one visitor's files, until the last of them is here.

    Parameters
    ----------
    most_bytes : int
        The largest file that is taken; twice as much in one go.
    """

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self._pieces: list[bytes] = []
        self._whole: list[tuple[str, bytes]] = []
        self._size = self._all = 0
        self._timer: threading.Timer | None = None

    def take(self, message: Any) -> tuple[list[tuple[str, bytes]], str]:
        """Take one message: ``first`` and ``last`` of its file, ``start`` and ``final`` of all.

        Returns
        -------
        files, refused
            All files once the last piece has come, else none; what to tell where a piece is not taken.
        """
        try:
            name, piece = str(message["name"])[:300], base64.b64decode(message["piece"], validate=True)
            first, last, start, final = (message[k] is True for k in ("first", "last", "start", "final"))
        except (KeyError, TypeError, ValueError, binascii.Error):
            self.let_go()
            return [], "What came was no piece of a file."
        if start:
            self.let_go()
        if first:
            self._add(-self._size)
            self._pieces, self._size = [], 0
        elif not self._pieces:  # the rest of one that was refused or let go
            return [], f"{name}: its beginning is missing. Open it again."
        if refused := self._too_much(name, len(piece)):
            self.let_go()
            return [], refused
        self._pieces.append(piece)
        self._size += len(piece)
        self._add(len(piece))
        self._wait()
        if last:
            self._whole.append((name, b"".join(self._pieces)))
            self._pieces, self._size = [], 0
        if not final:
            return [], ""
        whole = self._whole
        self._whole = []
        self.let_go()
        return whole, ""

    def _too_much(self, name: str, more: int) -> str:
        if self._size + more > self._most:
            return f"{name}: more than {self._most / 1e6:,.0f} MB, not opened."
        if self._all + more > 2 * self._most or len(self._whole) >= MOST_FILES:
            return f"{name}: too much in one go: at most {2 * self._most / 1e6:,.0f} MB and {MOST_FILES} files."
        if _on_the_way + more > MOST_ON_THE_WAY:
            return f"{name}: many files are being opened at once. Try again in a minute."
        return ""

    def let_go(self) -> None:
        """Forget what has come."""
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._pieces, self._whole, self._size = [], [], 0
        self._add(-self._all)

    def _add(self, size: int) -> None:
        global _on_the_way
        with _lock:
            self._all += size
            _on_the_way += size

    def _wait(self) -> None:
        """Let go where the next piece does not come."""
        if self._timer is not None:
            self._timer.cancel()
        self._timer = threading.Timer(PATIENCE_S, self.let_go)
        self._timer.daemon = True
        self._timer.start()
