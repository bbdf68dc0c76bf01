"""Scatter borrowed from other oils: what is found, what it does to limits and verdicts, and that these hold."""

from __future__ import annotations

import json
import math

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.errors import NotEstimable
from methods.planning import decide, decide_all
from methods.records.table import as_table
from methods.scatter import fit_groups, one_oil, scatter_history
from methods.scatter.history import _moments, _summaries, oil_keys, pool


def oils(seed, count=20, fillings=3, breakdowns=5, within=0.12, between=0.06, differ=0.0, first=0) -> pd.DataFrame:
    """Invented oils whose CoVs differ by ``differ`` (SD of the logarithm)."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(first, first + count):
        mean, factor = rng.uniform(40, 70), math.exp(differ * rng.standard_normal())
        for k in range(fillings):
            centre = mean * (1 + between * factor * rng.standard_normal())
            kv = centre + mean * within * factor * rng.standard_normal(breakdowns)
            rows += [{"sample": f"oil {i}", "filling": str(k), "kv": max(v, 1.0), "method": "IEC 60156"} for v in kv]
    return pd.DataFrame(rows)


def test_the_scatter_of_many_oils_is_found():
    found = scatter_history(oils(1, 60))
    assert found.within_cov == pytest.approx(0.12, rel=0.06) and found.oils == 60 and found.fillings == 180
    assert found.between_low < 0.06 < found.between_high and found.between_cov == pytest.approx(0.06, rel=0.3)
    assert found.within_df > 40
    assert scatter_history(oils(2, 60, differ=0.4)).within_df < 30  # oils that differ lend less


def test_moments_of_the_variances_follow_the_law():
    """Variances of a scaled F law (scale 2, 8 degrees of freedom, 12 of each): Smyth's moments find them again."""
    rng = np.random.default_rng(3)
    variances = 2 * stats.f.rvs(12, 8, size=4000, random_state=rng)
    scale, df = _moments(variances, np.full(4000, 12.0))
    assert (scale, df) == (pytest.approx(2, rel=0.05), pytest.approx(8, rel=0.12))


def test_an_oil_does_not_borrow_from_itself():
    table = oils(4, 6)
    keys = oil_keys(table)
    assert scatter_history(table, without=keys[0]).oils == 5
    assert len(_summaries(as_table(table), keys)) == 6
    wild = pd.concat([table, oils(5, 1, within=0.9, first=90)], ignore_index=True)
    me = oil_keys(wild)[-1]
    assert scatter_history(wild, without=me).within_cov == pytest.approx(scatter_history(table).within_cov)


def test_the_same_procedure_comes_first():
    both = pd.concat([oils(6, 8), oils(7, 8, within=0.3, first=50).assign(method="ASTM D877")], ignore_index=True)
    near = scatter_history(both, like=oils(8, 1))
    assert near.same_procedure and near.oils == 8 and near.within_cov < 0.15
    other = scatter_history(both, like=oils(8, 1).assign(method="ASTM D1816"))
    assert not other.same_procedure and other.oils == 16


def test_one_filling_then_tells_of_the_oil(tmp_path, capsys):
    from dashboard.cli import main

    mine, past = oils(9, 1, fillings=1, breakdowns=6, first=500), oils(10, 30)
    plain, found = (decide(mine, 45.0, limit_method="IEC 60156", history=h) for h in (None, past))
    assert (plain.holds_for, found.holds_for) == ("this filling", "this oil")
    assert found.mean_high_kv - found.mean_low_kv < 2 * 1.96 * 50 * math.hypot(0.06, 0.12 / math.sqrt(6)) * 1.6
    assert "history" in {c.code for c in found.cautions} and "history" in found.prior
    row = fit_groups(mine, families=["normal"], history=past)[0]
    assert (row["oil"].mean_low_kv, row["oil"].holds_for) == (pytest.approx(found.mean_low_kv), "this oil")
    assert row["percentiles"][0].low == row["oil"].percentiles[0].low
    files = [tmp_path / "mine.csv", tmp_path / "past.csv"]
    mine.to_csv(files[0], index=False)
    past.to_csv(files[1], index=False)
    limit = ["--limit", "45", "--limit-method", "IEC 60156"]
    assert main(["decide", str(files[0]), *limit, "--history", str(files[1]), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)["decisions"][0]
    assert printed["mean_low_kv"] == pytest.approx(found.mean_low_kv, rel=1e-3)


def test_a_study_lends_to_its_own_oils():
    table = pd.concat([oils(11, 10), oils(12, 1, fillings=1, first=99)], ignore_index=True)
    alone = decide_all(table, 45.0, limit_method="IEC 60156").decisions
    lent = decide_all(table, 45.0, limit_method="IEC 60156", history="study").decisions
    assert alone[-1].holds_for == "this filling" and lent[-1].holds_for == "this oil"
    width = [np.mean([d.mean_high_kv - d.mean_low_kv for d in made[:-1]]) for made in (alone, lent)]
    assert width[1] < 0.6 * width[0]  # three fillings by themselves hardly know their scatter


def test_nothing_to_borrow():
    with pytest.raises(NotEstimable, match="two fillings"):
        scatter_history(oils(13, 5, fillings=1))
    with pytest.raises(NotEstimable):
        pool([])


@pytest.mark.parametrize(("ratio", "fillings"), [(0.0, 1), (1 / 3, 2), (1.0, 1), (2.0, 3)])
def test_borrowed_limits_hold(ratio, fillings):
    """Over 250 histories of twelve oils: the mean of another oil lies inside 95 % limits 90 times in 100 at least."""
    hits = 0
    rng = np.random.default_rng(14)
    for i in range(250):
        past = scatter_history(oils(1000 + i, 12, between=0.12 * ratio)) if i % 10 == 0 else past  # noqa: F821
        label = np.repeat(np.arange(fillings), 5)
        kv = 55 * (1 + 0.12 * ratio * rng.standard_normal(fillings)[label] + 0.12 * rng.standard_normal(len(label)))
        oil = one_oil(kv, fillings=label, percentiles=(), known=past.prior(float(kv.mean())))
        hits += oil.mean_low_kv <= 55 <= oil.mean_high_kv
    assert hits / 250 > 0.9
