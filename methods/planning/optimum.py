"""The cheapest two-stage design under costs: what one filling costs, what one breakdown costs.

Source: W. G. Cochran, *Sampling Techniques* (3rd ed. 1977), ch. 10.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from methods.errors import InputError
from methods.planning.inputs import positive


@dataclass(frozen=True)
class BudgetDesign:
    """Fillings and breakdowns per filling with the smallest variance of the mean that the budget allows."""

    fillings: int
    breakdowns_per_filling: int
    variance: float
    cost: float


def best_breakdowns_per_filling(
    filling_cost: float, breakdown_cost: float, between_variance: float, within_variance: float
) -> float:
    """Breakdowns per filling (not rounded) with the smallest variance for the money, whatever the budget.

    ``sqrt(filling_cost / breakdown_cost * within / between)``; infinite when fillings do not differ.
    """
    costs = positive(filling_cost, "filling_cost") / positive(breakdown_cost, "breakdown_cost")
    between = positive(between_variance, "between_variance", zero=True)
    within = positive(within_variance, "within_variance")
    return math.inf if between == 0 else math.sqrt(costs * within / between)


def best_for_budget(
    budget: float,
    filling_cost: float,
    breakdown_cost: float,
    between_variance: float,
    within_variance: float,
    *,
    least_fillings: int = 1,
) -> BudgetDesign:
    """Best whole numbers within a budget, by looking at every one; ties go to the cheaper design.

    Each of m fillings costs ``filling_cost`` plus ``breakdown_cost`` for each of its breakdowns. All in one unit:
    minutes, money or millilitres.

    Raises
    ------
    InputError
        A budget that does not pay for the least number of fillings of one breakdown.
    """
    money, cb, cr = (
        positive(budget, "budget"),
        positive(filling_cost, "filling_cost"),
        positive(breakdown_cost, "breakdown_cost"),
    )
    between = positive(between_variance, "between_variance", zero=True)
    within = positive(within_variance, "within_variance")
    if money < least_fillings * (cb + cr) * (1 - 1e-12):
        raise InputError(
            f"A budget of {money:g} does not pay for {least_fillings} filling(s) of one breakdown "
            f"({least_fillings * (cb + cr):g}).",
            column="budget",
        )
    m = np.arange(least_fillings, int(money / (cb + cr) + 1e-9) + 1)
    n = np.floor((money / m - cb) / cr + 1e-9).astype(int)
    variance = between / m + within / (m * n)
    cost = m * (cb + n * cr)
    best = np.lexsort((cost, np.round(variance, 12)))[0]
    return BudgetDesign(int(m[best]), int(n[best]), float(variance[best]), float(cost[best]))
