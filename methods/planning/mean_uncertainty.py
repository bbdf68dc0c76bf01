"""The mean of one oil under one condition, its uncertainty, and how probable it is that it reaches a limit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from methods.errors import NotEstimable
from methods.families import NORMAL
from methods.result import Caution
from methods.scatter.family_pivots import draws_of
from methods.scatter.history import History, what_it_did
from methods.scatter.nested_pivots import (
    MOST_RATIO,
    Draws,
    Prior,
    flat_ratio,
    matching_df,
    posterior,
    student,
    summarise,
)
from methods.scatter.one_oil import OneOil, one_oil

#: What is taken as known beforehand where a probability is given, in words.
PRIOR_WORDS = (
    "Beforehand every mean counts as equally likely, and the SD between fillings as lying anywhere between none and "
    f"{'twice' if MOST_RATIO == 2 else f'{MOST_RATIO:g} times'} that within a filling."
)
HISTORY_WORDS = "Beforehand every mean counts as equally likely; the scatter between fillings is the one from history."

#: Share of the single breakdowns that a verdict says lie above a voltage: all but one in a hundred.
SHARE_ABOVE = 0.99


@dataclass(frozen=True)
class MeanUncertainty:
    """Mean, kV; standard uncertainty, kV; degrees of freedom; what they were taken from. None: cannot be had.

    ``oil`` is the :class:`methods.scatter.OneOil` behind it, ``belief`` the draws of the true mean (kV) with their
    weights, from which probabilities are read.
    """

    mean_kv: float | None
    standard_uncertainty_kv: float | None
    df: float | None
    basis: str
    cautions: tuple[Caution, ...]
    oil: OneOil | None = None
    belief: tuple[np.ndarray, np.ndarray | None] | None = None

    def probability_at_least(self, limit_kv: float) -> float | None:
        """How probable it is that the true mean reaches a limit; None where nothing tells."""
        if self.belief is None:
            return None
        values, weights = self.belief
        return float(np.average(values >= limit_kv, weights=weights))

    def surely_above(self, confidence: float) -> float | None:
        """What the true mean of the oil lies above with this probability, kV."""
        if self.belief is None:
            return None
        values, weights = self.belief
        order = np.argsort(values)
        w = np.ones(len(values)) if weights is None else weights[order]
        return float(np.interp(1 - confidence, (np.cumsum(w) - w / 2) / w.sum(), values[order]))


def mean_uncertainty(
    kv: np.ndarray,
    withstood: np.ndarray,
    fillings: np.ndarray,
    *,
    between_sd: float | None = None,
    instrument_kv: float = 0.0,
    confidence: float = 0.95,
    history: History | None = None,
) -> MeanUncertainty:
    """Estimate the mean of breakdowns (n,) with their fillings' labels (n,), as :func:`methods.scatter.one_oil` does.

    With two or more fillings the uncertainty is that of the filling means (k - 1 degrees of freedom), unless they agree
    by luck; with one it is that of the breakdowns, plus ``between_sd`` (kV, from history, taken as certain) or what
    ``history`` says. Withstands are right-censored: the mean is then the maximum-likelihood one of the normal family.
    ``instrument_kv`` is added in quadrature; degrees of freedom after Welch and Satterthwaite (JCGM 100:2008, G.4), but
    never limits that are narrower than without it.

    Parameters
    ----------
    kv : ndarray
        (n,) Voltages, kV.
    withstood : ndarray
        (n,) Which of them are withstands.
    fillings : ndarray
        (n,) Labels of the fillings.
    between_sd : float, optional
        SD between fillings from history, kV.
    instrument_kv : float, default 0.0
        Standard uncertainty of the test set, kV.
    confidence : float, default 0.95
        Of the limits, a fraction between 0 and 1.
    history : History, optional
        What earlier records say of the scatter.
    """
    if withstood.all():
        return MeanUncertainty(None, None, None, "withstood only", ())
    known = None if between_sd is None else Prior(0.0, 0.0, between_sd, math.inf)
    if known is None and history is not None:
        known = history.prior(float(kv.mean()))
    try:
        low = (1 - SHARE_ABOVE,)
        oil = one_oil(kv, withstood, fillings, confidence=confidence, percentiles=low, known=known)
    except NotEstimable as error:
        return MeanUncertainty(None, None, None, "not estimable", (Caution("not_estimable", str(error)),))
    if not oil.df > 0:
        few = Caution("few", "One breakdown alone has no uncertainty.")
        return MeanUncertainty(oil.mean_kv, None, None, "one value", (few,), oil)
    found = list(oil.cautions)
    if history is not None and between_sd is None:
        alone = one_oil(kv, withstood, fillings, confidence=confidence, percentiles=())
        found.append(what_it_did(history, alone, oil))
    units = oil.fillings if oil.basis == "filling means" else oil.n - oil.withstood
    if units is not None and units < 3:
        found.append(Caution("few", "The uncertainty rests on two values only and is itself hardly known."))
    belief = _belief(kv, withstood, fillings, known, instrument_kv)
    made = MeanUncertainty(oil.mean_kv, oil.standard_error_kv, oil.df, oil.basis, tuple(found), oil, belief)
    return _with_instrument(made, instrument_kv, confidence)


def _with_instrument(made: MeanUncertainty, instrument_kv: float, confidence: float) -> MeanUncertainty:
    """The test set's part added; the limits never narrower than without it (see :mod:`.uncertainty`)."""
    assert made.standard_uncertainty_kv is not None and made.df is not None
    variance, df, found = made.standard_uncertainty_kv**2, made.df, list(made.cautions)
    if variance == 0:
        df = math.inf
        found.append(
            Caution(
                "no_scatter",
                f"All {'filling means' if made.basis == 'filling means' else 'values'} are equal; copied or rounded "
                "values look like this. The uncertainty is understated.",
            )
        )
    total = math.sqrt(variance + instrument_kv**2)
    if variance > 0 and instrument_kv > 0:
        alone = student(df, confidence) * made.standard_uncertainty_kv
        df *= (total**2 / variance) ** 2
        if alone > student(df, confidence) * total:
            df = matching_df(alone / total, confidence)
    return replace(made, standard_uncertainty_kv=total, df=df, cautions=tuple(found))


def _belief(
    kv: np.ndarray, withstood: np.ndarray, fillings: np.ndarray, known: Prior | None, instrument_kv: float
) -> tuple[np.ndarray, np.ndarray | None] | None:
    """Draws of the true mean of the oil with what is known beforehand said by :data:`PRIOR_WORDS`."""
    code = np.unique(fillings, return_inverse=True)[1]
    if withstood.any():
        values, weights = _censored_belief(kv, withstood, code, known)
    else:
        s = summarise(kv, code)
        if s.n < 2 or (s.within_ss == 0 and s.between_ss == 0 and known is None):
            return None
        draws: Draws = flat_ratio(s) if known is None else posterior(s, known)
        values, weights = draws.mean, draws.weights
    if instrument_kv > 0:
        values = values + instrument_kv * _deviates(len(values))
    return values, weights


def _deviates(size: int) -> np.ndarray:
    return np.random.default_rng(20250101).standard_normal(size)


def _censored_belief(
    kv: np.ndarray, gone: np.ndarray, code: np.ndarray, known: Prior | None
) -> tuple[np.ndarray, np.ndarray | None]:
    """Under a ceiling: draws of the mean; with one filling, what another would differ by is added."""
    from methods.scatter.newton import fit_batch

    batch = fit_batch(NORMAL, kv[None], ~gone[None], np.ones((1, len(kv)), bool))
    draws = draws_of(NORMAL, kv, gone, code, float(batch.mu[0]), float(batch.sigma[0]))
    values = draws.mu
    sizes = np.bincount(code) / len(kv)
    if known is not None:
        t = _deviates(len(values)) if not math.isfinite(known.between_df) else (
            np.random.default_rng(20250101).standard_t(known.between_df, len(values)))  # fmt: skip
        values = values + known.between_sd * math.sqrt(float(np.sum(sizes**2))) * t
    elif len(sizes) == 1:
        ratio = MOST_RATIO * np.random.default_rng(20250102).random(len(values))
        values = values + ratio * draws.sigma * _deviates(len(values))
    return values, None
