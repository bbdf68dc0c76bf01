"""Studies of shifts between conditions: means, scatter ratios, percentiles, equivalence, several comparisons."""

from __future__ import annotations

from functools import lru_cache, partial
from itertools import combinations

import numpy as np
from scipy import stats

from methods.shifts import two_sample
from methods.shifts.compare import compare
from methods.shifts.comparisons import games_howell_from_means, holm, tukey_from_means
from tests.calibration import scenarios
from tests.calibration import shift_coverage as benches
from tests.calibration.registry import Claim, Outcomes, Study, inside, repeat

SHIFT = "Shift between two conditions"
SEVERAL = "Several levels and plain samples"

_SHIFT = (Claim("kv", "shift in kV"), Claim("percent", "shift in per cent"))
_SPREAD = (Claim("f", "ratio of SDs, F limits"), Claim("robust", "ratio of SDs, robust limits"))


def _shift(
    repetitions: int, rng: np.random.Generator, *, model: str, fillings: tuple[int, int], law: str = "normal",
    oils: tuple[float, ...] = (1.0,), unequal: bool = False, ceiling: float = np.inf, between: float = 2.5,
    breakdowns: int = 5, log: bool = False, spread: bool = False,
) -> Outcomes:  # fmt: skip
    means = (50.0, 45.0)
    kv_truth = (means[1] - means[0]) * float(np.mean(oils))
    scatter = {"between": (2.5, 5.0), "within": (7.5, 3.0)} if unequal else {"between": (between, between)}
    keys = ["kv", "percent"][1 if log else 0 :] + (["f", "robust"] if spread else [])

    def one() -> dict[str, float | bool]:
        lay = benches.bench(
            rng, fillings, means=means, law=law, oils=oils, ceiling_kv=ceiling, breakdowns=breakdowns,
            **scatter,  # type: ignore[arg-type]
        )  # fmt: skip
        out: dict[str, float | bool] = {}
        if log:
            low, high = compare(lay, 1, 0, log=True).difference.limits(0.95)  # type: ignore[union-attr]
            return {"percent": inside(low, np.log(means[1] / means[0]), high)}
        kv, ratio = benches.limits(lay, model)
        out["kv"] = inside(kv[0], kv_truth, kv[1])
        out["percent"] = inside(ratio[0], means[1] / means[0], ratio[1])
        if spread:
            found = compare(lay, 1, 0).spread(0.95)
            out["f"] = inside(found.low, 1.0, found.high)
            out["robust"] = inside(found.robust_low, 1.0, found.robust_high)
        return out

    return repeat(repetitions, one, keys)


def _shift_study(name: str, data: str, design: str, reps: tuple[int, int], **options: object) -> Study:
    model = str(options["model"])
    claims = _SHIFT + (_SPREAD if options.get("spread") else ())
    if options.get("log"):
        claims = (Claim("percent", "shift as a ratio, means of log kV"),)
    data = f"{data}; " + ("from filling means" if model == "filling_means" else "mixed model")
    return Study(f"shift {name} {model}", SHIFT, data, design, claims, partial(_shift, **options), reps)  # type: ignore[arg-type]


def _correlated(repetitions: int, rng: np.random.Generator, *, k: int, model: str) -> Outcomes:
    """Both levels with correlated neighbours: the fillings, not the breakdowns, carry the shift."""

    def one() -> dict[str, float | bool]:
        kv = scenarios.nested(rng, 1, 2 * k, 5, correlation=0.4)[0]
        kv[k:] -= 5.0
        lay = benches.bench(rng, (k, k))
        lay = type(lay)(**{**vars(lay), "kv": kv.ravel()})
        low, high = benches.limits(lay, model)[0]
        return {"kv": inside(low, -5.0, high)}

    return repeat(repetitions, one, ["kv"])


def _from_rows(keys: dict[str, str], simulate, repetitions: int, rng: np.random.Generator, **options) -> Outcomes:  # type: ignore[no-untyped-def]
    """Outcomes of a study of :mod:`tests.calibration.shift_coverage`, whose rows carry shares."""
    rows = simulate(repetitions, int(rng.integers(2**31)), **options)
    share = {r.what: r.found for r in rows}
    return {k: np.arange(repetitions) < round(share[what] * repetitions) for k, what in keys.items()}


def _percentiles(family: str, law: str, fillings: tuple[int, int]) -> Study:
    keys = {f"fit{p}": f"shift of the {p} % point, {family} family" for p in (1, 10, 50)}
    keys |= {f"data{p}": f"shift of the {p} % point, by the data" for p in (10, 50)}
    keys["band"] = "band over all percentiles"
    return Study(
        f"percentile shift {family} {law} {fillings[0]}", SHIFT, scenarios.describe(law),
        f"{fillings[0]} and {fillings[1]} fillings of 5", tuple(Claim(k, w) for k, w in keys.items()),
        partial(_from_rows, keys, benches.percentiles, family=family, law=law, fillings=fillings, resamples=200),
        (12, 2000),
    )  # fmt: skip


def _equivalence(fillings: tuple[int, int]) -> Study:
    keys = {"size": "agreement shown at the margin"}
    return Study(
        f"equivalence {fillings[0]}", SHIFT, "normal, filling effects, shift exactly at the margin of 10 %",
        f"{fillings[0]} and {fillings[1]} fillings of 5",
        (Claim("size", "two one-sided tests, agreement shown at the margin", "test", 0.05),),
        partial(_from_rows, keys, benches.equivalence_size, fillings=fillings), (300, 4000),
    )  # fmt: skip


def _holm(repetitions: int, rng: np.random.Generator, *, k: int, law: str) -> Outcomes:
    """Three levels against one reference, none of which differs; Welch tests on filling means."""

    def one() -> dict[str, float | bool]:
        means = scenarios.nested(rng, 4, k, 5, law).mean(axis=2)
        p = [stats.ttest_ind(means[0], other, equal_var=False).pvalue for other in means[1:]]
        return {"none": min(p) < 0.05, "holm": holm(p).min() < 0.05}

    return repeat(repetitions, one, ("none", "holm"))


@lru_cache(maxsize=8)
def _tukey_factor(levels: int, counts: tuple[int, ...]) -> np.ndarray:
    """Half-widths of the package's limits at a residual mean square of 1, one a pair."""
    table = tukey_from_means(range(levels), [0.0] * levels, counts, 1.0, sum(counts) - levels)
    return table["high"].to_numpy()


@lru_cache(maxsize=8)
def _games_howell_factor(levels: int, k: int) -> np.ndarray:
    """Coefficients of the half-width over the standard error, quadratic in 1 / df, from the package at five df."""
    freedom = np.linspace(k - 1, 2 * (k - 1), 5)
    # Equal variances of 1/2 and df/2 degrees of freedom each: the pair has an error of 1 and df degrees of freedom.
    half = [
        float(games_howell_from_means([0, 1], [0.0, 0.0], [0.5, 0.5], [f / 2, f / 2])["high"].iloc[0])
        if levels == 2
        else float(games_howell_from_means([0, 1, 2], [0.0] * 3, [0.5] * 3, [f / 2] * 3)["high"].iloc[0])
        for f in freedom
    ]
    return np.polyfit(1 / freedom, np.log(half), 3)


def _pairs(repetitions: int, rng: np.random.Generator, *, k: int, law: str, unequal: bool = False) -> Outcomes:
    """All pairs of three equal levels: at least one pair said to differ."""
    means = np.stack([scenarios.nested(rng, repetitions, k, 5, law).mean(axis=2) for _ in range(3)], axis=1)
    if unequal:
        means = 50 + (means - 50) * np.array([0.5, 1.0, 2.0])[None, :, None]
    centre, variance = means.mean(axis=2), means.var(axis=2, ddof=1)
    pooled = np.sqrt(variance.mean(axis=1))
    tukey = np.zeros(repetitions, dtype=bool)
    howell = np.zeros(repetitions, dtype=bool)
    coefficients = _games_howell_factor(3, k)
    for pair, (i, j) in enumerate(combinations(range(3), 2)):
        off = np.abs(centre[:, i] - centre[:, j])
        tukey |= off > _tukey_factor(3, (k, k, k))[pair] * pooled
        a, b = variance[:, i] / k, variance[:, j] / k
        freedom = (a + b) ** 2 / (a**2 / (k - 1) + b**2 / (k - 1))
        howell |= off > np.exp(np.polyval(coefficients, 1 / freedom)) * np.sqrt(a + b)
    return {"tukey": tukey, "howell": howell}


_PLAIN = (
    Claim("rank", "Mann-Whitney test", "test", 0.05), Claim("hl", "Hodges-Lehmann shift"),
    Claim("levene", "Levene's test, medians", "test", 0.05),
    Claim("kruskal", "Kruskal-Wallis test", "test", 0.05),
    Claim("anova", "one-way analysis of variance", "test", 0.05),
    Claim("welch_anova", "Welch's analysis of variance", "test", 0.05),
)  # fmt: skip


def _plain(repetitions: int, rng: np.random.Generator, *, n: int, law: str, unequal: bool = False) -> Outcomes:
    """Plain samples with no difference, one filling effect nowhere: what the tests on arrays do."""
    keys = [c.key for c in _PLAIN]

    def one() -> dict[str, float | bool]:
        a, b, c = scenarios.nested(rng, 3, 1, n, law, between=0.0)[:, 0, :]
        rank = two_sample.rank_test(a, b)
        p = {
            "rank": rank.p_value,
            "levene": two_sample.levene(a, b, c).p_value,
            "kruskal": two_sample.kruskal(a, b, c).p_value,
            "anova": two_sample.means_test(a, b, c).p_value,
            "welch_anova": two_sample.means_test(a, b, c, equal_sd=False).p_value,
        }
        return {k: v < 0.05 for k, v in p.items()} | {"hl": inside(rank.low, 0.0, rank.high)}

    return repeat(repetitions, one, keys)


def studies() -> list[Study]:
    """Studies of shifts and of several levels."""
    means, mixed = "filling_means", "mixed"
    quick, middle, slow = (80, 2000), (20, 1000), (5, 1000)
    found = []
    for f in ((2, 2), (3, 3), (4, 4), (5, 5), (2, 5)):
        design = f"{f[0]} and {f[1]} fillings of 5"
        found.append(
            _shift_study(f"{f[0]}-{f[1]}", "normal, filling effects", design, quick, model=means, fillings=f,
                         spread=f in ((3, 3), (5, 5)))
        )  # fmt: skip
        found.append(_shift_study(f"{f[0]}-{f[1]}", "normal, filling effects", design, middle, model=mixed, fillings=f))
    for law in ("weibull", "contaminated"):
        for f in ((3, 3), (5, 5)):
            found.append(
                _shift_study(f"{law} {f[0]}", scenarios.describe(law), f"{f[0]} and {f[0]} fillings of 5", quick,
                             model=means, fillings=f, law=law, spread=True)
            )  # fmt: skip
        found.append(
            _shift_study(f"{law} 3", scenarios.describe(law), "3 and 3 fillings of 5", middle, model=mixed,
                         fillings=(3, 3), law=law)
        )  # fmt: skip
    three = (0.6, 1.0, 1.4)
    for model, reps in ((means, quick), (mixed, middle)):
        found += [
            _shift_study("oils", "normal, filling effects, paired by oil", "3 oils × 2 and 2 fillings of 5", reps,
                         model=model, fillings=(2, 2), oils=three),
            _shift_study("unequal", "normal, filling effects, unequal scatter", "5 and 3 fillings of 5", reps,
                         model=model, fillings=(5, 3), unequal=True),
            Study(f"shift correlated {model}", SHIFT, "normal, filling effects, correlation 0.4 of neighbours; "
                  + ("from filling means" if model == means else "mixed model"), "4 and 4 fillings of 5", _SHIFT[:1],
                  partial(_correlated, k=4, model=model), reps),
        ]  # fmt: skip
    found += [
        _shift_study("one filling per oil", "normal, filling effects, paired by oil", "5 oils × 1 and 1 filling of 6",
                     quick, model=means, fillings=(1, 1), breakdowns=6, oils=(0.6, 0.8, 1.0, 1.2, 1.4)),
        _shift_study("log", "normal, filling effects", "4 and 4 fillings of 5", quick, model=means, fillings=(4, 4),
                     log=True),
        _shift_study("withstood", "normal, filling effects, ceiling that 25 % of one level withstand",
                     "4 and 4 fillings of 5", quick, model=means, fillings=(4, 4), ceiling=55.0),
        _shift_study("withstood", "normal, filling effects, ceiling that 25 % of one level withstand",
                     "4 and 4 fillings of 5", slow, model=mixed, fillings=(4, 4), ceiling=55.0),
    ]  # fmt: skip
    found += [_percentiles("normal", "normal", (4, 4)), _percentiles("weibull", "weibull", (4, 4)),
              _percentiles("normal", "contaminated", (4, 4)), _percentiles("normal", "normal", (8, 8))]  # fmt: skip
    found += [_equivalence((2, 2)), _equivalence((4, 4))]
    claims = (Claim("none", "any of three Welch tests, unadjusted", "test", 0.05),
              Claim("holm", "any of three, adjusted by Holm", "test", 0.05))  # fmt: skip
    for k, law in ((3, "normal"), (5, "normal"), (5, "contaminated")):
        found.append(
            Study(f"holm {k} {law}", SEVERAL, scenarios.describe(law), f"4 levels of {k} fillings of 5", claims,
                  partial(_holm, k=k, law=law), (200, 3000))
        )  # fmt: skip
    claims = (Claim("tukey", "Tukey, any of three pairs", "test", 0.05),
              Claim("howell", "Games-Howell, any of three pairs", "test", 0.05))  # fmt: skip
    for k, law, unequal in (
        (3, "normal", False), (5, "normal", False), (5, "normal", True), (5, "contaminated", False),
    ):  # fmt: skip
        data = scenarios.describe(law) + (", SDs as 1 to 2 to 4" if unequal else "")
        found.append(
            Study(f"pairs {k} {law}" + (" unequal" if unequal else ""), SEVERAL, data,
                  f"3 levels of {k} fillings of 5", claims, partial(_pairs, k=k, law=law, unequal=unequal),
                  (1000, 10000))
        )  # fmt: skip
    for n, law in ((6, "normal"), (15, "normal"), (6, "weibull"), (6, "contaminated"), (15, "contaminated")):
        found.append(
            Study(f"plain {n} {law}", SEVERAL, scenarios.describe(law, fillings=False), f"2 or 3 samples of {n}",
                  _PLAIN, partial(_plain, n=n, law=law), (30, 2000))
        )  # fmt: skip
    return found
