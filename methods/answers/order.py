"""Does it matter which breakdown of the filling it was?"""

from __future__ import annotations

from typing import Any

import pandas as pd

from methods.answers.heads import OWN
from methods.answers.model import Answer, Table
from methods.answers.writing import number, plural, signed
from methods.scatter.order import OrderEffects

QUESTION = "order"
_TESTS = ("name", "statistic", "expected", "z", "p_value", "fillings")


def order(found: OrderEffects) -> Answer:
    """Trend, first breakdown and neighbours, each with its limits, and the tests of order."""
    own = OWN.get("scatter", {})
    sure = f"{100 * found.confidence:g} % limits. Sen's slope is the median over all pairs within fillings."
    tables = []
    rows = _effects(found)
    if rows:
        tables.append(Table("order", "What the place in the filling does", pd.DataFrame(rows), sure, own))
    if found.tests:
        tests = pd.DataFrame([{n: getattr(t, n) for n in _TESTS} for t in found.tests])
        tables.append(Table("order_tests", "Tests of the order", tests, "", own))
    drawn = ("order_positions",) if len(found.positions) else ()
    return Answer(QUESTION, _said(found), tuple(found.cautions), tuple(tables), drawn, found)


def _effects(found: OrderEffects) -> list[dict[str, Any]]:
    nothing = float("nan")
    rows: list[dict[str, Any]] = []
    for name, e in (("Trend, from one to the next", found.trend), ("First less the rest", found.first)):
        if e is not None:
            rows.append({
                "effect": name, "estimate": e.kv, "unit": "kV", "low": e.low_kv, "high": e.high_kv,
                "percent": e.percent, "low_percent": e.low_percent, "high_percent": e.high_percent,
                "p_value": e.p_value, "fillings": e.fillings,
            })  # fmt: skip
    slope, n, v = found.median_slope, found.neighbours, found.variance_inflation
    if slope is not None:
        share = 100 / found.mean_kv
        rows.append({
            "effect": "Trend by Sen's slope", "estimate": slope.kv, "unit": "kV", "low": slope.low_kv,
            "high": slope.high_kv, "percent": slope.kv * share, "low_percent": slope.low_kv * share,
            "high_percent": slope.high_kv * share, "p_value": slope.p_value, "fillings": slope.fillings,
        })  # fmt: skip
        rows.append({
            "effect": "Kendall's tau of voltage and place", "estimate": slope.tau, "unit": "", "p_value": slope.p_value,
            "fillings": slope.fillings,
        })  # fmt: skip
    for what, unit, value, low, high in (
        *([("Correlation of neighbours", "", n.correlation, n.low, n.high)] if n is not None else []),
        *([(f"Variance of a mean of {v.breakdowns}, against independent ones", "times", v.factor, v.low, v.high)]
          if v is not None else []),
    ):  # fmt: skip
        rows.append({
            "effect": what, "estimate": value, "unit": unit, "low": low, "high": high, "fillings": found.fillings,
        })  # fmt: skip
    columns = ("effect", "estimate", "unit", "low", "high", "percent", "low_percent", "high_percent", "p_value",
               "fillings")  # fmt: skip
    return [{c: row.get(c, nothing) for c in columns} for row in rows]


def _said(found: OrderEffects) -> tuple[str, ...]:
    if found.trend is None and found.first is None and found.neighbours is None:
        return ("What the order does cannot be seen: it takes several breakdowns a filling, in a known order.",)
    said = []
    for lead, e in (
        ("from one breakdown to the next the voltage changes by", found.trend),
        ("the first breakdown lies off the mean of the rest by", found.first),
    ):
        if e is not None:
            seen = e.low_kv > 0 or e.high_kv < 0
            tail = "" if seen else "; no effect is shown, and one within these limits is not ruled out"
            said.append(f"{lead} {signed(e.kv)} kV ({signed(e.low_kv)} to {signed(e.high_kv)} kV){tail}.")
    n, v = found.neighbours, found.variance_inflation
    if n is not None and v is not None:
        limits = f"{number(n.low, 2)} to {number(n.high, 2)}" if n.low == n.low else "too few fillings for limits"
        # Neighbours that seem to balance in short series are no reason to count on more breakdowns than there are.
        some = v.effective_breakdowns > v.breakdowns
        counts = f"{v.breakdowns} or more" if some else number(v.effective_breakdowns, 2)
        said.append(
            f"neighbours correlate by {number(n.correlation, 2)} ({limits}), so that a mean of "
            f"{plural(v.breakdowns, 'breakdown')} counts as {counts} independent ones."
        )
    return tuple(said)
