"""Worker processes: what takes long is computed beside the server, so that no session holds another up.

A process is handed a function that can be found by its name, and what it takes; it has limits on memory and on time.
One that dies, outgrows its memory or takes too long is told to whoever asked, in one line, and the next that asks gets
a new one; everybody else's work is done in processes of its own.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import pickle
import threading
import time
from collections.abc import Callable
from functools import partial
from multiprocessing.connection import Connection
from typing import Any

from methods.errors import InputError

#: Processes at once; MB that one may take beyond what it has when it has started; seconds that one piece of work may
#: take. In the environment: what else they are.
MOST = 2
MEMORY, MEMORY_MB = "GAPSHIFT_WORK_MEMORY", 3000.0
SECONDS, SECONDS_S = "GAPSHIFT_WORK_SECONDS", 600.0
#: What a process imports before it is asked for anything.
_FIRST = ("methods.scatter", "methods.shifts", "dashboard.plots.printed")

DIED = "The process that computed this ended unexpectedly. Nothing else is lost: try again, or take fewer readings."
OUT_OF_MEMORY = (
    "This asks for more than {:,.0f} MB of memory. Take fewer readings, or raise the limit where gapshift is started: "
    f"{MEMORY}."
)
TOO_LONG = (
    f"This takes longer than {{:,.0f}} s. Take fewer readings, or raise the limit where gapshift is started: {SECONDS}."
)


class Lost(InputError):
    """A worker process did not bring its result: it died, or reached a limit."""


def _limit(name: str, usual: float) -> float:
    try:
        value = float(os.environ.get(name, ""))
    except ValueError:
        return usual
    return value if 0 < value < float("inf") else usual


def _live(connection: Connection, memory_mb: float) -> None:
    """What a worker process does: imports, then one piece of work after the other, until nobody asks any more."""
    import resource
    import signal
    from importlib import import_module
    from pathlib import Path

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's
    for name in _FIRST:
        import_module(name)
    taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize() if _PROC else 0
    with contextlib.suppress(ValueError, OSError):
        most = taken + int(memory_mb * 1e6)
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    while True:
        try:
            work, arguments, named = pickle.loads(connection.recv_bytes())
        except EOFError:
            return
        try:
            answer: tuple[str, Any] = "given", work(*arguments, **named)
        except MemoryError:
            answer = "memory", None
        except Exception as error:
            answer = "raised", error
        try:
            said = pickle.dumps(answer, protocol=pickle.HIGHEST_PROTOCOL)
        except MemoryError:
            said = pickle.dumps(("memory", None))
        connection.send_bytes(said)


_PROC = os.path.exists("/proc/self/statm")


class _Worker:
    """One process and the line to it."""

    def __init__(self) -> None:
        self.memory_mb = _limit(MEMORY, MEMORY_MB)
        context = multiprocessing.get_context("spawn")  # a fork would take the server's threads' locks with it
        here, there = context.Pipe()
        self.connection = here
        self.process = context.Process(target=_live, args=(there, self.memory_mb), name="worker", daemon=True)
        self.process.start()
        there.close()

    def do(self, said: bytes, stop: Callable[[], bool]) -> Any:
        """What comes of it; :class:`Lost` where nothing does, and then the process is gone."""
        seconds = _limit(SECONDS, SECONDS_S)
        until = time.monotonic() + seconds
        try:
            self.connection.send_bytes(said)
            while not self.connection.poll(0.1):
                if stop():
                    raise Lost("Cancelled.")
                if time.monotonic() > until:
                    raise Lost(TOO_LONG.format(seconds))
            kind, answer = pickle.loads(self.connection.recv_bytes())
        except (EOFError, OSError, pickle.UnpicklingError):
            raise Lost(DIED) from None
        if kind == "memory":
            raise Lost(OUT_OF_MEMORY.format(self.memory_mb))
        if kind == "raised":
            raise answer
        return answer

    def end(self) -> None:
        self.connection.close()
        self.process.kill()
        self.process.join(5)


_slots = threading.BoundedSemaphore(MOST)
_free: list[_Worker] = []
_lock = threading.Lock()


def can_carry(work: Any) -> bool:
    """Whether it is a call that another process can make: a partial of a function of a module."""
    if not isinstance(work, partial):
        return False
    module, name = getattr(work.func, "__module__", None), getattr(work.func, "__qualname__", "<")
    return bool(module) and module != "__main__" and "<" not in name and "." not in name


def carried(work: partial[Any], stop: Callable[[], bool] = lambda: False) -> Any:
    """``work()`` in a worker process; waits for a free one. ``stop`` is asked now and then: True ends the process.

    Raises
    ------
    Lost
        The process died, outgrew its memory or its time, or was stopped.
    """
    said = pickle.dumps((work.func, work.args, work.keywords), protocol=pickle.HIGHEST_PROTOCOL)
    while not _slots.acquire(timeout=0.1):
        if stop():
            raise Lost("Cancelled.")
    try:
        worker = _taken()
        try:
            given = worker.do(said, stop)
        except Lost:
            worker.end()
            raise
        except BaseException:
            _give_back(worker)
            raise
        _give_back(worker)
        return given
    finally:
        _slots.release()


def _taken() -> _Worker:
    """A process that waits, or a new one."""
    with _lock:
        while _free:
            worker = _free.pop()
            if worker.process.is_alive():
                return worker
            worker.end()
    return _Worker()


def _give_back(worker: _Worker) -> None:
    with _lock:
        _free.append(worker)


def warm() -> None:
    """Start one process aside, so that the first who asks does not wait for its imports."""

    def work() -> None:
        _give_back(_Worker())

    threading.Thread(target=work, name="warm worker", daemon=True).start()


def close() -> None:
    """End the processes that wait."""
    with _lock:
        gone, _free[:] = list(_free), []
    for worker in gone:
        worker.end()
