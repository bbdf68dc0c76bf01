"""Serial correlation inside a filling: how much wider it makes the mean."""

from __future__ import annotations

import numpy as np

from methods.errors import InputError
from methods.planning.inputs import count, positive


def ar1_inflation(rho: float, n: int) -> float:
    """Factor by which a first-order autoregressive correlation multiplies the variance of a mean of ``n``.

    ``1 + 2 * sum over lags h of (1 - h/n) * rho**h``; the effective number of breakdowns is ``n`` divided by it.
    The factor holds for the mean about its true value with the marginal SD known.

    Source: standard result for stationary series, e.g. Box, Jenkins, Reinsel, *Time Series Analysis*, ch. 2
    (chapter from memory).

    Raises
    ------
    InputError
        ``n`` below 1, or ``rho`` outside -1 to 1.
    """
    size = count(n, "n")
    positive(abs(rho), "rho", zero=True)
    if abs(rho) >= 1:
        raise InputError(f"A correlation of {rho:g} is impossible here; it must lie between -1 and 1.", column="rho")
    lags = np.arange(1, size)
    return float(1 + 2 * np.sum((1 - lags / size) * float(rho) ** lags))


def effective_breakdowns(rho: float, n: int, *, long_series: bool = False) -> float:
    """The number of independent breakdowns whose mean is as uncertain as that of ``n`` correlated ones.

    ``long_series`` gives the textbook form for long series, ``n * (1 - rho) / (1 + rho)``, which is too pessimistic
    for the five or six of a filling (below one for six at 0.8); it is here to be compared with.
    """
    exact = n / ar1_inflation(rho, n)
    return n * (1 - rho) / (1 + rho) if long_series else exact
