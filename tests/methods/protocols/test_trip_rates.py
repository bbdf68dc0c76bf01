"""How often the rules fire: simulation, the package's integrals, and integrals by another route."""

from __future__ import annotations

import os

import numpy as np
import pytest
from scipy import special, stats

from methods.errors import InputError
from methods.families import weibull_shape_for_cov
from methods.protocols import load_rules, own_rule, rule_effect, trip_rate
from methods.protocols.assumed import FAMILIES, AssumedScatter

LONG = os.environ.get("GAPSHIFT_LONG") == "1"
REPETITIONS = 1_000_000 if LONG else 60_000
RULES = load_rules()

# Five breakdowns, % of sound tests that are asked for more: normal, Weibull (an earlier simulation, printed digits).
TABLE = {
    0.05: [(0.0, 0.2), (0, 0), (0, 0)],
    0.08: [(4.6, 6.3), (0, 0), (0, 0)],
    0.10: [(18, 18), (0, 0), (0, 0)],
    0.12: [(36, 34), (0, 0), (0, 0.01)],
    0.15: [(59, 56), (0, 0), (0.03, 0.13)],
    0.20: [(81, 79), (0.07, 0.11), (1.4, 2.0)],
    0.25: [(90, 90), (1.2, 1.2), (8.6, 9.2)],
    0.30: [(95, 95), (5.8, 5.0), (21, 22)],
    0.40: [(98, 98), (25, 23), (49, 51)],
}
CELLS = [
    (cov, key, family, row[i][j])
    for cov, row in TABLE.items()
    for i, key in enumerate(["three_r", "range_1mm", "range_2mm"])
    for j, family in enumerate(["normal", "weibull"])
]


def by_extremes(rule: str, limit: float, family: str, cov: float, n: int = 5) -> float:
    """P(the rule fires) from the joint law of lowest and highest; the range rule by convolving the values between.

    Another route than the package's: it conditions on the two extremes, with SciPy's own distributions.
    """
    if family == "normal":
        law = stats.norm(1, cov)
    else:
        shape = weibull_shape_for_cov(cov)
        law = stats.weibull_min(shape, scale=1 / special.gamma(1 + 1 / shape))
    nodes, weights = np.polynomial.legendre.leggauss(150 if rule == "three_r" else 32)  # the 3R rule has a kink
    low, high = law.ppf(1e-8), law.ppf(1 - 1e-8)
    fired = 0.0
    for a_edge, b_edge in zip(np.linspace(low, high, 4)[:-1], np.linspace(low, high, 4)[1:], strict=True):
        for a, wa in zip(
            (a_edge + b_edge) / 2 + nodes * (b_edge - a_edge) / 2, weights * (b_edge - a_edge) / 2, strict=True
        ):
            b = (a + high) / 2 + nodes * (high - a) / 2
            wb = weights * (high - a) / 2 * law.pdf(b) * wa * law.pdf(a) * n * (n - 1)
            inside = law.cdf(b) - law.cdf(a)
            if rule == "three_r":
                held = np.maximum(law.cdf(b) - law.cdf(np.maximum(a, limit * (b - a))), 0) ** (n - 2)
                fired += float(wb @ (inside ** (n - 2) - held))
                continue
            most = n * (b - a) / (limit / 100) - a - b  # the others may sum to less than this
            step = (b - a) / 81
            cells = np.diff(law.cdf(a + step[:, None] * np.arange(82)), axis=1) / inside[:, None]
            total = np.fft.irfft(np.fft.rfft(cells, 256, axis=1) ** 3, 256, axis=1)[:, :241]
            steps = (most - 3 * (a + step / 2)) / step + 0.5
            below = [
                np.interp(s, np.arange(242), np.concatenate([[0], np.cumsum(row)]))
                for s, row in zip(steps, total, strict=True)
            ]
            fired += float(wb @ (inside ** (n - 2) * np.array(below)))
    return fired


@pytest.mark.parametrize(("cov", "key", "family", "printed"), CELLS)
def test_table_by_simulation(cov: float, key: str, family: str, printed: float) -> None:
    found = trip_rate(RULES[key], cov, family, exact=False, repetitions=REPETITIONS, rng=20)
    room = 0.005 if float(printed).is_integer() and printed else 0.0015  # the printed values were simulated too
    assert found.method == "simulation" and found.repetitions == REPETITIONS
    assert abs(found.probability - printed / 100) <= room + 4 * found.standard_error


@pytest.mark.parametrize(("cov", "key", "family", "printed"), [c for c in CELLS if c[1] == "three_r" or c[0] >= 0.2])
def test_table_by_integral(cov: float, key: str, family: str, printed: float) -> None:
    rule = RULES[key]
    limit = float(rule.factor.value if key == "three_r" else rule.limit_percent.value)
    found = by_extremes(key, limit, family, cov)
    room = 0.006 if float(printed).is_integer() else 0.0016
    assert abs(found - printed / 100) <= room
    if key == "three_r" or family == "normal":
        assert trip_rate(rule, cov, family, exact=True).probability == pytest.approx(found, abs=2e-4)


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("between", [0.0, 0.08])
def test_3r_integral_against_simulation(family: str, between: float) -> None:
    exact = trip_rate(RULES["three_r"], 0.11, family, between_cov=between)
    drawn = trip_rate(RULES["three_r"], 0.11, family, between_cov=between, exact=False, repetitions=REPETITIONS, rng=5)
    assert exact.method == "exact" and abs(exact.probability - drawn.probability) < 4 * drawn.standard_error


@pytest.mark.parametrize("kind", ["range_percent", "cov_ceiling"])
@pytest.mark.parametrize("between", [0.0, 0.15])
@pytest.mark.parametrize("n", [5, 6, 10])
def test_normal_formulas_against_simulation(kind: str, between: float, n: int) -> None:
    rule = own_rule(kind, 60 if kind == "range_percent" else 20, n=n)
    exact = trip_rate(rule, 0.18, between_cov=between, exact=True)
    drawn = trip_rate(rule, 0.18, between_cov=between, exact=False, repetitions=REPETITIONS, rng=6)
    assert abs(exact.probability - drawn.probability) < 4 * drawn.standard_error


def test_range_of_five_normals() -> None:
    """Published tables of the studentized range, infinite freedom: the 95 % point for five is 3.858."""
    small = 1e-2  # the mean is then as good as fixed
    rule = own_rule("range_percent", 100 * 3.858 * small)
    assert trip_rate(rule, small, exact=True).probability == pytest.approx(0.05, abs=2e-4)


@pytest.mark.parametrize(
    ("shape", "cov"), [(3, 36.3), (4, 28.1), (5, 22.9), (6, 19.4), (8, 14.8), (10, 12.0), (15, 8.2), (20, 6.2)]
)
def test_weibull_shape_of_a_cov(shape: int, cov: float) -> None:
    exact = stats.weibull_min.std(shape) / stats.weibull_min.mean(shape)
    assert 100 * exact == pytest.approx(cov, abs=0.051)
    assert weibull_shape_for_cov(float(exact)) == pytest.approx(shape, rel=1e-9)


@pytest.mark.parametrize("family", FAMILIES)
def test_scatter_is_what_it_says(family: str) -> None:
    scatter = AssumedScatter(family, 0.2)
    low, high = scatter.range_of_support()
    x = np.linspace(low, high, 40_001)
    density = scatter.pdf(x)
    mean = np.trapezoid(x * density, x)
    assert np.trapezoid(density, x) == pytest.approx(1, abs=1e-8) and mean == pytest.approx(scatter.mean, abs=1e-8)
    sd = np.sqrt(np.trapezoid((x - mean) ** 2 * density, x))
    assert sd / mean == pytest.approx(scatter.total_cov, abs=1e-7)
    assert np.allclose(
        np.diff(scatter.cdf(x[::100])),
        [np.trapezoid(density[i : i + 101], x[i : i + 101]) for i in range(0, 40_000, 100)],
        atol=1e-8,
    )
    drawn = scatter.draw(np.random.default_rng(3), (50_000,))
    assert stats.kstest(drawn, scatter.cdf).pvalue > 1e-3
    if family != "contaminated":
        assert (scatter.mean, scatter.total_cov) == pytest.approx((1, 0.2))


def test_effect_of_a_rule_that_always_fires_is_the_mean_of_ten() -> None:
    found = rule_effect(own_rule("three_r", 1e6), 0.15, repetitions=REPETITIONS, rng=1)
    assert found.more == 1 and found.breakdowns == 10
    assert found.sd_percent == pytest.approx(15 / np.sqrt(10), rel=0.02)
    assert abs(found.bias_percent) < 4 * found.bias_percent_se


def test_effect_of_a_rule_that_never_fires_is_the_plain_mean() -> None:
    found = rule_effect(own_rule("range_percent", 1e6), 0.15, "weibull", 0.05, repetitions=REPETITIONS, rng=1)
    assert found.more == 0 and found.breakdowns == 5 and found.repeat is None
    assert found.sd_percent == found.sd_without_percent == pytest.approx(np.hypot(5, 15 / np.sqrt(5)), rel=0.02)
    assert [c.code for c in found.cautions] == ["no_second_limit"]


def test_more_on_a_new_filling_helps_against_filling_effects() -> None:
    same = rule_effect(RULES["three_r"], 0.15, "normal", 0.10, repetitions=REPETITIONS, rng=2)
    other = rule_effect(RULES["three_r"], 0.15, "normal", 0.10, new_filling=True, repetitions=REPETITIONS, rng=2)
    assert other.sd_percent < same.sd_percent - 0.5 and abs(other.more - same.more) < 0.01


def test_gost_repeats_and_is_biased_upward() -> None:
    """Series are thrown away where the whole scatter is large: the repeat rate is seen, and the bias with it."""
    found = rule_effect(RULES["cov_20"], 0.2, "weibull", repetitions=REPETITIONS, rng=3)
    assert found.repeat is not None and 0.1 < found.repeat < found.more
    assert found.bias_percent > 10 * found.bias_percent_se and found.breakdowns > 6


def test_seed_progress_and_cancel() -> None:
    told: list[float] = []
    first = trip_rate(RULES["range_2mm"], 0.3, "weibull", repetitions=120_000, rng=9, progress=told.append)
    assert told == [pytest.approx(5 / 12), pytest.approx(10 / 12), 1.0]
    assert first == trip_rate(RULES["range_2mm"], 0.3, "weibull", repetitions=120_000, rng=9)
    calls = iter([False, True])
    short = trip_rate(RULES["range_2mm"], 0.3, "weibull", repetitions=120_000, rng=9, cancel=lambda: next(calls))
    assert short.repetitions == 50_000 and short.standard_error > first.standard_error
    with pytest.raises(InputError, match="Cancelled"):
        trip_rate(RULES["range_2mm"], 0.3, "weibull", cancel=lambda: True)


@pytest.mark.parametrize(
    ("key", "kwargs", "said"),
    [
        ("chart", {}, "no limit"),
        ("none", {}, "no limit"),
        ("three_r", {"cov": 0.0}, "coefficient of variation"),
        ("three_r", {"cov": 15.0}, "coefficient of variation"),
        ("three_r", {"family": "gumbel"}, "family"),
        ("three_r", {"n": 2}, "n is 2"),
        ("three_r", {"between_cov": -1.0}, "between_cov"),
        ("three_r", {"repetitions": 5}, "repetitions"),
        ("range_2mm", {"family": "weibull", "exact": True}, "no exact"),
    ],
)
def test_refused(key: str, kwargs: dict[str, object], said: str) -> None:
    with pytest.raises(InputError, match=said):
        trip_rate(RULES[key], **{"cov": 0.1, **kwargs})  # type: ignore[arg-type]
