"""``gapshift protocols`` and ``gapshift rules``: their JSON, their text and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dashboard.cli import main
from methods.protocols import CHECK, load


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(list(words))
    out, err = capsys.readouterr()
    return code, out, err


def test_all_protocols(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "protocols", "--json")
    found = json.loads(out)["protocols"]
    assert code == 0 and err == "" and {p["key"] for p in found} == set(load())
    assert run(capsys, "protocols")[1].count("\n") > len(found)


def test_a_card(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "protocols", "d-1816 2MM", "--json")
    document = json.loads(out)
    assert (
        code == 0
        and document["protocol"]["key"] == "astm_d1816_2mm"
        and document["rule"]["limit_percent"]["value"] == 92
    )
    assert document["precision"][0]["r_percent"]["value"] == 30
    assert all(x["gap_mm"] == 2.0 and x["method"] == "astm_d1816" for x in document["limits"])
    text = run(capsys, "protocols", "IEC 60156")[1]
    assert CHECK.capitalize() in text and "spherical or mushroom" in text


def test_an_unknown_protocol(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "protocols", "whatever")
    assert code == 2 and out == "" and err.count("\n") == 1 and "whatever" in err


@pytest.fixture
def series_file(tmp_path: Path) -> Path:
    lines = ["sample,method,filling,order,kv"]
    for filling, kv in (("1", [28, 31, 33, 29, 35]), ("2", [20, 31, 52, 58, 66])):
        lines += [f"T1,ASTM D1816 2 mm,{filling},{i},{v}" for i, v in enumerate(kv, start=1)]
    path = tmp_path / "series.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_file_is_judged(capsys: pytest.CaptureFixture[str], series_file: Path) -> None:
    code, out, err = run(capsys, "rules", str(series_file), "--json")
    document = json.loads(out)
    assert code == 0 and err == "" and document["check"] == CHECK
    assert [(v["group"]["filling"], v["step"]) for v in document["verdicts"]] == [("1", "report"), ("2", "five_more")]
    (rate,) = document["rates"]
    assert (rate["judged"], rate["fired"], rate["rule"]) == (2, 1, "range_2mm") and rate["high"] > 0.9
    text = run(capsys, "rules", str(series_file))[1]
    assert "discard nothing" in text and "2 series" in text


def test_a_rule_of_ones_own_on_a_file(capsys: pytest.CaptureFixture[str], series_file: Path) -> None:
    words = ("rules", str(series_file), "--kind", "three_r", "--limit", "0.1", "--json")
    document = json.loads(run(capsys, *words)[1])
    assert [v["step"] for v in document["verdicts"]] == ["report", "report"]


def test_false_alarm_rates_without_a_file(capsys: pytest.CaptureFixture[str]) -> None:
    words = ("rules", "--rule", "three_r", "--cov", "10%", "--cov", "20%", "--effect", "--repetitions", "2000")
    document = json.loads(run(capsys, *words, "--json")[1])
    found = {(t["family"], t["cov"]): t["probability"] for t in document["trip_rates"]}
    assert found[("normal", 0.1)] == pytest.approx(0.18, abs=0.005) and found[("weibull", 0.2)] == pytest.approx(
        0.79, abs=0.005
    )
    assert "verdicts" not in document and len(document["effects"]) == 4
    text = run(capsys, *words)[1]
    assert "18.04" in text and "True CoV" in text


@pytest.mark.parametrize(
    "words",
    [
        ("--rule", "nothing"),
        ("--rule", "chart"),
        ("--kind", "three_r"),
        ("--limit", "5"),
        ("--kind", "three_r", "--limit", "3", "--rule", "three_r"),
        ("--kind", "three_r", "--limit", "-3"),
        ("--folder", "/nowhere/at/all"),
        ("missing.csv",),
    ],
)
def test_refused(capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    code, out, err = run(capsys, "rules", *words)
    assert code == 2 and out == "" and err.startswith("gapshift: ") and err.count("\n") == 1
