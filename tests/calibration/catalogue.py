"""All studies, in the order of the table."""

from __future__ import annotations

from functools import lru_cache

from tests.calibration import (
    fillings,
    laboratories,
    laws,
    new_oils,
    one_condition,
    one_oil,
    paired_laboratories,
    plans,
    promises,
    run_sheets,
    several_conditions,
)
from tests.calibration.registry import Study


@lru_cache(maxsize=1)
def studies() -> tuple[Study, ...]:
    """Every study; their names, and the words by which the table tells their lines apart, occur once."""
    modules = (
        one_oil,
        one_condition,
        fillings,
        several_conditions,
        laws,
        plans,
        promises,
        run_sheets,
        new_oils,
        paired_laboratories,
        laboratories,
    )
    found = tuple(s for m in modules for s in m.studies())
    names = [s.name for s in found]
    assert len(set(names)) == len(names), sorted(n for n in names if names.count(n) > 1)
    lines = [(c.what, s.data, s.design) for s in found for c in s.claims]
    assert len(set(lines)) == len(lines), sorted(x for x in lines if lines.count(x) > 1)
    return found
