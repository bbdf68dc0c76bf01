"""Test methods as data: protocols, their consistency rules, limits, precision statements and bench time."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from methods.protocols.bench import BenchTime, as_protocol, bench_time
from methods.protocols.library import by_key, load
from methods.protocols.limits import (
    Document,
    Limit,
    LimitComparison,
    check_comparable,
    comparable_limits,
    limit_for,
    limit_table,
    load_limits,
)
from methods.protocols.precision_data import PrecisionStatement, precision_statements
from methods.protocols.protocol import CHECK, MARKS, Protocol, Value
from methods.protocols.recognition import recognise, stated_gap
from methods.protocols.rules import NO_RULE, Rule, exceeds, load_rules, own_rule, rule_of
from methods.protocols.verdict import Verdict, judge

if TYPE_CHECKING:
    from methods.protocols.assumed import FAMILIES
    from methods.protocols.trip_rates import RuleEffect, TripRate, rule_effect, trip_rate

#: Imported when first used: they need scipy.stats, which whoever only reads a file should not wait for.
_LATER = {
    "FAMILIES": "methods.protocols.assumed",
    "RuleEffect": "methods.protocols.trip_rates",
    "TripRate": "methods.protocols.trip_rates",
    "rule_effect": "methods.protocols.trip_rates",
    "trip_rate": "methods.protocols.trip_rates",
}

__all__ = [
    "CHECK", "FAMILIES", "MARKS", "NO_RULE", "BenchTime", "LimitComparison", "Document", "Limit",
    "PrecisionStatement", "Protocol", "Rule", "RuleEffect", "TripRate", "Value", "Verdict",
    "as_protocol", "bench_time", "by_key", "check_comparable", "comparable_limits", "exceeds", "judge", "limit_for",
    "limit_table", "load", "load_limits", "load_rules", "own_rule", "precision_statements", "recognise", "rule_effect",
    "rule_of", "stated_gap", "trip_rate",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in _LATER:
        return getattr(import_module(_LATER[name]), name)
    raise AttributeError(f"module 'methods.protocols' has no attribute {name!r}")
