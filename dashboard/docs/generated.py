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
    count = cases_used = 0
    for case in cases:
        tests = used[case["id"]]
        if not tests:
            continue
        cases_used += 1
        count += len(case["expected"])
        tols = [t for e in case["expected"] if (t := _tolerance(e)) is not None]
        worst = "own tolerances" if not tols else "exact" if max(tols) == 0 else f"within {max(tols):.0e} of the value"
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
        "agreement given; a value from memory says so in its case. This page is made of the tests at each build.\n\n"
        + "\n".join(parts)
    )


def formulas() -> str:
    """Each statistic, how it is made, and where it is published: the texts that a report carries."""
    from dashboard.report.methods_text import BY_SECTION

    out = ["# Formulas and their sources\n", "The same texts stand at the end of every report.\n"]
    for section, methods in BY_SECTION.items():
        out.append(f"## {section.replace('_', ' ').capitalize()}\n")
        out.append(_table(["statistic", "how", "source"], [[m.statistic, m.text, m.reference] for m in methods]))
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
    for name, sub in parser().commands.items():
        fence = "`" * 4
        out.append(f"## gapshift {name}\n\n{fence}text\n{sub.format_help()}\n{fence}\n")
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
