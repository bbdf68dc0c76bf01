"""``gapshift components`` and ``gapshift order``: the contract's JSON, equal to the Python API, and readable text."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import main
from methods.records import read
from methods.result import as_json
from methods.scatter import components, order_effects
from tests.reference import FOLDER, agrees

DYESTUFF = [str(FOLDER / "data" / "D01_dyestuff.csv"), "--column", "filling=Batch", "--value", "Yield"]

INVENTED = "sample,filling,electrode,order,kv\n" + "".join(
    f"oil {s},{f},{e},{i + 1},{50 + 6 * s + 3 * f + 4 * (e == 'disk') + (7 * i + 5 * f + 3 * s) % 11}\n"
    for s in (1, 2)
    for e in ("disk", "spherical")
    for f in (1, 2, 3)
    for i in range(5)
)


@pytest.fixture
def file(tmp_path: Path) -> str:
    """Invented: two oils, two electrodes, three fillings of five each."""
    path = tmp_path / "long.csv"
    path.write_text(INVENTED, encoding="utf-8")
    return str(path)


def document(capsys: pytest.CaptureFixture[str], *words: str) -> dict:
    assert main([*words, "--json"]) == 0
    printed = capsys.readouterr().out
    assert printed.count("\n") == 1
    return json.loads(printed)


def test_dyestuff_gives_the_values_of_lme4(capsys):
    """Davies & Goldsmith 1972; R lme4."""
    found = document(capsys, "components", *DYESTUFF)
    lines = {c["factor"]: c for c in found["components"]}
    assert list(lines) == ["filling", "breakdown"]
    agrees("D01", "reml_sd_Batch", lines["filling"]["sd"])
    agrees("D01", "reml_sd_Residual", lines["breakdown"]["sd"])
    agrees("D01", "reml_mean", found["mean_kv"])
    agrees("D01", "reml_se_mean", found["standard_error_kv"])
    agrees("D01", "anova_icc_ci95_exact", [found["intraclass_low"], found["intraclass_high"]])
    assert (lines["filling"]["levels"], lines["breakdown"]["levels"]) == (6, 30)
    assert all(c["low"] < c["sd"] < c["high"] for c in lines.values())
    assert "groups" not in found


def test_components_equal_the_interface_and_by_adds_groups(capsys, file):
    found = document(capsys, "components", file, "--by", "electrode", "--confidence", "90%")
    assert found == as_json(components(read(file), by=["electrode"], confidence=0.9))
    assert [g["group"]["electrode"] for g in found["groups"]] == ["disk", "spherical"]
    assert [c["factor"] for c in found["components"]] == ["sample", "filling", "breakdown"]


def test_order_equals_the_interface(capsys, file):
    found = document(capsys, "order", file, "--by", "electrode")
    assert found == as_json(order_effects(read(file), by=["electrode"]))
    assert found["trend"]["fillings"] == 12
    assert {t["name"] for t in found["tests"]} == {"Mann-Kendall", "runs", "von Neumann", "Bartels"}
    assert len(found["groups"]) == 2


def test_readable_text(capsys, file):
    assert main(["components", file, "--residual-by", "electrode", "--by", "electrode"]) == 0
    text = capsys.readouterr().out
    assert "filling" in text and "== electrode disk" in text and "Scatter within fillings" in text
    assert main(["order", file]) == 0
    text = capsys.readouterr().out
    assert "Trend, from one to the next" in text and "Correlation of neighbours" in text
    assert main(["order", *DYESTUFF]) == 0


def test_wrong_column_is_one_line(capsys, file):
    assert main(["components", file, "--by", "nothing"]) == 2
    error = capsys.readouterr().err
    assert error.count("\n") == 1 and "nothing" in error


def test_order_of_withstands_alone_has_no_mean(tmp_path, capsys):
    file = tmp_path / "stood.csv"
    file.write_text("filling,order,kv,outcome\n" + "".join(f"1,{i},60,withstood\n" for i in range(1, 6)))
    assert main(["order", str(file)]) == 0
    text = capsys.readouterr().out
    assert "nan" not in text and "cannot be seen" in text
