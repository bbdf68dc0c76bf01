"""The committee's commands: precision, gap-law, rate, geometry, agreement, sensitivity, rounds."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from dashboard.cli import main
from tests.reference import FOLDER, agrees

DATA = FOLDER / "data"
DEMO = FOLDER.parents[1] / "data"


def document(capsys: pytest.CaptureFixture[str], *words: object, status: int = 0) -> Any:
    assert main([*map(str, words), "--json"]) == status
    out, err = capsys.readouterr()
    assert not err
    return json.loads(out)


def words(capsys: pytest.CaptureFixture[str], *argv: object) -> str:
    assert main([*map(str, argv)]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize(
    ("case", "file", "options"),
    [
        ("E01", "E01_glucose_e691.csv", ("--laboratory", "Laboratory", "--level", "Material", "--value", "Glucose")),
        ("E01", "E01_glucose_e691.csv", ("--value", "Glucose")),
        ("E03", "E03_iso5725_coal.csv", ("--laboratory", "lab", "--level", "level", "--value", "value")),
        ("E04", "E04_iso5725_pitch.csv", ("--laboratory", "lab", "--level", "level", "--value", "value")),
    ],
)
def test_precision_on_published_studies(
    case: str, file: str, options: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """ISO 5725-2 and ASTM E691 from the file as it stands."""
    found = document(capsys, "precision", DATA / file, *options)
    need = {"level", "laboratories", "mean", "s_r", "s_L", "s_R", "r", "R", "r_percent", "R_percent", "h", "k"}
    for level in found["levels"]:
        assert need <= set(level)
        name = level["level"] if case == "E01" else f"L{level['level']}"
        for key, ours in (("mean", "mean"), ("sr", "s_r"), ("sL", "s_L"), ("sR", "s_R")):
            agrees(case, f"{name}_{key}", level[ours])
        agrees(case, f"{name}_{'h' if case == 'E01' else 'h_all_labs'}", list(level["h"].values()))
        agrees(case, f"{name}_{'k' if case == 'E01' else 'k_all_labs'}", list(level["k"].values()))
    assert len(found["levels"]) == {"E01": 5, "E03": 4, "E04": 4}[case]


def test_precision_keeps_the_reason_of_an_exclusion(capsys: pytest.CaptureFixture[str]) -> None:
    argv = ("precision", DATA / "E01_glucose_e691.csv", "--level", "Material", "--value", "Glucose")
    found = document(capsys, *argv, "--exclude", "Lab4", "C", "typing error")
    assert found["exclusions"][0]["reason"] == "typing error" and found["levels"][2]["laboratories"] == 7
    assert "Standing out" in words(capsys, *argv)
    assert main([*map(str, argv), "--exclude", "Lab4", "C", ""]) == 2
    assert "needs a reason" in capsys.readouterr().err


def test_precision_on_the_demo_round(capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "precision", DEMO / "laboratory_round.csv", "--result", "filling")
    assert found["result"] == "filling" and len(found["levels"]) >= 2
    assert all(level["s_R"] >= level["s_r"] for level in found["levels"] if not level["error"])


def test_gap_law(capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "gap-law", DATA / "I04_gap_synthetic.csv", "--at", 2, "--at", 50)
    (law,) = found["laws"]
    agrees("I04", "loglog_b", law["m"])
    near, far = law["predictions"]
    agrees("I04", "pred_loglog_at_2_pi95", [near["band_low_kv"], near["band_high_kv"]])
    assert "more than half beyond" in far["error"]
    text = words(capsys, "gap-law", DEMO / "bench_studies.csv", "--at", "2.2")
    assert "mushroom" in text and text.count("No law for") == 1


def test_rate(capsys: pytest.CaptureFixture[str]) -> None:
    """Six-fold rate with n = 17 (between Nelson's 16.4 and 17.7): +10 to +11 %."""
    found = document(capsys, "rate", "--exponent", 17, "--from", 0.5, "--to", "3 kV/s")
    assert 10 < found["shift"]["percent"] < 11
    demo = document(capsys, "rate", DEMO / "bench_studies.csv", "--from", 0.5, "--to", 3)
    assert any(law["error"] is None for law in demo["laws"]) and len(demo["laws"]) == len(demo["shifts"])
    assert main(["rate"]) == 2 and "--exponent" in capsys.readouterr().err


def test_geometry(capsys: pytest.CaptureFixture[str]) -> None:
    listed = document(capsys, "geometry")
    assert {s["electrode"] for s in listed["stress"]} == {"spherical", "mushroom"}
    found = document(
        capsys, "geometry", DEMO / "bench_studies.csv", "--first", "spherical@2.5", "--second", "mushroom@2.5"
    )
    assert found["predicted_low"] < found["predicted"] < found["predicted_high"]
    assert found["observed_low"] < found["observed"] < found["observed_high"] and found["fillings"] > 2
    assert main(["geometry", "--first", "spherical@2.5", "--second", "disk@2.54", "--shape", "10"]) == 2
    assert "edge" in capsys.readouterr().err


def test_agreement(capsys: pytest.CaptureFixture[str]) -> None:
    argv = ("agreement", DEMO / "programme_long.csv", "--first", "ASTM D877 A")
    argv += ("--second", "IEC 60156 mushroom, stirred")
    found = document(capsys, *argv, "--predict", 40)
    assert found["statement"] == "association in these data, not a conversion"
    assert found["absolute"]["lower"] < found["absolute"]["bias"] < found["absolute"]["upper"]
    assert len(found["predictions"]) == 1
    assert "IEC 60156 mushroom, stirred less ASTM D877 A" in words(capsys, *argv)
    assert main(["agreement", str(DEMO / "programme_long.csv")]) == 2
    assert "say which two" in capsys.readouterr().err
    pooled = ("--by", "method", "--first", "ASTM D877 A", "--second", "IEC 60156")
    assert main(["agreement", str(DEMO / "programme_long.csv"), *pooled]) == 2
    assert "Compare by procedure" in capsys.readouterr().err


def test_sensitivity(capsys: pytest.CaptureFixture[str]) -> None:
    argv = ("sensitivity", DEMO / "programme_long.csv")
    found = document(capsys, *argv, "--minutes", "ASTM D877 A=30")
    rows = {m["method"]: m for m in found["methods"]}
    assert rows["ASTM D877 A"]["minutes"] == 30 and len(rows) == 8 and len(found["ratios"]) == len(rows) - 1
    rated = [m["per_hour"] for m in found["methods"] if m["per_hour"] is not None]
    assert rated == sorted(rated, reverse=True)
    assert "oils apart best for its bench time" in words(capsys, *argv)


def test_rounds(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    pytest.importorskip("duckdb")
    argv = ("rounds", DEMO / "laboratory_round.csv", "--by", "laboratory", "--level", "sample")
    found = document(capsys, *argv)
    direct = document(capsys, "precision", DEMO / "laboratory_round.csv", "--level", "sample")
    assert found["rows_read"] == found["rows"] + found["refused"]
    assert [v["s_R"] for v in found["precision"]["levels"]] == pytest.approx([v["s_R"] for v in direct["levels"]])
    assert "kept" in words(capsys, *argv)
    assert main(["rounds", str(tmp_path)]) == 2 and "There is no file" in capsys.readouterr().err
    sheet = ("rounds", DEMO / "messy_sheet.xlsx", DEMO / "laboratory_round.csv")
    found = document(capsys, *sheet)
    assert [f["file"] for f in found["read_first"]] == ["messy_sheet.xlsx"] and found["files"] == 2
    assert found["refused"] == document(capsys, "check", DEMO / "messy_sheet.xlsx", status=1)["rows_read"] - sum(
        f["rows"] for f in found["read_first"]
    )
    assert "Read first" in words(capsys, *sheet)
