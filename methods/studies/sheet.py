"""The sheet for the bench: one row a breakdown, in the order in which the tests are made."""

from __future__ import annotations

import io
import re
from collections.abc import Collection, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from methods.errors import InputError
from methods.procedures import FIELDS
from methods.randomness import Rng
from methods.records.export import safe_csv
from methods.studies.procedure_plan import ProcedurePlan

#: Columns that the bench fills in.
TO_FILL: tuple[str, ...] = ("kv", "outcome", "temperature_c", "tested_on", "operator", "note")


def bench_sheet(
    oils: Sequence[str], plans: Sequence[ProcedurePlan], fillings: int, rng: Rng, hours_a_day: float,
    *, fully_random: bool = False, laboratories: Sequence[str] = (),
    only: Collection[tuple[int, int]] | None = None,
) -> tuple[pd.DataFrame, int]:  # fmt: skip
    """The rows to fill in, and the number of days; with laboratories each has blocks and an order of its own.

    ``only`` names pairs of (procedure, oil) by index where not every oil is tested by every procedure.

    A filling's label is that of its run, so that it means one filling only. Runs, blocks and days are words: no number
    stands in the sheet that a reader could take for a voltage.

    Parameters
    ----------
    oils : sequence of str
        Names of the oils.
    plans : sequence of ProcedurePlan
        The procedures.
    fillings : int
        Fillings of each oil by each procedure.
    rng : int or Generator
        A seed or a generator; the same seed gives the same numbers.
    hours_a_day : float
        Bench hours of a day; what does not fit goes to the next.
    fully_random : bool, default False
        Whether procedures and oils are shuffled together instead of oils within procedures.
    laboratories : sequence of str, optional
        Names of the laboratories; none for one bench.
    only : iterable of tuple[int, int], optional
        Pairs of (procedure, oil) by index that are tested; all by default.
    """
    if not hours_a_day > 0:
        raise InputError(f"{hours_a_day!r} hours a day; it must be above 0.", rule="above 0")
    rng = np.random.default_rng(rng)
    rows: list[dict[str, object]] = []
    days, run = 1, 0
    for laboratory in laboratories or ("",):
        minutes, day = 0.0, 1
        for block in range(1, fillings + 1):
            order = [(p, o) for p in rng.permutation(len(plans)) for o in rng.permutation(len(oils))]
            if fully_random:
                order = [order[i] for i in rng.permutation(len(order))]
            for p, o in [pair for pair in order if only is None or pair in only]:
                plan = plans[p]
                run += 1
                if minutes and minutes + plan.minutes > 60 * hours_a_day:
                    day, minutes = day + 1, 0.0
                minutes += plan.minutes
                head: dict[str, object] = {"run": f"R{run}", "block": f"B{block}", "planned_day": f"day {day}"}
                head |= {"laboratory": laboratory} if laboratory else {}
                for shot in range(1, plan.breakdowns_per_filling + 1):
                    rows.append(
                        {**head, "sample": oils[o], **_settings(plan), "filling": f"F{run}", "order": shot,
                         "before": _before(plan, oils[o], shot), **dict.fromkeys(TO_FILL, "")}
                    )  # fmt: skip
        days = max(days, day)
    first = ["run", "block", "planned_day", *(["laboratory"] if any("laboratory" in r for r in rows) else []), "sample"]
    known = [f for f in FIELDS if any(f in r for r in rows)]
    return pd.DataFrame(rows, columns=[*first, *known, "filling", "order", "before", *TO_FILL]), days


def _settings(plan: ProcedurePlan) -> dict[str, object]:
    """What the bench sets, each thing in its own column: the gap is not said in the method's name once more."""
    out = dict(plan.settings)
    if "gap_mm" in out and "method" in out:
        out["method"] = re.sub(r",?\s*\d+(?:[.,]\d+)?\s*mm$", "", str(out["method"]))
    return out


def _before(plan: ProcedurePlan, oil: str, shot: int) -> str:
    """What is done before this breakdown of this oil."""
    if shot > 1:
        return "go on" if plan.pause_s is None else f"wait {_time(plan.pause_s)}"
    wait = plan.rest_s(oil)
    rest = "let it rest as the method says" if wait is None else f"let it rest {_time(wait)}"
    return f"clean the cell, rinse with this oil, fill, {rest}"


def _time(seconds: float) -> str:
    return f"{seconds:g} s" if seconds < 120 else f"{seconds / 60:g} min"


def write_sheet(sheet: pd.DataFrame, path: str | Path, about: Sequence[str] = ()) -> Path:
    """Write the sheet as CSV or XLSX, by the ending of ``path``.

    The workbook keeps the heading in sight, marks the cells to fill in, and carries ``about`` in its properties and
    at the foot of each printed page.

    Parameters
    ----------
    sheet : DataFrame
        The rows.
    path : str or Path
        Where it is written; ends in ``.csv`` or ``.xlsx``.
    about : sequence of str, optional
        Lines about the plan, for the workbook.

    Raises
    ------
    InputError
        Another ending, or a place that cannot be written to.
    """
    target = Path(path)
    kind = target.suffix.lower()
    if kind not in (".csv", ".xlsx"):
        raise InputError(
            f"{target.name}: a run sheet is written as .xlsx or .csv.", text=target.name, rule=".xlsx or .csv"
        )
    try:
        if kind == ".csv":
            target.write_bytes(sheet_bytes(sheet, "csv"))
        else:
            _workbook(sheet, target, about)
    except OSError as error:
        raise InputError(f"{target}: cannot be written: {error.strerror}", text=str(target)) from None
    return target


def sheet_bytes(sheet: pd.DataFrame, kind: str, about: Sequence[str] = ()) -> bytes:
    """The same as the bytes of a file; ``kind`` is ``xlsx`` or ``csv``.

    Parameters
    ----------
    sheet : DataFrame
        The rows.
    kind : str
        ``xlsx`` or ``csv``.
    about : sequence of str, optional
        Lines about the plan, for the workbook.
    """
    if kind == "csv":
        return safe_csv(sheet).encode("utf-8-sig")
    out = io.BytesIO()
    _workbook(sheet, out, about)
    return out.getvalue()


def _workbook(sheet: pd.DataFrame, target: Path | io.BytesIO, about: Sequence[str]) -> None:
    import xlsxwriter

    try:
        with xlsxwriter.Workbook(target, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
            page = book.add_worksheet("run sheet")
            bold = book.add_format({"bold": True, "bottom": 1})
            fill = book.add_format({"bg_color": "#FFF4CC", "border": 1, "border_color": "#C8C8C8"})
            first = book.add_format({"top": 1})
            for c, name in enumerate(sheet.columns):
                page.write_string(0, c, name, bold)
                widest = max([len(name), *(len(str(v)) for v in sheet[name].head(200))])
                page.set_column(c, c, min(max(widest + 1, 8), 44))
            for r, row in enumerate(sheet.itertuples(index=False), start=1):
                for c, (name, value) in enumerate(zip(sheet.columns, row, strict=True)):
                    look = fill if name in TO_FILL else first if row[list(sheet.columns).index("order")] == 1 else None
                    if value is None or value == "" or value != value:
                        page.write_blank(r, c, None, look)
                    elif isinstance(value, (int, float, np.integer, np.floating)):
                        page.write_number(r, c, float(value), look)
                    else:
                        page.write_string(r, c, str(value), look)
            page.freeze_panes(1, 0)
            page.set_landscape()
            page.fit_to_pages(1, 0)
            page.repeat_rows(0)
            book.set_properties({"title": "run sheet", "comments": "\n".join(about)})
            page.set_footer(f"&L{' '.join(about).replace('&', '&&')[:200]}&R&P / &N")
    except xlsxwriter.exceptions.FileCreateError as error:
        raise InputError(f"{target}: cannot be written: {error}", text=str(target)) from None
