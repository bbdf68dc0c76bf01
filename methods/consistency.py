"""Consistency rules on a record table: the series that a rule judges, the verdicts, and how often each rule fired.

It stands beside ``records`` and ``protocols`` because it needs both.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import NDArray

from methods.columns import CONDITION, RECOGNISED_BY
from methods.confidence import check_confidence
from methods.protocols.protocol import Protocol
from methods.protocols.recognition import recognise
from methods.protocols.rules import NO_RULE, Rule, exceeds, load_rules, rule_of
from methods.protocols.verdict import Verdict, judge
from methods.randomness import Rng, seed_of
from methods.records.table import WITHSTOOD, as_table, filling_codes, group_codes
from methods.result import Shown

_SAMPLE = ("sample", *CONDITION)


@dataclass(frozen=True)
class JudgedSeries:
    """The breakdowns that are judged together, in the order taken; ``labels`` say which series it is."""

    protocol: Protocol | None
    labels: dict[str, Any]
    kv: NDArray[np.float64]
    withstood: NDArray[np.bool_]
    fillings: int


def _plain(value: Any) -> Any:
    if value is None or value is pd.NA or value != value:
        return None
    return value.item() if isinstance(value, np.generic) else value


def protocols_of(
    table: pd.DataFrame, folder: str | os.PathLike[str] | None = None
) -> tuple[NDArray[np.int64], list[Protocol | None]]:
    """For each row the position in the list of protocols recognised from its method, edition and gap."""
    codes = group_codes(table, RECOGNISED_BY)
    first = np.unique(codes, return_index=True)[1]
    found = [
        recognise(_plain(m), _plain(e), gap_mm=_plain(g), folder=folder)
        for m, e, g in table.iloc[first][list(RECOGNISED_BY)].itertuples(index=False)
    ]
    return codes, found


def _tests(table: pd.DataFrame) -> NDArray[np.int64]:
    """For each row the test of a sample that it belongs to, over all its fillings.

    Fillings numbered through over several days are one test; where a filling's label comes back on another
    day, each day is a test of its own.
    """
    day = table.assign(_day=table["tested_on"].astype("str").str.slice(0, 10))
    whole, by_day = group_codes(day, _SAMPLE), group_codes(day, [*_SAMPLE, "_day"])
    label = group_codes(day, [*_SAMPLE, "filling"])
    pairs = np.unique(np.column_stack([label, by_day, whole]), axis=0)
    again = np.bincount(pairs[:, 0])[pairs[:, 0]] > 1
    split = np.isin(whole, np.unique(pairs[again, 2]))
    return np.where(split, by_day + whole.max(initial=0) + 1, whole)


def judged_series(data: Any, folder: str | os.PathLike[str] | None = None) -> Iterator[JudgedSeries]:
    """The series of a record table.

    A series is one filling; where the protocol takes one breakdown on each of several fillings (ASTM D877 B),
    it is the fillings of one sample under one condition, each day apart where filling labels come back. Within
    a series the breakdowns stand by ``order``, where it is empty as they stand in the file.
    """
    table = as_table(data)
    which, protocols = protocols_of(table, folder)
    single = np.array([p is not None and p.breakdowns_per_filling.value == 1 for p in protocols], dtype=bool)[which]
    filling = filling_codes(table)
    key = np.where(single, _tests(table) + filling.max(initial=0) + 1, filling) if single.any() else filling
    order = table["order"].to_numpy(dtype=float, na_value=np.nan)
    rank = np.lexsort((np.arange(len(table)), np.where(np.isnan(order), np.inf, order), filling * single, key))
    kv, held = table["kv"].to_numpy(dtype=float), (table["outcome"] == WITHSTOOD).to_numpy()
    if not len(rank):
        return
    cuts = np.flatnonzero(np.diff(key[rank])) + 1
    firsts = rank[np.concatenate([[0], cuts])]
    heads = table[[*_SAMPLE, "edition", "filling"]].iloc[firsts].to_dict("records")
    for head, first, rows in zip(heads, firsts, np.split(rank, cuts), strict=True):
        labels = {str(n): _plain(v) for n, v in head.items() if _plain(v) is not None}
        if single[first]:
            labels.pop("filling", None)
        yield JudgedSeries(protocols[which[first]], labels, kv[rows], held[rows], len(np.unique(filling[rows])))


def judge_table(
    data: Any, rule: Rule | None = None, *, folder: str | os.PathLike[str] | None = None
) -> list[tuple[JudgedSeries, Verdict]]:
    """Every series of a record table with the verdict of its protocol's rule, or of ``rule`` for all.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    rule : Rule, optional
        One rule for all series; by default that of each series' protocol.
    folder : str or path, optional
        The user's own files beside those that are shipped; by default the folder that the environment names.

    Raises
    ------
    InputError
        A table that is no record table.
    """
    found = []
    for series in judged_series(data, folder):
        by: Protocol | Rule = rule if rule is not None else (series.protocol or NO_RULE)
        found.append((series, judge(by, series.kv, withstood=series.withstood, folder=folder)))
    return found


def rates_on(
    data: Any,
    rule: Rule | None = None,
    *,
    confidence: float = 0.95,
    folder: str | os.PathLike[str] | None = None,
) -> pd.DataFrame:
    """How often the rule asked for more, for each condition of a record table.

    Each series is judged by its first ``n`` breakdowns alone, whatever was taken afterwards. Series with a
    withstood value among them, and series that are too short, are counted and not judged.

    Parameters
    ----------
    data : Records or DataFrame
        The records.
    rule : Rule, optional
        One rule for all series; by default that of each series' protocol.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    folder : str or path, optional
        The user's own files beside those that are shipped; by default the folder that the environment names.

    Returns
    -------
    DataFrame
        A row a condition and rule: the columns of the condition that are filled, ``protocol``, ``rule``, ``n``,
        ``series`` (all), ``fillings``, ``judged``, ``fired``, ``rate``, ``low``, ``high`` (Clopper-Pearson limits
        of the rate; the series count as independent), ``withstood``, ``short``. Rates are fractions, nan where
        nothing could be judged.

    Raises
    ------
    InputError
        A table that is no record table, a confidence outside 0 to 1.
    """
    check_confidence(confidence)
    groups: dict[Any, dict[str, Any]] = {}
    for series in judged_series(data, folder):
        by = rule if rule is not None else (rule_of(series.protocol, folder) if series.protocol else NO_RULE)
        labels = {n: series.labels.get(n) for n in (*CONDITION, "edition")}
        key = (*labels.values(), by.key)
        group = groups.setdefault(
            key, {"labels": labels, "protocol": series.protocol, "rule": by, "sets": [], "n": 0, "f": 0, "w": 0, "s": 0}
        )
        group["n"] += 1
        group["f"] += series.fillings
        size = int(by.n.value) if by.usable and by.kind != "chart" else 0
        if not size:
            continue
        if series.kv.size < size:
            group["s"] += 1
        elif series.withstood[:size].any():
            group["w"] += 1
        else:
            group["sets"].append(series.kv[:size])
    return pd.DataFrame([_rate_row(g, confidence) for g in groups.values()])


@dataclass(frozen=True, repr=False)
class Judged(Shown):
    """The result of :func:`judge_records`.

    ``verdicts`` as :func:`judge_table` gives them, ``rates`` as :func:`rates_on`; ``titles`` say each rule of the rates
    in words.
    """

    verdicts: list[tuple[JudgedSeries, Verdict]]
    rates: pd.DataFrame
    titles: dict[str, str]
    confidence: float


def judge_records(
    data: Any,
    rule: Rule | None = None,
    *,
    confidence: float = 0.95,
    folder: str | os.PathLike[str] | None = None,
) -> Judged:
    """Every series with its verdict, and how often each rule asked for more.

    Parameters
    ----------
    data : Records or DataFrame
    rule : Rule, optional
        For all series; by default each is judged by the rule of its method.
    confidence : float
        Of the limits of a rate.
    folder : str or path, optional
        The user's own files beside those that are shipped; by default the folder that the environment names.

    Raises
    ------
    InputError
        A table that is no record table, a confidence outside 0 to 1.
    """
    titles = {key: known.title for key, known in load_rules(folder).items()}
    if rule is not None:
        titles[rule.key] = rule.title
    rates = rates_on(data, rule, confidence=confidence, folder=folder)
    return Judged(judge_table(data, rule, folder=folder), rates, titles, confidence)


def _rate_row(group: dict[str, Any], confidence: float) -> dict[str, Any]:
    rule, protocol = group["rule"], group["protocol"]
    judged = len(group["sets"])
    fired = int(exceeds(rule, np.array(group["sets"])).sum()) if judged else 0
    low, high = clopper_pearson(fired, judged, confidence)
    return {
        **group["labels"],
        "protocol": protocol.key if protocol is not None else None,
        "rule": rule.key,
        "n": int(rule.n.value) if rule.n.value is not None else None,
        "series": group["n"], "fillings": group["f"], "judged": judged, "fired": fired,
        "rate": fired / judged if judged else float("nan"), "low": low, "high": high,
        "withstood": group["w"], "short": group["s"],
    }  # fmt: skip


def clopper_pearson(hits: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Exact two-sided limits of a proportion (Clopper and Pearson, Biometrika 26, 1934); nan without trials.

    Parameters
    ----------
    hits : int
        How many of the trials did.
    trials : int
        How many trials there were.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    """
    if trials == 0:
        return float("nan"), float("nan")
    tail = (1 - confidence) / 2
    low = 0.0 if hits == 0 else float(scipy.stats.beta.ppf(tail, hits, trials - hits + 1))
    high = 1.0 if hits == trials else float(scipy.stats.beta.isf(tail, hits + 1, trials - hits))
    return low, high


def scatter_by_rule(data: Any, *, folder: str | os.PathLike[str] | None = None) -> pd.DataFrame:
    """The scatter of the user's own breakdowns within their series, pooled for each rule and for all together.

    Coefficients of variation are pooled as ``sqrt(sum (n - 1) (s / mean)**2 / sum (n - 1))``. Series that hold a
    withstood value have no mean and are counted, not used.

    Returns
    -------
    DataFrame
        ``rule`` (``all`` for the last row), ``series, used, breakdowns, cov`` (a fraction, nan where nothing is known).
    """
    sums: dict[str, list[float]] = {}
    for series in judged_series(data, folder):
        key = (rule_of(series.protocol, folder) if series.protocol else NO_RULE).key
        for name in (key, "all"):
            row = sums.setdefault(name, [0, 0, 0, 0.0, 0.0])
            row[0] += 1
            if series.withstood.any() or series.kv.size < 2:
                continue
            row[1] += 1
            row[2] += series.kv.size
            row[3] += series.kv.size - 1
            row[4] += (series.kv.size - 1) * float(series.kv.var(ddof=1)) / float(series.kv.mean()) ** 2
    order = [*(k for k in sums if k != "all"), *(["all"] if sums else [])]
    rows = [
        {"rule": k, "series": int(sums[k][0]), "used": int(sums[k][1]), "breakdowns": int(sums[k][2]),
         "cov": (sums[k][4] / sums[k][3]) ** 0.5 if sums[k][3] else float("nan")}
        for k in order
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["rule", "series", "used", "breakdowns", "cov"])


def rule_on_records(
    data: Any,
    rules: Sequence[Rule],
    scatter: pd.DataFrame,
    *,
    family: str = "normal",
    between_cov: float = 0.0,
    confidence: float = 0.95,
    repetitions: int = 20_000,
    rng: Rng = 1,
    for_all: Sequence[str] = ("own",),
) -> pd.DataFrame:
    """Each rule at the records' own scatter, beside how often it fired on the records themselves.

    Parameters
    ----------
    rules : sequence of Rule
        With a limit each; a rule judges the series of its own method.
    for_all : sequence of str
        Keys of the rules that judge all series, whatever their method; the user's own rule unless said.
    scatter : DataFrame
        As :func:`scatter_by_rule` gives it; a rule without series of its own takes the scatter of all.
    data : Records or DataFrame
        The records.
    family : str, default 'normal'
        Of the scatter within a filling.
    between_cov : float, default 0.0
        Scatter between fillings, a fraction of the mean.
    confidence : float, default 0.95
        Of the limits of a rate, a fraction.
    repetitions : int, default 20000
        Simulated series where there is no formula.
    rng : int or Generator, default 1
        A seed or a generator; the same seed gives the same numbers.

    Returns
    -------
    DataFrame
        ``rule`` (its title), ``own_cov_percent``, ``expected_percent`` (nan where the scatter is not known or outside
        0.5 to 60 %), ``judged``, ``fired``, ``fired_percent`` with Clopper-Pearson limits ``fired_low, fired_high``
        (nan without series of that rule).
    """
    from methods.protocols.rule_curves import trip_curves

    seed = seed_of(rng)

    known = scatter.set_index("rule")["cov"] if len(scatter) else pd.Series(dtype=float)
    rates = rates_on(data, confidence=confidence)
    rows = []
    for rule in rules:
        mine = rates_on(data, rule, confidence=confidence) if rule.key in for_all else rates
        mine = mine[mine["rule"] == rule.key] if len(mine) else mine
        judged, fired = (int(mine[c].sum()) if len(mine) else 0 for c in ("judged", "fired"))
        low, high = clopper_pearson(fired, judged, confidence)
        cov = float(known.get(rule.key, known.get("all", float("nan"))))
        expected = float("nan")
        if 0.005 <= cov <= 0.6:
            found = trip_curves([rule], family, between_cov=between_cov, covs=(cov,), repetitions=repetitions, rng=seed)
            expected = float(found["probability_percent"].iloc[0])
        rows.append({
            "rule": rule.title, "own_cov_percent": 100 * cov, "expected_percent": expected, "judged": judged,
            "fired": fired, "fired_percent": 100 * fired / judged if judged else float("nan"), "fired_low": 100 * low,
            "fired_high": 100 * high,
        })  # fmt: skip
    return pd.DataFrame(rows)
