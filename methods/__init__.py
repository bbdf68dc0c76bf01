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
    "read": "methods.records",
    "Records": "methods.records",
    "fit": "methods.scatter",
    "fit_many": "methods.scatter",
    "components": "methods.scatter",
    "order_effects": "methods.scatter",
    "kaplan_meier": "methods.scatter",
    "shift": "methods.contrast",
    "equivalence": "methods.contrast",
    "percentile_shift": "methods.contrast",
    "plan": "methods.planning",
    "decide": "methods.planning",
    "precision": "methods.interlab",
    "protocols": "methods.protocols",
    "simulate": "methods.simulate",
}

__all__ = sorted(_HOME)


def __getattr__(name: str) -> Any:
    if name in _HOME:
        home = import_module(_HOME[name])
        return home if name in ("protocols", "simulate") else getattr(home, name)
    raise AttributeError(f"module 'methods' has no attribute {name!r}")


def __dir__() -> list[str]:
    return [*globals(), *_HOME]
