"""Several random levels under a ceiling: restricted likelihood without withstands, quadrature with one level."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.errors import NotEstimable
from methods.scatter import components
from methods.scatter.censored import fit_censored
from methods.scatter.mixed import fit_mixed
from methods.scatter.withstood_levels import fit_levels


def bench(seed: int, top: float = np.inf) -> tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Invented: four laboratories, three oils in each, two fillings of four."""
    rng = np.random.default_rng(seed)
    filling = np.repeat(np.arange(24), 4)
    oil, laboratory = filling // 2, filling // 6
    kv = 60 + 4 * rng.standard_normal(4)[laboratory] + 6 * rng.standard_normal(12)[oil]
    kv = kv + 3 * rng.standard_normal(24)[filling] + 6 * rng.standard_normal(96)
    return np.minimum(kv, top), kv >= top, {"laboratory": laboratory, "sample": oil, "filling": filling}


def test_without_withstands_it_is_the_restricted_likelihood() -> None:
    """Laplace is exact there; the peer is the package's own REML, which agrees with lme4 in test_components."""
    kv, gone, factors = bench(1)
    found = fit_levels(kv, gone, np.ones((96, 1)), factors)
    peer = fit_mixed(kv, np.ones((96, 1)), factors)
    assert found.log_likelihood == pytest.approx(peer.log_likelihood, abs=1e-5)
    assert found.beta[0] == pytest.approx(peer.beta[0], abs=1e-4)
    for name, sd in peer.sds.items():
        assert found.sds[name] == pytest.approx(sd, abs=0.02)
    assert found.residual_sd == pytest.approx(np.sqrt(peer.residual[0]), abs=0.01)
    mine, other = found.contrast([1.0]), peer.contrast([1.0])
    assert mine.high - mine.low == pytest.approx(other.high - other.low, rel=0.25)


def test_one_level_with_withstands_agrees_with_quadrature() -> None:
    kv, gone, factors = bench(2, top=66.0)
    assert 5 < gone.sum() < 40
    x = np.zeros((96, 12))
    x[np.arange(96), factors["sample"]] = 1
    keep = ~np.isin(factors["sample"], np.flatnonzero(np.bincount(factors["sample"], ~gone) < 2))
    x = x[keep][:, x[keep].any(0)]
    found = fit_levels(kv[keep], gone[keep], x, {"filling": factors["filling"][keep]})
    peer = fit_censored(kv[keep], gone[keep], x, factors["filling"][keep])
    assert found.beta == pytest.approx(peer.beta, abs=0.8)
    assert found.residual_sd == pytest.approx(peer.residual_sd[0], rel=0.05)


def test_no_factor_is_held_fixed_and_a_whole_oil_may_withstand() -> None:
    kv, _, factors = bench(3)
    kv = np.where(factors["sample"] == 2, kv + 40, kv)
    top = 80.0
    table = pd.DataFrame({
        "laboratory": np.char.add("L", factors["laboratory"].astype(str)), "filling": factors["filling"].astype(str),
        "sample": np.char.add("oil ", factors["sample"].astype(str)), "kv": np.minimum(kv, top),
        "outcome": np.where(kv >= top, "withstood", "breakdown"),
    })  # fmt: skip
    assert (table.loc[factors["sample"] == 2, "outcome"] == "withstood").all()
    found = components(table)
    assert [c.factor for c in found.components] == ["laboratory", "sample", "filling", "breakdown"]
    assert all(c.low <= c.sd <= c.high and np.isfinite(c.high) for c in found.components)
    assert found.fixed == [] and "withstood_levels" not in {c.code for c in found.cautions}
    oils = table.groupby("sample")["kv"].mean()
    alone = 2.2 * oils.std() / np.sqrt(len(oils))
    assert found.high_kv - found.low_kv > alone
    with pytest.raises(NotEstimable):
        components(table.assign(outcome="withstood"))
