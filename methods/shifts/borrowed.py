"""Scatter between fillings that a level with one filling borrows: from other tests of the file, or from history."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from methods.columns import OIL, PRESCRIBED
from methods.errors import InputError, NotEstimable
from methods.records.table import as_table, filling_codes, group_codes, withstood
from methods.shifts.arms import Arm
from methods.shifts.difference import Difference
from methods.shifts.pairing import CodedRows, Pair

#: What must be equal for fillings of the history to be of one oil under one condition.
SAME: tuple[str, ...] = (*OIL, "laboratory", "method", "edition", *PRESCRIBED)

#: From this many cells on, their variances tell how far a further one may lie from them.
ENOUGH = 3


@dataclass(frozen=True)
class FillingScatter:
    """Scatter of filling means, cell by cell (one oil under one condition), as a share of the mean.

    ``square`` (cells,): variance of filling means over mean², or the variance of their logarithms; ``df`` (cells,):
    fillings less one; ``mean_kv`` (cells,): their means; ``within`` and ``size``: variance of single breakdowns
    within a filling over mean², and the (harmonic) number of breakdowns in a filling, each pooled over the cells;
    ``label`` (cells,): codes by which a caller finds its own cells again, -1 for those of the history.
    """

    square: np.ndarray
    df: np.ndarray
    mean_kv: np.ndarray
    within: float
    size: float
    label: np.ndarray

    @property
    def fillings(self) -> int:
        return int(self.df.sum() + len(self.df))


def filling_scatter(
    kv: np.ndarray, cell: np.ndarray, filling: np.ndarray, *, log: bool, label: bool = True
) -> FillingScatter:
    """Cells with two fillings or more; ``kv`` must hold no withstands.

    Parameters
    ----------
    kv : ndarray
        (n,) Voltages, kV, none of them a withstand.
    cell : ndarray
        (n,) Codes of the cells (one oil under one condition).
    filling : ndarray
        (n,) Codes of the fillings.
    log : bool
        Whether scatter is that of ln kV.
    label : bool, default True
        Whether the result keeps the codes of the cells.
    """
    values = np.log(kv) if log else kv
    units, first, inverse = np.unique(filling, return_index=True, return_inverse=True)
    size = np.bincount(inverse)
    mean = np.bincount(inverse, weights=values) / size
    codes, index = np.unique(cell[first], return_inverse=True)
    number = np.bincount(index)
    centre = np.bincount(index, weights=mean) / number
    squares = np.bincount(index, weights=(mean - centre[index]) ** 2)
    scale = np.ones(len(codes)) if log else centre**2
    inside = float(np.sum((values - mean[inverse]) ** 2 / scale[index[inverse]]))
    within_df = len(values) - len(units)
    keep = number > 1
    with np.errstate(invalid="ignore", divide="ignore"):
        square = squares / (number - 1) / scale
    used = keep[index]
    return FillingScatter(
        square[keep], (number - 1)[keep].astype(float), np.exp(centre[keep]) if log else centre[keep],
        inside / within_df if within_df > 0 else float("nan"),
        float(1 / np.mean(1 / size[used])) if used.any() else float("nan"),
        codes[keep] if label else np.full(int(keep.sum()), -1),
    )  # fmt: skip


def history_cells(data: object, *, log: bool) -> FillingScatter:
    """The cells of earlier tests.

    Raises
    ------
    InputError
        The history says of no filling which it is.
    NotEstimable
        No cell of it has two fillings without withstands.
    """
    table = as_table(data)
    if table["filling"].isna().all():
        raise InputError("The history must say which filling each breakdown came from.", column="filling")
    cell = group_codes(table, SAME)
    gone = withstood(table)
    bad = np.isin(cell, np.unique(cell[gone]))  # a cell with withstands has no plain mean
    found = filling_scatter(
        table["kv"].to_numpy(dtype=float)[~bad], cell[~bad], filling_codes(table)[~bad], log=log, label=False
    )  # fmt: skip
    if not len(found.df):
        raise NotEstimable(
            "The history has no oil with two fillings under one condition: it shows no scatter to borrow."
        )
    return found


def donors(
    lay: CodedRows, pair: Pair, lone: list[np.ndarray], history: FillingScatter | None, *, log: bool
) -> FillingScatter | None:
    """All cells of the file with two fillings or more, but for those of ``lone`` rows, and those of the history.

    Parameters
    ----------
    lay : CodedRows
        The rows, coded.
    pair : Pair
        The rows that are compared.
    lone : list of ndarray
        Rows (n,) of the cells that have nothing of their own.
    history : FillingScatter or None
        Scatter from earlier records.
    log : bool
        Whether scatter is that of ln kV.
    """
    cell = lay.level * len(lay.blocks) + lay.block if len(lay.blocks) else lay.level
    if not pair.shared:  # each level counts as one oil there
        cell = np.where(pair.rows | pair.reference_rows, lay.level * max(len(lay.blocks), 1), cell)
    rows = np.ones(len(lay.level), dtype=bool)
    for own in lone:
        rows &= ~own
    rows &= ~np.isin(cell, np.unique(cell[lay.withstood]))
    found = filling_scatter(lay.kv[rows], cell[rows], lay.filling[rows], log=log) if rows.any() else None
    if found is not None and not len(found.df):
        found = None
    if history is None or found is None:
        return history if found is None else found
    weight = np.array([found.df.sum(), history.df.sum()])
    return FillingScatter(
        np.concatenate([found.square, history.square]), np.concatenate([found.df, history.df]),
        np.concatenate([found.mean_kv, history.mean_kv]),
        float(np.average([found.within, history.within], weights=weight)),
        float(np.average([found.size, history.size], weights=weight)),
        np.concatenate([found.label, history.label]),
    )  # fmt: skip


def prior(cells: FillingScatter) -> tuple[float, float]:
    """Variance of a filling mean (over mean²) in a further cell, and its degrees of freedom.

    The variances of the cells are taken as drawn from a scaled inverse chi-square law, fitted by moments of their
    logarithms (Smyth, Statistical Applications in Genetics and Molecular Biology 3 (2004) article 3): where they
    differ no more than chance allows, all degrees of freedom are pooled; where they differ, few are left.
    """
    total = float(cells.df.sum())
    pooled = float(cells.df @ cells.square) / total
    good = cells.square > 0
    if good.sum() < ENOUGH:
        return pooled, total
    df, square = cells.df[good], cells.square[good]
    e = np.log(square) - scipy.special.digamma(df / 2) + np.log(df / 2)
    extra = float(np.var(e, ddof=1) - np.mean(scipy.special.polygamma(1, df / 2)))
    if extra <= 0:
        return pooled, total
    freedom = min(2 * _inverse_trigamma(extra), total)
    # the mean of such variances is freedom / (freedom - 2) times the scale: the pooled variance is that mean
    return (pooled * (freedom - 2) / freedom if freedom > 4 else pooled), max(freedom, 1.0)


def _inverse_trigamma(x: float) -> float:
    y = 0.5 + 1 / x  # Newton's steps on 1 / trigamma converge from this start
    for _ in range(50):
        value = float(scipy.special.polygamma(1, y))
        step = value * (1 - value / x) / float(scipy.special.polygamma(2, y))
        y += step
        if -step / y < 1e-8:
            break
    return y


def borrow(
    first: Arm, second: Arm, own: tuple[int, int], sizes: tuple[float, float], cells: FillingScatter, *, log: bool
) -> Difference:
    """The difference of two levels of one oil, the scatter of a lone filling taken from ``cells``.

    Parameters
    ----------
    first, second : Arm
        One oil each; an arm with one unit borrows, the other keeps its own scatter.
    own : tuple of int
        Labels of the two arms' own cells among ``cells`` (-1: none).
    sizes : tuple of float
        Breakdowns in a lone filling of either side: fewer than the cells have make its mean scatter more.
    cells : FillingScatter
        Scatter of filling means that can be borrowed.
    log : bool
        Whether the arms are of ln kV.

    A lone filling is taken to scatter as a share of the mean as the cells do, or in kV, whichever is more.
    Where fewer than three cells give, they are taken to scatter alike, and a cell that stands on both sides is
    counted as the one variance that it is.
    """
    middle = float(cells.df @ cells.mean_kv / cells.df.sum())
    scale = [1.0 if log else max(a.mean, middle) ** 2 for a in (first, second)]
    more = [1.0, 1.0]
    square, freedom = prior(cells)
    for side in (0, 1):
        extra = cells.within * (1 / sizes[side] - 1 / cells.size)
        if np.isfinite(extra) and extra > 0 and square > 0:
            more[side] = 1 + extra / square
    lone = [a.units[0] < 2 for a in (first, second)]
    plain = len(cells.df) < ENOUGH
    share = cells.df / cells.df.sum()
    rows: list[tuple[float, float, float]] = []
    coefficient = np.zeros((len(cells.df), 2))  # on each cell's variance
    for side, a in enumerate((first, second)):
        if lone[side] and plain:
            coefficient[:, side] += share * cells.square * scale[side] * more[side]
        elif lone[side]:
            continue
        else:
            at = np.flatnonzero(cells.label == own[side]) if plain else np.zeros(0, dtype=int)
            if len(at) and own[side] >= 0:
                coefficient[at[0], side] += a.variance
            else:
                pair = (a.variance, 0.0) if side == 0 else (0.0, a.variance)
                rows.append((*pair, float(a.df)))
    if plain:
        rows += [(float(c[0]), float(c[1]), float(d)) for c, d in zip(coefficient, cells.df, strict=True) if c.any()]
    else:
        rows.append((
            square * scale[0] * more[0] if lone[0] else 0.0, square * scale[1] * more[1] if lone[1] else 0.0, freedom
        ))  # fmt: skip
    nan = float("nan")
    return Difference(first.mean, second.mean, nan, nan, nan, nan, shared=tuple(rows))
