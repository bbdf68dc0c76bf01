"""What the commands of the published tables share: counting in several processes, or on a cluster, and where the text
goes."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from methods.workers import carry_out, cluster


def jobs_of(text: str) -> int | str:
    """What stands behind ``--jobs``: a number of processes, or the address of a Dask scheduler (``tcp://...``)."""
    return text if "://" in text else int(text)


def each(work: Callable[[str], Any], names: Sequence[str], jobs: int | str | Executor = 1) -> list[Any]:
    """``work`` of every name, in their order: in so many processes, on a Dask scheduler, or by any executor.

    Each name has a seed of its own, so the counts are the same whoever works; a name whose worker died is worked on
    again. The workers must find this package.
    """
    if jobs == 1:
        return [work(name) for name in names]
    parts = [(name,) for name in names]
    if isinstance(jobs, Executor):
        return carry_out(work, (), parts, executor=jobs)
    if isinstance(jobs, str):
        with cluster(jobs) as executor:
            return carry_out(work, (), parts, executor=executor)
    with ProcessPoolExecutor(jobs, mp_context=get_context("fork")) as pool:
        return list(pool.map(work, names))


def put(text: str, path: str | None) -> None:
    """Write the text to a file, or print it."""
    if path:
        Path(path).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
