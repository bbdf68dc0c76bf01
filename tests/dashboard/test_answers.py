"""One answer on every surface: equal headings and equal cells on page, command, report, workbook and notebook."""

from __future__ import annotations

import html
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import holoviews as hv
import openpyxl
import pandas as pd
import pytest

import dashboard.plots.results  # noqa: F401  (says what can be drawn)
from dashboard import cli
from dashboard.pages import page_class
from dashboard.report import Asked, content
from dashboard.report.gather import gather
from dashboard.study import Study
from methods import components, order_effects, plan, precision, shift
from methods.agreement import compare_methods, discrimination
from methods.answers import MAKERS, answer
from methods.answers.heads import HEADS, OWN
from methods.answers.model import MOST_ROWS
from methods.answers.writing import cell
from methods.choosing import choose
from methods.consistency import judge_records
from methods.errors import InputError
from methods.laws import compare_geometry, gap_laws, rate_laws
from methods.planning import decide_all
from methods.planning.case_budget import budget_of
from methods.planning.standing import series_of
from methods.procedures import minutes_of
from methods.protocols.limit_list import list_limits
from methods.result import as_json
from methods.scatter import fit_groups
from methods.shifts import other_tests
from methods.studies import plan_missing, plan_round, plan_study
from tests.contract import figures

#: Invented: two electrodes, four fillings each, one oil, two laboratories.
ROWS = "\n".join(
    ["sample,laboratory,method,electrode,gap_mm,filling,order,kv"]
    + [
        f"A,{laboratory},ASTM D877 A,{electrode},2.54,{filling},{order},{level + 2 * filling + (7 * order) % 5}"
        for electrode, level in (("disk", 30), ("spherical", 45))
        for filling, laboratory in enumerate(["Aster", "Aster", "Birch", "Birch"], start=1)
        for order in (1, 2, 3, 4, 5)
    ]
)


#: Invented: six oils, each on three fillings by two methods.
OILS = "\n".join(
    ["sample,laboratory,method,electrode,gap_mm,filling,order,kv"]
    + [
        f"O{oil},Aster,{method},{electrode},{gap},{filling},{order},"
        f"{level + 3 * oil * slope + 1.5 * filling + (5 * oil + 3 * filling + 7 * order) % 4:.1f}"
        for oil in range(1, 7)
        for method, electrode, gap, level, slope in (
            ("ASTM D877 A", "disk", 2.54, 25, 1.0), ("ASTM D1816 2 mm", "mushroom", 2, 30, 1.4)
        )
        for filling in (1, 2, 3)
        for order in (1, 2, 3, 4, 5)
    ]
)  # fmt: skip


def _invented(conditions: list[tuple[str, str, float, float, float]], stirring: tuple[str, ...] = ("none",)) -> str:
    """Invented: two oils on three fillings under each condition: method, electrode, gap, rate of rise, level."""
    return "\n".join(
        ["sample,method,electrode,gap_mm,stirring,rise_kv_s,filling,order,kv"]
        + [
            f"O{oil},{method},{electrode},{gap},{stirred},{rise},{filling},{order},"
            f"{level + 4 * oil + len(stirred) + 1.5 * filling + (5 * oil + 3 * filling + 7 * order) % 4:.1f}"
            for oil in (1, 2) for method, electrode, gap, rise, level in conditions for stirred in stirring
            for filling in (1, 2, 3) for order in (1, 2, 3, 4, 5)
        ]
    )  # fmt: skip


GAPS = _invented([("", "mushroom", gap, 0.5, level) for gap, level in ((1.0, 25), (2.0, 40), (2.5, 46))])
RATES = _invented([("", "mushroom", 2.0, rise, level) for rise, level in ((0.5, 30), (2.0, 34), (3.0, 36))])
SHAPES = _invented([("", e, 2.5, 2.0, level) for e, level in (("spherical", 45), ("mushroom", 40))])
STIRRED = _invented([("IEC 60156", e, 2.5, 2.0, level) for e, level in (("spherical", 45), ("mushroom", 40))],
                    ("none", "continuous"))  # fmt: skip
BUNDLED = _invented([("", "disk", 1.0, 2.0, 20), ("", "mushroom", 2.0, 2.0, 40)])


@dataclass(frozen=True)
class Case:
    """One question: its result, and where each surface shows its tables (page, arguments, tables of the report)."""

    result: Callable[[Study], Any]
    page: tuple[str, dict[str, Any]] | None = None
    command: tuple[str, ...] | None = None
    report: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()  # tables that page and answer have in common; all where empty
    settings: dict[str, Any] = field(default_factory=dict)
    rows: str = ROWS


CASES = {
    "shift": Case(
        lambda s: shift(s.selection, s.by, reference=s.reference_value, confidence=s.confidence),
        ("shift", {}), ("shift", "--by", "electrode"),
        ("shift", "shift_scatter", "shift_levels", "shift_samples"),
    ),
    "other tests": Case(
        lambda s: other_tests(s.selection, s.by, reference=s.reference_value, confidence=s.confidence),
        ("shift", {"others": True}), ("shift", "--by", "electrode", "--other-tests"),
    ),
    "scatter": Case(
        lambda s: components(s.selection, confidence=s.confidence), ("scatter", {}), ("components",), (),
        ("components",), {"by": ""},
    ),
    "order": Case(
        lambda s: order_effects(s.selection, confidence=s.confidence), ("scatter", {}), ("order",),
        ("order", "order_tests"), settings={"by": ""},
    ),
    "decision": Case(
        lambda s: decide_all(s.selection, 40, limit_method="ASTM D877 A", confidence=s.confidence),
        ("decision", {"limit": "typed", "limit_kv": 40.0, "method": "ASTM D877 A"}),
        ("decide", "--limit", "40", "--limit-method", "ASTM D877 A"), ("decision_verdicts",),
    ),
    "fit": Case(
        lambda s: fit_groups(s.selection, [s.by], ["weibull"], confidence=s.confidence),
        ("overlay", {"family": "weibull"}), ("fit", "--by", "electrode", "--family", "weibull"),
        shared=("fits", "percentiles"),
    ),
    "every family": Case(
        lambda s: fit_groups(s.selection, [s.by], confidence=s.confidence), None, ("fit", "--by", "electrode"),
        ("fits", "percentiles", "oils", "tolerance"),
    ),
    "plan": Case(
        lambda s: plan.mean(0.15, 0.10, between_cov=0.05, confidence=s.confidence, protocol="ASTM D1816 2 mm"),
        ("howmany", {"source": "typed", "within": 15.0, "between": 5.0, "half_width": 10.0, "assurance": None,
                     "protocol": "astm_d1816_2mm"}),
        ("plan", "mean", "--cov", "15%", "--half-width", "10%", "--between-cov", "5%", "--protocol", "ASTM D1816 2 mm"),
        shared=("plan", "howmany_designs"),
    ),
    "pilot": Case(
        lambda s: plan.pilot(s.selection, half_width=0.10, confidence=s.confidence, protocol="ASTM D877 A"), None,
        ("plan", "pilot", "FILE", "--half-width", "10%", "--protocol", "ASTM D877 A"), ("plan",), settings={"by": ""},
    ),
    "agreement": Case(
        lambda s: compare_methods(s.selection, by="method", first="ASTM D877 A", second="ASTM D1816 2 mm"),
        ("method_study", {"question": "agreement", "first": "ASTM D877 A", "second": "ASTM D1816 2 mm"}),
        ("agreement", "--by", "method", "--first", "ASTM D877 A", "--second", "ASTM D1816 2 mm"),
        settings={"by": "method"}, rows=OILS,
    ),
    "sensitivity": Case(
        lambda s: discrimination(s.selection, by="method", minutes=minutes_of(s.table, "method")),
        ("method_study", {"question": "apart"}), ("sensitivity", "--by", "method"), settings={"by": "method"},
        rows=OILS,
    ),
    "budget": Case(
        lambda s: budget_of(series_of(s.selection)[0]), None, ("budget", "--case", "disk"), rows=ROWS,
    ),
    "precision": Case(
        lambda s: precision(s.selection, confidence=s.confidence), ("precision", {}), ("precision",),
        ("precision", "cells", "published"),
    ),
    "choice": Case(
        lambda s: choose(s.selection, half_width=0.10, confidence=s.confidence), ("choose", {}), ("choose",),
        ("choose", "choose_scatter"), settings={"by": "procedure"}, rows=STIRRED,
    ),
    "study": Case(
        lambda s: plan_study(["X", "Y"], data=s.selection, half_width=0.12, confidence=s.confidence, rng=7),
        ("bench_plan", {"oils": "X, Y", "half_width": 12.0, "seed": 7}),
        ("plan", "study", "FILE", "--oil", "X", "--oil", "Y", "--half-width", "12%", "--seed", "7"), rows=OILS,
    ),
    "missing tests": Case(
        lambda s: plan_missing(s.selection, rng=1), ("bench_plan", {"kind": "missing", "seed": 1}),
        ("plan", "study", "FILE", "--missing", "--seed", "1"), rows=BUNDLED,
    ),
    "round": Case(
        lambda s: plan_round(5, ["A", "B"], "ASTM D1816 1 mm", confidence=s.confidence),
        ("bench_plan", {"kind": "round", "oils": "A, B", "procedure": "ASTM D1816 1 mm", "laboratories": 5}),
        ("plan", "round", "--laboratories", "5", "--oil", "A", "--oil", "B", "--procedure", "ASTM D1816 1 mm"),
    ),
    "limits": Case(lambda s: list_limits(), None, ("limits",)),
    "rules": Case(
        lambda s: judge_records(s.selection, confidence=s.confidence), ("scatter", {}), ("rules",),
        ("rule_rates", "judged"), ("rule_rates", "rule_verdicts"), {"by": ""},
    ),
    "rules, each series": Case(
        lambda s: judge_records(s.selection, confidence=s.confidence), ("method_study", {"question": "rules"}),
        ("rules",), (), ("rule_rates", "judged"),
    ),
    "gap law": Case(
        lambda s: gap_laws(s.selection, confidence=s.confidence), ("method_study", {"question": "gap"}), ("gap-law",),
        rows=GAPS,
    ),
    "rate law": Case(
        lambda s: rate_laws(s.selection, confidence=s.confidence), ("method_study", {"question": "rate"}), ("rate",),
        rows=RATES,
    ),
    "geometry": Case(
        lambda s: compare_geometry(s.selection, ("spherical", 2.5), ("mushroom", 2.5), confidence=s.confidence),
        ("method_study", {"question": "geometry", "geometry_one": "spherical at 2.5 mm",
                          "geometry_two": "mushroom at 2.5 mm"}),
        ("geometry", "--first", "spherical@2.5", "--second", "mushroom@2.5"), shared=("criteria",), rows=SHAPES,
    ),
}  # fmt: skip


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> Case:
    return CASES[request.param]


def opened(rows: str) -> Study:
    """A study of these rows, by electrode."""
    made = Study()
    made.open(rows.encode(), "invented.csv")
    made.by = "electrode"
    return made


@pytest.fixture
def study(request: pytest.FixtureRequest) -> Study:
    return opened(request.getfixturevalue("case").rows if "case" in request.fixturenames else ROWS)


def markup_rows(text: str) -> list[list[str]]:
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", text, flags=re.S)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, flags=re.S) for row in rows]
    return [[plain(c) for c in row] for row in cells]


def plain(text: str) -> str:
    """A cell without markup and without the marks that keep it in one line."""
    bare = html.unescape(re.sub(r"<[^>]+>", "", text))
    return " ".join(bare.replace("\u00a0", " ").replace("\u2060", "").replace("\u202f", " ").split())


def expected(table: Any) -> list[list[str]]:
    return [[plain(html.escape(t)) for t in row] for row in [table.headings, *table.cells()]]


def test_the_page_shows_the_answer(study: Study, case: Case) -> None:
    study.param.update(**case.settings)
    if case.page is None:
        return  # the page shows a part of it, in a case of its own
    key, inputs = case.page
    study.inputs = {f"{key}.{name}": value for name, value in inputs.items()}
    page, made = page_class(key)(study), answer(case.result(study))
    page.shown = True
    for table in made.tables:
        if case.shared and table.name not in case.shared:
            continue
        question = inputs.get("question")  # the page of the method study has many: their tables say whose they are
        shown = page._shown_tables[f"{question}_{table.name}" if question else table.name]
        assert markup_rows(shown._text.object) == expected(table), table.name


def test_the_command_prints_the_answer(study: Study, case: Case, tmp_path: Any, capsys: Any) -> None:
    file = tmp_path / "invented.csv"
    file.write_text(case.rows)
    assert case.command is not None
    name, *options = case.command
    if name not in ("plan", "limits"):
        options.insert(0, "FILE")
    assert cli.main([name, *(str(file) if o == "FILE" else o for o in options)]) == 0
    printed, made = capsys.readouterr().out, answer(case.result(study))
    lines = [plain(html.escape(line)) for line in printed.splitlines()]
    for table in made.tables:
        for row in expected(table):
            assert " ".join(t for t in row if t) in lines, (table.name, row)
    for sentence in made.sentences:
        assert sentence[1:] in printed
    for caution in made.cautions:
        assert caution.text in printed


def test_the_report_and_the_workbook_show_the_answer(study: Study, case: Case) -> None:
    study.param.update(**case.settings)
    # What stands behind the first page is cut to what tells something; the appendix has the whole tables.
    asked = Asked(study, limit="40", limit_method="ASTM D877 A")
    report, made = replace(gather(asked), with_appendix=True), answer(case.result(study))
    page = content(report, ".html").decode()
    book = openpyxl.load_workbook(io.BytesIO(content(report, ".xlsx")))
    sheets = [[[c for c in row] for row in sheet.iter_rows(values_only=True)] for sheet in book]
    written = [markup_rows(t) for t in re.findall(r"<table.*?</table>", page, flags=re.S)]
    for name in case.report:
        table = made.table(name)
        assert expected(table) in written, name
        columns = [str(c) for c in table.frame.columns]
        values = [
            [cell(c, v) if isinstance(v, (str, bool)) else as_json(v) for c, v in zip(columns, row, strict=True)]
            for row in table.frame.astype(object).to_numpy().tolist()
        ]
        width = len(table.headings)
        tables = [[list(row[:width]) for row in sheet[3 : 4 + len(values)]] for sheet in sheets]
        heads = [t for t in tables if t and t[0] == table.headings]
        assert any(_close(t[1:], values) for t in heads), name


def _close(found: list[list[Any]], wanted: list[list[Any]]) -> bool:
    return len(found) == len(wanted) and all(
        a == b or (isinstance(b, (int, float)) and a == pytest.approx(b))
        for one, other in zip(found, wanted, strict=True)
        for a, b in zip(one, other, strict=True)
    )


def test_a_notebook_shows_the_answer(study: Study, case: Case) -> None:
    result = case.result(study)
    made = answer(result)
    figures.check("answer " + next(name for name, one in CASES.items() if one is case), figures.answered(result))
    shown = result._repr_html_()
    assert html.escape(made.sentence) in shown
    assert markup_rows(shown) == expected(made.tables[0])[: MOST_ROWS + 1]
    pd.testing.assert_frame_equal(result.to_frame(), made.tables[0].frame)
    assert len(repr(result).splitlines()) <= 5
    for name in made.plots:
        drawn = result.plot(name, width=500)
        assert isinstance(drawn, (hv.Overlay, hv.Layout)), name
        assert hv.render(drawn) is not None  # it draws


def test_every_question_is_walked_through() -> None:
    """A result that has an answer has its case above, or is part of one."""
    assert set(OWN) >= {"shift"} and MAKERS.keys() >= {"Shift"}


def test_a_column_has_one_heading() -> None:
    for column, (heading, _) in HEADS.items():
        assert heading and heading == heading.strip(), column
    for question, own in OWN.items():
        for column, head in own.items():
            assert HEADS.get(column) != head, f"{question} repeats the heading of {column}"


def test_a_plot_that_there_is_not(study: Study) -> None:
    with pytest.raises(InputError, match="it has shift"):
        CASES["shift"].result(study).plot("no such plot")
    still = CASES["shift"].result(study).picture(height=220)
    assert still.png.startswith(b"\x89PNG") and b"<svg" in still.svg and repr(still) == "Picture()"
    with pytest.raises(TypeError, match="no answer for a int"):
        answer(3)


def test_a_plan_says_its_oil_in_litres(study: Study) -> None:
    made = CASES["plan"].result(study)
    told = " ".join(answer(replace(made, bench_minutes=30.0, oil_ml=1500.0)).sentences)
    assert "About 30 minutes on the bench and 1.5 L of oil" in told
