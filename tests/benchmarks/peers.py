"""What the libraries of ``peers.txt`` make of the problems of ``bench_peers``: run by it in their own environment.

Takes a folder with ``problem.npz`` and ``table.csv``; prints JSON: case -> library -> [processor s a call, values].
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

Case = Callable[[], list[float]]


def timed(work: Case, least_s: float = 1.0) -> list[Any]:
    """Processor seconds a call, the best of several within a second or so, and what it gave."""
    given, took, spent = work(), [], 0.0
    while spent < least_s or len(took) < 2:
        begun = time.process_time()
        given = work()
        took.append(time.process_time() - begun)
        spent += took[-1]
    return [min(took), given]


def weibull(kv: np.ndarray, stood: np.ndarray) -> dict[str, Case]:
    """Scale and shape of a Weibull law with right-censored values."""
    import surpyval
    from lifelines import WeibullFitter
    from reliability.Fitters import Fit_Weibull_2P
    from scipy import stats

    def scipy() -> list[float]:
        shape, _, scale = stats.weibull_min.fit(stats.CensoredData(uncensored=kv[~stood], right=kv[stood]), floc=0)
        return [scale, shape]

    def lifelines() -> list[float]:
        found = WeibullFitter().fit(kv, ~stood)
        return [found.lambda_, found.rho_]

    def reliability() -> list[float]:
        found = Fit_Weibull_2P(failures=kv[~stood], right_censored=kv[stood], show_probability_plot=False,
                               print_results=False)  # fmt: skip
        return [found.alpha, found.beta]

    def survival() -> list[float]:
        return [float(v) for v in surpyval.Weibull.fit(kv, c=stood.astype(int)).params]

    return {"SciPy": scipy, "lifelines": lifelines, "reliability": reliability, "surpyval": survival}


def lognormal(kv: np.ndarray, stood: np.ndarray) -> dict[str, Case]:
    """Mean and SD of the logarithms of a lognormal law with right-censored values."""
    import surpyval
    from lifelines import LogNormalFitter
    from reliability.Fitters import Fit_Lognormal_2P
    from scipy import stats

    def scipy() -> list[float]:
        sd, _, scale = stats.lognorm.fit(stats.CensoredData(uncensored=kv[~stood], right=kv[stood]), floc=0)
        return [float(np.log(scale)), sd]

    def lifelines() -> list[float]:
        found = LogNormalFitter().fit(kv, ~stood)
        return [found.mu_, found.sigma_]

    def reliability() -> list[float]:
        found = Fit_Lognormal_2P(failures=kv[~stood], right_censored=kv[stood], show_probability_plot=False,
                                 print_results=False)  # fmt: skip
        return [found.mu, found.sigma]

    def survival() -> list[float]:
        return [float(v) for v in surpyval.LogNormal.fit(kv, c=stood.astype(int)).params]

    return {"SciPy": scipy, "lifelines": lifelines, "reliability": reliability, "surpyval": survival}


def kaplan_meier(kv: np.ndarray, stood: np.ndarray) -> dict[str, Case]:
    """The share that withstands 45, 50 and 55 kV."""
    import surpyval
    from lifelines import KaplanMeierFitter

    at = [45.05, 50.05, 55.05]
    return {
        "lifelines": lambda: [float(v) for v in KaplanMeierFitter().fit(kv, ~stood).predict(at)],
        "surpyval": lambda: [float(v) for v in surpyval.KaplanMeier.fit(kv, c=stood.astype(int)).sf(np.array(at))],
    }


def mixed(kv: np.ndarray, filling: np.ndarray) -> dict[str, Case]:
    """Mean, SD between fillings and within."""
    import statsmodels.api

    def statsmodels_() -> list[float]:
        found = statsmodels.api.MixedLM(kv, np.ones((len(kv), 1)), groups=filling).fit(reml=True)
        return [float(found.fe_params[0]), float(found.cov_re[0, 0]) ** 0.5, float(found.scale) ** 0.5]

    return {"statsmodels": statsmodels_}


def table(path: str) -> dict[str, Case]:
    """Rows and sum of kV of a clean file."""
    return {"pandas": lambda: [float(len(held := pd.read_csv(path))), float(held["kv"].sum())]}


def main() -> None:
    warnings.simplefilter("ignore")
    logging.disable(logging.CRITICAL)
    os.environ.setdefault("MPLBACKEND", "Agg")
    place = Path(sys.argv[1])
    p = np.load(place / "problem.npz")
    cases = {
        "weibull": weibull(p["kv"], p["stood"]),
        "lognormal": lognormal(p["kv"], p["stood"]),
        "kaplan_meier": kaplan_meier(p["many"], p["many_stood"]),
        "mixed": mixed(p["mixed"], p["filling"]),
        "table": table(str(place / "table.csv")),
    }
    with contextlib.redirect_stdout(sys.stderr):
        found = {name: {who: timed(work) for who, work in works.items()} for name, works in cases.items()}
    print(json.dumps(found))


if __name__ == "__main__":
    main()
