"""Coverage and size of the intervals of a shift, by simulation of invented benches.

Each function takes ``repetitions`` and ``seed`` and gives a list of :class:`Row`; nothing is asserted here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from methods.shifts.compare import compare
from methods.shifts.equivalent import two_one_sided_ratio
from methods.shifts.mixed_shifts import mixed_levels
from methods.shifts.pairing import CodedRows
from methods.shifts.percentile_errors import data_spread, family_spread


@dataclass(frozen=True)
class Row:
    """One line of the proof: what was covered how often, and the simulation error of that share."""

    what: str
    law: str
    fillings: str
    nominal: float
    found: float
    repetitions: int

    @property
    def error(self) -> float:
        return float(np.sqrt(self.found * (1 - self.found) / self.repetitions))


def noise(rng: np.random.Generator, law: str, size: tuple[int, ...]) -> np.ndarray:
    """Standardised scatter (mean 0, SD 1): ``normal``, ``weibull`` (shape 8), ``contaminated`` (5 % thrice as wide)."""
    if law == "weibull":
        from scipy.special import gamma

        mean = gamma(1 + 1 / 8)
        sd = np.sqrt(gamma(1 + 2 / 8) - mean**2)
        return (rng.weibull(8, size) - mean) / sd
    z = rng.normal(size=size)
    if law == "contaminated":
        z = np.where(rng.random(size) < 0.05, 3 * z, z) / np.sqrt(0.95 + 0.05 * 9)
    return z


def bench(
    rng: np.random.Generator, fillings: tuple[int, int], *, means: tuple[float, float] = (50.0, 45.0),
    between: tuple[float, float] = (2.5, 2.5), within: tuple[float, float] = (7.5, 7.5), breakdowns: int = 5,
    law: str = "normal", oils: tuple[float, ...] = (1.0,), ceiling_kv: float = np.inf,
) -> CodedRows:  # fmt: skip
    """Two levels, ``s`` and ``m``, on one or several oils (factors of the mean), coded as the package codes a file.

    The table itself is left out, so that thousands of benches can be made; :func:`as_frame` gives it.
    """
    kv, level, block, filling = [], [], [], []
    count = 0
    for oil, factor in enumerate(oils):
        for side in (0, 1):
            k = fillings[side]
            centre = means[side] * factor + between[side] * noise(rng, law, (k, 1))
            kv.append((centre + within[side] * noise(rng, law, (k, breakdowns))).ravel())
            level.append(np.full(k * breakdowns, side))
            block.append(np.full(k * breakdowns, oil))
            filling.append(np.repeat(count + np.arange(k), breakdowns))
            count += k
    values = np.maximum(np.concatenate(kv), 0.5)
    return CodedRows(
        by="electrode", within=(), table=pd.DataFrame(), levels=["s", "m"], level=np.concatenate(level),
        blocks=[f"oil {i}" for i in range(len(oils))], block=np.concatenate(block), filling=np.concatenate(filling),
        kv=np.minimum(values, ceiling_kv), withstood=values >= ceiling_kv, left_out=0, sample_known=True,
    )  # fmt: skip


def as_frame(lay: CodedRows) -> pd.DataFrame:
    """The same bench as a record table."""
    return pd.DataFrame(
        {"sample": [lay.blocks[b] for b in lay.block], "electrode": [lay.levels[i] for i in lay.level],
         "filling": lay.filling.astype(str), "kv": lay.kv, "outcome": np.where(lay.withstood, "withstood", "breakdown")}
    )  # fmt: skip


def limits(lay: CodedRows, model: str, confidence: float = 0.95) -> tuple[tuple[float, float], tuple[float, float]]:
    """Limits in kV and as a ratio, as :func:`methods.shift` gives them."""
    if model == "mixed":
        (v,) = mixed_levels(lay, 0, (), log=False, confidence=confidence).levels
        assert v.difference is not None
        return (v.difference.low, v.difference.high), (v.low_ratio, v.high_ratio)
    d = compare(lay, 1, 0).difference
    assert d is not None
    return d.limits(confidence), d.ratio_limits(confidence)


def mean_shift(
    repetitions: int, seed: int = 0, *, model: str = "filling_means", law: str = "normal",
    fillings: tuple[int, int] = (3, 3), unequal: bool = False, oils: tuple[float, ...] = (1.0,),
    confidence: float = 0.95,
) -> list[Row]:  # fmt: skip
    """Share of intervals, in kV and percent, that hold the true shift."""
    rng = np.random.default_rng(seed)
    factor = float(np.mean(oils))
    means = (50.0, 45.0)
    true_kv = (means[1] - means[0]) * factor
    scatter = {"between": (2.5, 5.0), "within": (7.5, 3.0)} if unequal else {}
    hits = np.zeros(2)
    for _ in range(repetitions):
        kv, ratio = limits(bench(rng, fillings, law=law, oils=oils, **scatter), model, confidence)  # type: ignore[arg-type]
        hits[0] += kv[0] <= true_kv <= kv[1]
        low, high = (np.nan_to_num(v, nan=n) for v, n in zip(ratio, (-np.inf, np.inf), strict=True))
        hits[1] += low <= means[1] / means[0] <= high
    label = f"{fillings[0]} and {fillings[1]}" + (f" on {len(oils)} oils" if len(oils) > 1 else "")
    law = law + (", unequal scatter" if unequal else "")
    return [
        Row(f"shift in {unit}, {model}", law, label, confidence, float(h) / repetitions, repetitions)
        for unit, h in zip(("kV", "percent"), hits, strict=True)
    ]


def censored_shift(
    repetitions: int, seed: int = 0, *, ceiling_kv: float = 55.0, fillings: tuple[int, int] = (4, 4),
    model: str = "filling_means",
) -> list[Row]:  # fmt: skip
    """Share of intervals that hold the true shift where values above a ceiling are withstands."""
    rng = np.random.default_rng(seed)
    hits = 0
    for _ in range(repetitions):
        low, high = limits(bench(rng, fillings, ceiling_kv=ceiling_kv), model)[0]
        hits += low <= -5 <= high
    name = f"shift in kV, {model}, withstands at {ceiling_kv:g} kV"
    return [Row(name, "normal", f"{fillings[0]} and {fillings[1]}", 0.95, hits / repetitions, repetitions)]


def sd_ratio(repetitions: int, seed: int = 0, *, law: str = "normal", fillings: tuple[int, int] = (3, 3)) -> list[Row]:
    """Share of F and of kurtosis-adjusted intervals of the ratio of scatters that hold the true ratio."""
    rng = np.random.default_rng(seed)
    hits = np.zeros(2)
    for _ in range(repetitions):
        found = compare(bench(rng, fillings, law=law, within=(7.5, 5.0)), 1, 0).spread(0.95)
        hits[0] += found.low <= 5 / 7.5 <= found.high
        hits[1] += found.robust_low <= 5 / 7.5 <= found.robust_high
    label = f"{fillings[0]} and {fillings[1]}"
    return [
        Row(f"ratio of SDs, {kind}", law, label, 0.95, float(h) / repetitions, repetitions)
        for kind, h in zip(("F limits", "robust limits"), hits, strict=True)
    ]


def percentiles(
    repetitions: int, seed: int = 0, *, fillings: tuple[int, int] = (4, 4), resamples: int = 200,
    family: str = "normal", law: str = "normal",
) -> list[Row]:  # fmt: skip
    """Share of limits of the 1, 10, 50 % points, and of bands (everywhere at once), that hold the true 5 kV."""
    rng = np.random.default_rng(seed)
    grid = np.arange(1, 100) / 100
    points, data, band = np.zeros(3), np.zeros(2), 0
    for _ in range(repetitions):
        c = compare(bench(rng, fillings, law=law), 1, 0)
        fitted = family_spread(c, family, np.array([0.01, 0.1, 0.5]), rng)
        assert fitted is not None
        points += np.abs(fitted.first - fitted.second + 5) <= stats.t.ppf(0.975, fitted.df) * fitted.error
        found, _done = data_spread(c, grid, resamples, rng)
        off = np.abs(found.first - found.second + 5)
        data += (off <= stats.t.ppf(0.975, found.df) * found.error)[[9, 49]]
        wide = found.band(0.95, log=False)
        band += bool((off <= wide)[np.isfinite(wide)].all())
    label = f"{fillings[0]} and {fillings[1]}"
    rows = [
        Row(f"shift of the {p:g} % point, {family} family", law, label, 0.95, float(h) / repetitions, repetitions)
        for p, h in zip((1, 10, 50), points, strict=True)
    ]
    rows += [
        Row(f"shift of the {p:g} % point, by the data", law, label, 0.95, float(h) / repetitions, repetitions)
        for p, h in zip((10, 50), data, strict=True)
    ]
    return [*rows, Row("band over all percentiles", law, label, 0.95, band / repetitions, repetitions)]


def equivalence_size(repetitions: int, seed: int = 0, *, fillings: tuple[int, int] = (4, 4)) -> list[Row]:
    """Share of agreements shown where the shift lies exactly at the margin: at most 5 %."""
    rng = np.random.default_rng(seed)
    shown = 0
    for _ in range(repetitions):
        d = compare(bench(rng, fillings, between=(0.5, 0.5), within=(1.5, 1.5)), 1, 0).difference
        assert d is not None
        shown += two_one_sided_ratio(d, 0.10).p_value < 0.05
    return [
        Row("agreement shown at the margin", "normal", f"{fillings[0]} and {fillings[1]}", 0.05, shown / repetitions,
            repetitions)
    ]  # fmt: skip
