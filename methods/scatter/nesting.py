"""Which random factors a table has, how they stand to each other, and which of them it can tell apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from methods.columns import HELD, NESTED
from methods.errors import InputError
from methods.records.table import filling_codes, group_codes
from methods.result import Caution

Codes = NDArray[np.int64]


def fixed_columns(table: pd.DataFrame, fixed: Sequence[str] | None) -> list[str]:
    """The columns of the fixed part: those named, or (None) those of a method or fluid that take several values."""
    if fixed is None:
        return [c for c in HELD if table[c].nunique(dropna=False) > 1]
    for name in fixed:
        if name not in table.columns:
            raise InputError(f"There is no column {name!r} to hold fixed.", column=name)
    return list(fixed)


def random_factors(table: pd.DataFrame, factors: Sequence[str] | None) -> tuple[dict[str, Codes], list[Caution]]:
    """Level codes of each random factor, from the outside in.

    ``factors`` names columns; ``"a:b"`` means the levels of b within those of a (labels that start anew).
    A filling is always taken within its sample, condition and day. A sample label that recurs in several
    laboratories is one oil that went to all of them.
    """
    out: dict[str, Codes] = {}
    cautions: list[Caution] = []
    if factors is None:
        names = [c for c in NESTED if table[c].notna().any()]
    else:
        names = list(factors)
    for name in names:
        parts = name.split(":")
        for part in parts:
            if part not in table.columns:
                raise InputError(f"There is no column {part!r} to divide the scatter by.", column=part)
        if name == "filling":
            out[name] = filling_codes(table)
        else:
            out[name] = group_codes(table, parts)
    if "filling" not in names and factors is None:
        cautions.append(Caution("filling_unknown", (
            "No column says which filling a breakdown came from, so the spread between fillings cannot be seen; "
            "it hides in the other lines, and the mean is less certain than it looks."
        )))  # fmt: skip
    elif "filling" in names and table["filling"].isna().any():
        cautions.append(Caution("filling_unknown", (
            "Some breakdowns do not say which filling they came from; those of one sample and condition count as "
            "one filling, so there may have been more fillings than are shown."
        )))  # fmt: skip
    if "laboratory" in out and "sample" in out and factors is None and _crossed(out["laboratory"], out["sample"]):
        cautions.append(Caution("crossed", (
            "The same sample labels occur in several laboratories and are taken as the same oils sent to all. "
            "If each laboratory numbered its own samples, name the factors as laboratory, laboratory:sample, filling."
        )))  # fmt: skip
    return out, cautions


def _pairs(a: Codes, b: Codes) -> int:
    return len(np.unique(a * (int(b.max()) + 1) + b))


def _crossed(outer: Codes, inner: Codes) -> bool:
    """Whether a level of the inner factor occurs under several levels of the outer one."""
    levels = int(inner.max()) + 1
    return int(outer.max()) > 0 and levels > 1 and _pairs(outer, inner) > levels


def told_apart(factors: dict[str, Codes], cell: Codes) -> tuple[dict[str, Codes], list[Caution]]:
    """Leave out the factors that these rows cannot tell apart, and say so.

    ``cell`` codes the fixed part. A factor goes when it has one level, when its levels are those of a factor
    kept before, when the fixed part explains it wholly, or when each level has a single breakdown.
    """
    kept: dict[str, Codes] = {}
    cautions: list[Caution] = []
    rows = len(cell)
    for name, code in factors.items():
        levels = len(np.unique(code))
        if levels < 2:
            if name == "filling":
                cautions.append(Caution("one_filling", (
                    "All breakdowns come from one filling. The spread between fillings cannot be seen, and the "
                    "standard error leaves it out: another filling may read further away than it suggests."
                )))  # fmt: skip
            continue
        twin = next((k for k, other in kept.items() if _same(other, code)), None)
        if twin is not None:
            cautions.append(Caution("confounded", (
                f"Each {_word(twin)} has one {_word(name)} only, so the spread between the two cannot be told apart; "
                f"the line '{twin}' holds both together."
            )))  # fmt: skip
        elif levels == rows:
            cautions.append(Caution("confounded", (
                f"Each {_word(name)} has one breakdown only, so the spread between {_words(name)} and the spread of "
                "single breakdowns cannot be told apart; the line 'breakdown' holds both together."
            )))  # fmt: skip
        elif levels <= _components(code, cell):
            cautions.append(Caution("confounded", (
                f"Each fixed condition has one {_word(name)} only, so the spread between {_words(name)} cannot be "
                "told apart from the conditions and is not given; the standard error leaves it out."
            )))  # fmt: skip
        else:
            kept[name] = code
    return kept, cautions


def _words(name: str) -> str:
    one = _word(name)
    return f"{one[:-1]}ies" if one.endswith("y") else f"{one}s"


def _word(name: str) -> str:
    return name.split(":")[-1]


def _same(a: Codes, b: Codes) -> bool:
    n = _pairs(a, b)
    return n == len(np.unique(a)) == len(np.unique(b))


def _components(code: Codes, cell: Codes) -> int:
    """Connected parts of the graph of levels against fixed cells: as many levels are lost to the fixed part."""
    n, m = int(code.max()) + 1, int(cell.max()) + 1
    graph = scipy.sparse.coo_matrix((np.ones(len(code)), (code, cell + n)), shape=(n + m, n + m))
    return int(scipy.sparse.csgraph.connected_components(graph, directed=False)[0])
