"""Sensitivity ratio (cases J01, J03) and discrimination."""

from __future__ import annotations

import os
from functools import cache

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.agreement.sensitivity import (
    Sensitivity,
    discrimination,
    equivalent_results,
    relative_sensitivity,
    sensitivity_ratio,
)
from methods.errors import InputError, NotEstimable
from tests.reference import agrees, data, names


def meters() -> pd.DataFrame:
    d = data("F09_pefr.csv")
    return d.rename(columns={"meth": "method", "item": "sample", "y": "kv", "repl": "filling"}).astype({"filling": str})


@cache
def ratio(first: str, second: str) -> Sensitivity:
    return sensitivity_ratio(meters(), first=first, second=second)


@pytest.mark.parametrize("name", names("J01"))
def test_flow_meters(name: str) -> None:
    """Mandel's definition on the flow meters of Bland and Altman (no published worked number was found)."""
    there, back = ratio("Wright", "Mini"), ratio("Mini", "Wright")
    means = meters().groupby(["method", "sample"])["kv"].mean().unstack(0)
    agrees("J01", name, {
        "s_A": there.s_first, "s_B": there.s_second, "lambda": there.variance_ratio,
        "deming_slope_B_on_A": there.slope, "intercept": there.intercept, "rel_sensitivity_B_over_A": there.ratio,
        "rel_sensitivity_A_over_B": back.ratio, "product": there.ratio * back.ratio,
        "equiv_replicates_A_per_B": there.equivalent_results,
        "ols_slope": stats.linregress(means["Wright"], means["Mini"]).slope,
    }[name.removeprefix("wright_vs_mini_")])  # fmt: skip


@pytest.mark.parametrize("name", names("J03"))
def test_arithmetic(name: str) -> None:
    first = relative_sensitivity(4.5, 2.0, 3.0)
    agrees("J03", name, {
        "slope_4.5_sA_2_sB_3_rel_sens_B_over_A": first,
        "slope_0.5_sA_2_sB_0.8_rel_sens_B_over_A": relative_sensitivity(0.5, 2.0, 0.8),
        "same_reverse_A_over_B_slope_2_sB_0.8_sA_2": relative_sensitivity(1 / 0.5, 0.8, 2.0),
        "equiv_replicates_first": equivalent_results(first),
    }[name])  # fmt: skip


def test_rescaling_a_method_changes_nothing() -> None:
    frame = meters().astype({"kv": float})
    frame.loc[frame["method"] == "Mini", "kv"] = 10 + 3 * frame["kv"]
    found = sensitivity_ratio(frame, first="Wright", second="Mini")
    assert found.ratio == pytest.approx(ratio("Wright", "Mini").ratio)
    assert found.ratio_low < found.ratio < found.ratio_high and found.ratio_low < 1


def invented(seed: int = 0, oils: int = 8) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    levels = rng.normal(90, 10, oils)
    return pd.DataFrame(
        [
            {"sample": f"oil {o}", "method": m, "filling": str(f), "kv": level + rng.normal(0, noise)}
            for o, level in enumerate(levels) for m, noise in (("sharp", 2.5), ("dull", 10.0)) for f in range(3)
        ]
    )  # fmt: skip


def test_discrimination_limits_cover_and_rank() -> None:
    hits, runs = 0, 400 if os.environ.get("GAPSHIFT_LONG") == "1" else 20
    for seed in range(runs):
        table = discrimination(invented(seed)).methods.set_index("method")
        hits += table.loc["sharp", "discrimination_low"] <= 4 <= table.loc["sharp", "discrimination_high"]
    assert hits >= 0.88 * runs
    found = discrimination(invented(), minutes={"sharp": 60, "dull": 60})
    assert list(found.methods["method"]) == ["sharp", "dull"] and found.ranked_by == "per_hour"
    slow = discrimination(invented(), minutes={"sharp": 6000, "dull": 1})
    assert list(slow.methods["method"]) == ["dull", "sharp"]
    row = slow.methods.set_index("method").loc["sharp"]
    assert row["per_hour"] == pytest.approx(row["discrimination"] * 0.1)
    one = invented()
    table = one[one["method"] == "sharp"]
    between = 3 * table.groupby("sample")["kv"].mean().var()
    within = table.groupby("sample")["kv"].var().mean()
    assert row["discrimination"] == pytest.approx(np.sqrt((between - within) / 3 / within))


def test_the_order_of_two_is_argued_by_the_limits_of_their_ratio() -> None:
    """The spread between oils is common to both, so their own limits overlap where the ratio leaves no doubt."""
    cleared = 0
    for seed in range(8):
        frame = invented(seed).assign(laboratory="L", electrode="sphere")
        found = discrimination(frame, by="method")
        table = found.methods
        overlap = table["discrimination_low"].iloc[0] < table["discrimination_high"].iloc[1]
        known = sensitivity_ratio(frame, by="method", first=table["method"].iloc[1], second=table["method"].iloc[0])
        said = [c.text for c in found.cautions if c.code == "ranking"]
        assert bool(said) == (known.ratio_low <= 1)
        if said:
            assert (
                f"{known.ratio:.2f} times" in said[0] and f"{known.ratio_low:.2f} to {known.ratio_high:.2f}" in said[0]
            )
        cleared += overlap and not said
    assert cleared


def test_what_cannot_be_ranked() -> None:
    with pytest.raises(NotEstimable, match="three oils"):
        discrimination(invented(oils=2))
    once = invented()[lambda d: d["filling"] == "0"]
    with pytest.raises(NotEstimable, match="repeated"):
        discrimination(once)
    with pytest.raises(NotEstimable, match="repeated"):
        sensitivity_ratio(once, first="sharp", second="dull")
    with pytest.raises(InputError, match="no level"):
        sensitivity_ratio(once, first="sharp", second="blunt")
