"""How many breakdowns until the verdict against a limit is right often enough."""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from methods.errors import InputError, NotEstimable
from methods.planning import inputs
from methods.planning.bench_cost import BenchTimes, assumed, design_cost, wear_words
from methods.planning.in_results import counted_in, open_result, told, whole_results
from methods.planning.inputs import MOST_BREAKDOWNS, MOST_FILLINGS
from methods.planning.verdicts import RULES, check_rule, pass_probability
from methods.procedures.reported import Reported
from methods.protocols.bench import as_protocol
from methods.protocols.fitting import sensitivity_cautions
from methods.result import Caution, Shown
from methods.wording import percent


@dataclass(frozen=True, repr=False)
class DecisionPlan(Shown):
    """A plan for a verdict against a limit.

    ``wrong_verdict_probability``: chance that the rule gives the wrong verdict on an oil of this true mean.
    ``should_pass``: whether the true mean reaches the limit. ``rules`` lists all three rules with the breakdowns each
    needs (None: no number is enough) and the wrong-verdict chance of this plan's design under each. ``interval`` says
    whether a guarded rule goes by the bench's own scatter (t) or by one known from history.
    """

    breakdowns: int
    fillings: int
    breakdowns_per_filling: int
    wrong_verdict_probability: float
    risk: float
    rule: str
    confidence: float
    interval: str
    limit_kv: float
    mean_kv: float
    should_pass: bool
    bench_minutes: float | None
    rules: tuple[dict[str, Any], ...]
    sentence: str
    cautions: tuple[Caution, ...]
    results: int | None = None
    result: str = ""


@dataclass(frozen=True)
class _Question:
    limit: float
    mean: float
    within: float
    between: float | None
    risk: float
    confidence: float
    known: bool

    def wrong(self, rule: str, k: int, n: int, *, quickly: bool = False) -> float:
        """Chance of the wrong verdict; 1 where the rule cannot be used on such a design.

        ``quickly``: as if fillings that agree by luck were believed, which is near the chance and soon known.
        """
        if rule == "guarded" and k * n < 2 and not self.known:
            return 1.0
        chance = float(
            pass_probability(
                self.mean, self.limit, self.within, self.between, fillings=k, breakdowns_per_filling=n, rule=rule,
                confidence=self.confidence, scatter_known=self.known, believing_luck=quickly,
            )
        )  # fmt: skip
        return 1 - chance if self.mean >= self.limit else chance


def plan_decision(
    limit: float | None = None,
    mean: float | None = None,
    cov: float | None = None,
    *,
    sd: float | None = None,
    risk: float = 0.05,
    rule: str = "simple",
    confidence: float = 0.95,
    between_cov: float | None = None,
    between_sd: float | None = None,
    fillings: int | None = None,
    breakdowns_per_filling: int | None = None,
    protocol: Any = None,
    interval: str = "bench",
) -> DecisionPlan:
    """Plan the breakdowns for a verdict on an oil of true ``mean`` against ``limit``.

    Smallest number whose chance of the wrong verdict is at most ``risk``: for the simple rule the normal distribution
    of the mean, for the guarded one the noncentral t, for ``every`` the chance that all reach the limit. SDs from
    ``cov`` are taken at ``mean``. The guarded rule counts with the wider limits that the analysis gives fillings which
    agree by luck. With scatter between fillings: the design with the fewest bench minutes, in whole results of the
    method where one is named and no number is fixed.

    Parameters
    ----------
    limit : float, optional
        Smallest mean that passes, kV.
    mean : float, optional
        True mean of the oil, kV.
    cov : float, optional
        Scatter within a filling, a fraction of the mean.
    sd : float, optional
        The same in kV, in its place.
    risk : float, default 0.05
        Of the wrong verdict, a fraction.
    rule : str, default 'simple'
        ``simple`` (the mean), ``guarded`` (the mean less a guard band) or ``every`` (each breakdown).
    confidence : float, default 0.95
        Of the guard band, a fraction.
    between_cov : float, optional
        Scatter between fillings, a fraction of the mean; None: breakdowns count as independent.
    between_sd : float, optional
        The same in kV, in its place.
    fillings : int, optional
        Fixes the number of fillings.
    breakdowns_per_filling : int, optional
        Fixes the breakdowns on each.
    protocol : Protocol or str, optional
        A test method, for bench times and for what one result is.
    interval : str, default 'bench'
        ``bench``: the scatter is estimated from the test; ``known``: it is known.

    Raises
    ------
    InputError
        Impossible numbers; a mean on the limit, where any verdict is a coin toss.
    NotEstimable
        A risk that no number of breakdowns reaches under this rule.
    """
    kv, level = inputs.positive(limit, "limit"), inputs.positive(mean, "mean")
    s = inputs.scatter(cov, sd, between_cov=between_cov, between_sd=between_sd, mean=level)
    if kv == level:
        raise InputError(
            "The mean lies on the limit: the verdict is a coin toss, however many breakdowns are taken. Give the mean "
            "of an oil that is to be told from the limit.",
            column="mean",
        )
    if interval not in ("bench", "known"):
        raise InputError(f"interval is {interval!r}; it is bench or known.", column="interval", text=str(interval))
    ask = _Question(
        kv, level, s.kv(s.within) or 0.0, s.kv(s.between), inputs.probability(risk, "risk"),
        inputs.probability(confidence, "confidence"), interval == "known",
    )  # fmt: skip
    k = None if fillings is None else inputs.whole_number(fillings, "fillings", most=MOST_FILLINGS)
    unsaid = s.between is None
    if unsaid and ((k or 1) > 1 or (k is None and check_rule(rule) == "guarded" and not ask.known)):
        # Taken as alike, and judged by their means as the analysis does; one filling hardly passes the guarded rule,
        # which counts with another that differs.
        ask = replace(ask, between=0.0)
    n = (
        None
        if breakdowns_per_filling is None
        else inputs.whole_number(breakdowns_per_filling, "breakdowns_per_filling")
    )
    one = counted_in(protocol, s.between, k, n)
    n = n if one is None else one.breakdowns_per_filling
    if not (k and n):
        k, n = _choose(ask, check_rule(rule), k, n, protocol, level)
        if ask.between is None and k > 1:
            ask = replace(ask, between=0.0)
            k, n = _choose(ask, rule, None, n, protocol, level)
    alike = unsaid and ask.between is not None
    return _result(ask, check_rule(rule), whole_results(k, one), n, protocol, interval, one, alike)


def _of_method(protocol: Any) -> tuple[Caution, ...]:
    """What the method is and is not sensitive to."""
    if protocol is None or isinstance(protocol, BenchTimes):
        return ()
    return tuple(sensitivity_cautions(as_protocol(protocol) if isinstance(protocol, str) else protocol))


def _choose(ask: _Question, rule: str, k: int | None, n: int | None, protocol: Any, mean: float) -> tuple[int, int]:
    if rule == "every" and ask.mean >= ask.limit:  # more breakdowns only make a good oil fail more often
        k, n = k or 1, n or 1
        if ask.wrong(rule, k, n) > ask.risk:
            raise NotEstimable(
                f"Under the rule that every breakdown reaches the limit, an oil of {ask.mean:g} kV fails with a chance "
                f"of {100 * ask.wrong(rule, k, n):.0f} % on {k * n} breakdown(s) already, and more make it worse."
            )
        return k, n
    if ask.between is None:
        total = _fewest_independent(ask, rule)
        if total is None:
            raise InputError(f"More than {MOST_BREAKDOWNS} breakdowns would be needed; accept a larger risk.")
        if k is not None:
            return k, -(-total // k)
        return (-(-total // n), n) if n is not None else (1, total)
    found = []
    for per in [n] if n is not None else range(1, 31):
        for fillings in [k] if k is not None else [_fewest_fillings(ask, rule, per)]:
            if fillings is not None and ask.wrong(rule, fillings, per, quickly=True) <= ask.risk:
                found.append((design_cost(protocol, fillings, per, mean).minutes, fillings, per))
    heapq.heapify(found)
    while found and ask.wrong(rule, *found[0][1:]) > ask.risk:  # the cheapest holds as the analysis judges, too
        _, fillings, per = heapq.heappop(found)
        if k is None and fillings < MOST_FILLINGS:
            heapq.heappush(found, (design_cost(protocol, fillings + 1, per, mean).minutes, fillings + 1, per))
    if not found:
        raise NotEstimable(
            f"No such design keeps the chance of a wrong verdict at {100 * ask.risk:g} %: fillings differ by more than "
            "breakdowns can make up for. Plan more fillings, or accept a larger risk."
        )
    _, fillings, per = found[0]
    return fillings, per


def _fewest_independent(ask: _Question, rule: str) -> int | None:
    least = 2 if rule == "guarded" and not ask.known else 1
    try:
        return inputs.smallest(lambda m: ask.wrong(rule, 1, m) <= ask.risk, least, MOST_BREAKDOWNS, "")
    except InputError:
        return None


def _fewest_fillings(ask: _Question, rule: str, per: int) -> int | None:
    least = 2 if rule == "guarded" and not ask.known else 1  # one filling is looked at where it is asked for
    try:
        return inputs.smallest(lambda m: ask.wrong(rule, m, per, quickly=True) <= ask.risk, least, MOST_FILLINGS, "")
    except InputError:
        return None


def _needed(ask: _Question, rule: str, n: int) -> int | None:
    """Breakdowns that the rule needs: independent ones, or fillings of ``n``; None when no number is enough."""
    if rule == "every" and ask.mean >= ask.limit:
        return 1 if ask.wrong(rule, 1, 1) <= ask.risk else None
    if rule == "guarded" and ask.mean < ask.limit and ask.confidence < 1 - ask.risk:
        return None
    if ask.between is None and (rule != "guarded" or ask.known):
        return _fewest_independent(ask, rule)
    ask = replace(ask, between=ask.between or 0.0)
    k = _fewest_fillings(ask, rule, n)
    if k is None:
        return None
    return next((m * n for m in range(k, MOST_FILLINGS + 1) if ask.wrong(rule, m, n) <= ask.risk), None)


def _chance(share: float) -> str:
    """A chance in words: never 100 %, which no simulation shows."""
    return "more than 99 %" if share > 0.99 else f"{percent(100 * share)} %"


def _result(
    ask: _Question, rule: str, k: int, n: int, protocol: Any, interval: str, one: Reported | None, alike: bool
) -> DecisionPlan:
    wrong = ask.wrong(rule, k, n)
    table = tuple(
        {"rule": name, "breakdowns": _needed(ask, name, n), "wrong_verdict_probability": ask.wrong(name, k, n)}
        for name in RULES
    )
    found = []
    if alike:
        found.append(
            Caution(
                "between_unknown",
                "How much fillings differ is not said, so they are taken as alike; real fillings differ, and verdicts "
                "go wrong more often.",
            )
        )
    if rule == "guarded" and k == 1 and ask.mean >= ask.limit:
        found.append(
            Caution(
                "one_filling",
                "One filling does not tell how far fillings differ, so that the guarded rule passes next to no oil on "
                "it: take two fillings or more, or say from history how much they differ.",
            )
        )
    elif ask.between is None:
        found.append(
            Caution("independent", "Breakdowns are counted as independent; if fillings differ, say how much they do.")
        )
    if wrong > ask.risk:
        found.append(Caution("risk", f"This design gives the wrong verdict with a chance of {_chance(wrong)}."))
    if rule == "simple" and abs(ask.mean - ask.limit) < 2 * ask.within / np.sqrt(k * n):
        found.append(
            Caution(
                "near_limit",
                "An oil nearer to the limit than this one gets the wrong verdict more often, up to half the time when "
                "its true mean lies on the limit.",
            )
        )
    take = f"{k} fillings of {n}" if ask.between is not None or k > 1 else f"{n} breakdown{'s' if n > 1 else ''}"
    should = "pass" if ask.mean >= ask.limit else "fail"
    return DecisionPlan(
        breakdowns=k * n,
        fillings=k,
        breakdowns_per_filling=n,
        wrong_verdict_probability=wrong,
        risk=ask.risk,
        rule=rule,
        confidence=ask.confidence,
        interval=interval,
        limit_kv=ask.limit,
        mean_kv=ask.mean,
        should_pass=ask.mean >= ask.limit,
        bench_minutes=design_cost(protocol, k, n, ask.mean).bench_minutes,
        rules=table,
        sentence=f"Take {take}: an oil of {ask.mean:g} kV, which should {should} a limit of {ask.limit:g} kV, gets the "
        f"wrong verdict with a chance of {_chance(wrong)} under the {rule} rule." + told(k, one) + wear_words(n),
        cautions=(
            *found,
            *assumed(protocol, ask.mean, n, weighed=ask.between is not None),
            *open_result(protocol, ask.between, one),
            *_of_method(protocol),
        ),
        results=None if one is None else one.whole(k),
        result="" if one is None else one.words,
    )
