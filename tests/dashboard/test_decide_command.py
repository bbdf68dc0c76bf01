"""``gapshift decide``: verdicts as JSON and as a table, refusals in one line."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from dashboard.cli import main


@pytest.fixture
def file(tmp_path):
    rows = [
        ("A", f, kv) for f, base in ((1, 50), (2, 55), (3, 49)) for kv in (base, base + 3, base - 2, base + 1, base + 4)
    ]
    table = pd.DataFrame(rows, columns=["sample", "filling", "kv"]).assign(method="ASTM D1816 2 mm", gap_mm=2.0)
    path = tmp_path / "oil.csv"
    table.to_csv(path, index=False)
    return str(path)


def test_json(capsys, file):
    assert main(["decide", file, "--limit", "50", "--limit-method", "ASTM D1816 2 mm", "--json"]) == 0
    out, err = capsys.readouterr()
    found = json.loads(out)
    assert not err
    (one,) = found["decisions"]
    assert one["verdict"] == "pass" and one["fillings"] == 3 and one["breakdowns"] == 15
    assert 0.5 < one["probability_above"] < 1
    assert found["refused"] == []


@pytest.mark.parametrize(("rule", "verdict"), [("simple", "pass"), ("guarded", "fail"), ("every", "fail")])
def test_rules(capsys, file, rule, verdict):
    assert main(["decide", file, "--limit", "50", "--rule", rule, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["decisions"][0]["verdict"] == verdict


def test_table(capsys, file):
    assert main(["decide", file, "--limit", "50 kV"]) == 0
    out = capsys.readouterr().out
    assert "pass" in out and "Nobody said for which method" in out


@pytest.mark.parametrize(
    "words",
    [
        "--limit 50 --limit-method IEC60156",
        "--limit 0",
        "--limit nonsense",
        "--limit 50 --rule kind",
        "--limit astm_d3487/d877",
    ],
)
def test_refusals_are_one_line(capsys, file, words):
    assert main(["decide", file, *words.split()]) == 2
    out, err = capsys.readouterr()
    assert not out
    assert err.startswith("gapshift: ") and err.count("\n") == 1
