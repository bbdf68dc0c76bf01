"""Do two methods agree on the same oils, and which one tells oils apart better?"""

from __future__ import annotations

import pandas as pd

from methods.agreement.agreement import Agreement
from methods.agreement.limits import AgreementLimits
from methods.agreement.sensitivity import Discrimination
from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import number, plural, signed

QUESTION = "method_study"
#: How a line between two methods was made -> what it is called.
LINES = {"deming": "Deming", "passing_bablok": "Passing–Bablok"}
_LINE = ("method", "slope", "slope_low", "slope_high", "intercept", "intercept_low", "intercept_high")


def agreement(found: Agreement, unit: str = "kV") -> Answer:
    """Mean difference and limits of agreement in kV and %, the lines with error in both, and every oil."""
    rows = [
        {"quantity": f"{label} ({u})", "value": getattr(v, name), "low": getattr(v, f"{name}_low"),
         "high": getattr(v, f"{name}_high")}
        for u, v in (("kV", found.absolute), ("%", found.relative))
        for name, label in (("bias", "Mean difference"), ("lower", "Lower limit"), ("upper", "Upper limit"))
    ]  # fmt: skip
    kind = "single results" if found.single_results else "what was compared"
    note = f"{found.second} less {found.first}; limits for {kind}."
    tables = [_table("limits", "Differences, and how surely they are known", pd.DataFrame(rows), note)]
    lines = [{n: getattr(line, n) for n in _LINE} for line in (found.deming, found.passing_bablok) if line is not None]
    if lines:
        frame = pd.DataFrame(lines).rename(columns={"method": "line"})
        frame["line"] = [LINES.get(v, v) for v in frame["line"]]
        tables.append(_table("lines", f"Lines: {found.statement}", frame))
    title = "Every oil in every laboratory" if found.laboratories else "Every oil"
    tables.append(_table("oils", title, found.pairs))
    return Answer(QUESTION, (_agreed(found, unit),), tuple(found.cautions), tuple(tables), (), found)


def sensitivity(found: Discrimination) -> Answer:
    """Signal between oils over noise of a result, per result and per bench hour, best first."""
    best, hourly = found.methods.iloc[0], found.ranked_by == "per_hour"
    value, low, high = (best[f"{found.ranked_by}{e}"] for e in ("", "_low", "_high"))
    said = (
        f"{best['method']} tells these {number(int(best['oils']))} oils apart best"
        f"{' for its bench time' if hourly else ''}: the oils lie {number(value, 2)} times as far apart as "
        f"{'an hour of results' if hourly else 'a result'} scatters ({number(low, 2)} to {number(high, 2)})."
    )
    table = _table("discrimination", "Which method tells oils apart", found.methods)
    return Answer(QUESTION, (said,), tuple(found.cautions), (table,), (), found)


def limits_of(found: Agreement, unit: str) -> AgreementLimits:
    """The limits of agreement in this unit, ``kV`` or ``%``."""
    return found.relative if unit == "%" else found.absolute


def _agreed(found: Agreement, unit: str) -> str:
    v = limits_of(found, unit)
    side = "above" if v.bias > 0 else "below"
    apart = "like" if v.bias == 0 else f"{number(abs(v.bias), 2)} {unit} {side}"
    where = f" in {plural(found.laboratories, 'laboratory', 'laboratories')}" if found.laboratories else ""
    more = (
        f" Laboratories differ by {number(found.between_laboratories_kv, 2)} kV (SD) in that difference; in their "
        f"level by {number(found.first_between_laboratories_kv, 2)} kV with {found.first} and by "
        f"{number(found.second_between_laboratories_kv, 2)} kV with {found.second}."
        if found.laboratories
        else ""
    )
    return (
        f"On {plural(found.samples, 'oil')}{where} {found.second} reads {apart} {found.first} on average "
        f"({signed(v.bias_low)} to {signed(v.bias_high)} {unit}); on a single oil it may lie {signed(v.lower)} to "
        f"{signed(v.upper)} {unit} away: an {found.statement}.{more}"
    )


def _table(name: str, title: str, frame: pd.DataFrame, note: str = "") -> Table:
    return Table(name, title, frame, note, OWN[QUESTION])
