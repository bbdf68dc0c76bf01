"""What else changes where the compared factor changes: bundles that the data cannot take apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.columns import (
    BUNDLED,
    COLUMNS,
    OF_THE_METHOD,
    OIL,
    PLACE,
    QUANTITIES,
    UNITS,
    factor_name,
    name_level,
    without,
)
from methods.procedures import FIELDS, JOIN, PROCEDURE, parts_of
from methods.shifts.compare import Comparison
from methods.shifts.pairing import CodedRows, plain_level, show_level
from methods.wording import list_words

#: What cannot be set free by another test: (compared column, columns that come with it).
INHERENT: dict[str, tuple[str, ...]] = {
    "method": OF_THE_METHOD,
    "laboratory": without(PLACE, "laboratory"),
    **dict.fromkeys(OF_THE_METHOD, ("method",)),
}

#: A factor counts as partly bundled from this difference of its shares on (total variation distance).
PARTLY = 0.25

NOT_SAID = "not said"


@dataclass(frozen=True)
class Bundle:
    """Another factor that changes with the compared one.

    ``fully``: its effect cannot be told apart at all; otherwise its levels are only unevenly spread.
    ``here`` and ``there`` are its levels under the compared level and under the reference.
    """

    factor: str
    fully: bool
    here: list[str]
    there: list[str]


def factor_codes(column: pd.Series) -> tuple[np.ndarray, list[str]]:
    """Codes and labels of a column, an empty cell being a level of its own."""
    codes, values = pd.factorize(column, use_na_sentinel=True)
    labels = [show_level(plain_level(v)) for v in values]
    if (codes < 0).any():
        codes = np.where(codes < 0, len(labels), codes)
        labels.append(NOT_SAID)
    return codes, labels


def extra_factors(table: pd.DataFrame, filling: np.ndarray, most: int = 20) -> list[str]:
    """Extra columns that can be factors: few levels, one level to a filling.

    Parameters
    ----------
    table : DataFrame
        Rows of the record table (n).
    filling : ndarray
        (n,) Codes of the fillings.
    most : int, default 20
        Most levels of a factor.
    """
    out = []
    for name in table.columns:
        if name in COLUMNS or name in QUANTITIES or str(name).startswith("_") or name == PROCEDURE or JOIN in str(name):
            continue
        column = table[name]
        try:
            codes = pd.factorize(column)[0]
        except TypeError:
            continue
        levels = int(codes.max(initial=-1)) + 1
        if not 2 <= levels <= most or levels >= len(np.unique(filling)):
            continue
        if len(np.unique(np.column_stack([filling, codes]), axis=0)) == len(np.unique(filling)):
            out.append(str(name))
    return out


def is_sum(target: np.ndarray, one: np.ndarray, two: np.ndarray) -> bool:
    """Whether ``target`` equals a(one) + b(two) for some functions a and b of the two codes.

    This is the question whether an indicator lies in the column space of two sets of dummy variables,
    answered by walking the graph whose edges are the rows.

    Parameters
    ----------
    target : ndarray
        (n,) Codes that are asked about.
    one : ndarray
        (n,) Codes of one factor.
    two : ndarray
        (n,) Codes of the other.

    Examples
    --------
    >>> is_sum(np.array([0, 1, 1, 2]), np.array([0, 0, 1, 1]), np.array([0, 1, 0, 1]))
    True
    """
    edges = np.unique(np.column_stack([one, two, target]), axis=0)
    neighbours: dict[tuple[int, int], list[tuple[tuple[int, int], int]]] = {}
    for a, b, z in edges.tolist():
        neighbours.setdefault((0, a), []).append(((1, b), z))
        neighbours.setdefault((1, b), []).append(((0, a), z))
    potential: dict[tuple[int, int], int] = {}
    for start in neighbours:
        if start in potential:
            continue
        potential[start] = 0
        queue = [start]
        while queue:
            node = queue.pop()
            for other, z in neighbours[node]:
                value = z - potential[node]
                if other not in potential:
                    potential[other] = value
                    queue.append(other)
                elif potential[other] != value:
                    return False
    return True


def _shares(codes: np.ndarray, oil: np.ndarray, levels: int) -> np.ndarray:
    """Share of each level, averaged over the oils with equal weight."""
    oils, inverse = np.unique(oil, return_inverse=True)
    counts = np.zeros((len(oils), levels))
    np.add.at(counts, (inverse, codes), 1.0)
    return (counts / counts.sum(axis=1, keepdims=True)).mean(axis=0)


def _of_the_factor(by: str) -> set[str]:
    """The columns that are the compared factor, or follow from it by definition."""
    own = {by, *parts_of(by)}
    return own | set(FIELDS) if PROCEDURE in own else own | {PROCEDURE}


def bundles(c: Comparison) -> list[Bundle]:
    """Find the factors that are bundled with the compared one among the rows that are compared."""
    lay: CodedRows = c.lay
    used = c.pair.rows | c.pair.reference_rows
    first = np.flatnonzero(used)[np.unique(lay.filling[used], return_index=True)[1]]
    here = c.pair.rows[first]
    oil = lay.block[first] if c.pair.shared else np.zeros(len(first), dtype=np.int64)
    names = [n for n in BUNDLED if n in lay.table.columns]
    names += extra_factors(lay.table.loc[used], lay.filling[used])
    own = _of_the_factor(lay.by) | ({*FIELDS, PROCEDURE} if PROCEDURE in c.held else set())
    out = []
    for name in names:
        if lay.by == "sample" and name in OIL:
            continue  # an oil has its fluid and its state; that is no confusion
        if name in own or name in lay.within or name in c.held or lay.table[name].iloc[first].isna().all():
            continue
        codes, labels = factor_codes(lay.table[name].iloc[first])
        if len(labels) < 2:
            continue
        mine, theirs = (_shares(codes[m], oil[m], len(labels)) for m in (here, ~here))
        fully = is_sum(here.astype(np.int64), oil, codes)
        if not fully and 0.5 * float(np.abs(mine - theirs).sum()) < PARTLY:
            continue
        levels = [[labels[i] for i in np.flatnonzero(share > 0)] for share in (mine, theirs)]
        out.append(Bundle(name, fully, levels[0], levels[1]))
    return out


def describe(found: list[Bundle], by: str, level: Any, reference: Any) -> str:
    """The bundles in words: what changes together, what that means, which tests would take it apart.

    Parameters
    ----------
    found : list of Bundle
        What changes together with the factor.
    by : str
        Column of the factor.
    level : object
        The level that is compared.
    reference : object
        The level that it is compared with.
    """
    one, two, compared = name_level(by, level), name_level(by, reference), factor_name(by)
    parts = []
    full = [b for b in found if b.fully]
    partly = [b for b in found if not b.fully]
    if full:
        detail = "; ".join(_spread(b, one, two) for b in full)
        names = list_words([factor_name(b.factor) for b in full])
        parts.append(
            f"Between {one} and {two}, {compared} changes together with {names}. "
            f"The shift belongs to the whole bundle; how much of it is due to {compared} alone cannot be told from "
            f"these data. In detail: {detail}."
        )
        advice = [_advice(b, one, two) for b in full if b.factor not in INHERENT.get(by, ())]
        if any(advice):
            parts.append("To separate them, " + " and ".join(a for a in advice[:3] if a) + ".")
    if partly:
        if len(partly) > 2:
            detail = list_words([factor_name(b.factor) for b in partly])
        else:
            detail = "; ".join(_spread(b, one, two) for b in partly)
        first = factor_name(partly[0].factor)
        parts.append(
            f"Between {one} and {two}, {detail} {'is' if len(partly) == 1 else 'are'} spread unevenly, so part of the "
            f"shift may come from there; comparing tests with the same {first} would take that part out."
        )
    return " ".join(parts)


def _spread(b: Bundle, one: str, two: str) -> str:
    here, there = labels_with_unit(b.factor, b.here), labels_with_unit(b.factor, b.there)
    return f"{factor_name(b.factor)} ({one}: {'/'.join(here)}, {two}: {'/'.join(there)})"


def labels_with_unit(factor: str, labels: list[str]) -> list[str]:
    """The labels of numeric levels with their unit behind the last one."""
    if factor not in UNITS or not labels or labels[-1] == NOT_SAID:
        return labels
    return [*labels[:-1], f"{labels[-1]} {UNITS[factor]}"]


def _advice(b: Bundle, one: str, two: str) -> str:
    known = [v for v in b.there if v != NOT_SAID]
    if not known:
        return f"say what the {factor_name(b.factor)} was for {two}"
    return f"test {one} with {factor_name(b.factor)} {labels_with_unit(b.factor, known[:1])[0]} too"
