"""Results kept by what they were computed from, so that going back costs nothing.

The key is made of content fingerprints and settings, never of object identities or samples of the data: two
different tables never share an answer. The store is shared by all sessions of the process, bounded by number and by
bytes, and nothing in it outlives the sessions that could ask for it: a study says what it holds (:func:`hold`), and
what no study holds any more goes at the next :func:`sweep`.
"""

from __future__ import annotations

import dataclasses
import sys
import threading
import weakref
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

MOST = 256
#: Bytes of all that is kept, and of one thing: what is larger is handed out and not kept.
MOST_BYTES = 600_000_000
MOST_BYTES_OF_ONE = 300_000_000
#: Bytes of a cell that is an object, and of anything whose size is not looked for; how deep that is done.
_OBJECT, _DEEP = 60, 6
_SAMPLE = 400

_kept: OrderedDict[Hashable, tuple[Any, int]] = OrderedDict()
_held: weakref.WeakKeyDictionary[Any, set[str]] = weakref.WeakKeyDictionary()
_names: set[str] = set()  # all that was ever held and may still stand in a key
_lock = threading.RLock()


def remember(key: Hashable, compute: Callable[[], Any]) -> Any:
    """Give what ``compute()`` gave for this key before, or compute and keep it. Errors are not kept.

    What is handed out is shared: treat it as read-only.
    """
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key][0]
    value = compute()
    size = weigh(value)
    with _lock:
        if size <= MOST_BYTES_OF_ONE:
            _kept[key] = value, size
            _kept.move_to_end(key)
            while len(_kept) > MOST or kept_bytes() > MOST_BYTES:
                _kept.popitem(last=False)
    return value


def known(key: Hashable) -> bool:
    """Whether an answer for this key is kept."""
    with _lock:
        return key in _kept


def forget() -> None:
    """Empty the store."""
    with _lock:
        _kept.clear()


def kept_bytes() -> int:
    """Bytes of all that is kept, about; what stands under two names counts once."""
    with _lock:
        return sum({id(value): size for value, size in _kept.values()}.values())


def hold(study: Any, *names: str) -> None:
    """Have what is kept under these fingerprints stay as long as ``study`` lives."""
    with _lock:
        _held.setdefault(study, set()).update(names)
        _names.update(names)


def sweep() -> int:
    """Let go of what no study holds any more; how many answers that were. What belongs to no study stays."""
    with _lock:
        alive = {name for names in _held.values() for name in names}
        gone = [key for key in _kept if (own := _names & set(_texts(key))) and not own & alive]
        for key in gone:
            del _kept[key]
        _names.intersection_update(alive | {text for key in _kept for text in _texts(key)})
    return len(gone)


def _texts(key: Any) -> Iterator[str]:
    if isinstance(key, str):
        yield key
    elif isinstance(key, (tuple, list, frozenset)):
        for part in key:
            yield from _texts(part)


def weigh(value: Any, deep: int = _DEEP, seen: set[int] | None = None) -> int:
    """About how many bytes a result takes: its tables and arrays in full, what holds them by a sample."""
    seen = set() if seen is None else seen
    if id(value) in seen:
        return 0
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        return int(value.nbytes) + (_OBJECT * value.size if value.dtype == object else 0)
    if isinstance(value, (pd.DataFrame, pd.Series, pd.Index)):
        return _of_table(value)
    if isinstance(value, (str, bytes, bytearray, memoryview)) or not deep:
        return sys.getsizeof(value)
    if isinstance(value, Mapping):
        return _of_many(list(value.values()), deep, seen) + _OBJECT * len(value)
    if isinstance(value, (list, tuple, set, frozenset)):
        return _of_many(list(value), deep, seen)
    if dataclasses.is_dataclass(value) or hasattr(value, "__dict__"):
        return _OBJECT + sum(weigh(v, deep - 1, seen) for v in list(vars(value).values()))
    return sys.getsizeof(value, _OBJECT)


def _of_table(table: Any) -> int:
    used = table.memory_usage(deep=False) if not isinstance(table, pd.Index) else table.nbytes
    objects = [table[c] for c in table if table[c].dtype == object] if isinstance(table, pd.DataFrame) else []
    return int(used.sum() if hasattr(used, "sum") else used) + sum(_OBJECT * len(c) for c in objects)


def _of_many(values: list[Any], deep: int, seen: set[int]) -> int:
    """Of a long list a part is weighed and stands for the rest."""
    if not values:
        return _OBJECT
    part = values if len(values) <= _SAMPLE else values[:: len(values) // _SAMPLE]
    return _OBJECT + int(sum(weigh(v, deep - 1, seen) for v in part) * len(values) / len(part)) + 8 * len(values)
