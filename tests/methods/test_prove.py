"""Coverage counted at one's own design."""

from __future__ import annotations

import json
import math

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError, NotEstimable
from methods.prove import count, prove_design, prove_oil
from methods.scatter import one_oil

KV = np.array([50.0, 52, 48, 55, 51, 58, 57, 60, 55, 61, 49, 47, 52, 50, 48])
LABEL = np.repeat([1, 2, 3], 5)


def test_the_limits_are_those_of_the_package_and_hold():
    found = prove_oil(KV, fillings=LABEL, repetitions=400, rng=3)
    assert [r.what for r in found.rows] == ["mean", "1 % point", "10 % point"]
    assert all(r.held > 0.9 and r.low < r.held < r.high and r.repetitions == 400 for r in found.rows)
    assert "3 fillings of 5" in found.design and "of 100" in found.sentence
    again = prove_oil(KV, fillings=LABEL, repetitions=400, rng=3)
    assert again == found and prove_oil(KV, fillings=LABEL, repetitions=400, rng=4) != found


def test_what_does_not_hold_is_seen():
    """Limits of 50 % hold the truth about every other time: the count is not always flattering."""
    found = prove_oil(KV, fillings=LABEL, confidence=0.5, percentiles=(), repetitions=600, rng=1)
    assert 0.45 < found.rows[0].held < 0.68
    share = count("x", 0.95, [1, 1, 0, math.nan])
    assert (share.held, share.repetitions) == (2 / 3, 3)


def test_other_families_and_ceilings():
    weibull = prove_oil(KV, fillings=LABEL, family="weibull", repetitions=150, rng=2)
    assert [r.what for r in weibull.rows] == ["1 % point", "10 % point"] and weibull.rows[0].held > 0.88
    low = np.minimum(KV, 57.0)
    stood = prove_oil(low, KV > 57, repetitions=60, percentiles=(0.1,), rng=2)
    assert "ceiling 57 kV" in stood.design and stood.rows[0].held > 0.8


def test_a_planned_design():
    made = prove_design(3, 5, within_cov=0.15, between_cov=0.05, half_width=0.2, repetitions=500)
    assert made.rows[0].held > 0.93 and 0.3 < made.rows[1].held < 0.8 and "no wider than 20 %" in made.sentence


def test_refusals():
    with pytest.raises(InputError):
        prove_oil(KV, repetitions=0)
    with pytest.raises(InputError, match="threshold"):
        prove_oil(KV, family="weibull3")
    with pytest.raises(NotEstimable):
        prove_oil([50.0, 50.0, 50.0])
    with pytest.raises(NotEstimable):
        prove_design(1, 1, within_cov=0.1, repetitions=5)


def test_the_commands_count(tmp_path, capsys):
    from dashboard.cli import main

    file = tmp_path / "a.csv"
    pd.DataFrame({"kv": KV, "filling": LABEL, "sample": "A", "method": "IEC 60156"}).to_csv(file, index=False)
    assert main(["fit", str(file), "--family", "normal", "--prove", "80", "--json"]) == 0
    row = json.loads(capsys.readouterr().out)["fits"][0]
    assert row["proof"]["rows"][0]["what"] == "mean" and row["proof"]["rows"][0]["repetitions"] == 80
    assert row["oil"]["mean_kv"] == pytest.approx(one_oil(KV, fillings=LABEL).mean_kv)
    assert main(["decide", str(file), "--limit", "45", "--limit-method", "IEC 60156", "--prove", "80"]) == 0
    assert "invented studies (80 were made)" in capsys.readouterr().out
    assert main(["fit", str(file), "--prove", "10", "--interval", "wald"]) == 2
