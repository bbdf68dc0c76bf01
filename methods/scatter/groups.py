"""Fits of a record table, group by group and family by family."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from methods.errors import InputError, NotEstimable
from methods.families import FAMILIES, family_of
from methods.records.table import as_table, condition_codes, filling_codes, group_codes
from methods.records.table import withstood as withstood_rows
from methods.result import Caution, Shown, as_json
from methods.scatter.fitting import Estimate, Percentile, estimate
from methods.scatter.free_limits import FreeLimits, free_limits
from methods.scatter.goodness import anderson_darling
from methods.scatter.history import History, history_of, what_it_did
from methods.scatter.one_oil import OneOil, one_oil

Array = np.ndarray[Any, Any]


class Fits(Shown, list[dict[str, Any]]):
    """A list of fits, one entry a group and family, that shows itself."""


def fit_groups(
    data: Any,
    by: Sequence[str] = (),
    families: Sequence[str] = FAMILIES,
    *,
    confidence: float = 0.95,
    percentiles: Sequence[float] = (0.01, 0.1, 0.5),
    interval: str = "pivot",
    history: Any = None,
) -> Fits:
    """Fit every family to every group of a record table.

    Parameters
    ----------
    data : Records or DataFrame
        A record table (``kv`` and what else is known).
    by : sequence of str
        Columns whose combinations make the groups; none: one group of everything. A row in which a column is
        empty belongs to a group whose level is None.
    families, confidence, percentiles, interval
        As for :func:`methods.fit`.
    history : History, Records, DataFrame or path, optional
        Earlier tests from which the scatter within and between fillings is borrowed for ``oil`` and for the
        percentiles of the normal family (:func:`methods.scatter.scatter_history`).

    Returns
    -------
    Fits
        A list of dict, one per group and family, groups in order of first appearance: ``group`` (column to level), then
        the fields of :class:`methods.scatter.Fit`, and ``fillings`` (how many are known of), ``anderson_darling``
        (``statistic, modified, p_value, p_method`` or None), ``oil`` (a :class:`methods.scatter.OneOil` of the group,
        the same for all its families: mean, SDs, tolerance limits). A family that cannot be fitted has ``error``
        instead of what it would have found.

    Raises
    ------
    InputError
        Unknown column or family, no rows.
    """
    estimates = estimate_groups(data, by, families)
    rows = Fits(e.row(confidence=confidence, percentiles=percentiles, interval=interval) for e in estimates)
    borrowed = history_of(history, data)
    oils: dict[str, OneOil | None] = {}
    free: dict[str, tuple[FreeLimits, ...]] = {}
    for e, row in zip(estimates, rows, strict=True):
        if e.estimate is None:
            continue
        key = repr(e.group)
        if key not in oils:
            oils[key] = _oil(e.estimate, confidence, percentiles, borrowed)
            free[key] = free_limits(
                e.estimate.kv, e.estimate.withstood, e.estimate.fillings, percentiles=percentiles,
                confidence=confidence,
            )  # fmt: skip
        row["oil"], row["free_limits"] = oils[key], free[key]
        oil = oils[key]
        if borrowed is not None and oil is not None:
            alone = _oil(e.estimate, confidence, (), None)
            row["cautions"] = [c for c in row["cautions"] if c.code != "one_filling"]
            row["cautions"].append(what_it_did(borrowed, alone or oil, oil))
            if e.head["family"] == "normal" and interval == "pivot":
                row["percentiles"] = [Percentile(q.p, q.kv, q.low, q.high) for q in oil.percentiles]
    return rows


def _oil(found: Estimate, confidence: float, percentiles: Sequence[float], history: History | None) -> OneOil | None:
    known = None if history is None else history.prior(float(found.kv.mean()))
    try:
        return one_oil(
            found.kv, found.withstood, found.fillings, confidence=confidence, percentiles=percentiles, known=known
        )
    except NotEstimable:
        return None


@dataclass(frozen=True)
class GroupEstimate:
    """One family at one group, before limits: what of :func:`fit_groups` does not depend on the confidence.

    Attributes
    ----------
    group : dict
        Column to level.
    head : dict
        ``family, n, withstood, fillings``.
    estimate : Estimate or None
        None where the family cannot be fitted; ``error`` then says why.
    """

    group: Mapping[str, Any]
    head: Mapping[str, Any]
    estimate: Estimate | None
    error: str = ""
    anderson_darling: Mapping[str, Any] | None = None
    cautions: Sequence[Caution] = ()

    def row(
        self, *, confidence: float = 0.95, percentiles: Sequence[float] = (0.01, 0.1, 0.5), interval: str = "pivot"
    ) -> dict[str, Any]:
        """One entry of :func:`fit_groups`, with limits at this confidence.

        Parameters
        ----------
        confidence : float, default 0.95
            Of the limits, a fraction between 0 and 1.
        percentiles : sequence of float, default (0.01, 0.1, 0.5)
            Fractions whose voltages are wanted.
        interval : str, default 'pivot'
            ``pivot``, ``wald``, ``profile`` ...; see :func:`methods.fit`.
        """
        if self.estimate is None:
            return {"group": dict(self.group), **self.head, "error": self.error}
        found = self.estimate.fit(confidence=confidence, percentiles=percentiles, interval=interval)
        fields = {name: getattr(found, name) for name in found.__dataclass_fields__}
        ignored = found.interval in ("wald", "profile")
        fields["cautions"] = [*(c for c in self.cautions if ignored or c.code != "fillings"), *found.cautions]
        rest = {"anderson_darling": self.anderson_darling, "fillings": self.head["fillings"]}
        return {"group": dict(self.group), **fields, **rest}


def estimate_groups(data: Any, by: Sequence[str] = (), families: Sequence[str] = FAMILIES) -> list[GroupEstimate]:
    """Every family at every group, without limits yet; arguments, order and errors as for :func:`fit_groups`.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    by : sequence of str, optional
        Columns that make the groups.
    families : sequence of str, default FAMILIES
        Names of the families.
    """
    from methods.procedures import with_factor

    table = as_table(data)
    if table.empty:
        raise InputError("There are no breakdowns to fit.")
    names = []
    for column in by:
        table, name = with_factor(table, column)
        names += [name] if name not in names else []
    chosen = [family_of(name).name for name in dict.fromkeys(families)]
    makeup = _MakeUp(table)
    codes = group_codes(table, names)
    out = []
    for code in pd.unique(codes):
        rows = np.flatnonzero(codes == code)
        group = {name: as_json(table[name].iloc[rows[0]]) for name in names}
        fillings = makeup.fillings(rows)
        extra = makeup.cautions(rows, fillings)
        filled = None if fillings is None else makeup.filling[rows]
        out += [_one(makeup.kv[rows], makeup.gone[rows], name, group, fillings, filled, extra) for name in chosen]
    return out


def _one(
    kv: Array, gone: Array, family: str, group: Mapping[str, Any], fillings: int | None, filled: Array | None,
    extra: Sequence[Caution],
) -> GroupEstimate:  # fmt: skip
    head = {"family": family, "n": len(kv), "withstood": int(gone.sum()), "fillings": fillings}
    try:
        found = estimate(kv, gone, family, filled)
    except NotEstimable as error:
        return GroupEstimate(group, head, None, str(error))
    try:
        test = anderson_darling(kv, gone, family)
        goodness = {k: getattr(test, k) for k in ("statistic", "modified", "p_value", "p_method")}
    except InputError:
        goodness = None  # withstands, too few, or a family without a test: said in the documentation of the field
    return GroupEstimate(group, head, found, "", goodness, extra)


class _MakeUp:
    """What rows are made of, coded once for all groups."""

    def __init__(self, table: pd.DataFrame) -> None:
        self.kv, self.gone = table["kv"].to_numpy(dtype=float), withstood_rows(table)
        self._known = table["filling"].notna().to_numpy()
        self.filling, self._condition = filling_codes(table), condition_codes(table)
        self._sample = pd.factorize(table["sample"], use_na_sentinel=True)[0]

    def fillings(self, rows: Array) -> int | None:
        """How many fillings these rows come from; None where one does not say."""
        return len(pd.unique(self.filling[rows])) if self._known[rows].all() else None

    def cautions(self, rows: Array, fillings: int | None) -> list[Caution]:
        """What the make-up of the group does to a fit that takes its values as independent and alike."""
        out = []
        conditions = len(pd.unique(self._condition[rows]))
        names = pd.unique(self._sample[rows])
        samples = int((names >= 0).sum())
        if conditions > 1 or samples > 1:
            what = [f"{conditions} conditions"] * (conditions > 1) + [f"{samples} samples"] * (samples > 1)
            out.append(
                Caution(
                    "mixed",
                    f"This group mixes {' and '.join(what)}: the fit describes the mixture, not the scatter of "
                    "one of them. Group by the columns that differ.",
                )
            )
        if fillings is not None and 1 < fillings < len(rows):
            out.append(
                Caution(
                    "fillings",
                    f"The values come from {fillings} fillings and the limits take them as independent: where fillings "
                    "differ, the true limits are wider.",
                )
            )
        elif fillings is None and len(rows) > 1:
            out.append(
                Caution(
                    "filling_unknown",
                    "The file does not say which filling each value came from. The limits take the values as "
                    "independent, which breakdowns of one filling are not.",
                )
            )
        elif fillings == 1:
            out.append(
                Caution(
                    "one_filling",
                    "All values come from one filling: the limits hold for this filling, and how another filling of "
                    "the same oil would differ is not in them.",
                )
            )
        return out
