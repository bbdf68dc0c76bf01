"""``gapshift fit``: the contract's JSON, equal to the Python API, and a readable table."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from dashboard.cli import main
from methods import fit
from methods.records import read
from methods.records.table import filling_codes
from methods.scatter import FAMILIES, fit_groups

VALUES = {
    "disk": (34, 38, 41, 30, 36, 39, 33, 42, 35, 37, 31, 40),
    "mushroom": (52, 58, 60, 49, 55, 60, 47, 61, 60, 57, 53, 50),
}
LONG = "sample,filling,electrode,order,kv,outcome\n" + "".join(
    f"oil,{1 + i // 6},{electrode},{1 + i % 6},{kv},{'withstood' if kv == 60 else 'breakdown'}\n"
    for electrode, values in VALUES.items()
    for i, kv in enumerate(values)
)


@pytest.fixture
def file(tmp_path: Path) -> str:
    """Invented values, two electrodes, two fillings each, three withstands at 60 kV."""
    path = tmp_path / "long.csv"
    path.write_text(LONG, encoding="utf-8")
    return str(path)


def document(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict]:
    assert main(["fit", *words, "--json"]) == 0
    printed = capsys.readouterr().out
    found = json.loads(printed)
    assert set(found) == {"fits"} and printed.count("\n") == 1
    return found["fits"]


def test_everything_in_one_group_by_default(file, capsys):
    fits = document(capsys, file)
    assert [f["family"] for f in fits] == list(FAMILIES)
    assert all(f["group"] == {} and f["n"] == 24 and f["withstood"] == 3 for f in fits)


def test_the_contract_keys_and_the_api_agree(file, capsys):
    fits = document(capsys, file, "--by", "electrode", "--family", "weibull", "--family", "normal")
    assert [(f["group"], f["family"]) for f in fits] == [
        ({"electrode": e}, f) for e in ("disk", "mushroom") for f in ("weibull", "normal")
    ]
    table = read(file).table
    part = table[table["electrode"] == "mushroom"]
    gone = (part["outcome"] == "withstood").to_numpy()
    one = fit(part["kv"].to_numpy(), gone, "weibull", fillings=filling_codes(part))
    row = fits[2]
    assert (row["n"], row["withstood"]) == (12, 3)
    assert row["parameters"] == pytest.approx(one.parameters)
    assert row["standard_errors"] == pytest.approx(one.standard_errors)
    assert (row["log_likelihood"], row["aicc"]) == pytest.approx((one.log_likelihood, one.aicc))
    for got, want in zip(row["percentiles"], one.percentiles, strict=True):
        assert set(got) == {"p", "kv", "low", "high"}
        assert list(got.values()) == pytest.approx([want.p, want.kv, want.low, want.high])
    assert row["interval"] == "pivot" and row["confidence"] == 0.95
    assert row["anderson_darling"] is None  # withstands: no test
    assert 0 < fits[0]["anderson_darling"]["p_value"] <= 1
    codes = {c["code"] for c in row["cautions"]}
    assert "withstood" in codes and "fillings" not in codes  # the limits know of the fillings
    words = ["--by", "electrode", "--family", "weibull", "--interval", "wald"]
    assert {"withstood", "fillings"} <= {c["code"] for c in document(capsys, file, *words)[1]["cautions"]}


def test_options(file, capsys):
    words = ["--family", "weibull", "--percentile", "5%", "--percentile", "0.2", "--confidence", "90%"]
    wald = document(capsys, file, *words, "--interval", "wald")[0]
    profile = document(capsys, file, *words, "--interval", "profile")[0]
    assert [q["p"] for q in wald["percentiles"]] == [0.05, 0.2]
    assert (wald["confidence"], profile["interval"]) == (0.9, "profile")
    assert wald["percentiles"][0]["kv"] == profile["percentiles"][0]["kv"]
    assert wald["percentiles"][0]["low"] != pytest.approx(profile["percentiles"][0]["low"], rel=1e-3)


def test_several_columns_after_one_option_and_the_file_last(file, capsys):
    first = document(capsys, file, "--family", "normal", "--by", "electrode", "filling")
    last = document(capsys, "--family", "normal", "--by", "electrode", "filling", file)
    assert first == last and len(first) == 4
    assert set(first[0]["group"]) == {"electrode", "filling"}


def test_a_family_that_cannot_be_fitted_has_an_error_instead(tmp_path, capsys):
    path = tmp_path / "equal.csv"
    path.write_text("electrode,kv\n" + "disk,40\n" * 5 + "disk,45\nsphere,50\nsphere,50\nsphere,50\n", encoding="utf-8")
    fits = document(capsys, str(path), "--by", "electrode", "--no-ceiling")
    bad = [f for f in fits if f["group"] == {"electrode": "spherical"} or f["group"] == {"electrode": "sphere"}]
    assert len(bad) == len(FAMILIES)
    for row in bad:
        assert "equal" in row["error"] and "parameters" not in row and row["n"] == 3
    assert main(["fit", str(path), "--by", "electrode", "--no-ceiling"]) == 0
    assert "equal" in capsys.readouterr().out


def test_text_is_readable(file, capsys):
    assert main(["fit", file, "--by", "electrode"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"mushroom +Weibull +12 +3 ", out)
    assert "10 % (kV)" in out and "95 % confidence" in out and "nan" not in out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--family", "cauchy"], "no family"),
        (["--by", "colour"], "no column"),
        (["--percentile", "0%"], "between 0 and 1"),
    ],
)
def test_wrong_calls_are_one_line(file, capsys, words, said):
    try:
        status = main(["fit", file, *words])
    except SystemExit as stop:
        status = stop.code
    err = capsys.readouterr().err
    assert status == 2 and said in err and err.count("\n") == 1


def test_no_file(capsys):
    assert main(["fit", "--by", "electrode"]) == 2
    assert "FILE" in capsys.readouterr().err
    assert main(["fit", "--by", "electrode", "nowhere.csv"]) == 2
    assert "nowhere.csv" in capsys.readouterr().err


def test_groups_with_an_empty_level_are_kept():
    import pandas as pd

    table = pd.DataFrame({"kv": [40, 42, 45, 50, 52, 56.0], "electrode": ["disk"] * 3 + [None] * 3})
    fits = fit_groups(table, ["electrode"], ["normal"])
    assert [f["group"]["electrode"] for f in fits] == ["disk", None]
    assert fits[1]["parameters"]["mean"] == pytest.approx(np.mean([50, 52, 56]))
    assert fits[0]["fillings"] is None


def test_a_group_that_mixes_conditions_or_samples_says_so(file):
    table = read(file).table
    whole = fit_groups(table, families=["normal"])[0]
    apart = fit_groups(table, ["electrode"], ["normal"])
    assert "mixed" in {c.code for c in whole["cautions"]}
    assert all("mixed" not in {c.code for c in row["cautions"]} for row in apart)
    single = fit_groups(table, ["electrode", "filling"], ["normal"])[0]
    assert "one_filling" in {c.code for c in single["cautions"]} and single["fillings"] == 1
