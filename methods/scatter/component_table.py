"""What a division of the scatter looks like: one line a source, and what goes with them."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from methods.result import Caution, Shown


@dataclass(frozen=True)
class Component:
    """One source of scatter: its standard deviation in kV, confidence limits, per cent of the mean, and levels."""

    factor: str
    sd: float
    low: float
    high: float
    levels: int
    percent: float = np.nan


@dataclass(frozen=True, repr=False)
class Components(Shown):
    """Where the scatter of one set of breakdowns comes from.

    ``components`` runs from the outside in and ends with ``breakdown``, the scatter within one filling. A factor
    at its bound has ``sd`` 0 and an upper limit. ``effective_breakdowns`` is the number of independent breakdowns
    that would know the mean as well; ``intraclass_correlation`` the correlation of two breakdowns that share all
    levels. ``residuals`` holds the scatter within fillings for each level of ``residual_by``. ``df`` are the
    degrees of freedom of ``standard_error_kv``; ``low_kv`` and ``high_kv`` are the t-limits of the mean with them.
    """

    mean_kv: float
    standard_error_kv: float
    components: list[Component]
    low_kv: float
    high_kv: float
    df: float
    confidence: float
    intraclass_correlation: float
    intraclass_low: float
    intraclass_high: float
    effective_breakdowns: float
    breakdowns: int
    withstood: int
    method: str
    limits: str
    fixed: list[str]
    log_likelihood: float
    residuals: list[dict[str, Any]] = field(default_factory=list)
    cautions: list[Caution] = field(default_factory=list)
    group: dict[str, Any] | None = None
    groups: list[Any] | None = None

    def to_dict(self) -> dict[str, Any]:
        """Field names and values; ``group`` and ``groups`` only where there are any."""
        out = {f.name: getattr(self, f.name) for f in fields(self)}
        return {k: v for k, v in out.items() if not (k in ("group", "groups") and v is None)}


def percent_of_mean(sd: float, mean: float) -> float:
    """A standard deviation in per cent of a positive mean."""
    return 100 * float(sd) / mean if mean > 0 else np.nan


def worth_on_one_filling(components: Components, n: int) -> float:
    """How many breakdowns on fillings of their own would know the mean as well as ``n`` on one filling.

    ``n / (1 + (n - 1) rho)`` with the correlation ``rho`` of breakdowns that share a filling, from the components
    ``filling`` and ``breakdown`` alone (Kish, *Survey Sampling*, Wiley 1965, the design effect); nan where either is
    not known.
    """
    parts = {c.factor: c.sd**2 for c in components.components}
    between, within = parts.get("filling", np.nan), parts.get("breakdown", np.nan)
    total = between + within
    return float(n / (1 + (n - 1) * between / total)) if n >= 1 and total > 0 else float("nan")
