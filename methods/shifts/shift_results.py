"""What a comparison of levels gives: the levels, their shifts, the oils behind them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from methods.result import Caution, Shown


@dataclass(frozen=True)
class SampleShift:
    """The shift within one oil (and one combination of the ``within`` columns)."""

    sample: str
    fillings: int
    reference_fillings: int
    mean_kv: float
    reference_mean_kv: float
    difference_kv: float
    difference_percent: float


@dataclass(frozen=True)
class TheseOils:
    """Limits of the shift for exactly the oils that were tested, their fillings alone being drawn by chance.

    ``low_kv`` to ``high_percent`` are limits, ``df`` the degrees of freedom. In JSON ``low`` and ``high`` stand for
    those in kV as well. ``own``: False where the oils do not have two fillings each, so that these limits are those
    for oils like these, which hold here too.
    """

    low_kv: float
    high_kv: float
    low_percent: float
    high_percent: float
    p_value: float
    df: float
    own: bool
    sentence: str = ""

    def to_dict(self) -> dict[str, Any]:
        """The fields, and ``low`` and ``high`` in kV."""
        return {"low": self.low_kv, "high": self.high_kv, **vars(self)}


@dataclass(frozen=True)
class LevelSummary:
    """One level over all of its rows, whether or not they can be compared.

    ``mean_kv`` is the mean of filling means (by censored likelihood with withstands); ``sd_kv`` the SD
    of single breakdowns within a filling, nan with withstands.
    """

    level: Any
    fillings: int
    breakdowns: int
    withstood: int
    samples: int
    mean_kv: float
    sd_kv: float


@dataclass(frozen=True)
class LevelShift:
    """The shift of one level against the reference; nan where the data cannot say.

    ``fillings``, ``breakdowns``, ``withstood`` and ``mean_kv`` are those of the rows compared, the
    oils weighing equally. ``p_value`` is adjusted over the levels (the intervals are not: each holds at
    the stated confidence by itself); ``p_value_unadjusted`` < 1 - confidence exactly where the interval
    leaves out zero. ``holds_for`` says of what the limits speak: ``oils like these`` (the average shift of all oils of
    which these are a sample) or ``these oils``; ``these_oils`` are the limits for exactly these. ``sd_ratio`` is SD of
    the level over SD of the reference, ``sd_ratio_of`` says of what.
    ``held`` names what was held equal because the levels pool several of it (procedures, laboratories).
    """

    level: Any
    fillings: int
    breakdowns: int
    mean_kv: float
    difference_kv: float
    low_kv: float
    high_kv: float
    difference_percent: float
    low_percent: float
    high_percent: float
    p_value: float
    sd_ratio: float
    sd_ratio_low: float
    sd_ratio_high: float
    withstood: int = 0
    reference_fillings: int = 0
    reference_breakdowns: int = 0
    reference_mean_kv: float = float("nan")
    standard_error_kv: float = float("nan")
    df: float = float("nan")
    p_value_unadjusted: float = float("nan")
    sd_ratio_of: str = ""
    sd_ratio_robust_low: float = float("nan")
    sd_ratio_robust_high: float = float("nan")
    sd_p_value: float = float("nan")
    method: str = ""
    samples: list[SampleShift] = field(default_factory=list)
    samples_left_out: list[str] = field(default_factory=list)
    sentence: str = ""
    held: list[str] = field(default_factory=list)
    holds_for: str = ""
    these_oils: TheseOils | None = None


@dataclass(frozen=True)
class CovariateLine:
    """A quantity that the mixed model takes out: its slope in kV a unit (in per cent a unit with ``log``).

    ``at`` is its mean over the tests, in the column's unit, at which level means are given; ``sentence`` holds the
    assumption in words.
    """

    covariate: str
    slope: float
    low: float
    high: float
    p_value: float
    at: float
    sentence: str


@dataclass(frozen=True, repr=False)
class Shift(Shown):
    """The result of :func:`shift`: ``shifts`` holds the levels other than the reference."""

    by: str
    reference: Any
    confidence: float
    shifts: list[LevelShift]
    cautions: list[Caution]
    levels: list[LevelSummary] = field(default_factory=list)
    samples_used: list[str] = field(default_factory=list)
    samples_left_out: list[str] = field(default_factory=list)
    model: str = "filling_means"
    log: bool = False
    adjust: str = "holm"
    within: list[str] = field(default_factory=list)
    factors: list[str] = field(default_factory=list)
    sentence: str = ""
    covariates: list[CovariateLine] = field(default_factory=list)
