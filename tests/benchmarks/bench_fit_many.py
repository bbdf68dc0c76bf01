"""How much faster the vectorised fit is than a loop over SciPy: prints the ratio, passes or fails nothing.

Run ``python -m tests.benchmarks.bench_fit_many``. SciPy is timed on a few groups and scaled to all of them.
"""

from __future__ import annotations

import time

import numpy as np
from scipy import stats

from methods.scatter import fit_many

GROUPS, EACH, SAMPLE = 10_000, 60, 40


def main() -> None:
    rng = np.random.default_rng(1)
    x = 50 * rng.weibull(8, (GROUPS, EACH))
    gone = x > 55
    x = np.minimum(x, 55)
    print(f"{GROUPS:,} groups of {EACH}, {100 * gone.mean():.0f} % withstood (invented)")

    fit_many(x[:100], gone[:100])
    ours = {}
    for family in ("weibull", "normal", "lognormal", "gumbel_min"):
        runs = []
        for _ in range(3):
            start = time.perf_counter()
            fit_many(x, gone, family)
            runs.append(time.perf_counter() - start)
        ours[family] = min(runs)
        print(f"fit_many {family:<11} {min(runs):8.3f} s  {1e6 * min(runs) / GROUPS:8.1f} µs a group (best of 3)")
    start = time.perf_counter()
    fit_many(x[:500], gone[:500], "weibull3")
    each = (time.perf_counter() - start) / 500
    print(f"fit_many weibull3    {each * GROUPS:8.3f} s  {1e6 * each:8.1f} µs a group (timed on 500, scaled)")

    start = time.perf_counter()
    for i in range(SAMPLE):
        sample = stats.CensoredData(uncensored=x[i][~gone[i]], right=x[i][gone[i]])
        stats.weibull_min.fit(sample, floc=0)
    each = (time.perf_counter() - start) / SAMPLE
    print(
        f"loop over scipy.stats.weibull_min.fit(CensoredData): {1e3 * each:.1f} ms a group, timed on {SAMPLE} groups;"
    )
    print(f"scaled to {GROUPS:,}: {each * GROUPS:.0f} s")
    print(f"ratio: {each * GROUPS / ours['weibull']:.0f} times")


if __name__ == "__main__":
    main()
