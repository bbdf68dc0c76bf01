"""Everything that gapshift computes; knows no screen.

The names below are imported when first used, so that ``import methods`` is quick::

    from methods import read, fit, shift, plan

    records = read("series.csv")
    shift(records, by="electrode")
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOME = {
    "InputError": "methods.errors",
    "NotEstimable": "methods.errors",
    "read": "methods.records",
    "read_all": "methods.records",
    "Records": "methods.records",
    "fit": "methods.scatter",
    "fit_many": "methods.scatter",
    "fit_groups": "methods.scatter",
    "compare_families": "methods.scatter",
    "ecdf": "methods.scatter",
    "kaplan_meier": "methods.scatter",
    "components": "methods.scatter",
    "order_effects": "methods.scatter",
    "variance_inflation": "methods.scatter",
    "shift": "methods.shifts",
    "equivalence": "methods.shifts",
    "percentile_shift": "methods.shifts",
    "all_pairs": "methods.shifts",
    "confounding": "methods.shifts",
    "gap_laws": "methods.laws",
    "rate_laws": "methods.laws",
    "compare_geometry": "methods.laws",
    "compare_methods": "methods.agreement",
    "discrimination": "methods.agreement",
    "sensitivity_ratio": "methods.agreement",
    "choose": "methods.choosing.choice",
    "plan_study": "methods.studies",
    "plan_round": "methods.studies",
    "plan": "methods.planning",
    "decide": "methods.planning",
    "decide_all": "methods.planning",
    "operating_characteristic": "methods.planning",
    "precision": "methods.interlab",
    "bench_time": "methods.protocols",
    "judge": "methods.protocols",
    "rule_effect": "methods.protocols",
    "trip_rate": "methods.protocols",
    "judge_table": "methods.consistency",
    "rates_on": "methods.consistency",
    "protocols": "methods.protocols",
    "classroom": "methods.classroom",
    "simulate": "methods.simulate",
    "water": "methods.water",
}

#: The names that are modules themselves.
_MODULES = frozenset({"protocols", "classroom", "simulate", "water"})

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name in _HOME:
        home = import_module(_HOME[name])
        return home if name in _MODULES else getattr(home, name)
    raise AttributeError(f"module 'methods' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*globals(), *_HOME]
