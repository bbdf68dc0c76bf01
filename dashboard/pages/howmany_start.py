"""What a plan starts from: the scatter, typed or of the records; and its designs as a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from dashboard.jobs import Progress
from methods.errors import InputError
from methods.result import Caution


@dataclass(frozen=True)
class Start:
    """The scatter that the plan starts from, as fractions of the mean, and where it is from."""

    cov: float
    between_cov: float | None
    mean_kv: float | None
    serial_correlation: float
    source: str
    uppers: tuple[float | None, float | None] = (None, None)
    cautions: tuple[Caution, ...] = ()


def safely(compute: Any, selection: Any, progress: Progress) -> Any:
    """The pilot, or the sentence why there is none: that too is an answer for these records."""
    try:
        found = compute(selection)
    except InputError as error:
        return str(error)
    progress.step(1, 1)
    return found


def scatter_table(start: Start) -> pd.DataFrame:
    """The scatter that the plan starts from, in %, each part with where it is from."""
    percent = [start.cov, start.between_cov, *start.uppers]
    within, between, within_up, between_up = (float("nan") if v is None else 100 * v for v in percent)
    return pd.DataFrame(
        {
            "part": ["single breakdowns on one filling", "from filling to filling"],
            "cov_percent": [within, between], "cov_upper_percent": [within_up, between_up],
            "from": [start.source, start.source if start.between_cov is not None else "cannot be seen"],
        }
    )  # fmt: skip
