"""The interval that a bench will obtain from its fillings, exactly as the analysis makes it.

What the analysis computes from k fillings of n breakdowns is the standard error that scatter within fillings alone
would give, ``sqrt(MS_w / (k n))``, times a function of one ratio: the standard error from the filling means over that
one. For the mean that function is Student's t times the ratio, but for fillings that agree by luck, which are not
believed (:func:`methods.scatter.nested_pivots.mean_error`). It is asked of the analysis itself at a few ratios; the
two mean squares follow scaled chi-square laws, so that a plan tells how probably an interval comes out narrow, or a
limit is reached, without simulation.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from methods.errors import InputError
from methods.scatter.nested_pivots import Summary, flat_ratio, mean_error, student
from methods.scatter.one_oil import normal_percentiles

#: Ratios at which the analysis is asked: closely where fillings agree by luck, widely beyond.
_ASKED = np.concatenate([np.linspace(0, 1, 13), np.geomspace(1, 300, 15)[1:]])
_BETWEEN = np.concatenate([np.linspace(0, 1, 400), np.geomspace(1, 300, 800)[1:]])
_PARTS = (np.arange(128) + 0.5) / 128


@dataclass(frozen=True)
class Obtained:
    """What the analysis of ``fillings`` of ``breakdowns_per_filling`` gives at each ``ratio`` (points,), rising.

    ``half``: half-width of the two-sided limits, ``reach``: how far the one-sided lower limit lies below the mean;
    both (points,), over the standard error that scatter within fillings alone gives. ``reach`` is of the mean only.
    """

    fillings: int
    breakdowns_per_filling: int
    ratio: np.ndarray
    half: np.ndarray
    reach: np.ndarray

    @property
    def within_df(self) -> int:
        return self.fillings * (self.breakdowns_per_filling - 1)

    def half_at(self, ratio: np.ndarray) -> np.ndarray:
        """Half-width at ratios of any shape; beyond the last in proportion."""
        return np.asarray(np.interp(ratio, self.ratio, self.half) * np.maximum(ratio / self.ratio[-1], 1.0))

    def reach_at(self, ratio: np.ndarray) -> np.ndarray:
        """How far the one-sided limit lies below the mean, at ratios of any shape."""
        return np.asarray(np.interp(ratio, self.ratio, self.reach) * np.maximum(ratio / self.ratio[-1], 1.0))

    def _ratio_for(self, half: np.ndarray) -> np.ndarray:
        """Largest ratio whose half-width is no wider; below 0 where none is."""
        found = np.interp(half, self.half, self.ratio, left=-1.0)
        return np.asarray(found * np.maximum(half / self.half[-1], 1.0))

    def _inside(self, within_square: float) -> np.ndarray:
        """Equally likely standard errors from scatter within fillings, whose expected mean square is given."""
        squares = within_square * 2 * scipy.special.gammaincinv(self.within_df / 2, _PARTS) / self.within_df
        return np.asarray(np.sqrt(squares / (self.fillings * self.breakdowns_per_filling)))

    def narrow(self, target: float, means_square: float, within_square: float) -> float:
        """Probability that the half-width is at most ``target``.

        ``means_square`` is the expected variance of the filling means, ``within_square`` the expected mean square
        within fillings, in the unit of the target squared.

        Parameters
        ----------
        target : float
            Half-width that is wanted.
        means_square : float
            Expected variance of the filling means.
        within_square : float
            Expected mean square within fillings.
        """
        inside = self._inside(within_square)
        most = np.maximum(self._ratio_for(target / inside), 0.0) * inside
        df = self.fillings - 1
        return float(np.mean(scipy.special.chdtr(df, df * self.fillings * most**2 / means_square)))

    def reaches(self, distance: np.ndarray, means_square: float, within_square: float) -> np.ndarray:
        """Probability that the one-sided lower limit of the mean reaches a limit that lies ``distance`` below the true
        mean; distances of any shape.

        Parameters
        ----------
        distance : ndarray
            How far below the true mean the limit lies.
        means_square : float
            Expected variance of the filling means.
        within_square : float
            Expected mean square within fillings.
        """
        df = self.fillings - 1
        spread = np.sqrt(means_square * 2 * scipy.special.gammaincinv(df / 2, _PARTS) / df / self.fillings)
        inside = self._inside(within_square)[:, None]
        reach = inside * self.reach_at(spread[None, :] / inside)
        error = np.sqrt(means_square / self.fillings)
        away = np.asarray(distance, dtype=float)
        found = [float(np.mean(scipy.special.ndtr((d - reach) / error))) for d in away.ravel()]
        return np.array(found).reshape(away.shape)


@lru_cache(maxsize=2048)
def mean_obtained(fillings: int, breakdowns_per_filling: int, confidence: float) -> Obtained:
    """The interval of the mean over two fillings or more of two breakdowns or more.

    Parameters
    ----------
    fillings : int
        Fillings, 2 or more.
    breakdowns_per_filling : int
        Breakdowns on each, 2 or more.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    k, n = fillings, breakdowns_per_filling
    t = student(k - 1.0, confidence)
    one_sided = float(scipy.special.stdtrit(k - 1, confidence))
    half, reach = [], []
    for ratio in _ASKED[_ASKED <= 1]:
        error, df, _ = mean_error(_summary(k, n, ratio), confidence)
        half.append(student(df, confidence) * error)
        p = scipy.special.ndtri(confidence) if np.isinf(df) else scipy.special.stdtrit(df, confidence)
        reach.append(float(p) * error)
    luck = _ASKED[_ASKED <= 1]
    fine = np.where(_BETWEEN <= 1, np.interp(_BETWEEN, luck, np.maximum.accumulate(half)), t * _BETWEEN)
    low = np.where(_BETWEEN < 1, np.interp(_BETWEEN, luck, reach), one_sided * _BETWEEN)
    # between two ratios that were asked the line may cross Student's t, which is never undercut
    return Obtained(k, n, _BETWEEN, np.maximum(fine, t * _BETWEEN), np.maximum(low, one_sided * _BETWEEN))


@lru_cache(maxsize=512)
def one_filling_reach(n: int, confidence: float) -> float:
    """How far below the mean of one filling of ``n`` the oil's mean surely lies, in SDs of its breakdowns.

    Raises
    ------
    InputError
        One breakdown.
    """
    if n < 2:
        raise InputError(
            "The guarded rule needs an interval, and one breakdown on one filling gives none: take two breakdowns or "
            "more, or use the scatter known from history."
        )
    draws = flat_ratio(Summary(n, 1, 0.0, 0.0, float(n - 1), float(n)))
    return float(-draws.quantiles(draws.mean, 1 - confidence)[0])


@lru_cache(maxsize=512)
def percentile_obtained(fillings: int, breakdowns_per_filling: int, p: float, confidence: float) -> Obtained:
    """The interval of the ``p`` point of the normal law over two fillings or more of two breakdowns or more.

    Parameters
    ----------
    fillings : int
        Fillings, 2 or more.
    breakdowns_per_filling : int
        Breakdowns on each, 2 or more.
    p : float
        Fraction below the percentile.
    confidence : float
        Of the limits, a fraction between 0 and 1.
    """
    k, n = fillings, breakdowns_per_filling
    ends = [normal_percentiles(_summary(k, n, float(r)), [p], confidence)[0, 1:] for r in _ASKED]
    half = np.maximum.accumulate([(high - low) / 2 for low, high in ends])
    smooth = scipy.interpolate.PchipInterpolator(_ASKED, half)
    return Obtained(k, n, _BETWEEN, np.maximum.accumulate(smooth(_BETWEEN)), np.full(len(_BETWEEN), np.nan))


def _summary(k: int, n: int, ratio: float) -> Summary:
    """Fillings whose means give ``ratio`` times a standard error of 1 from scatter within."""
    return Summary(k * n, k, 0.0, (k - 1) * k * ratio**2, k * (n - 1) * float(k * n), float(n))
