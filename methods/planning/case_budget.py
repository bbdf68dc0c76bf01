"""The uncertainty budget of one reported mean, from its own breakdowns and what is known of the bench."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from methods.errors import NotEstimable
from methods.planning.bench_sources import own_sources
from methods.planning.inputs import several
from methods.planning.standing import Series
from methods.planning.uncertainty import Budget, mean_budget, source
from methods.procedures.reported import Reported, asked, check_result, reported_by
from methods.protocols.recognition import recognise
from methods.result import Caution
from methods.scatter.history import History, what_it_did
from methods.scatter.nested_pivots import Prior
from methods.scatter.one_oil import one_oil


def budget_of(
    series: Series, *, between_sd: float | None = None, history: History | None = None, own: str = "",
    result: str | int = "result", **bench: Any,
) -> Budget:  # fmt: skip
    """Budget of the mean of one oil under one condition.

    The mean and its uncertainty are those of :func:`methods.scatter.one_oil`: with two fillings or more the SD of their
    means (k - 1 degrees of freedom), unless they agree by luck; with one that of its breakdowns, and ``between_sd``
    (kV, from history) stands for what another filling would differ by.

    Parameters
    ----------
    series : Series
        Of :func:`methods.planning.standing.series_of`.
    between_sd : float, optional
        Only used for one filling.
    history : History, optional
        Earlier tests from which the scatter within and between fillings is borrowed
        (:func:`methods.scatter.scatter_history`); ``between_sd`` goes before it.
    own : str
        Further sources that the user knows, as :func:`methods.planning.bench_sources.own_sources` reads them:
        ``resolution 0.1 kV; crest factor 1 %``.
    result : {"result"} or int
        What a reported result is: what the method says; a number answers where none does (:func:`methods.precision`).
    **bench
        ``voltmeter_percent``, ``gap_mm``, ``gap_tolerance_mm``, ``exponent``, ``temperature_half_width_k``,
        ``kv_per_kelvin``, ``confidence``: as for :func:`methods.planning.uncertainty.mean_budget`.

    Raises
    ------
    NotEstimable
        Withstands, whose mean is not that of values; one breakdown; no scatter at all.
    """
    if series.withstood:
        raise NotEstimable(
            f"{series.label}: {series.withstood} of {len(series.kv)} were withstood. A ceiling is no value, so the "
            "mean has no budget of this kind; its uncertainty by maximum likelihood is in the table of verdicts."
        )
    if len(series.kv) < 2:
        raise NotEstimable(f"{series.label}: one breakdown shows no scatter.")
    sizes = np.unique(series.filling, return_counts=True)[1]
    k, n = len(sizes), max(int(np.median(sizes)), 1)
    confidence = bench.get("confidence", 0.95)
    known = Prior(0.0, 0.0, between_sd, math.inf) if between_sd is not None and k == 1 else None
    borrowed = history.prior(float(series.kv.mean())) if history is not None and between_sd is None else None
    oil = one_oil(series.kv, fillings=series.filling, confidence=confidence, percentiles=(), known=known or borrowed)
    if oil.standard_error_kv == 0:
        what = "filling means" if k > 1 else "values"
        raise NotEstimable(f"{series.label}: all {what} are equal; copied or rounded values look like this.")
    more = own_sources(own, oil.mean_kv)
    design: dict[str, Any] = {"fillings": k, "breakdowns_per_filling": n, "more": more.sources}
    if known is not None:
        inside = float(series.kv.std(ddof=1))
        found = mean_budget(
            oil.mean_kv, **design, within_sd=inside, between_sd=between_sd, between_df=float("inf"), **bench
        )
        return _in_results(replace(found, cautions=(*found.cautions, *more.cautions)), series, k, result)
    what = {"filling means": "scatter of filling means"}.get(oil.basis, "scatter within fillings")
    said = oil.cautions
    if borrowed is not None and history is not None:
        what = "scatter within and between fillings, with history"
        alone = one_oil(series.kv, fillings=series.filling, confidence=confidence, percentiles=())
        said = (*said, what_it_did(history, alone, oil))
    line = source(what, oil.standard_error_kv, kind="A", df=oil.df)
    found = mean_budget(oil.mean_kv, **design, scatter=line, **bench)
    return _in_results(replace(found, cautions=(*found.cautions, *more.cautions, *said)), series, k, result)


def _in_results(found: Budget, series: Series, fillings: int, result: str | int) -> Budget:
    """The budget with the reported results of which its mean is, in the sentence too."""
    kind = check_result(result)
    if not series.labelled:
        return found
    known = None if series.method is None else recognise(series.method, series.edition, gap_mm=series.gap_mm)
    one = reported_by(known) or Reported(kind if isinstance(kind, int) else 1, None, not isinstance(kind, int))
    whole, notes = one.whole(fillings), list(found.cautions)
    said = f"Mean of {several(whole, 'result')}, {'' if whole == 1 else 'each '}{one.words}: "
    if one.assumed:
        notes.append(asked())
        said = f"Mean of {several(fillings, 'filling')}: "
    elif not whole:
        said = f"Mean of {fillings} of the {one.fillings} fillings of a result: "
        text = f"{several(fillings, 'filling')} make no whole result ({one.words}): one would be less uncertain."
        notes.append(Caution("incomplete_results", text))
    return replace(found, results=whole, result=one.words, sentence=said + found.sentence, cautions=tuple(notes))
