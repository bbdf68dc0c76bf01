"""What the commands of the published tables share: counting in several processes, or on a cluster, the lines that are
published already, and where the text goes."""

from __future__ import annotations

import argparse
import re
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from methods.workers import carry_out, cluster

#: Since when the code is as it stands, as far as limits are concerned, UTC.
SINCE = "2026-11-27 12:58"
#: The last cell of a line: when it was counted, UTC.
HOUR = re.compile(r"\d{4}-\d\d-\d\d \d\d:\d\d")


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


def rows_of(path: Path) -> dict[tuple[str, ...], str]:
    """The lines of a published table whose last cell is an hour, by the heading above and their first four cells."""
    out, heading = {}, ""
    for row in path.read_text(encoding="utf-8").splitlines() if path.exists() else []:
        if row.startswith("## "):
            heading = row.removeprefix("## ").strip()
        cells = tuple(c.strip() for c in row.strip("|").split("|"))
        if row.startswith("| ") and HOUR.fullmatch(cells[-1]):
            out[heading, *cells[:4]] = row
    return out


def kept_rows(own: Path, update: Sequence[str] | None) -> dict[tuple[str, ...], str]:
    """What ``--update`` keeps: the lines of the published table and of the files named; none without that option."""
    old: dict[tuple[str, ...], str] = {}
    for path in [] if update is None else [own, *map(Path, update)]:
        old |= rows_of(path)
    return old


def add_update(parser: argparse.ArgumentParser) -> None:
    """The option with which some lines are counted again and the others kept."""
    parser.add_argument(
        "--update", nargs="*", metavar="FILE",
        help="count what the published table and these files lack (and --only), and keep their other lines",
    )  # fmt: skip


def counted_when(rows: Sequence[str], areas: Sequence[str] | None = None) -> str:
    """A sentence on when the lines were counted, and which (of what area) are older than the code as it stands."""
    hours = [row.strip("| ").split("|")[-1].strip() for row in rows]
    older = [i for i, hour in enumerate(hours) if hour < SINCE]
    new = [hour for hour in hours if hour >= SINCE]
    text = f"Counted: {len(new)} of {len(hours)} lines since {SINCE} UTC, when the limits of SDs were last changed"
    text += f" (the last at {max(new)})" if new else ""
    if not older:
        return f"{text}; none is older."
    text += f"; {len(older)} are older, the first of {min(hours)}"
    if areas is None:
        return f"{text}."
    where = Counter(areas[i] for i in older)
    return f"{text}: {', '.join(f'{area} ({n})' for area, n in where.items())}."


def put(text: str, path: str | None) -> None:
    """Write the text to a file, or print it."""
    if path:
        Path(path).write_text(text, encoding="utf-8")
    else:
        sys.stdout.write(text)
