"""The bytes of what the user names: a file, a pipe, bytes in memory; never a device, and never without an end."""

from __future__ import annotations

import errno
import os
import select
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from methods.archive.container import SUFFIX, settle_file
from methods.errors import InputError, UnusableFile

#: How long a pipe may say nothing, in seconds.
_SILENCE_S = 10.0
_PIECE = 1 << 20


def bytes_of(source: Any, name: str | None, most: int) -> tuple[bytes, str]:
    """The bytes and what to call them.

    Parameters
    ----------
    source : path, bytes, or text or binary file object
    name : str or None
        What to call it; None: as the file is called.
    most : int
        Bytes beyond which nothing is read.

    Raises
    ------
    UnusableFile
        No such file, a folder, a device, or more than ``most`` bytes.
    InputError
        Something that is none of these.
    """
    if isinstance(source, (str, os.PathLike)):
        path = Path(source)
        if path.suffix.casefold() == SUFFIX:
            settle_file(path)
        return _contents(path, most), name or path.name
    if isinstance(source, (bytes, bytearray, memoryview)):
        return _within(bytes(source), most), name or "upload"
    if hasattr(source, "read"):
        held = source.read()
        called = name or Path(str(getattr(source, "name", "upload"))).name
        return _within(held.encode("utf-8") if isinstance(held, str) else bytes(held), most), called
    raise InputError(f"Expected a path, bytes, a file or a table, not {type(source).__name__}.", column="source")


def _within(data: bytes, most: int) -> bytes:
    if len(data) > most:
        raise UnusableFile(f"The file is larger than {most / 1e9:.1f} GB; split it.", rule="size limit")
    return data


@contextmanager
def _named(path: Path) -> Iterator[None]:
    """Have what the system says about a path said in a line of ours."""
    try:
        yield
    except InputError:  # said already
        raise
    except FileNotFoundError:
        raise UnusableFile(f"there is no file {str(path)!r}", rule="an existing file") from None
    except IsADirectoryError:
        raise UnusableFile(f"{str(path)!r} is a folder, not a file", rule="a file") from None
    except (OSError, ValueError) as error:  # a loop of links, a name that is too long, a NUL in it, no permission
        why = {errno.ELOOP: "its links lead round in a circle", errno.ENAMETOOLONG: "its name is too long"}
        number = getattr(error, "errno", None)
        said = why.get(number or 0) or (os.strerror(number).lower() if number else "its name holds a NUL")
        shown = str(path) if len(str(path)) <= 120 else f"{str(path)[:100]}…"
        raise UnusableFile(f"{shown!r} cannot be read: {said}", rule="a file that can be read") from None


def _contents(path: Path, most: int) -> bytes:
    with _named(path):
        kind = os.stat(path).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError
        if stat.S_ISFIFO(kind):
            return _from_pipe(path, most)
        if not stat.S_ISREG(kind):
            raise UnusableFile(f"{str(path)!r} is a device, not a file", rule="a file")
        with path.open("rb") as file:
            if os.fstat(file.fileno()).st_size > most:
                raise UnusableFile(f"The file is larger than {most / 1e9:.1f} GB; split it.", rule="size limit")
            return _within(file.read(most + 1), most)


def _from_pipe(path: Path, most: int) -> bytes:
    """All that a pipe gives, as long as it does not fall silent: ``<(command)`` of a shell is one."""
    handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    pieces: list[bytes] = []
    size, heard = 0, time.monotonic()
    try:
        while size <= most:
            ready, _, _ = select.select([handle], [], [], 0.1)
            piece = None
            if ready:
                try:
                    piece = os.read(handle, _PIECE)
                except BlockingIOError:
                    piece = None
            if piece:
                pieces.append(piece)
                size, heard = size + len(piece), time.monotonic()
            elif piece == b"" and pieces:
                break
            elif time.monotonic() - heard > _SILENCE_S:
                raise UnusableFile(f"{str(path)!r} is a pipe into which nothing comes", rule="a file")
            elif piece == b"":  # nobody has begun to write
                time.sleep(0.1)
    finally:
        os.close(handle)
    return _within(b"".join(pieces), most)
