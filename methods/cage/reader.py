"""Files are read in a process of their own, which may take so much memory and so much time and no more.

A file that brings its reader down brings down nobody else: what is left is one line that says which limit was met. The
process writes no files, opens no connection and starts no program. That holds for what a damaged or hostile *table*
does to sound reading code; it is no prison for a program that has broken out of it.

The process is forked from one that has imported the reader already (:func:`keep_warm` starts that one early). On
Windows, where nothing is forked, it is started anew, and the system gives no limit on memory and processor time: only
the clock ends it there.
"""

from __future__ import annotations

import gc
import io
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import time
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from methods.archive.container import READINGS, as_file, is_archive, is_shared, shared_parts
from methods.cage.limits import CHECK_ACCOUNT, MAX_BYTES, Limits, limits_for, over_memory, over_time
from methods.cage.source import bytes_of
from methods.errors import InputError, UnusableFile, one_line

if TYPE_CHECKING:  # the reader takes its time to import: it is imported in the process, and here when needed
    from methods.records.kept import Records
    from methods.records.text import Sheet

#: Files that this process has read at the same time; further ones wait.
_AT_ONCE = threading.BoundedSemaphore(2)
_warm = False
_IMPORTED = ["methods.records.reading", "python_calamine", "pyarrow.csv", "pyarrow.parquet", "methods.cage.reader"]
#: Have memory asked for when it is needed, not addresses claimed in advance: the limit counts addresses.
_ALLOCATORS = {"ARROW_DEFAULT_MEMORY_POOL": "system", "MALLOC_ARENA_MAX": "2"}
#: Deeds that the process may not do; see :func:`sys.addaudithook`.
_FORBIDDEN = frozenset({
    "socket.connect", "socket.bind", "socket.getaddrinfo", "socket.sendto", "subprocess.Popen", "os.system", "os.exec",
    "os.fork", "os.forkpty", "os.posix_spawn", "os.spawn", "os.remove", "os.rename", "os.rmdir", "os.mkdir", "os.chmod",
    "shutil.rmtree", "ftplib.connect", "urllib.Request",
})  # fmt: skip


def keep_warm() -> None:
    """Start the process that others are forked from, once, so that the first file waits for no import."""
    global _warm
    if _warm:
        return
    _warm = True
    first = _context().Process(target=_nothing, daemon=True)  # the server starts with its first process
    before = {name: os.environ.get(name) for name in _ALLOCATORS}
    os.environ.update(_ALLOCATORS)
    try:
        first.start()
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
    threading.Thread(target=first.join, daemon=True).start()


def read_in_cage(
    source: Any,
    *,
    name: str | None = None,
    memory_mb: float | None = None,
    seconds: float | None = None,
    **options: Any,
) -> Records:
    """Read a file as :func:`methods.read` does, in a process with limits.

    Parameters
    ----------
    source : path, bytes, binary or text file object, or DataFrame
        A DataFrame is in memory already and is read here.
    name : str, optional
        What to call the source.
    memory_mb : float, optional
        What reading may take beyond the reader itself, MB; by default what the size of the file lets expect.
    seconds : float, optional
        The same for processor time, s.
    **options
        What overrules the reader's guesses; see :func:`methods.read`.

    Returns
    -------
    Records

    Raises
    ------
    UnusableFile
        As :func:`methods.read`, or a limit was met: the message says which, and how to raise it.
    InputError
        As :func:`methods.read`.
    """
    if type(source).__name__ == "DataFrame":
        from methods.records.reading import read

        return read(source, name=name, **options)
    if is_shared(source):
        folder = os.path.abspath(source)
        limits = limits_for(sum(p.stat().st_size for p in shared_parts(folder, READINGS)), memory_mb, seconds)
        with _AT_ONCE:
            return _carried_out("read", folder, name or os.path.basename(folder), options, limits)
    raw, called = bytes_of(source, name, MAX_BYTES)
    limits = limits_for(len(raw), memory_mb, seconds)
    with _AT_ONCE:
        if is_archive(raw[:16]):  # a database is opened by its path alone
            with as_file(raw) as path:
                return _carried_out("read", path, called, options, limits)
        records: Records = _carried_out("read", raw, called, options, limits)
    if os.environ.get(CHECK_ACCOUNT) and not any(options.get(k) for k in ("where", "since", "until")):
        from methods.records.balance import hold

        hold(records)
    return records


def read_all_in_cage(
    sources: Sequence[Any], *, progress: Callable[[int, int], object] | None = None, **options: Any
) -> Records:
    """One file or several, each in a process of its own; joined as :func:`methods.read_all` joins them.

    ``progress``, where given, is called after each file with (files read, files).

    Raises
    ------
    InputError
        As :func:`methods.read_all`, or a limit was met.
    """
    if not sources:
        raise InputError("No file is named.")
    from methods.records.by_word import for_file
    from methods.records.joining import join

    parts = []
    for source in sources:
        parts.append(read_in_cage(source, **for_file(options, source, sources)))
        if progress is not None:
            progress(len(parts), len(sources))
    return join(parts)


def open_sheets_in_cage(source: Any, *, name: str | None = None) -> list[Sheet]:
    """The sheets of a file as cells of text, as :func:`methods.records.reading.open_sheets` has them.

    Raises
    ------
    UnusableFile
        No table at all, or a limit was met.
    """
    raw, called = bytes_of(source, name, MAX_BYTES)
    with _AT_ONCE:
        return _carried_out("open_sheets", raw, called, {}, limits_for(len(raw)))


#: What a process says first, before it comes to the file.
_BEGAN = b"began"


def _carried_out(what: str, raw: bytes | str, called: str, options: dict[str, Any], limits: Limits) -> Any:
    """Have a function of :mod:`methods.records.reading` carried out in a process of its own."""
    keep_warm()
    context = _context()
    here, there = context.Pipe(duplex=False)
    process = context.Process(target=_work, args=(there, what, raw, called, options, limits, _settings()), daemon=True)
    with here:
        try:
            process.start()
        except OSError as error:
            raise UnusableFile(f"{called} was not read: this machine gives no process for it ({error}).") from None
        finally:
            there.close()
        try:
            answer = _answer(here, process, called, limits)
        finally:
            if process.is_alive():
                process.join(0.2)
            if process.is_alive():
                process.kill()
            process.join()
            process.close()
    if isinstance(answer, InputError):
        raise answer
    return answer


def _context() -> Any:
    """How processes are started."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(_IMPORTED)
    return context


def _settings() -> dict[str, str]:
    """The user's own folders of protocols and limits, as they stand now: the fork server was started before."""
    found = {name: value for name, value in os.environ.items() if name.startswith("GAPSHIFT_")}
    return {**found, CHECK_ACCOUNT: "count"} if CHECK_ACCOUNT in found else found  # it is held to here, not there


def _answer(here: Connection, process: Any, called: str, limits: Limits) -> Any:
    """What the process sent, or the line that says why it sent nothing."""
    until, began = time.monotonic() + limits.patience_s, False
    while True:
        while not here.poll(min(0.5, max(until - time.monotonic(), 0.01))):
            if time.monotonic() > until:
                return UnusableFile(over_time(called, limits), rule="time limit")
        try:
            sent = here.recv_bytes(maxlength=int(limits.memory_mb * 1e6))
        except EOFError:
            process.join(5)
            return _end(process.exitcode, called, limits) if began else _never_began(called)
        except OSError:  # longer than it may be
            return UnusableFile(over_memory(called, limits), rule="memory limit")
        if sent != _BEGAN:
            return pickle.loads(sent)
        began = True


def _never_began(called: str) -> UnusableFile:
    """The process ended before it came to the file: a script that is imported anew there does that."""
    return UnusableFile(
        f"{called} was not read: the process that reads files could not start. In a script, put what it does under "
        "if __name__ == '__main__', or read the file with methods.read.",
        rule="process",
    )


def _end(code: int | None, called: str, limits: Limits) -> UnusableFile:
    """Why a process ended without a word: by the signal that ended it."""
    if code is not None and -code == getattr(signal, "SIGXCPU", 0):
        return UnusableFile(over_time(called, limits), rule="time limit")
    # Libraries that are refused memory end their process in one of several ways.
    return UnusableFile(over_memory(called, limits), rule="memory limit")


# --------------------------------------------------------------------- in the process


def _nothing() -> None:
    """The first process of the fork server has nothing to do."""


def _work(
    there: Connection, what: str, raw: bytes | str, called: str, options: dict[str, Any], limits: Limits,
    settings: dict[str, str],
) -> None:  # fmt: skip
    """Read, and send what came of it, or the InputError."""
    there.send_bytes(_BEGAN)
    os.environ.update(settings)
    from methods.records import reading

    _quiet()
    _confine(limits)
    gc.disable()  # one file, then the process ends; a large workbook is many lists without a circle
    try:
        answer: Any = getattr(reading, what)(raw, name=called, **options)
        sent = pickle.dumps(answer, protocol=5)
    except InputError as error:
        sent = pickle.dumps(error)
    except MemoryError:
        os._exit(1)
    except RuntimeError as error:
        if "new thread" in str(error):  # no room for its stack
            os._exit(1)
        sent = pickle.dumps(_unreadable(called, error))
    except BaseException as error:  # libraries raise many kinds on broken files, panics that are no Exception included
        if type(error).__name__ == "PanicException" and "alloc" in str(error):  # a library in Rust out of memory
            os._exit(1)
        sent = pickle.dumps(_unreadable(called, error))
    with there:
        there.send_bytes(sent)
    sys.stdout.flush()
    os._exit(0)  # threads that a library left behind are not waited for


def _unreadable(called: str, error: BaseException) -> UnusableFile:
    """What a library says of a file that it could not make sense of."""
    why = one_line(error, 160) or type(error).__name__
    return UnusableFile(f"{called} cannot be read: {why}.", rule="an intact file")


def _quiet() -> None:
    """What libraries print when they fail is nobody's business."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for handle in (0, 1, 2):
        os.dup2(nowhere, handle)
    sys.stdin = io.StringIO()


def _confine(limits: Limits) -> None:
    """Set the limits of this process, for good."""
    try:
        import resource
    except ImportError:  # Windows
        return
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the other process's to answer
    _lower(resource.RLIMIT_CORE, 0)
    _lower(resource.RLIMIT_FSIZE, 0)
    used = resource.getrusage(resource.RUSAGE_SELF)
    _lower(resource.RLIMIT_CPU, int(used.ru_utime + used.ru_stime + limits.seconds) + 1)
    _lower(resource.RLIMIT_AS, _address_space() + int(limits.memory_mb * 1e6))
    signal.signal(signal.SIGXCPU, signal.SIG_DFL)
    sys.addaudithook(_refuse)


def _lower(which: int, most: int) -> None:
    import resource

    _, hard = resource.getrlimit(which)
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    try:
        resource.setrlimit(which, (most, hard))
    except (ValueError, OSError):  # a system that knows no such limit: the clock still ends the process
        pass


def _address_space() -> int:
    """Bytes of addresses that this process has claimed already: what it imported takes more of them than of memory."""
    try:
        with open("/proc/self/statm", encoding="ascii") as file:
            return int(file.read().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    except OSError:
        return 4_000_000_000


def _refuse(event: str, _args: Any) -> None:
    if event in _FORBIDDEN:
        raise PermissionError(f"reading a file may not do this: {event}")
