"""The run-sheet page: what it shows is what the call gives, and its sheets are read back."""

from __future__ import annotations

import json
from io import BytesIO
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.cli import main
from dashboard.pages import page_class
from dashboard.study import Study
from methods import read
from methods.errors import NotEstimable
from methods.shifts import confounding
from methods.studies import plan_missing, plan_round, plan_study


def _page(source: str | None = None, **inputs):
    cache.forget()
    study = Study()
    if source:
        study.open(Path(source), Path(source).name)
    page = page_class("bench_plan")(study, **inputs)
    page.shown = True
    return page


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_study_of_the_records_is_planned_taken_away_and_read_back_half_filled(kind: str) -> None:
    page = _page("data/routine_wide.csv", oils="X, Y", half_width=12.0, seed=7)
    expected = plan_study(["X", "Y"], data=read("data/routine_wide.csv"), half_width=0.12, rng=7)
    shown = page.result()
    assert shown.sentence == expected.sentence == page._answer.text
    assert page._shown_tables["bench_promise"].frame["half_width_percent"].tolist() == [
        p["half_width_percent"] for p in expected.pairs
    ]
    name, contents = page._take.give(kind)
    assert name == f"run_sheet.{kind}"
    held = BytesIO(contents)
    back = pd.read_csv(held) if kind == "csv" else pd.read_excel(held, engine="openpyxl")
    assert len(back) == len(expected.sheet)
    back["kv"] = np.where(np.arange(len(back)) % 3, 40.0 + np.arange(len(back)) % 7, np.nan)
    records = read(back.to_csv(index=False).encode(), name="run_sheet.csv")
    assert len(records.table) == back["kv"].notna().sum() and not len(records.guesses)


def test_without_records_methods_are_named() -> None:
    page = _page(typed="ASTM D1816 2 mm; IEC 60156, spherical, stirred", oils="A, B", cov=15.0, between_cov=5.0)
    assert page.result().procedures == ["ASTM D1816 2 mm", "IEC 60156, spherical, stirred"]
    empty = _page()
    assert "Name the oils" in empty._state.object


def test_a_round() -> None:
    page = _page(kind="round", oils="A, B", procedure="ASTM D1816 2 mm", laboratories=10, results=3)
    assert page.result().uncertainty_ratio == plan_round(10, ["A", "B"], "ASTM D1816 2 mm", results=3).uncertainty_ratio


def _bundled() -> pd.DataFrame:
    """Invented: every disk test has the small gap, every mushroom test the large one, on three oils."""
    rng = np.random.default_rng(0)
    rows = [
        {"sample": oil, "electrode": e, "gap_mm": gap, "stirring": "none", "rise_kv_s": 2.0, "filling": f"{f}",
         "kv": 40 + rng.normal(0, 3)}
        for oil in "ABC" for e, gap in (("disk", 1.0), ("mushroom", 2.0)) for f in range(2) for _ in range(5)
    ]  # fmt: skip
    return pd.DataFrame(rows)


def test_the_missing_tests_take_the_factors_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    frame = _bundled()
    assert confounding(frame).aliased
    plan = plan_missing(frame, fillings=2, rng=1)
    done = plan.sheet.assign(kv=40.0).drop(columns="outcome")
    whole = pd.concat([frame, done[[c for c in frame.columns if c in done]]], ignore_index=True)
    assert plan.complete and not confounding(whole).aliased
    assert f"Test these {plan.runs} fillings" in plan.sentence and plan.runs == plan.sheet["run"].nunique()
    with pytest.raises(NotEstimable, match="No further test"):
        plan_missing(whole)
    path = tmp_path / "bundled.csv"
    frame.to_csv(path, index=False)
    out = tmp_path / "missing.xlsx"
    assert main(["plan", "study", str(path), "--missing", "--seed", "1", "--out", str(out), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["sentence"] == plan.sentence and len(pd.read_excel(out, engine="openpyxl")) == len(plan.sheet)
    page = _page(str(path), kind="missing", seed=1)
    assert page._answer.text == plan.sentence


def test_the_caution_of_a_shift_leads_to_the_sheet(tmp_path: Path) -> None:
    path = tmp_path / "bundled.csv"
    _bundled().to_csv(path, index=False)
    cache.forget()
    study = Study()
    study.open(path, "bundled.csv")
    study.by = "electrode"
    page = page_class("shift")(study)
    page.shown = True
    assert page._to_tests.visible
    page._to_tests.clicks += 1
    assert study.page == "bench_plan"
