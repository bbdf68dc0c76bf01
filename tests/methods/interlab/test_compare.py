"""The precision of two methods side by side, patterns of laboratories, and a laboratory left out as a whole."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from dashboard import cache
from dashboard.cli import main
from dashboard.pages import page_class
from dashboard.study import Study
from methods import read
from methods.errors import InputError, NotEstimable
from methods.interlab import compare_precision, patterns, precision


def rounds(seed: int = 0, levels: int = 4, ratio: float = 2.0, own: float = 0.0) -> pd.DataFrame:
    """Invented: eight laboratories, methods X and Y on the same oils, Y scatters ``ratio`` times as much."""
    rng = np.random.default_rng(seed)
    rows = []
    for lab in "ABCDEFGH":
        bias = own * (lab == "A")
        for i in range(levels):
            for method, sd in (("X", 2.0), ("Y", 2.0 * ratio)):
                level = 30 + 10 * i + bias + rng.normal(0, sd)
                rows += [
                    {"laboratory": lab, "sample": f"oil {i}", "method": method, "filling": str(f),
                     "kv": level + rng.normal(0, sd)}
                    for f in range(3)
                ]  # fmt: skip
    return pd.DataFrame(rows)


def test_one_level_has_f_limits() -> None:
    """SciPy's F distribution on the two pooled variances, by hand."""
    frame = rounds(levels=1)
    found = compare_precision(frame, by="method", first="X", second="Y", result="filling")
    within = frame.groupby(["method", "laboratory"])["kv"].var().groupby("method").mean()
    ratio = np.sqrt(within["Y"] / within["X"])
    mine = next(r for r in found.ratios if r.kind == "s_r")
    assert mine.ratio == pytest.approx(ratio)
    assert mine.low == pytest.approx(ratio / np.sqrt(stats.f.ppf(0.975, 16, 16)))
    assert mine.high == pytest.approx(ratio / np.sqrt(stats.f.ppf(0.025, 16, 16)))
    assert not found.overall and found.levels == ["oil 0"]


def test_over_all_levels_the_limits_cover() -> None:
    kept = {"s_r": [], "s_R": []}
    for seed in range(60):
        found = compare_precision(rounds(seed, levels=3), by="method", first="X", second="Y", result="filling")
        for r in found.overall:
            kept[r.kind].append(r.low <= 2.0 <= r.high)
    assert all(np.mean(v) >= 0.86 for v in kept.values())  # 95 % less three standard errors
    assert "Y repeats itself less closely than X" in found.sentence
    assert {"s_r", "s_R"} == set(found.second_precision.relations["kind"])


def test_what_is_not_comparable_is_said() -> None:
    frame = rounds(levels=2)
    with pytest.raises(InputError, match="no level 'Z'"):
        compare_precision(frame, by="method", first="X", second="Z")
    apart = frame[(frame["method"] == "X") == (frame["sample"] == "oil 0")]
    with pytest.raises(NotEstimable, match="same oils by both"):
        compare_precision(apart, by="method", first="X", second="Y")
    some = frame[~((frame["method"] == "Y") & (frame["laboratory"] == "H"))]
    found = compare_precision(some, by="method", first="X", second="Y")
    assert "other_laboratories" in [c.code for c in found.cautions]


def test_a_laboratory_that_is_high_everywhere_shows_its_pattern_and_is_left_out_at_once() -> None:
    frame = rounds(levels=8, own=15.0)
    frame = frame[frame["method"] == "X"]
    found = precision(frame, level="sample")
    told = patterns(found.cells)
    assert told.iloc[0]["laboratory"] == "A" and told.iloc[0]["pattern"].startswith("high in all 8 cells")
    assert told.iloc[0]["p_value"] == pytest.approx(2 / 2**8)
    without = precision(frame, level="sample", exclude=[("A", "*", "gauge was wrong")])
    assert len(without.exclusions) == 8 and {e.reason for e in without.exclusions} == {"gauge was wrong"}
    assert "A" not in set(without.cells["laboratory"])
    with pytest.raises(InputError, match="needs a reason"):
        precision(frame, level="sample", exclude=[("A", "*", "")])


def test_page_command_and_call_agree(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "round.csv"
    rounds(levels=3).to_csv(path, index=False)
    expected = compare_precision(read(path), first="X", second="Y")
    assert main(["precision", str(path), "--compare", "X", "Y", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    cache.forget()
    study = Study()
    study.open(path, "round.csv")
    page = page_class("precision")(study, first="X")
    page.shown = True
    shown = page.result().ratio[0]
    for other in (printed["overall"][0], vars(shown.overall[0])):
        assert other["ratio"] == pytest.approx(expected.overall[0].ratio)
        assert other["low"] == pytest.approx(expected.overall[0].low)
    assert {"precision_ratio", "precision_ratios", "patterns"} <= set(page._shown_tables)
    assert len(page._draw_two(page.result()).plots[0].layers) == 8
    page._leave_out({"laboratory": "A"}, "another gauge")
    assert "A" not in set(page.result().precision.cells["laboratory"])
    assert len(page.result().precision.exclusions) == len({lv.level for lv in page.result().precision.levels})
