"""Rules on a record table: which breakdowns belong together, the verdicts and how often a rule fired."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.proportion import proportion_confint

from methods.consistency import clopper_pearson, judge_table, judged_series, rates_on, scatter_by_rule
from methods.errors import InputError
from methods.protocols import own_rule


def table(method: str, fillings: list[list[float]], **more: object) -> pd.DataFrame:
    rows = [
        {"sample": "T1", "method": method, "filling": f"f{i}", "order": j, "kv": kv, **more}
        for i, series in enumerate(fillings)
        for j, kv in enumerate(series, start=1)
    ]
    return pd.DataFrame(rows)


WIDE, TIGHT = [20, 31, 52, 58, 66], [28, 31, 33, 29, 35]


def test_each_filling_is_a_series_in_its_own_order() -> None:
    data = table("D877 A", [TIGHT, WIDE])
    mixed = data.sample(frac=1, random_state=4)
    found = judge_table(mixed)
    by_label = {s.labels["filling"]: (s.kv.tolist(), v.step) for s, v in found}
    assert by_label == {"f0": (TIGHT, "report"), "f1": (WIDE, "five_more")}


def test_one_breakdown_each_on_five_fillings_is_one_series() -> None:
    data = table("ASTM D877 B", [[x] for x in WIDE])
    (series,) = list(judged_series(data))
    assert series.kv.tolist() == WIDE and series.fillings == 5
    assert judge_table(data)[0][1].step == "five_more"


def test_fillings_over_several_days_are_one_test_unless_their_labels_come_back() -> None:
    days = ["2026-01-12", "2026-01-12", "2026-01-12", "2026-01-13", "2026-01-13"]
    data = table("ASTM D877 B", [[x] for x in WIDE]).assign(tested_on=days)
    assert [s.kv.size for s in judged_series(data)] == [5]
    next_year = data.assign(tested_on="2027-01-12")
    first_year = data.assign(tested_on="2026-01-12")
    assert [s.kv.size for s in judged_series(pd.concat([first_year, next_year], ignore_index=True))] == [5, 5]


def test_methods_of_one_file_are_judged_each_by_its_own_rule() -> None:
    data = pd.concat(
        [table("D1816 1 mm", [WIDE]), table("D1816 2 mm", [WIDE]), table("D1816", [WIDE]), table("?", [WIDE])]
    )
    steps = {v.rule: v.step for _, v in judge_table(data)}
    assert steps == {"range_1mm": "report", "range_2mm": "five_more", "none": "no_rule"}
    given = table("D1816", [WIDE], gap_mm=2.0)
    assert judge_table(given)[0][1].rule == "range_2mm"


def test_rates_count_the_first_n_and_leave_out_what_cannot_be_judged() -> None:
    data = table("D877 A", [TIGHT, WIDE, [*WIDE, 30, 31, 32, 33, 34], TIGHT[:3], TIGHT])
    data["outcome"] = np.where((data["filling"] == "f4") & (data["order"] == 5), "withstood", "breakdown")
    (row,) = rates_on(data).to_dict("records")
    assert (row["series"], row["judged"], row["fired"], row["short"], row["withstood"]) == (5, 3, 2, 1, 1)
    assert row["rate"] == pytest.approx(2 / 3) and row["fillings"] == 5 and row["protocol"] == "astm_d877_a"
    assert (row["low"], row["high"]) == pytest.approx(proportion_confint(2, 3, method="beta"))


def test_a_rule_of_ones_own_and_methods_without_a_rule() -> None:
    data = table("IEC 60156", [[*TIGHT, 30], [*WIDE, 30]])
    none = rates_on(data).to_dict("records")[0]
    assert none["judged"] == 0 and np.isnan(none["rate"]) and none["series"] == 2
    own = rates_on(data, own_rule("cov_ceiling", 20, n=6)).to_dict("records")[0]
    assert (own["judged"], own["fired"]) == (2, 1)


@pytest.mark.parametrize(("hits", "trials"), [(0, 1), (0, 20), (7, 20), (20, 20), (1, 500)])
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_clopper_pearson(hits: int, trials: int, confidence: float) -> None:
    """Against statsmodels' exact interval."""
    expected = proportion_confint(hits, trials, alpha=1 - confidence, method="beta")
    assert clopper_pearson(hits, trials, confidence) == pytest.approx(expected, abs=1e-12)


def test_refused() -> None:
    with pytest.raises(InputError):
        rates_on(table("D877 A", [TIGHT]), confidence=95)
    with pytest.raises(InputError):
        judge_table(pd.DataFrame({"x": [1]}))


def test_own_scatter_is_pooled_within_series_by_rule() -> None:
    rng = np.random.default_rng(1)
    rows = [
        {"sample": "A", "method": method, "edition": None, "gap_mm": None, "filling": f"{f}", "order": i + 1,
         "outcome": "breakdown", "kv": level * v}
        for method, level, cov in (("ASTM D877 A", 30, 0.1), ("GOST 6581", 60, 0.2)) for f in range(40)
        for i, v in enumerate(1 + cov * rng.standard_normal(6))
    ]  # fmt: skip
    found = scatter_by_rule(pd.DataFrame(rows)).set_index("rule")
    assert found.loc["three_r", "cov"] == pytest.approx(0.1, rel=0.2)
    assert found.loc["cov_20", "cov"] == pytest.approx(0.2, rel=0.2)
    assert found.loc["all", "used"] == 80


def test_each_rule_stands_at_its_own_scatter_beside_what_it_did() -> None:
    from methods.consistency import rule_on_records
    from methods.protocols import load_rules, trip_rate

    data = pd.concat([table("D877 A", [TIGHT, WIDE, TIGHT])], ignore_index=True)
    scatter = scatter_by_rule(data)
    rules = [load_rules()["three_r"], own_rule("range_percent", 5.0)]
    found = rule_on_records(data, rules, scatter)
    cov = float(scatter.set_index("rule").loc["three_r", "cov"])
    assert found["expected_percent"].iloc[0] == pytest.approx(100 * trip_rate(rules[0], cov).probability)
    assert found["judged"].tolist() == [3, 3] and found["fired"].tolist() == [1, 3]
    assert found["fired_low"].iloc[0] == pytest.approx(100 * clopper_pearson(1, 3)[0])
