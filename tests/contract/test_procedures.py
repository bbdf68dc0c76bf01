"""Whole procedures, like with like, and one answer on every surface: what must not come back.

Which test holds what, in the order of what was asked for:

1. *Procedure is a factor*: ``tests/methods/procedures/test_naming.py``; what a file opens with:
   ``tests/dashboard/test_study.py``.
2. *No headline from a mixture*: ``tests/methods/shifts/test_strata.py`` (the sign that turns round, what is refused,
   how sets weigh, that their limits hold); every page and command: below.
3. *Water and temperature*: ``tests/methods/shifts/test_water_and_temperature.py``,
   ``tests/dashboard/test_shift_water.py``.
4. *What a reported result is*, on page, command and call, and the question of a file that does not say it:
   ``tests/contract/test_reported_results.py``; of a precision experiment also below.
5. *Which method*: ``tests/methods/choosing/test_choose.py``; on three kinds of files: below; with oils that three
   people spell differently: ``tests/methods/records/test_one_name.py``.
6. *Run sheets*: ``tests/methods/studies/test_study_plan.py`` (read back without a question, the promised width),
   ``tests/dashboard/test_bench_plan_page.py``.
7. *A limit fits or is refused*: ``tests/methods/protocols/test_fitting.py`` (liquid, stage, equipment, gap, departures,
   grades), ``test_limits.py`` there, ``tests/dashboard/test_decision_page.py``; in the report
   ``tests/dashboard/test_records_report.py``.
8. *Precision of two methods*: ``tests/methods/interlab/test_compare.py``; laboratories paired in agreement:
   ``tests/methods/agreement/test_agreement.py``.
9. *A new oil under another method*: ``tests/methods/agreement/test_agreement.py``, coverage
   ``tests/calibration/new_oils.py``, over laboratories ``tests/calibration/paired_laboratories.py``.
10. *Plans without a bench time*: ``tests/methods/planning/test_mean_plan.py``.
11. *Volume beside area*: ``tests/methods/laws/test_geometry.py``.
12. The rest: sources of a budget ``tests/methods/planning/test_case_budget.py``; esters and viscous liquids
    ``tests/methods/protocols/test_bench.py``; dissolved gas ``test_fitting.py`` there; rules of one's own
    ``tests/dashboard/test_method_study_page.py``; GB 507-86 and IS 6792:2017
    ``tests/methods/protocols/test_recognition.py``; kV/cm ``tests/methods/records/test_traps.py``; scatter between
    laboratories and the limits of a ratio ``tests/methods/agreement``; the field at a disk's edge
    ``tests/methods/laws/test_geometry.py``.
"""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.cli import main
from dashboard.pages import page_class
from dashboard.study import Study
from methods import precision, read_all
from methods.choosing import choose

DEMO = Path(__file__).parents[2] / "data" / "programme_long.csv"
#: What a surface says when a level holds a mixture, or why it refuses one.
SAID = ("pool", "mixes", "differ in", "conditions (", "conditions are", "several methods", "procedure")

METHODS = {
    "ASTM D877 A": ("disk", 2.54, "none", 0.16),
    "ASTM D1816": ("mushroom", 2.0, "continuous", 0.10),
    "IEC 60156": ("spherical", 2.5, "continuous", 0.13),
}


def programme(seed: int = 0, oils: int = 4, fillings: int = 3) -> pd.DataFrame:
    """Invented: three methods on the same oils."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(oils):
        for method, (electrode, gap, stirring, cov) in METHODS.items():
            for f in range(fillings):
                level = (30 + 8 * i) * gap / 2 * (1 + 0.04 * rng.standard_normal())
                for o in range(5):
                    rows.append(
                        {"sample": f"oil {i}", "method": method, "electrode": electrode, "gap_mm": gap,
                         "stirring": stirring, "filling": str(f + 1), "order": o + 1,
                         "kv": round(level * (1 + cov * rng.standard_normal()), 2)}
                    )  # fmt: skip
    return pd.DataFrame(rows)


def _sources(kind: str, folder: Path) -> list[Path]:
    if kind == "demo":
        return [DEMO]
    table = programme()
    if kind == "three files":
        out = []
        for method, part in table.groupby("method", sort=False):
            out.append(folder / f"{str(method).replace(' ', '_')}.csv")
            part.to_csv(out[-1], index=False)
        return out
    path = folder / "three_sheets.xlsx"
    with pd.ExcelWriter(path, engine="xlsxwriter") as book:
        for method, part in table.groupby("method", sort=False):
            part.to_excel(book, sheet_name=str(method)[:31], index=False)
    return [path]


def _study(paths: list[Path]) -> Study:
    cache.forget()
    study = Study()
    for path in paths:
        study.open(path)
    return study


def _printed(argv: list[str]) -> Any:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert main([*argv, "--json"]) == 0
    return json.loads(out.getvalue())


@pytest.mark.parametrize("kind", ["demo", "three files", "workbook"])
def test_the_manager_s_page_answers_without_a_setting_and_all_surfaces_agree(kind: str, tmp_path: Path) -> None:
    paths = _sources(kind, tmp_path)
    expected = choose(read_all(paths))
    page = page_class("choose")(_study(paths))
    page.shown = True
    assert page._answer.text == expected.sentence and expected.best in expected.sentence
    assert len(page._answer.text) < 420
    printed = _printed(["choose", *map(str, paths)])
    shown = page._shown_tables["choose"].frame.set_index("procedure")
    for row in expected.procedures:
        mine = next(p for p in printed["procedures"] if p["procedure"] == row.procedure)
        for field in ("mean_kv", "shift_percent", "fillings", "bench_minutes", "oil_litres", "half_width_percent"):
            want = getattr(row, field)
            for got in (shown.loc[row.procedure, field], mine[field]):
                got = np.nan if got is None else got
                assert got == pytest.approx(want, nan_ok=True), (field, row.procedure)


def test_every_column_that_a_manager_asks_for_is_there(tmp_path: Path) -> None:
    page = page_class("choose")(_study([DEMO]))
    page.shown = True
    there = set(page._shown_tables["choose"].frame.columns) | set(page._shown_tables["choose_scatter"].frame.columns)
    assert there >= {
        "mean_kv", "shift_percent", "low_percent", "high_percent", "cov_within_percent", "cov_between_percent",
        "fillings", "breakdowns_per_filling", "bench_minutes", "oil_litres", "half_width_percent",
        "discrimination_per_result", "discrimination_per_result_low", "discrimination_per_result_high",
        "discrimination_per_hour", "withstood_percent", "false_alarm_percent", "wrong_verdict_percent",
        "probability_best",
    }  # fmt: skip
    assert "choose_published" in page._shown_tables


def _round() -> pd.DataFrame:
    """Invented: six laboratories, the second part of a method that reports the mean of five fillings of one."""
    rng = np.random.default_rng(1)
    rows = []
    for lab in "ABCDEF":
        for oil in ("oil 1", "oil 2"):
            for method, fillings, each in (("ASTM D877 B", 10, 1), ("IEC 60156", 2, 6)):
                level = 40 + rng.normal(0, 1)
                for f in range(fillings):
                    mean = level + rng.normal(0, 1.5)
                    rows += [
                        {"laboratory": lab, "sample": oil, "method": method, "filling": str(f), "order": o + 1,
                         "kv": round(mean + rng.normal(0, 4), 2)}
                        for o in range(each)
                    ]  # fmt: skip
    return pd.DataFrame(rows)


def test_what_a_result_is_comes_from_the_method_on_page_command_and_call(tmp_path: Path) -> None:
    path = tmp_path / "round.csv"
    _round().to_csv(path, index=False)
    expected = {lv.level: lv for lv in precision(read_all([path])).levels}
    page = page_class("precision")(_study([path]))
    page.shown = True
    shown = page._shown_tables["precision"].frame.set_index("level")
    for level in _printed(["precision", str(path)])["levels"]:
        mine = expected[level["level"]]
        assert level["n"] == mine.n == shown.loc[level["level"], "n"] == 12  # two results of each of six laboratories
        assert level["s_r"] == pytest.approx(mine.s_r) == pytest.approx(shown.loc[level["level"], "s_r"])


@pytest.mark.parametrize(
    "argv",
    [
        ["shift", "--by", "electrode"], ["equivalence", "--by", "electrode", "--margin", "10%"],
        ["fit", "--by", "electrode"], ["order"], ["components"], ["precision", "--level", "stirring"],
        ["sensitivity", "--by", "electrode"], ["decide", "--limit", "30"],
        ["agreement", "--by", "electrode", "--first", "disk", "--second", "mushroom"],
    ],
    ids=lambda argv: argv[0],
)  # fmt: skip
def test_no_command_sets_mixtures_against_each_other_without_a_word(argv: list[str]) -> None:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        main([argv[0], str(DEMO), *argv[1:]])
    text = out.getvalue() + err.getvalue()
    notes = [line for line in text.splitlines() if line.startswith(("- ", "gapshift:"))]
    assert any(word in line for line in notes for word in SAID), text[-600:]


@pytest.mark.parametrize("key", ["overlay", "shift", "scatter", "method_study"])
def test_no_page_sets_mixtures_against_each_other_without_a_word(key: str) -> None:
    study = _study([DEMO])
    study.by = "electrode"
    page = page_class(key)(study, **({"question": "agreement"} if key == "method_study" else {}))
    page.shown = True
    said = page._state.object if page._state.visible else " ".join(c.text for c in page.cautions(page.result()))
    assert any(word in said for word in SAID), said[:600]


def test_precision_by_stirring_splits_oils_and_procedures() -> None:
    page = page_class("precision")(_study([DEMO]), level="stirring")
    page.shown = True
    levels = page._shown_tables["precision"].frame["level"]
    oils = study_oils()
    assert all(sum(oil in level for oil in oils) == 1 for level in levels)
    assert page._shown_tables["precision"].frame["s_r"].max() < 25  # pooled over oils it is 49 to 53 kV


def study_oils() -> list[str]:
    """The oils of the demo."""
    return sorted(pd.read_csv(DEMO)["sample"].unique())
