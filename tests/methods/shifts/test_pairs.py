"""All pairs of levels: Tukey, Games-Howell and Holm on filling means."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from methods.errors import InputError, NotEstimable
from methods.shifts import all_pairs, shift
from tests.methods.shifts.test_shifts import bench
from tests.reference import agrees, data


def plants() -> pd.DataFrame:
    table = data("F05_plantgrowth.csv")
    return pd.DataFrame(
        {"kv": table["weight"], "electrode": table["group"], "filling": [str(i) for i in range(len(table))]}
    )


def test_tukey_plant_growth() -> None:
    """Case F05 (R TukeyHSD), each plant a filling of one breakdown."""
    pairs = all_pairs(plants(), "electrode", procedure="tukey").pairs
    agrees("F05", "tukey_diff", [p.difference_kv for p in pairs])
    agrees("F05", "tukey_lwr", [p.low_kv for p in pairs])
    agrees("F05", "tukey_padj", [p.p_value for p in pairs])


def test_games_howell_plant_growth() -> None:
    """Case F05c (PMCMRplus), which subtracts the other way round."""
    pairs = all_pairs(plants(), "electrode").pairs
    agrees("F05c", "plantgrowth_gameshowell_lwr", [-p.high_kv for p in pairs])
    agrees("F05c", "plantgrowth_gameshowell_padj", [p.p_value for p in pairs])
    agrees("F05c", "plantgrowth_gameshowell_df", [p.df for p in pairs])


def test_filling_means_are_the_unit() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (47, 3), ("A", "d"): (43, 5)}, seed=2)
    means = frame.groupby(["electrode", "filling"])["kv"].mean()
    live = stats.tukey_hsd(means["s"], means["m"], means["d"])
    pairs = all_pairs(frame, "electrode", procedure="tukey").pairs
    np.testing.assert_allclose([p.p_value for p in pairs], [live.pvalue[i, j] for i, j in ((0, 1), (0, 2), (1, 2))])


def test_oils_are_blocks_with_single_fillings() -> None:
    """Tukey after oil + electrode: the residual mean square is that of the additive two-way table."""
    oils, shifts = zip("ABCD", (40, 50, 60, 70), strict=True), (("s", 0), ("m", -3), ("d", -8))
    cells = {(oil, e): (m + d, 1) for oil, m in oils for e, d in shifts}
    frame = bench(cells, seed=4)
    table = frame.groupby(["sample", "electrode"])["kv"].mean().unstack()[["s", "m", "d"]].to_numpy()
    rest = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0) + table.mean()
    error = np.sqrt((rest**2).sum() / 6 / 4)
    half = stats.studentized_range.ppf(0.95, 3, 6) * error
    pairs = all_pairs(frame, "electrode", procedure="tukey").pairs
    np.testing.assert_allclose([p.high_kv - p.low_kv for p in pairs], 2 * half)
    with pytest.raises(NotEstimable, match="two fillings"):
        all_pairs(frame, "electrode")


def test_holm_is_the_shift_of_each_pair() -> None:
    frame = bench({("A", "s"): (50, 4), ("A", "m"): (47, 4), ("A", "d"): (43, 4)}, seed=2)
    pairs = all_pairs(frame, "electrode", procedure="holm").pairs
    single = shift(frame[frame["electrode"] != "d"], "electrode", reference="s").shifts[0]
    assert (pairs[0].difference_kv, pairs[0].low_kv) == (single.difference_kv, single.low_kv)
    assert pairs[0].p_value >= single.p_value


def test_cautions_and_refusals() -> None:
    frame = bench({("A", "s"): (50, 3), ("B", "m"): (47, 3), ("A", "d"): (43, 3)})
    assert [w.code for w in all_pairs(frame, "electrode").cautions] == ["no_shared_sample"]
    oils = bench({(o, e): (50, 3) for o in "ABC" for e in "smd"})
    assert [w.code for w in all_pairs(oils, "electrode").cautions] == ["these_oils"]
    more = pd.concat([frame, bench({("A", "m"): (47, 3)})])
    result = all_pairs(more, "electrode")
    assert result.samples_used == ["A"] and result.cautions[0].code == "samples_left_out"
    single = bench({("A", "s"): (50, 1), ("A", "m"): (47, 1)})
    assert all_pairs(single, "electrode").cautions[0].code == "one_filling"
    frame["outcome"] = ["withstood"] + ["breakdown"] * (len(frame) - 1)
    with pytest.raises(NotEstimable, match="holm"):
        all_pairs(frame, "electrode")
    assert all_pairs(frame, "electrode", procedure="holm").pairs
    with pytest.raises(InputError):
        all_pairs(frame, "electrode", procedure="dunnett")
