"""How many breakdowns, on how many fillings: for a mean, a difference, a percentile, a decision; and verdicts.

::

    from methods import plan

    plan("mean", cov=0.15, half_width=0.10)  # or plan.mean(...)
    plan.difference(cov=0.15, difference=0.10, between_cov=0.05)
"""

from __future__ import annotations

from methods.planning.asking import plan
from methods.planning.conformance import conformance_probability, guard_band
from methods.planning.decision import decide, decide_all
from methods.planning.nested import curve
from methods.planning.verdicts import characteristics_by_protocol, operating_characteristic

__all__ = [
    "characteristics_by_protocol",
    "conformance_probability",
    "curve",
    "decide",
    "decide_all",
    "guard_band",
    "operating_characteristic",
    "plan",
]
