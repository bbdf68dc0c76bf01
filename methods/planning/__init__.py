"""How many breakdowns, on how many fillings: for a mean, a difference, a percentile, a decision.

::

    from methods import plan

    plan("mean", cov=0.15, half_width=0.10)  # or plan.mean(...)
    plan.difference(cov=0.15, difference=0.10, between_cov=0.05)
"""

from __future__ import annotations

from methods.planning.asking import plan
from methods.planning.nested import curve

__all__ = ["curve", "plan"]
