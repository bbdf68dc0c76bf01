"""Breakdowns that stand apart: Grubbs' and Dixon's tests. They flag; nothing is ever left out.

A low breakdown is as a rule the oil speaking (a fibre, a droplet), not a mistake. Sources: Grubbs & Beck,
Technometrics 14 (1972) 847; Dixon, Ann. Math. Statist. 21 (1950) 488 and 22 (1951) 68; Rorabacher, Anal. Chem. 63
(1991) 139.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
import scipy
from numpy.typing import ArrayLike, NDArray

from methods.confidence import check_confidence
from methods.errors import InputError, NotEstimable

Floats = NDArray[Any]


def grubbs_critical(n: int, confidence: float = 0.95, *, two_sided: bool = True) -> float:
    """Critical value of Grubbs' ``max |x - mean|/sd`` for ``n`` normal values, readings or means of laboratories.

    Two-sided by default, as ISO 5725-2 tabulates it (Grubbs, Technometrics 11 (1969) 1).

    Parameters
    ----------
    n : int
        Number of values, 3 or more.
    confidence : float, default 0.95
        Of the test, a fraction.
    two_sided : bool, default True
        Whether either end may be suspect.

    Raises
    ------
    InputError
        Fewer than three values, or ``confidence`` not between 0 and 1.

    Examples
    --------
    >>> round(float(grubbs_critical(9)), 3)
    2.215
    """
    alpha = 1 - confidence
    _check(n, confidence)
    t = float(scipy.stats.t.isf(alpha / (2 * n if two_sided else n), n - 2))
    return (n - 1) / np.sqrt(n) * float(np.sqrt(t * t / (n - 2 + t * t)))


def grubbs_p(g: float, n: int, *, two_sided: bool = True) -> float:
    """p-value of Grubbs' statistic (Bonferroni: exact where it is small).

    Parameters
    ----------
    g : float
        The statistic.
    n : int
        Number of values, 3 or more.
    two_sided : bool, default True
        Whether either end may be suspect.
    """
    _check(n, 0.5)
    room = (n - 1) ** 2 - n * g * g
    if room <= 0:
        return 0.0
    t = float(np.sqrt(n * (n - 2) * g * g / room))
    return min(1.0, (2 if two_sided else 1) * n * float(scipy.stats.t.sf(t, n - 2)))


def dixon_q(kv: ArrayLike, *, low: bool, form: str = "r10") -> float:
    """Gap of the extreme value over the range: ``r10`` to the whole range, ``r11`` without the other extreme.

    Parameters
    ----------
    kv : array_like
        (n,) Voltages, kV.
    low : bool
        Whether the lowest is suspect, else the highest.
    form : str, default 'r10'
        ``r10`` or ``r11``.

    Examples
    --------
    >>> round(dixon_q([30.0, 50.0, 55.0, 60.0], low=True), 3)
    0.667
    """
    y = np.sort(np.asarray(kv, dtype=float))
    y = y if low else -y[::-1]
    if form not in ("r10", "r11"):
        raise InputError("The form of Dixon's ratio is 'r10' or 'r11'.")
    whole = (y[-1] if form == "r10" else y[-2]) - y[0]
    return float((y[1] - y[0]) / whole) if whole > 0 else 0.0


def dixon_critical(n: int, confidence: float = 0.95, *, two_sided: bool = True) -> float:
    """Critical value of ``r10`` for ``n`` (3 to 30) normal values, solved from its exact distribution.

    Parameters
    ----------
    n : int
        Number of values, 3 to 30.
    confidence : float, default 0.95
        Of the test, a fraction.
    two_sided : bool, default True
        Whether either end may be suspect.
    """
    alpha = 1 - confidence
    _check(n, confidence)
    tail = alpha / 2 if two_sided else alpha
    return float(scipy.optimize.brentq(lambda q: dixon_p(q, n, two_sided=False) - tail, 1e-6, 1 - 1e-9, xtol=1e-7))


def dixon_p(q: float, n: int, *, two_sided: bool = True) -> float:
    """Probability that ``r10`` at a given end exceeds ``q`` (twice that, at most 1, when either end may be suspect).

    With lowest value x and range w, the next value lies above ``x + q w`` with probability
    ``n (n-1) int int f(x) f(x+w) [F(x+w) - F(x+qw)]^(n-2) dw dx``; integrated numerically.

    Parameters
    ----------
    q : float
        The statistic.
    n : int
        Number of values, 3 to 30.
    two_sided : bool, default True
        Whether either end may be suspect.
    """
    _check(n, 0.5)
    if n > 30:
        raise NotEstimable("Dixon's r10 is meant for 3 to 30 values.")
    if q <= 0:
        return 1.0
    x, wx, w, ww = _nodes()
    inner = (scipy.special.ndtr(x[:, None] + w) - scipy.special.ndtr(x[:, None] + q * w)) ** (n - 2)
    density = scipy.stats.norm.pdf(x)[:, None] * scipy.stats.norm.pdf(x[:, None] + w)
    p = n * (n - 1) * float(wx @ (density * inner) @ ww)
    return min(1.0, (2 if two_sided else 1) * p)


@lru_cache(maxsize=1)
def _nodes() -> tuple[Floats, Floats, Floats, Floats]:
    a, b = np.polynomial.legendre.leggauss(120)
    return 9 * a, 9 * b, 9 * (a + 1), 9 * b


def _check(n: int, confidence: float) -> None:
    if n < 3:
        raise InputError("A test for outliers needs three values.")
    check_confidence(confidence)


def flag_outliers(kv: ArrayLike, *, confidence: float = 0.95) -> pd.DataFrame:
    """Flag the lowest and the highest of the values (n,) where they stand apart more than normal scatter explains.

    Returns
    -------
    DataFrame
        A row for each test and end: ``test, side, position`` (from 0), ``kv, statistic, critical, p_value, flagged``.
        Two-sided tests at this ``confidence``. Dixon's for 3 to 30 values.

    Raises
    ------
    InputError, NotEstimable
        Values that are not finite; fewer than three, or all equal.
    """
    y = np.asarray(kv, dtype=float)
    if y.ndim != 1 or not np.isfinite(y).all():
        raise InputError("Outliers are sought among one row of finite values; withstood ceilings are not values.")
    n = len(y)
    if n < 3 or np.ptp(y) == 0:
        raise NotEstimable("A test for outliers needs three values that are not all equal.")
    mean, sd = float(y.mean()), float(y.std(ddof=1))
    rows = []
    for side, at in (("low", int(y.argmin())), ("high", int(y.argmax()))):
        g = abs(float(y[at]) - mean) / sd
        rows.append(("Grubbs", side, at, float(y[at]), g, grubbs_critical(n, confidence), grubbs_p(g, n)))
        if n <= 30:
            q = dixon_q(y, low=side == "low")
            rows.append(("Dixon", side, at, float(y[at]), q, dixon_critical(n, confidence), dixon_p(q, n)))
    out = pd.DataFrame(rows, columns=["test", "side", "position", "kv", "statistic", "critical", "p_value"])
    out["flagged"] = out["statistic"] > out["critical"]
    return out
