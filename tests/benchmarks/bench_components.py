"""Components of 200 conditions (5 fillings of 6 breakdowns) in one batch, against a loop of statsmodels' MixedLM.

Run: ``python -m tests.benchmarks.bench_components``. Prints both times, their ratio and the largest difference.
"""

from __future__ import annotations

import time
import warnings

import numpy as np
import statsmodels.api as sm

from methods.scatter import components_many

CONDITIONS, FILLINGS, BREAKDOWNS = 200, 5, 6


def invented(seed: int = 1) -> np.ndarray:
    """Invented breakdowns, kV (conditions, fillings, breakdowns): 3 kV between fillings, 5 kV within."""
    rng = np.random.default_rng(seed)
    return 55 + rng.normal(0, 3, (CONDITIONS, FILLINGS, 1)) + rng.normal(0, 5, (CONDITIONS, FILLINGS, BREAKDOWNS))


def by_loop(kv: np.ndarray) -> np.ndarray:
    """Filling and breakdown standard deviations, one MixedLM a condition."""
    code, ones = np.repeat(np.arange(FILLINGS), BREAKDOWNS), np.ones((FILLINGS * BREAKDOWNS, 1))
    out = np.empty((len(kv), 2))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # at the bound MixedLM warns; the figures are compared below
        for i, y in enumerate(kv):
            fit = sm.MixedLM(y.ravel(), ones, code).fit(reml=True, method="powell")
            out[i] = np.sqrt([max(float(np.asarray(fit.cov_re)[0, 0]), 0.0), float(fit.scale)])
    return out


def main() -> None:
    kv = invented()
    components_many(kv)  # first call pays for imports
    best = np.inf
    for _ in range(5):
        start = time.perf_counter()
        found = components_many(kv)
        best = min(best, time.perf_counter() - start)
    start = time.perf_counter()
    theirs = by_loop(kv)
    loop = time.perf_counter() - start
    ours = found[["filling_sd", "breakdown_sd"]].to_numpy()
    inside = ours[:, 0] > 0.3  # near the bound MixedLM stops anywhere below about 0.1 kV
    away = np.abs(ours - theirs)[inside].max() / 5
    print(f"batch {1e3 * best:.2f} ms, loop of MixedLM {1e3 * loop:.0f} ms, ratio {loop / best:.0f}")
    print(f"largest difference {away:.1e} of the breakdown scatter, over {inside.sum()} conditions off the bound")
    print(
        f"at the bound ({(~inside).sum()}): breakdown scatter differs by {np.abs(ours - theirs)[~inside, 1].max() / 5:.1e}"
    )


if __name__ == "__main__":
    main()
