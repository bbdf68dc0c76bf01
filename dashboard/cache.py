"""Results kept by what they were computed from, so that going back costs nothing.

The key is made of content fingerprints and settings, never of object identities or samples of the data: two
different tables never share an answer. The store is shared by all sessions of the process and bounded.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

MOST = 96
_kept: OrderedDict[Hashable, Any] = OrderedDict()
_lock = threading.Lock()


def remember(key: Hashable, compute: Callable[[], Any]) -> Any:
    """Give what ``compute()`` gave for this key before, or compute and keep it. Errors are not kept.

    What is handed out is shared: treat it as read-only.
    """
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    value = compute()
    with _lock:
        _kept[key] = value
        _kept.move_to_end(key)
        while len(_kept) > MOST:
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
