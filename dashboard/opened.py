"""A file that a session opened, or that was refused; how it is read, and what its sheets are."""

from __future__ import annotations

import json
import weakref
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from dashboard.cache import remember
from methods.errors import InputError


@dataclass(frozen=True)
class Opened:
    """A file that is open: what it was, how it was read and what came of it."""

    name: str
    sha256: str
    options: Mapping[str, Any]
    records: Any
    source: Any = field(repr=False, compare=False)
    demo: str = ""


@dataclass(frozen=True)
class Refused:
    """A file that could not be read as it was given: its sheet can still be looked at and put right."""

    name: str
    sha256: str
    options: Mapping[str, Any]
    source: Any = field(repr=False, compare=False)
    why: str = ""
    alone: bool = False


def laid_over(known: Mapping[str, Any], options: Mapping[str, Any]) -> dict[str, Any]:
    """Options laid over those that are known; ``None`` takes one back."""
    return {k: v for k, v in {**known, **options}.items() if v is not None}


#: Records that some session has open, by what they were read from: another session takes the same, however large.
_open_now: weakref.WeakValueDictionary[Any, Any] = weakref.WeakValueDictionary()


def read_once(
    data: bytes, name: str, digest: str, options: Mapping[str, Any], source: Any, demo_name: str, ready: Any = None
) -> Opened:
    """Read a file, or take what was read of it already."""
    from methods.cage import read_in_cage
    from methods.records import read

    given = {k: v for k, v in options.items() if v is not None}
    if isinstance(ready, InputError):
        raise ready
    key = ("read", digest, name, json.dumps(given, sort_keys=True, default=repr))
    # Our own invented sets are trusted; whatever else comes is read in a process with limits.
    how = read if demo_name and not given else read_in_cage
    records = ready if ready is not None else _open_now.get(key)
    if records is None:
        records = remember(key, lambda: how(data, name=name, **given))
    _open_now[key] = records
    return Opened(name, digest, given, records, source, demo_name)


def sheets_of(file: Opened | Refused) -> Any:
    """The sheets of a file as cells of text, opened once; a file that cannot be opened is not tried again.

    Raises
    ------
    InputError
        It cannot be opened.
    """
    from methods.cage import open_sheets_in_cage

    def opened() -> Any:
        try:
            return open_sheets_in_cage(file.source, name=file.name)
        except InputError as error:
            return error

    found = remember(("sheets", file.sha256), opened)
    if isinstance(found, InputError):
        raise found
    return found
