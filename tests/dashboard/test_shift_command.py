"""``gapshift shift`` and ``gapshift equivalence``: the documents they print, and the text."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from dashboard.cli import main
from methods.records import read
from methods.result import as_json
from methods.shifts import shift
from tests.methods.shifts.test_shifts import bench

#: The keys that scripts rely on, in the order of the contract.
SHIFT_KEYS = [
    "level", "fillings", "breakdowns", "mean_kv", "difference_kv", "low_kv", "high_kv", "difference_percent",
    "low_percent", "high_percent", "p_value", "sd_ratio", "sd_ratio_low", "sd_ratio_high",
]  # fmt: skip


@pytest.fixture
def file(tmp_path: Path) -> str:
    frame = bench({("A", "spherical"): (50, 4), ("A", "mushroom"): (43, 3), ("A", "disk"): (30, 3)}, seed=2)
    frame["gap_mm"] = np.where(frame["electrode"] == "disk", 2.54, 2.5)
    path = tmp_path / "bench.csv"
    frame.round(2).to_csv(path, index=False)
    return str(path)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(list(words))
    out = capsys.readouterr()
    return status, out.out, out.err


def test_document(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "shift", file, "--by", "electrode", "--reference", "spherical", "--json")
    document = json.loads(out)
    assert status == 0 and err == ""
    assert list(document)[:5] == ["by", "reference", "confidence", "shifts", "cautions"]
    assert list(document["shifts"][0])[: len(SHIFT_KEYS)] == SHIFT_KEYS
    assert {s["level"] for s in document["shifts"]} == {"mushroom", "disk"}
    assert all(set(w) == {"code", "text"} for w in document["cautions"])
    assert "confounded" in [w["code"] for w in document["cautions"]]


def test_document_is_the_result_of_the_function(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "shift", file, "--by", "electrode", "--confidence", "90%", "--log", "--json")
    assert json.loads(out) == as_json(shift(read(file), "electrode", confidence=0.9, log=True))


def test_text_begins_with_the_sentence(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    _, out, _ = run(capsys, "shift", file, "--by", "electrode", "--reference", "spherical")
    first = out.splitlines()[0]
    assert first.startswith("Mushroom reads ") and " % lower than spherical: between " in first
    assert "3 fillings against 4" in first
    assert "Cautions:" in out and "gap (disk: 2.54 mm, spherical: 2.5 mm)" in out


def test_percentiles_and_all_pairs(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["shift", file, "--by", "electrode", "--percentiles", "--p", "10%", "--repetitions", "200", "--all-pairs"]
    _, out, _ = run(capsys, *words, "--json")
    document = json.loads(out)
    assert document["percentiles"]["levels"][0]["points"][0]["p"] == 0.1
    assert len(document["all_pairs"]["pairs"]) == 3
    _, text, _ = run(capsys, *words)
    assert "Every pair: Games–Howell" in text and "Shift of the 10 % points:" in text


def test_mixed_model(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["shift", file, "--by", "electrode", "--reference", "spherical", "--model", "mixed", "--with", "gap_mm"]
    _, out, _ = run(capsys, *words, "--json")
    document = json.loads(out)
    by_level = {s["level"]: s for s in document["shifts"]}
    assert by_level["disk"]["difference_kv"] is None and by_level["mushroom"]["difference_kv"] < 0
    assert document["model"] == "mixed" and document["factors"] == ["gap_mm"]


def test_agreement(file: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["equivalence", file, "--by", "electrode", "--margin", "5%", "--reference", "spherical"]
    status, out, _ = run(capsys, *words, "--json")
    document = json.loads(out)
    assert status == 0 and document["margin_percent"] == pytest.approx(5)
    assert {v["level"]: v["verdict"] for v in document["levels"]}["disk"] == "shown to differ"
    _, text, _ = run(capsys, *words)
    assert "agree within ± 5 %" in text.splitlines()[0]


@pytest.mark.parametrize(
    "words, part",
    [
        (["--by", "season"], "season"),
        (["--by", "electrode", "--reference", "cone"], "levels are"),
        (["--by", "sample"], "nothing to compare"),
        (["--by", "electrode", "--with", "gap_mm"], "mixed model"),
    ],
)
def test_errors_are_one_line(file: str, capsys: pytest.CaptureFixture[str], words: list[str], part: str) -> None:
    status, out, err = run(capsys, "shift", file, *words, "--json")
    assert status == 2 and out == "" and part in err and err.count("\n") == 1


def test_prove_counts_at_the_design_of_the_file(capsys, file):
    assert main(["shift", file, "--by", "electrode", "--prove", "40", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)["proof"]
    assert {r["repetitions"] for r in found["rows"]} == {40} and len(found["rows"]) == 2
    assert all(0.7 < r["held"] <= 1 for r in found["rows"])
    assert main(["shift", file, "--by", "electrode", "--model", "mixed", "--prove"]) == 2


def test_percentiles_say_that_they_borrow_nothing(capsys, file):
    words = ["shift", file, "--by", "electrode", "--p", "10%", "--repetitions", "100", "--history", file, "--json"]
    assert main(words) == 0
    found = json.loads(capsys.readouterr().out)
    assert "history_unused" in {c["code"] for c in found["percentiles"]["cautions"]}
