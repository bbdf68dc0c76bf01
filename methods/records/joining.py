"""Several files read as one set of records: one method, one laboratory or one week may stand in each."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from methods.errors import InputError
from methods.records.account import Account
from methods.records.by_word import for_file
from methods.records.kept import Records, Source
from methods.records.one_name import guesses, with_one_name
from methods.records.table import fillings_apart, placed_labels


@dataclass
class _Accounts(Account):
    """The accounts of several files, one under another."""

    files: list[tuple[str, Records]] = field(default_factory=list)

    def frame(self) -> pd.DataFrame:
        """A row a cell, with the ``file`` in front."""
        frames = [records.cells.assign(file=name) for name, records in self.files]
        whole = pd.concat(frames, ignore_index=True)
        return whole[["file", *[c for c in whole.columns if c != "file"]]]


def read_all(sources: Sequence[Any], **options: Any) -> Records:
    """Read one file or several; several become one table with a ``file`` column.

    Parameters
    ----------
    sources : sequence of whatever :func:`methods.read` takes
    **options
        Those of :func:`methods.read`, the same for every file; words of ``context`` and ``say`` may name the one
        that they hold for (``"electrode=disk@week1.csv"``).

    Raises
    ------
    InputError
        No file is named, one is unusable, or one is named twice (its content is the same, byte for byte).
    """
    from methods.records.reading import read

    if not sources:
        raise InputError("No file is named.")
    return join([read(source, **for_file(options, source, sources)) for source in sources])


def join(parts: Sequence[Records]) -> Records:
    """One :class:`Records` of several; its tables say in ``file`` where each row came from.

    A filling that is called 1 in two files is two fillings: where labels clash they get the file's name in front. So
    are the readings of two files that no label and nothing else tells apart. An oil that the files spell differently
    (``TR-12``, ``tr 12``) gets one name: see :mod:`methods.records.one_name`.
    """
    if len(parts) == 1:
        return parts[0]
    names = _names(parts)
    tables, taken = with_one_name([p.table.assign(file=n) for p, n in zip(parts, names, strict=True)], names)
    guessed = _under(names, [p.guesses for p in parts])
    return Records(
        table=join_tables(tables),
        problems=_under(names, [p.problems for p in parts]),
        guesses=pd.concat([guesses(taken), guessed], ignore_index=True) if taken else guessed,
        rows_read=sum(p.rows_read for p in parts),
        source=Source(", ".join(names), hashlib.sha256("".join(p.source.sha256 for p in parts).encode()).hexdigest()),
        origin=_under(names, [p.origin for p in parts]),
        account=_Accounts(files=list(zip(names, parts, strict=True))),
    )


def join_tables(tables: Sequence[pd.DataFrame], apart: bool | None = None) -> pd.DataFrame:
    """Record tables with a ``file`` column under each other, the fillings of each kept apart.

    ``apart``: whether all are called by their file, too; None: where some would count as one without. See
    :func:`methods.records.table.fillings_apart`.
    """
    whole = pd.concat(tables, ignore_index=True)
    if apart is None and len(tables) > 1:
        fillings_apart(whole, whole["file"])
    elif apart:
        whole["filling"] = placed_labels(whole["filling"], whole["file"])
    return whole


def _names(parts: Sequence[Records]) -> list[str]:
    seen: dict[str, str] = {}
    names: list[str] = []
    for part in parts:
        if part.source.sha256 in seen:
            raise InputError(
                f"{part.source.name} and {seen[part.source.sha256]} are the same, byte for byte: name it once.",
                text=part.source.name,
            )
        seen[part.source.sha256] = part.source.name
        same = sum(n == part.source.name or n.startswith(f"{part.source.name} (") for n in names)
        names.append(f"{part.source.name} ({same + 1})" if same else part.source.name)
    return names


def _under(names: Sequence[str], frames: Sequence[pd.DataFrame]) -> pd.DataFrame:
    return pd.concat([f.assign(file=n) for n, f in zip(names, frames, strict=True)], ignore_index=True)
