"""Like is compared with like, and a mixture gives no headline."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from methods.errors import NotEstimable
from methods.shifts import all_pairs, equivalence, percentile_shift, shift
from methods.shifts.compare import block_weights
from tests.calibration.strata import DESIGNS, Design, count


def bench(cells: dict[tuple, tuple[float, int]], columns: tuple[str, ...], seed: int = 4) -> pd.DataFrame:
    """Invented tests: cell -> (mean in kV, fillings), five breakdowns a filling."""
    rng = np.random.default_rng(seed)
    rows = []
    for cell, (mean, fillings) in cells.items():
        for f in range(fillings):
            filling = mean * rng.normal(1, 0.02)
            for _ in range(5):
                row = {"sample": "A", **dict(zip(columns, cell, strict=True)), "filling": str(f)}
                rows.append({**row, "kv": filling * rng.normal(1, 0.04)})
    return pd.DataFrame(rows)


#: Disks read 13 % lower at every gap, and were tested mostly at the wide one.
REVERSED = bench(
    {
        ("A", "mushroom", 1.0): (30.0, 8), ("A", "mushroom", 2.0): (48.0, 3),
        ("A", "disk", 2.0): (48.0 * 0.87, 8), ("A", "disk", 1.0): (30.0 * 0.87, 2),
        ("B", "mushroom", 1.0): (26.0, 8), ("B", "mushroom", 2.0): (41.0, 3),
        ("B", "disk", 2.0): (41.0 * 0.87, 8), ("B", "disk", 1.0): (26.0 * 0.87, 2),
    },
    ("sample", "electrode", "gap_mm"),
)  # fmt: skip


def test_the_sign_of_a_mixture_is_not_the_sign_of_the_factor() -> None:
    means = REVERSED.groupby("electrode")["kv"].mean()
    assert means["disk"] / means["mushroom"] > 1.05  # what pooling both gaps would say
    found = shift(REVERSED, "electrode", reference="mushroom")
    one = found.shifts[0]
    assert one.held == ["gap_mm"]
    assert one.difference_percent == pytest.approx(-13, abs=1.5)
    assert one.high_percent < -8  # every cell with its own scatter
    assert "the same gap" in one.sentence and "lower" in one.sentence
    assert any(w.code == "like_with_like" and "gaps" in w.text for w in found.cautions)
    assert found.samples_used == ["A", "B"]


def test_every_comparison_of_levels_holds_the_same() -> None:
    expected = shift(REVERSED, "electrode", reference="mushroom").shifts[0].difference_percent
    agree = equivalence(REVERSED, "electrode", reference="mushroom", margin=0.05).levels[0]
    assert agree.difference_percent == pytest.approx(expected)
    for procedure in ("games_howell", "tukey", "holm"):
        pair = all_pairs(REVERSED, "electrode", procedure=procedure).pairs[0]
        sign = 1 if pair.second == "disk" else -1
        assert np.sign(pair.difference_percent) * sign == -1
    median = percentile_shift(REVERSED, "electrode", reference="mushroom", repetitions=100).levels[0].points[-1]
    assert median.difference_percent == pytest.approx(-13, abs=3)


def test_only_what_both_have_is_compared() -> None:
    some = REVERSED[~((REVERSED["electrode"] == "disk") & (REVERSED["gap_mm"] == 1.0))]
    found = shift(some, "electrode", reference="mushroom")
    assert found.shifts[0].reference_fillings == 6  # those at 2 mm
    assert found.shifts[0].difference_percent == pytest.approx(-13, abs=2.5)
    assert any("16 fillings without a counterpart" in w.text for w in found.cautions)


def test_nothing_in_common_is_refused_with_a_way_out() -> None:
    frame = bench(
        {("mushroom", 1.0): (30, 4), ("mushroom", 2.0): (48, 4), ("disk", 1.5): (40, 4)}, ("electrode", "gap_mm")
    )
    for compute in (
        lambda: shift(frame, "electrode"),
        lambda: equivalence(frame, "electrode", margin=0.05),
        lambda: all_pairs(frame, "electrode"),
        lambda: all_pairs(frame, "electrode", procedure="holm"),
        lambda: percentile_shift(frame, "electrode", repetitions=100),
    ):
        with pytest.raises(NotEstimable, match="none in common.*compare by procedure"):
            compute()
    named = shift(frame, "procedure", reference="disk 1.5 mm")
    assert [s.level for s in named.shifts] == ["mushroom 1 mm", "mushroom 2 mm"]
    assert not any(w.code == "confounded" for w in named.cautions)  # a procedure is its bundle


def test_gaps_of_two_methods_that_hardly_differ_are_one() -> None:
    frame = bench(
        {("mushroom", 1.0): (30, 4), ("mushroom", 2.5): (48, 4), ("disk", 2.54): (40, 4)}, ("electrode", "gap_mm")
    )
    one = shift(frame, "electrode", reference="mushroom").shifts[0]
    assert one.reference_fillings == 4 and one.difference_percent == pytest.approx(-17, abs=5)


def test_laboratories_are_compared_on_the_procedures_that_both_run() -> None:
    frame = bench(
        {
            ("North", "disk", 2.5): (30, 4), ("North", "mushroom", 2.0): (50, 4),
            ("South", "mushroom", 2.0): (50, 4), ("South", "mushroom", 1.0): (28, 4),
        },
        ("laboratory", "electrode", "gap_mm"),
    )  # fmt: skip
    one = shift(frame, "laboratory", reference="North").shifts[0]
    assert one.held == ["procedure"] and one.fillings == one.reference_fillings == 4
    assert abs(one.difference_percent) < 8


def test_oils_that_nothing_shares_are_refused_when_pooled() -> None:
    frame = bench({("A", "disk"): (30, 3), ("B", "disk"): (40, 3), ("C", "mushroom"): (50, 3)}, ("sample", "electrode"))
    with pytest.raises(NotEstimable, match="no oil was tested under .*same oils"):
        shift(frame, "electrode")


def test_hold_equal_with_nothing_in_common_is_refused() -> None:
    frame = bench({("disk", 1.0): (30, 3), ("mushroom", 2.0): (50, 3)}, ("electrode", "gap_mm"))
    assert shift(frame, "electrode").shifts  # two whole procedures may be compared
    with pytest.raises(NotEstimable, match="equal gap"):
        shift(frame, "electrode", within=["gap_mm"])


def test_a_model_does_not_leave_a_pooled_factor_in() -> None:
    with pytest.raises(NotEstimable, match="Take that out"):
        shift(REVERSED, "electrode", model="mixed")
    one = shift(REVERSED, "electrode", reference="mushroom", model="mixed", factors=["gap_mm"]).shifts[0]
    assert one.difference_percent == pytest.approx(-13, abs=2)


def test_several_columns_are_compared_as_one() -> None:
    found = shift(REVERSED, ["electrode", "gap_mm"], reference="mushroom, 2 mm")
    assert found.by == "electrode × gap_mm"
    by_level = {s.level: s for s in found.shifts}
    assert by_level["disk, 2 mm"].difference_percent == pytest.approx(-13, abs=2.5)


def test_sets_of_one_oil_weigh_by_their_fillings_and_oils_equally() -> None:
    """By hand: n m / (n + m) within each oil; mean of two sets weighed so."""
    weights = block_weights(np.array([8.0, 2.0, 4.0]), np.array([8.0, 2.0, 4.0]), np.array([0, 0, 1]))
    np.testing.assert_allclose(weights, [0.4, 0.1, 0.5])
    table = bench(
        {("A", "disk", 1.0): (30.0, 8), ("A", "disk", 2.0): (50.0, 2), ("A", "mushroom", 1.0): (33.0, 8),
         ("A", "mushroom", 2.0): (60.0, 2)},
        ("sample", "electrode", "gap_mm"),
    )  # fmt: skip
    means = table.groupby(["electrode", "gap_mm", "filling"])["kv"].mean().groupby(["electrode", "gap_mm"]).mean()
    gaps = means["mushroom"] - means["disk"]
    found = shift(table, "electrode", reference="disk").shifts[0]
    assert found.difference_kv == pytest.approx(0.8 * gaps[1.0] + 0.2 * gaps[2.0])
    three = pd.concat([table.assign(sample=s, kv=table["kv"] + k) for k, s in enumerate("ABC")])
    many = shift(three, "electrode", reference="disk").shifts[0]
    assert many.difference_kv == pytest.approx(found.difference_kv) and many.holds_for == "oils like these"


@pytest.mark.parametrize("design", DESIGNS, ids=lambda d: d.name)
def test_limits_over_sets_hold(design: Design) -> None:
    share, _ = count(design, 400)
    assert share > 0.95 - 3 * np.sqrt(0.95 * 0.05 / 400)
