"""The median of the breakdowns themselves, without a family, and its limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
import scipy

from methods.families import NORMAL
from methods.records.table import as_table, filling_codes, group_codes
from methods.records.table import withstood as withstood_rows
from methods.scatter.arguments import check_values
from methods.scatter.family_pivots import SIMULATED, simulated
from methods.scatter.nested_pivots import student
from methods.scatter.newton import fit_batch
from methods.scatter.survival import kaplan_meier, survival_quantile

Array = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Median:
    """``kv``: the lowest voltage by which half have broken down (Kaplan-Meier); nan where fewer did.

    ``low, high`` hold with ``confidence``, which for few independent values is what the lowest and the highest give.
    ``holds_for``: ``this oil``, ``this filling`` or ``these values``.
    """

    kv: float
    low: float
    high: float
    confidence: float
    holds_for: str
    n: int


def median(kv: Any, withstood: Any = None, fillings: Any = None, *, confidence: float = 0.95) -> Median:
    """Median of one group with its limits.

    Independent values, and those of one filling: order statistics (W. R. Thompson, *Ann. Math. Statist.* 7 (1936) 122),
    which need no family; where even the extremes do not reach the confidence, theirs is given. Several fillings: the
    median's distribution about the true one, in SDs, simulated for these fillings with normal scores that are as alike
    within fillings as those found. Withstands count as above their ceiling; a limit that would lie among them is nan.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands.
    fillings : array_like, optional
        (n,) Labels of the fillings; None: the values are independent.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    return own_median(kv, withstood, fillings).at(confidence)


@dataclass(frozen=True)
class OwnMedian:
    """A median before its limits, which :meth:`at` gives for any confidence without going through the values again.

    ``ordered``: the values from the lowest to the highest, withstands infinite; ``independent``: how many independent
    values they are worth, None: as many as there are. ``errors``: of several fillings, draws of the true median.
    """

    kv: float
    holds_for: str
    n: int
    ordered: Array | None = field(default=None, repr=False)
    independent: float | None = None
    errors: tuple[Array, ...] = field(default=(), repr=False)

    def at(self, confidence: float) -> Median:
        """The median with its limits.

        Parameters
        ----------
        confidence : float
            Of the limits, a fraction between 0 and 1.
        """
        if self.errors:
            ends = [(1 - confidence) / 2, (1 + confidence) / 2]
            found = [np.quantile(draws, ends) for draws in self.errors]
            low, high = float(min(f[0] for f in found)), float(max(f[1] for f in found))
        elif self.ordered is not None:
            low, high, confidence = _limits(self.ordered, confidence, self.independent)
        else:
            low = high = math.nan
        return Median(self.kv, low, high, confidence, self.holds_for, self.n)


def own_median(kv: Any, withstood: Any = None, fillings: Any = None) -> OwnMedian:
    """What of :func:`median` does not depend on the confidence; arguments as there.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    withstood : array_like, optional
        (n,) Which of them are withstands.
    fillings : array_like, optional
        (n,) Labels of the fillings; None: the values are independent.
    """
    x, gone = check_values(kv, withstood)
    code = np.zeros(len(x), int) if fillings is None else np.unique(np.asarray(fillings), return_inverse=True)[1]
    k = int(code.max()) + 1
    holds_for = "these values" if fillings is None else "this filling" if k == 1 and len(x) > 1 else "this oil"
    if gone.all():
        return OwnMedian(math.nan, holds_for, len(x))
    at = survival_quantile(kaplan_meier(x, gone), 0.5)
    ordered = np.sort(np.where(gone, np.inf, x))
    if 1 < k < len(x) and len(np.unique(x[~gone])) > 1:
        if len(x) <= SIMULATED and math.isfinite(at):
            return OwnMedian(at, holds_for, len(x), errors=_nested(x, gone, code, at))
        return OwnMedian(at, holds_for, len(x), ordered, _effective(x, code))
    return OwnMedian(at, holds_for, len(x), ordered)


def medians(data: Any, by: Sequence[str] = (), *, confidence: float = 0.95) -> list[Median]:
    """The median of every group of a record table, in order of first appearance.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : sequence of str, optional
        Columns that make the groups.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    return [found.at(confidence) for found in own_medians(data, by)]


def own_medians(data: Any, by: Sequence[str] = ()) -> list[OwnMedian]:
    """What of :func:`medians` does not depend on the confidence.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : sequence of str, optional
        Columns that make the groups.
    """
    table = as_table(data)
    kv, gone, filling = table["kv"].to_numpy(dtype=float), withstood_rows(table), filling_codes(table)
    known, codes = table["filling"].notna().to_numpy(), group_codes(table, by)
    out = []
    for code in pd.unique(codes):
        rows = np.flatnonzero(codes == code)
        filled = filling[rows] if known[rows].all() else None
        out.append(own_median(kv[rows], gone[rows], filled))
    return out


def _limits(ordered: Array, confidence: float, n: float | None) -> tuple[float, float, float]:
    """Limits from the order statistics; ``n`` independent values, where that is not their number."""
    size = len(ordered)
    if n is None:
        rank = int(scipy.stats.binom.ppf((1 - confidence) / 2, size, 0.5))
        while rank > 0 and 1 - 2 * scipy.stats.binom.cdf(rank - 1, size, 0.5) < confidence:
            rank -= 1
        rank = max(rank, 1)
        confidence = float(1 - 2 * scipy.stats.binom.cdf(rank - 1, size, 0.5))
    else:
        half = student(math.inf, confidence) / 2 / math.sqrt(n)
        rank = max(int(math.floor(size * (0.5 - half))), 1)
    low, high = float(ordered[rank - 1]), float(ordered[size - rank])
    return (low if math.isfinite(low) else math.nan), (high if math.isfinite(high) else math.nan), confidence


def _effective(x: Array, code: Array) -> float:
    """How many independent values so many values on these fillings are worth."""
    sizes = np.bincount(code)
    means = np.bincount(code, x) / sizes
    within = float(((x - means[code]) ** 2).sum()) / (len(x) - len(sizes))
    between = float((sizes * (means - x.mean()) ** 2).sum()) / (len(sizes) - 1)
    n0 = (len(x) - (sizes**2).sum() / len(x)) / (len(sizes) - 1)
    icc = max(between - within, 0.0) / (between + (n0 - 1) * within) if between > 0 else 0.0
    return float(len(x) / (1 + icc * ((sizes**2).sum() / len(x) - 1)))


def _nested(x: Array, gone: Array, code: Array, at: float) -> tuple[Array, ...]:
    whole = np.ones((1, len(x)), bool)
    sigma = float(fit_batch(NORMAL, x[None], ~gone[None], whole).sigma[0])
    return tuple(at - sigma * pivot for pivot in simulated(x, code))
