"""Overlay: another confidence asks the rows for nothing, and what is drawn stays as much as a screen shows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.pages import glance, page_class
from dashboard.plots import readings
from dashboard.plots.glance import shown_fillings
from dashboard.study import Study
from methods.records.table import as_table
from methods.scatter import median, medians, own_medians
from methods.scatter.clusters import clusters


def _table(fillings: int, each: int = 6) -> pd.DataFrame:
    """Invented: two electrodes in turn."""
    rng = np.random.default_rng(3)
    at = np.arange(fillings * each)
    electrode = np.where(at // each % 2, "mushroom", "disk")
    kv = np.where(electrode == "disk", 48, 57) + 2 * rng.standard_normal(fillings)[at // each]
    return pd.DataFrame({"sample": "Invented", "electrode": electrode, "filling": (at // each).astype(str),
                         "order": at % each + 1, "kv": (kv + 3 * rng.standard_normal(len(at))).round(1)})  # fmt: skip


@pytest.mark.parametrize(("fillings", "family"), [(12, "weibull"), (12, "normal"), (160, "weibull"), (160, "normal")])
def test_another_confidence_goes_through_no_row(
    fillings: int, family: str, monkeypatch: pytest.MonkeyPatch
) -> None:  # 160 fillings: more than are simulated
    study = Study()
    study.open(_table(fillings).to_csv(index=False).encode(), name="invented.csv")
    study.by = "electrode"
    page = page_class("overlay")(study)
    page.family = family
    page.result()

    def never(*_: Any, **__: Any) -> Any:
        raise AssertionError("the rows were gone through again")

    for name in (
        "methods.scatter.estimate_groups", "methods.scatter.own_medians", "methods.scatter.clusters.clusters",
        "methods.scatter.fit_limits.robust_covariance", "methods.scatter.fit_limits.simulated_draws",
        "methods.scatter.fit_limits.summarise", "methods.scatter.fitting.robust_covariance",
        "methods.scatter.fitting.simulated_draws", "methods.scatter.fitting.summarised",
        "dashboard.plots.curves.shapes", "dashboard.pages.glance.columns_of",
    ):  # fmt: skip
        monkeypatch.setattr(name, never)
    study.confidence = 0.8
    found = page.result()
    shown, _ = glance.prepared(page)
    monkeypatch.undo()
    cache.forget()
    anew = page.result()
    assert found["medians"] == anew["medians"]
    for one, other in zip(found["fits"], anew["fits"], strict=True):
        assert one["percentiles"] == other["percentiles"] and one["parameter_limits"] == other["parameter_limits"]
        assert one["confidence"] == 0.8
    for one, other in zip(found["curves"], anew["curves"], strict=True):
        pd.testing.assert_frame_equal(one.fitted, other.fitted)
    pd.testing.assert_frame_equal(shown.means, clusters(study.selection, ["electrode"], confidence=0.8).means)


def test_limits_of_a_median_wait_for_the_confidence() -> None:
    table = as_table(_table(8))
    for confidence in (0.8, 0.95):
        assert [m.at(confidence) for m in own_medians(table, ["electrode"])] == medians(
            table, ["electrode"], confidence=confidence
        )
    assert median([50, 51, 52], confidence=0.5).low < 51


def test_the_glance_draws_no_more_fillings_than_readings() -> None:
    found = clusters(as_table(_table(readings.MOST + 900, each=1)), ["electrode"])
    assert len(shown_fillings(found)) == readings.MOST
    few = clusters(as_table(_table(40)), ["electrode"])
    assert len(shown_fillings(few)) == 40
