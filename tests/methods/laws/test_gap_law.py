"""The gap law against certified and reference fits (cases I02, I04) and on invented series with fillings."""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from methods.errors import NotEstimable
from methods.laws.gap_law import gap_laws
from methods.laws.power_fit import fit_power
from methods.records.table import as_table
from tests.reference import agrees, data, names


@pytest.mark.parametrize("name", [n for n in names("I02") if n.startswith("loglog")])
def test_power_fit(name: str) -> None:
    """NIST StRD DanWood, on logarithms by R's lm."""
    frame = data("I02_nist_danwood.csv")
    fit = fit_power(as_table(pd.DataFrame({"gap_mm": frame["x"], "kv": frame["y"]})), "gap_mm")
    agrees("I02", name, {
        "loglog_slope": fit.b, "loglog_const": fit.a, "loglog_slope_ci95": [fit.b_low, fit.b_high],
        "loglog_slope_se": fit.b_standard_error,
    }[name])  # fmt: skip


@pytest.mark.parametrize("name", [n for n in names("I04") if not n.startswith("nls")])
def test_gap_fit_and_prediction(name: str) -> None:
    """R's lm on an invented series; the whole path from the record table, one value a gap."""
    frame = data("I04_gap_synthetic.csv")
    (law,) = gap_laws(frame.rename(columns={"kV": "kv"}))
    at = law.predict(2.0)
    agrees("I04", name, {
        "loglog_a": law.a_kv, "loglog_b": law.m, "loglog_b_ci95": [law.m_low, law.m_high],
        "loglog_resid_sd": law.fit.residual_sd_log, "pred_loglog_at_2": at.kv,
        "pred_loglog_at_2_ci95": [at.low_kv, at.high_kv], "pred_loglog_at_2_pi95": [at.band_low_kv, at.band_high_kv],
    }[name])  # fmt: skip


def series(m: float = 0.7, gaps: tuple[float, ...] = (1.0, 2.0, 2.5), fillings: int = 3, seed: int = 0) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for oil, a in (("dry", 30.0), ("wet", 15.0)):
        for gap in gaps:
            for f in range(fillings):
                level = a * gap**m * np.exp(rng.normal(0, 0.05))
                rows += [
                    {"sample": oil, "electrode": "mushroom", "gap_mm": gap, "filling": str(f), "order": i,
                     "kv": level * np.exp(rng.normal(0, 0.12))}
                    for i in range(5)
                ]  # fmt: skip
    return pd.DataFrame(rows)


def test_equals_a_regression_on_filling_means() -> None:
    frame = series()
    means = frame.groupby(["sample", "gap_mm", "filling"])["kv"].mean().reset_index()
    other = smf.ols("np.log(kv) ~ C(sample) + np.log(gap_mm)", data=means).fit()
    (law,) = gap_laws(frame)
    assert (law.unit, law.units, law.fit.df) == ("filling", 18, 15)
    assert law.m == pytest.approx(other.params["np.log(gap_mm)"])
    assert [law.m_low, law.m_high] == pytest.approx(list(other.conf_int().loc["np.log(gap_mm)"]))
    free = smf.ols("np.log(kv) ~ C(sample) * C(gap_mm)", data=means).fit()
    f, p, _ = free.compare_f_test(other)
    assert (law.fit.lack_of_fit_f, law.lack_of_fit_p) == (pytest.approx(f), pytest.approx(p))
    assert law.predict(2.0, oil="dry").kv > 1.8 * law.predict(2.0, oil="wet").kv


@pytest.mark.parametrize(
    ("m", "two_to_one", "wider"),
    # ratios V(2)/V(1) and V(2.5)/V(2) of a power law, by hand
    [(0.6, 1.52, 1.14), (0.64, 1.56, 1.15), (0.7, 1.63, 1.17), (0.8, 1.74, 1.20)],
)
def test_ratios_of_exact_power_laws(m: float, two_to_one: float, wider: float) -> None:
    gaps = np.array([1.0, 1.5, 2.0, 2.5])
    noise = np.exp([0.0005, -0.0005, -0.0005, 0.0005])
    (law,) = gap_laws(pd.DataFrame({"gap_mm": gaps, "kv": 30 * gaps**m * noise}))
    at = {g: law.predict(g).kv for g in (1.0, 2.0, 2.5)}
    assert at[2.0] / at[1.0] == pytest.approx(two_to_one, abs=0.006)
    assert at[2.5] / at[2.0] == pytest.approx(wider, abs=0.006)


def test_leaving_the_range_is_refused_unless_asked() -> None:
    (law,) = gap_laws(series())
    assert [w.code for w in law.predict(3.0).cautions] == ["outside_range"]
    with pytest.raises(NotEstimable, match="more than half beyond"):
        law.predict(4.0)
    assert [w.code for w in law.predict(4.0, beyond=True).cautions] == ["far_outside_range"]
    assert law.predict(2.2).cautions == ()


def test_cautions() -> None:
    frame = series(gaps=(1.0, 2.0))
    assert "two_gaps" in {w.code for w in gap_laws(frame)[0].cautions}
    frame["method"] = frame["gap_mm"].map({1.0: "one", 2.0: "two"})
    assert "confounded" in {w.code for w in gap_laws(frame)[0].cautions}
    lone = gap_laws(series(gaps=(1.0, 2.0), fillings=1).query("sample == 'dry'"))[0]
    assert lone.unit == "breakdown" and "one_filling" in {w.code for w in lone.cautions}
    curved = series(gaps=(1.0, 2.0, 4.0), fillings=6)
    curved.loc[curved["gap_mm"] == 2.0, "kv"] *= 1.6
    assert "lack_of_fit" in {w.code for w in gap_laws(curved)[0].cautions}


def test_withstood_cells_are_left_out_and_named() -> None:
    frame = series().assign(outcome="breakdown")
    frame.loc[(frame["sample"] == "dry") & (frame["gap_mm"] == 2.5) & (frame["order"] == 0), "outcome"] = "withstood"
    (law,) = gap_laws(frame)
    assert law.units == 15 and "dry at 2.5" in next(w.text for w in law.cautions if w.code == "withstood")
    with pytest.raises(NotEstimable, match="two values"):
        gap_laws(frame[(frame["sample"] == "dry") & (frame["gap_mm"] > 1.5)])


def test_electrodes_are_not_mixed() -> None:
    frame = pd.concat([series(), series(gaps=(2.54,)).assign(electrode="disk")], ignore_index=True)
    laws = {law.group["electrode"]: law for law in gap_laws(frame)}
    assert laws["disk"].error and laws["mushroom"].m == pytest.approx(gap_laws(series())[0].m)
    with pytest.raises(NotEstimable):
        laws["disk"].predict(2.0)


def test_limits_cover_the_truth_with_unequal_fillings() -> None:
    hits, runs = 0, 400 if os.environ.get("GAPSHIFT_LONG") == "1" else 25
    for seed in range(runs):
        frame = series(seed=seed)
        kept = frame[~((frame["filling"] == "1") & (frame["order"] > 1))]
        fit = fit_power(as_table(kept), "gap_mm")
        hits += fit.b_low <= 0.7 <= fit.b_high
    assert hits >= 0.88 * runs, hits
