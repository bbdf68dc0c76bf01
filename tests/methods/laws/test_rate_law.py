"""The rate law against Nelson's fluid and by simulating the damage of a ramp."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError, NotEstimable
from methods.laws.rate_law import rate_laws, rate_shift
from tests.reference import data


def test_six_fold_ramp_with_the_exponents_of_nelsons_fluid() -> None:
    """Nelson (1972): n from 16.39 (least squares) to 17.73 (Weibull inverse power law, all 76): +10 to +11 %."""
    frame = data("A01_nelson_fluid.csv")
    n = -np.polyfit(np.log(frame["kV"]), np.log(frame["minutes"]), 1)[0]
    assert n == pytest.approx(16.3908, abs=1e-3)
    low = rate_shift(0.5, 3.0, 17.7296)
    high = rate_shift(0.5, 3.0, float(n))
    assert 10.0 < low.percent < high.percent < 11.0
    both = rate_shift(0.5, 3.0, 17.0, n_low=float(n), n_high=17.7296)
    assert (both.low_percent, both.high_percent) == (pytest.approx(low.percent), pytest.approx(high.percent))
    assert rate_shift(3.0, 0.5, 17.0).ratio == pytest.approx(1 / rate_shift(0.5, 3.0, 17.0).ratio)


def test_ramp_damage_integrated_numerically() -> None:
    """Damage grows as V^n; the ramp that fills it at twice the rate ends 2^(1/(n+1)) higher."""
    n, ends = 9.0, []
    for rate in (1.0, 2.0):
        t = np.linspace(0, 80, 400_001)
        damage = np.cumsum((rate * t) ** n) * (t[1] - t[0])
        ends.append(rate * t[np.searchsorted(damage, 1e12)])
    assert ends[1] / ends[0] == pytest.approx(rate_shift(1, 2, n).ratio, rel=1e-4)


def invented(n: float, rates: tuple[float, ...] = (0.5, 2.0, 3.0), sd: float = 0.01) -> pd.DataFrame:
    rng = np.random.default_rng(0)
    return pd.DataFrame(
        [
            {"sample": "oil", "electrode": "disk", "gap_mm": 2.54, "rise_kv_s": r, "filling": str(f), "order": i,
             "kv": 40 * r ** (1 / (n + 1)) * np.exp(rng.normal(0, sd))}
            for r in rates for f in range(5) for i in range(5)
        ]
    )  # fmt: skip


def test_the_exponent_is_recovered() -> None:
    (law,) = rate_laws(invented(17.0))
    assert law.n_low < 17 < law.n_high and law.n == pytest.approx(17, rel=0.2)
    assert law.slope == pytest.approx(1 / (law.n + 1))


def test_what_the_data_cannot_say() -> None:
    noisy = rate_laws(invented(200.0, sd=0.15))[0]
    assert np.isinf(noisy.n_high) or np.isnan(noisy.n)
    with pytest.raises(NotEstimable, match="two values of the rate of rise"):
        rate_laws(invented(17.0, rates=(2.0,)))
    with pytest.raises(NotEstimable, match="rate of rise"):
        rate_laws(pd.DataFrame({"kv": [1.0, 2.0]}))
    with pytest.raises(InputError):
        rate_shift(0, 3, 17)
