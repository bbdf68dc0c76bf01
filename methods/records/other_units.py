"""A column of units beside the values: rows in volts become kV, rows of another quantity are no voltages."""

from __future__ import annotations

import numpy as np

from methods.records.cells import VALUE, WITHSTOOD, unit_of
from methods.records.coded import Body
from methods.records.flat import Flat
from methods.records.headings import any_unit
from methods.records.layout import Layout
from methods.records.voltages import FACTORS, PER_LENGTH


def apply_unit_column(plan: Layout, body: Body, flat: Flat) -> None:
    """Take the unit of each row of a long table from its column of units, in place.

    Parameters
    ----------
    plan : Layout
        How the sheet is laid out.
    body : Body
        Its cells below the heading.
    flat : Flat
        Its voltage cells; changed in place.
    """
    if len(plan.values) != 1 or plan.headings[plan.values[0]].unit in FACTORS:
        return
    for i in range(len(body.columns)):
        column = body.columns[i]
        if i in plan.values or column.numbers is not None or not column.uniques or len(column.uniques) > 40:
            continue
        units = [any_unit(t) for t in column.uniques]
        if any(u in (None, "-") for u in units) or not any(unit_of(u) for u in units):
            continue
        for code, (text, unit) in enumerate(zip(column.uniques, units, strict=True)):
            where = np.flatnonzero(column.codes[flat.row] == code)
            known = unit_of(unit)
            if known is None:
                flat.refuse(where, f"its unit is {text!r}: another quantity, no voltage", "other_quantity")
            elif known != "kV":
                held = where[(flat.kind[where] == VALUE) | (flat.kind[where] == WITHSTOOD)]
                flat.kv[held] *= FACTORS[known]
                flat.per_mm[held] = PER_LENGTH.get(known, 0)
        return
