"""Pages that are made of the project itself: checks from the tests, formulas from the report's methods, the API from
docstrings, the calibration from its results. They are written beside the others at each build and not committed."""

from __future__ import annotations

import inspect
import json
import re
from importlib import import_module
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


#: Statistic of a report -> the tests that check it against something outside the project; below ``tests/methods``.
CHECKED_BY: dict[str, tuple[str, ...]] = {
    "Reading": (
        "records/test_typed_sheets.py::test_a_typed_sheet", "records/test_export.py::test_every_sheet_reads_back",
    ),
    "Withstood": ("scatter/test_censored.py::test_motorettes",),
    "Shift of percentiles": (
        "shifts/test_percentile_shifts.py::test_percentiles_without_withstands_are_hazens",
        "shifts/test_percentile_shifts.py::test_withstands_follow_kaplan_and_meier",
    ),
    "Step curve": (
        "scatter/test_survival.py::test_remission_times", "scatter/test_survival.py::test_agrees_with_statsmodels",
    ),
    "Fitted families": (
        "scatter/test_fit_reference.py::test_weibull_agrees_with_the_reference",
        "scatter/test_fit_reference.py::test_families_agree_with_the_reference",
    ),
    "Choice between families": ("scatter/test_fit.py::test_aicc_is_empty_when_there_are_too_few",
                                "scatter/test_fit_reference.py::test_families_agree_with_the_reference"),
    "Anderson-Darling": ("scatter/test_goodness.py::test_chicks", "scatter/test_goodness.py::test_heat_flow_meter"),
    "Shift of the mean": (
        "shifts/test_shifts.py::test_is_welch_on_filling_means_sleep",
        "shifts/test_shifts.py::test_percent_limits_are_fiellers_for_pairs",
    ),
    "p-values of several levels": ("shifts/test_two_sample.py::test_holm",),
    "Ratio of scatters": ("shifts/test_two_sample.py::test_gear_scatter",),
    "Components of scatter": (
        "scatter/test_components.py::test_certified_analysis",
        "scatter/test_components.py::test_dyestuff_limits_equal_lme4_profiles",
    ),
    "Order effects": (
        "scatter/test_order.py::test_published_series",
        "scatter/test_order.py::test_first_breakdown_is_the_paired_t_test",
    ),
    "How many": (
        "planning/test_mean_plan.py::test_both_half_widths",
        "planning/test_mean_plan.py::test_nested_half_widths_of_the_trade",
    ),
    "Consistency rules": ("test_consistency.py::test_clopper_pearson",),
    "Pass or fail": (
        "planning/test_decision.py::test_one_filling_by_hand",
        "planning/test_decision.py::test_guarded_rule_passes_a_bad_oil_as_seldom_as_promised",
    ),
    "Repeatability and reproducibility": (
        "interlab/test_precision.py::test_iso_examples", "interlab/test_precision.py::test_glucose",
    ),
    "Two methods": (
        "interlab/test_compare.py::test_one_level_has_f_limits", "agreement/test_agreement.py::test_bland_and_altman",
        "agreement/test_sensitivity.py::test_flow_meters",
    ),
}  # fmt: skip


def write_all(folder: Path) -> None:
    """Write every generated page below ``folder``."""
    out = folder / "made"
    out.mkdir(exist_ok=True)
    pages = {
        "checks": checks(),
        "formulas": formulas(),
        "calibration": calibration(),
        "limits": limits(),
        **reference(),
        "commands": commands(),
        "remedies": remedies(),
    }
    for name, text in pages.items():
        path = out / f"{name}.md"
        if not path.exists() or path.read_text(encoding="utf-8") != text:  # an unchanged page is not built again
            path.write_text(text, encoding="utf-8")


def remedies() -> str:
    """The table of what can be put right about a reading, and where."""
    from dashboard.remedies import REMEDIES

    rows = [[r.what, *("; ".join(x) or "–" for x in (r.control, r.option, r.key, r.argument))] for r in REMEDIES]
    heads = ["what", "on the sheet of Records", "on the command line", "in a recipe", "in read()"]
    return (
        "# What can be put right about a reading, and where\n\nEach overrules what the reader took a file for. "
        "A place on the command line and in Python is `B5:F9`, `C:H`, `12`, a sheet (`Tests`), cells of one "
        "(`Tests!C:H`), and of several files one by its name (`week1.csv`, `week1.csv!C:H`).\n\n" + _table(heads, rows)
    )


def cell(text: Any) -> str:
    """A text as one cell of a Markdown table."""
    return " ".join(str(text).split()).replace("|", "\\|").replace("<", "&lt;").replace("*", "\\*").replace("_", "\\_")


def _table(heads: list[str], rows: list[list[Any]]) -> str:
    lines = [
        f"| {' | '.join(heads)} |",
        f"|{' --- |' * len(heads)}",
        *(f"| {' | '.join(map(cell, r))} |" for r in rows),
    ]
    return "\n".join(lines) + "\n"


def _used_by(keys: list[str]) -> dict[str, list[str]]:
    """Case of the check values -> the test files that name it."""
    texts = {str(f.relative_to(ROOT / "tests")): f.read_text(encoding="utf-8") for f in _tests()}
    return {key: [name for name, text in texts.items() if f'"{key}' in text] for key in keys}


def _tests() -> list[Path]:
    return sorted((ROOT / "tests").rglob("test_*.py"))


def _tolerance(entry: dict[str, Any]) -> float | None:
    tol = entry["tol"]
    return {"exact": 0.0, "rel": tol.get("rel")}.get(tol["kind"])


def checks() -> str:
    """The table of external checks."""
    cases = json.loads((ROOT / "tests" / "reference" / "checks.json").read_text(encoding="utf-8"))["cases"]
    used = _used_by([case["id"] for case in cases])
    parts: list[str] = []
    rows: list[list[Any]] = []
    count = cases_used = 0
    for case in cases:
        tests = used[case["id"]]
        if not tests:
            continue
        cases_used += 1
        count += len(case["expected"])
        tols = [t for e in case["expected"] if (t := _tolerance(e)) is not None]
        worst = "own tolerances" if not tols else "exact" if max(tols) == 0 else f"within {max(tols):.0e} of the value"
        rows.append([case["id"], case["title"], _short(case["source"]), len(case["expected"]), worst, len(tests)])
        parts += [
            f"## {case['id']}: {cell(case['title'])}\n",
            f"Source\n: {cell(case['source'])}\n",
            f"Compared\n: {len(case['expected'])} values, {worst}\n",
            "Test\n: " + ", ".join(f"`tests/{t}`" for t in tests) + "\n",
        ]
    return (
        "# What is checked against the outside\n\n"
        f"{cases_used} cases with {count} expected values from published examples, certified data and other "
        "libraries. Each test compares what gapshift computes with the value that stands in the source, within the "
        "agreement given; a value from memory says so in its case. This page is made of the tests at each build; below "
        "the table each case stands with its whole source and the tests that ask for it.\n\n"
        + _table(["case", "computation", "source", "values", "agreement", "tests"], rows) + "\n" + "\n".join(parts)
    )  # fmt: skip


def _short(source: str, most: int = 110) -> str:
    """The beginning of a source, to the last word that has room."""
    text = " ".join(source.split())
    return text if len(text) <= most else text[:most].rsplit(" ", 1)[0].rstrip(",;:") + " …"


def formulas() -> str:
    """Each statistic, how it is made, and where it is published: the texts that a report carries."""
    from dashboard.report.methods_text import BY_SECTION

    out = [
        "# Formulas, their sources and their checks\n",
        "The same texts stand at the end of every report. Each test compares with something outside the project; what "
        "that is stands in the test and, for published values, in [the checks](checks.md).\n",
    ]
    for section, methods in BY_SECTION.items():
        out.append(f"## {section.replace('_', ' ').capitalize()}\n")
        for m in methods:
            tests = "\n".join(f"* `tests/methods/{t}`" for t in CHECKED_BY[m.statistic])
            out.append(
                f"### {m.statistic}\n\n{cell(m.text)}\n\nSource\n: {cell(m.reference)}.\n\nChecked by\n\n{tests}\n"
            )
    return "\n".join(out)


def calibration() -> str:
    """The published proof of what intervals, tests and plans deliver."""
    folder = ROOT / "tests" / "calibration"
    parts = [p.read_text(encoding="utf-8") for p in sorted(folder.glob("*.md"))]
    return "# Calibration\n\n" + "\n\n".join(_deeper(p) for p in parts)


def _deeper(text: str) -> str:
    """The same page one heading deeper."""
    return re.sub(r"^(#+) ", r"#\1 ", text, flags=re.M)


def limits() -> str:
    """The limits that come with the program, document by document."""
    from methods.protocols import limit_table

    table = limit_table().astype(str)
    return (
        "# Limits that come with it\n\n**Check against your own copy of the standard.** What is uncertain ships empty; "
        "own limits go into a folder of your own.\n\n"
        + _table([str(c).replace("_", " ") for c in table.columns], table.to_numpy().tolist())
    )


def commands() -> str:
    """The command line, command by command, as its own help tells it."""
    from dashboard.cli import parser

    out = [
        "# Reference of the command line\n",
        "With `--json` a command prints one document and nothing else; its JSON Schema stands in `dashboard/schemas`, "
        "one file a command.\n",
    ]
    fence = "`" * 4
    for name, sub in parser().commands.items():
        out.append(f"## gapshift {name}\n\n{fence}text\n{sub.format_help()}\n{fence}\n")
        for kind, below in getattr(sub, "commands", {}).items():
            out.append(f"### gapshift {name} {kind}\n\n{fence}text\n{below.format_help()}\n{fence}\n")
    return "\n".join(out)


def reference() -> dict[str, str]:
    """The names of ``methods``, with signature and docstring as they stand in the code."""
    methods = import_module("methods")
    out = ["# Reference of the Python package\n", "`from methods import ...`; results have the fields of the JSON.\n"]
    for name in methods.__all__:
        thing = getattr(methods, name)
        if inspect.ismodule(thing):
            members = [(f"{name}.{n}", getattr(thing, n)) for n in getattr(thing, "__all__", ())]
            members = [(n, m) for n, m in members if inspect.isfunction(m)]
            out.append(f"## {name}\n\n```text\n{inspect.getdoc(thing)}\n```\n")
            out += [_member(n, m, 3) for n, m in members]
        else:
            out.append(_member(name, thing, 2))
    return {"reference": "\n".join(out)}


def _member(name: str, thing: Any, depth: int) -> str:
    try:
        signature = str(inspect.signature(thing))
    except (TypeError, ValueError):
        signature = ""
    text = inspect.getdoc(thing) or ""
    fence = "`" * 4
    return f"{'#' * depth} {name}\n\n{fence}python\n{name}{signature}\n{fence}\n\n{fence}text\n{text}\n{fence}\n"
