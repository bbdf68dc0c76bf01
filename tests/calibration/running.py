"""What the commands of the published tables share: counting in several processes, and where the text goes."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any


def each(work: Callable[[str], Any], names: Sequence[str], jobs: int = 1) -> list[Any]:
    """``work`` of every name, in their order, in so many processes."""
    if jobs == 1:
        return [work(name) for name in names]
    with ProcessPoolExecutor(jobs, mp_context=get_context("fork")) as pool:
        return list(pool.map(work, names))


def put(text: str, path: str | None) -> None:
    """Write the text to a file, or print it."""
    if path:
        Path(path).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
