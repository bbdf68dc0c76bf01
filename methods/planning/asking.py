"""``plan``: one name for all kinds of plan, callable by kind."""

from __future__ import annotations

from inspect import signature
from typing import Any

from methods.errors import InputError
from methods.planning.bench_design import plan_design
from methods.planning.decision_plan import plan_decision
from methods.planning.difference_plan import plan_difference
from methods.planning.equivalence_plan import plan_equivalence
from methods.planning.mean_plan import plan_mean
from methods.planning.percentile_plan import plan_percentile
from methods.planning.pilot_data import plan_from_pilot
from methods.planning.spread_plan import plan_sd
from methods.planning.stepping import next_step


class _Plan:
    """Plans by kind: ``plan("mean", cov=0.15, half_width=0.10)`` is ``plan.mean(cov=0.15, half_width=0.10)``."""

    mean = staticmethod(plan_mean)
    difference = staticmethod(plan_difference)
    percentile = staticmethod(plan_percentile)
    decision = staticmethod(plan_decision)
    equivalence = staticmethod(plan_equivalence)
    sd = staticmethod(plan_sd)
    design = staticmethod(plan_design)
    pilot = staticmethod(plan_from_pilot)
    next = staticmethod(next_step)

    #: The kinds of plan, in the order in which the help lists them.
    kinds: tuple[str, ...] = (
        "mean", "difference", "percentile", "decision", "equivalence", "sd", "design", "pilot", "next",
    )  # fmt: skip

    def __call__(self, kind: str, *args: Any, **options: Any) -> Any:
        """Give the plan of that kind; the rest of the arguments are the kind's own.

        Raises
        ------
        InputError
            A kind that does not exist, or an argument that the kind does not have.
        """
        if kind not in self.kinds:
            raise InputError(f"There is no plan {kind!r}; there are {', '.join(self.kinds)}.", column="kind", text=kind)
        asked = getattr(self, kind)
        try:
            signature(asked).bind(*args, **options)
        except TypeError as error:
            raise InputError(f"plan {kind}: {error}") from None
        return asked(*args, **options)

    def __repr__(self) -> str:
        return f"<plan: {', '.join(self.kinds)}>"


plan = _Plan()
