"""Precision experiments against the examples of ISO 5725-2 and ASTM E691 (every value of cases E01, E03, E04)."""

from __future__ import annotations

import os
from functools import cache

import numpy as np
import pandas as pd
import pytest

from methods.errors import InputError, NotEstimable
from methods.interlab import (
    Precision,
    mandel_h_critical,
    mandel_k_critical,
    precision,
    precision_of_cells,
    scatter_against_mean,
)
from methods.records import read
from methods.result import as_json
from tests.reference import agrees, data, expected, names


@cache
def glucose() -> Precision:
    """ASTM E691's glucose study as an open copy has it (R package ILS)."""
    return precision(data("E01_glucose_e691.csv"), laboratory="Laboratory", level="Material", value="Glucose")


@cache
def iso(file: str) -> Precision:
    """ISO 5725-2:1994 annex B: coal (B.1), pitch (B.2; raw data from memory, a check of the software only)."""
    return precision(data(file), laboratory="lab", level="level", value="value")


def figure(result: Precision, level: str, what: str) -> object:
    lv = next(x for x in result.levels if x.level == level)
    grubbs = {g["test"]: g for g in lv.grubbs}
    largest = max((grubbs["high"], grubbs["low"]), key=lambda g: abs(g["statistic"]))
    simple = {
        "p": lv.laboratories, "N": lv.n, "mean": lv.mean, "s_xbar": lv.s_means, "sr": lv.s_r, "sL": lv.s_L,
        "sR": lv.s_R, "r": lv.r, "R": lv.R, "r95": lv.r, "R95": lv.R, "n_bar": lv.n_bar,
        "h": list(lv.h.values()), "h_all_labs": list(lv.h.values()),
        "k": list(lv.k.values()), "k_all_labs": list(lv.k.values()),
        "cochran_C": lv.cochran["C"], "cochran_C_all": lv.cochran["C"], "cochran_lab": lv.cochran["laboratory"],
        "grubbs_max_G": abs(largest["statistic"]), "grubbs_lab": largest["laboratories"][0],
        "grubbs_Gmax_all": grubbs["high"]["statistic"], "grubbs_Gmin_all": grubbs["low"]["statistic"],
    }  # fmt: skip
    return simple[what]


@pytest.mark.parametrize("name", names("E01"))
def test_glucose(name: str) -> None:
    if name == "h_crit_0.005":
        found: object = glucose().levels[0].h_critical["0.005"]
        assert found == mandel_h_critical(8, 0.995)
    elif name == "k_crit_0.005":
        found = glucose().levels[0].k_critical["0.005"]
        assert found == mandel_k_critical(8, 3, 0.995)
    else:
        level, _, what = name.partition("_")
        found = figure(glucose(), level, what)
    agrees("E01", name, found)


@pytest.mark.parametrize(("case", "name"), [(c, n) for c in ("E03", "E04") for n in names(c)], ids=lambda v: str(v))
def test_iso_examples(case: str, name: str) -> None:
    file = {"E03": "E03_iso5725_coal.csv", "E04": "E04_iso5725_pitch.csv"}[case]
    level, _, what = name.partition("_")
    found = figure(iso(file), level.removeprefix("L"), what)
    if what == "cochran_lab":
        found = str(found)
    agrees(case, name, found)


def test_coal_comes_out_to_the_printed_digits() -> None:
    """ISO 5725-2:1994 table B.3 (from memory): m, s_r, s_R of the four levels."""
    printed = [
        ("0.690", "0.015", "0.026"),
        ("1.252", "0.029", "0.061"),
        ("1.667", "0.017", "0.035"),
        ("3.250", "0.026", "0.058"),
    ]
    found = [(f"{v.mean:.3f}", f"{v.s_r:.3f}", f"{v.s_R:.3f}") for v in iso("E03_iso5725_coal.csv").levels]
    assert found == printed


def test_glucose_flags_are_kept_and_nothing_removed() -> None:
    """E691's study: laboratory 4 stands out at C and laboratory 2 at E, in spread and in k; all 24 rows still count."""
    result = glucose()
    flagged = set(zip(result.flags["level"], result.flags["test"], result.flags["laboratories"], strict=True))
    assert ("C", "cochran", "Lab4") in flagged and ("E", "cochran", "Lab2") in flagged
    assert all(level.n == 24 for level in result.levels)
    e = result.levels[4]
    assert [lab for lab, k in e.k.items() if k > e.k_critical["0.005"]] == ["Lab2"]


def invented(seed: int = 1, labs: int = 6, n: int = 4, levels: tuple[float, ...] = (30.0, 60.0)) -> pd.DataFrame:
    rng = np.random.default_rng(seed)
    rows = []
    for mean in levels:
        for lab in range(labs):
            own = mean + rng.normal(0, 0.05 * mean)
            rows += [
                {"sample": f"oil {mean:g}", "laboratory": f"Lab {lab + 1}", "kv": own + rng.normal(0, 0.1 * mean),
                 "filling": str(i // 2 + 1), "order": i % 2 + 1}
                for i in range(n)
            ]  # fmt: skip
    return pd.DataFrame(rows)


def test_limits_cover_the_truth() -> None:
    """The 95 % limits of s_r, s_R and s_L hold the truth about 95 % of the time: unbalanced cells, six laboratories."""
    from methods.interlab.level import level_precision

    rng = np.random.default_rng(7)
    counts = np.array([2, 3, 4, 4, 5, 6])
    lab = np.repeat(np.arange(6), counts).astype(str)
    hits = np.zeros(3)
    turns = 400 if os.environ.get("GAPSHIFT_LONG") == "1" else 60
    for _ in range(turns):
        means = rng.normal(0, 3.0, 6)
        kv = 50 + np.repeat(means, counts) + rng.normal(0, 4.0, counts.sum())
        level, _ = level_precision("x", pd.DataFrame({"laboratory": lab, "value": kv, "withstood": False}), 0.95)
        hits += [
            level.s_r_low <= 4 <= level.s_r_high,
            level.s_R_low <= 5 <= level.s_R_high,
            level.s_L_low <= 3 <= level.s_L_high,
        ]
    assert np.all((hits / turns > 0.88) & (hits > 0.92 * turns - 3)), hits / turns


def test_negative_between_component_is_zero_and_said() -> None:
    rows = pd.DataFrame({"laboratory": list("aabbcc"), "kv": [40.0, 60, 41, 59, 40, 60.5]})
    result = precision(rows)
    (level,) = result.levels
    assert level.s_L == 0 and level.s_L_squared < 0 and level.s_R == level.s_r and level.s_L_high > 0
    assert "s_L_zero" in {w.code for w in result.cautions}


def test_a_level_with_withstood_results_has_no_figures() -> None:
    rows = invented()
    rows["outcome"] = "breakdown"
    rows.loc[rows.index[-1], "outcome"] = "withstood"
    result = precision(rows)
    assert [bool(lv.error) for lv in result.levels] == [False, True]
    assert np.isnan(result.levels[1].mean) and "withstood" in result.levels[1].error
    assert "withstood" in {w.code for w in result.cautions}
    assert set(result.robust["level"]) == set(result.scores["level"]) == {"oil 30"}
    with pytest.raises(NotEstimable, match="withstood"):
        precision(rows[rows["sample"] == "oil 60"])


def test_excluding_a_cell_needs_a_reason_and_keeps_it() -> None:
    rows = invented()
    result = precision(rows, exclude=[("Lab 3", "oil 30", "wrong electrode pair")])
    (note,) = result.exclusions
    assert (note.laboratory, note.level, note.reason, note.n) == ("Lab 3", "oil 30", "wrong electrode pair", 2)
    assert result.levels[0].laboratories == 5 and result.levels[1].laboratories == 6
    with pytest.raises(InputError, match="reason"):
        precision(rows, exclude=[("Lab 3", "oil 30", " ")])
    with pytest.raises(InputError, match="no cell"):
        precision(rows, exclude=[("Lab 9", "oil 30", "typing error")])


def test_filling_means_as_results() -> None:
    rows = invented()
    result = precision(rows, result="filling")
    by_hand = rows.groupby(["sample", "laboratory", "filling"])["kv"].mean().reset_index()
    plain = precision(by_hand.drop(columns="filling"))
    for a, b in zip(result.levels, plain.levels, strict=True):
        assert a.n == 12 and a.s_r == pytest.approx(b.s_r) and a.s_R == pytest.approx(b.s_R)
    assert "breakdowns_as_results" in {w.code for w in precision(rows, result="breakdown").cautions}


def test_levels_split_by_procedure_unless_named() -> None:
    rows = pd.concat([invented().assign(method="D877"), invented(2).assign(method="D1816")], ignore_index=True)
    assert {v.level for v in precision(rows).levels} == {
        "oil 30 / D877", "oil 60 / D877", "oil 30 / D1816", "oil 60 / D1816",
    }  # fmt: skip
    for level in ("sample", "method", "condition"):  # named too coarsely, they are split, and that is said
        split = precision(rows, level=level)
        assert len(split.levels) == 4
        assert split.levels[0].s_r < 10  # not the 30 kV between the oils
        assert level == "condition" or "level_split" in {w.code for w in split.cautions}


def test_what_cannot_be_estimated_says_why() -> None:
    with pytest.raises(NotEstimable, match="one result"):
        precision(pd.DataFrame({"laboratory": list("abc"), "kv": [1.0, 2, 3]}))
    with pytest.raises(InputError, match="laboratory"):
        precision(pd.DataFrame({"kv": [1.0, 2, 3]}))
    with pytest.raises(InputError, match="no column 'oil'"):
        precision(invented(), level="oil")
    lone = precision(pd.DataFrame({"laboratory": list("aaa"), "kv": [1.0, 2, 3]}))
    assert lone.levels[0].s_r == pytest.approx(1) and np.isnan(lone.levels[0].s_R)
    assert "one_laboratory" in {w.code for w in lone.cautions}


def test_row_order_and_unit_do_not_matter() -> None:
    rows = invented(5)
    base = precision(rows).levels[1]
    mixed = precision(rows.sample(frac=1, random_state=3)).levels[1]
    volts = precision(rows.assign(kv=rows["kv"] * 1000)).levels[1]
    assert mixed.s_R == pytest.approx(base.s_R) and mixed.h == pytest.approx(base.h)
    assert volts.s_R == pytest.approx(1000 * base.s_R) and volts.k == pytest.approx(base.k)
    assert sum(base.h.values()) == pytest.approx(0, abs=1e-9)
    assert np.mean(np.square(list(base.k.values()))) == pytest.approx(1)


def test_json_has_the_contract_names() -> None:
    document = as_json(glucose())
    need = {"level", "laboratories", "mean", "s_r", "s_L", "s_R", "r", "R", "r_percent", "R_percent", "h", "k"}
    assert need <= set(document["levels"][0])
    assert document["levels"][0]["h"]["Lab1"] == pytest.approx(expected("E01", "A_h")[0])


def test_cells_alone_give_the_same() -> None:
    rows = invented(3)
    whole = precision(rows)
    again = precision_of_cells(whole.cells.sample(frac=1, random_state=1))
    for a, b in zip(whole.levels, again.levels, strict=True):
        assert (a.s_r, a.s_R, a.n) == (pytest.approx(b.s_r), pytest.approx(b.s_R), b.n)
        assert a.h == pytest.approx(b.h) and a.cochran == b.cochran
    with pytest.raises(InputError, match="sd"):
        precision_of_cells(whole.cells.drop(columns="sd"))


def test_scatter_against_mean_with_an_own_band() -> None:
    cells = precision(invented(3)).cells
    bare = scatter_against_mean(cells)
    assert set(bare["place"]) == {"unknown"} and len(bare) == 12
    assert bare["cov"].iloc[0] == pytest.approx(cells["sd"].iloc[0] / cells["mean"].iloc[0])
    band = pd.DataFrame({"mean_kv": [20.0, 50.0], "low": [0.0, 0.0], "high": [0.5, 0.5]})
    drawn = scatter_against_mean(cells, band)
    assert set(drawn.loc[drawn["mean"] < 50, "place"]) == {"inside"}
    assert set(drawn.loc[drawn["mean"] > 50, "place"]) == {"unknown"}
    assert set(scatter_against_mean(cells, band.assign(high=0.001))["place"]) == {"above", "unknown"}
    with pytest.raises(InputError, match="two or more"):
        scatter_against_mean(cells, band[:1])


def test_levels_without_a_sample() -> None:
    named = precision(data("E03_iso5725_coal.csv").rename(columns={"value": "kv", "lab": "laboratory"}))
    assert [v.s_r for v in named.levels] == [v.s_r for v in iso("E03_iso5725_coal.csv").levels]
    bare = precision(invented().drop(columns="sample"))
    assert [v.level for v in bare.levels] == ["all"] and "one_level" in {w.code for w in bare.cautions}


def test_published_statements_stand_beside() -> None:
    """ASTM D1816-04, 11.1 and 11.2: r 40 % and R 47 % at 1 mm, 30 % and 40 % at 2 mm; what was not read is empty."""
    rows = [
        {"laboratory": lab, "sample": "A", "method": method, "gap_mm": gap, "filling": str(i), "order": 1, "kv": kv + i}
        for method, gap, kv in (("ASTM D1816", 1.0, 30.0), ("ASTM D1816", 2.0, 50.0), ("ASTM D877", 2.54, 40.0))
        for lab in ("P", "Q", "S")
        for i in range(1, 4)
    ]
    found = precision(pd.DataFrame(rows)).published.set_index("method")
    assert found.loc["ASTM D1816, 1 mm", ["r_percent", "R_percent"]].tolist() == [40, 47]
    assert found.loc["ASTM D1816, 2 mm", ["r_percent", "R_percent"]].tolist() == [30, 40]
    assert found.loc["ASTM D877", ["r_percent", "R_percent"]].isna().all()
    assert found["note"].str.contains("own copy of the standard").all() and found["source"].str.len().min() > 0
    assert precision(pd.DataFrame(rows).drop(columns="method")).published.empty


def test_a_result_is_what_the_method_reports() -> None:
    """Procedure B of ASTM D877 reports the mean of five fillings of one; that of IEC 60156 one filling of six."""
    rng = np.random.default_rng(3)
    rows = [
        {"laboratory": lab, "sample": "A", "method": "ASTM D877 B", "filling": str(f), "kv": 30 + rng.normal(0, 4)}
        for lab in "abcdef"
        for f in range(11)
    ]
    found = precision(pd.DataFrame(rows))
    assert found.result == "result" and found.levels[0].n == 12
    assert "incomplete_results" in {w.code for w in found.cautions}  # the eleventh of each
    means = pd.DataFrame(rows).assign(b=[f // 5 for _ in "abcdef" for f in range(11)])
    by_hand = means[means["b"] < 2].groupby(["laboratory", "b"])["kv"].mean().reset_index().assign(sample="A")
    assert found.levels[0].s_r == pytest.approx(precision(by_hand).levels[0].s_r)
    six = pd.DataFrame(rows).assign(method="IEC 60156")
    assert precision(six).levels[0].s_r == pytest.approx(precision(six, result="filling").levels[0].s_r)


def test_oils_are_not_pooled_into_one_repeatability() -> None:
    """Precision by stirring on the demo: four to five oils at 15 to 75 kV, whose spread is no repeatability."""
    found = precision(read("data/programme_long.csv"), level="stirring")
    assert all(lv.error or lv.s_r < 15 for lv in found.levels)
    pooled = read("data/programme_long.csv").table.groupby(["stirring", "laboratory"])["kv"].std()
    assert pooled.max() > 19  # what a level of all oils together would have called repeatability
    assert any(w.code == "level_split" and "sample" in w.text for w in found.cautions)


def test_degrees_of_freedom_of_reproducibility() -> None:
    """Satterthwaite (Biometrics Bulletin 2 (1946) 110) on the mean squares of a one-way layout."""
    rng = np.random.default_rng(6)
    for laboratories in (2, 5):
        kv = 50 + rng.normal(0, 4, laboratories)[:, None] + rng.normal(0, 2, (laboratories, 3))
        rows = [("A", f"L{i}", j, v) for i, line in enumerate(kv) for j, v in enumerate(line)]
        table = pd.DataFrame(rows, columns=["sample", "laboratory", "filling", "kv"])
        level = precision(table, result="breakdown").levels[0]
        between = 3 * kv.mean(axis=1).var(ddof=1) / 3
        within = kv.var(axis=1, ddof=1).mean() * (1 - 1 / 3)
        wanted = (between + within) ** 2 / (between**2 / (laboratories - 1) + within**2 / (2 * laboratories))
        assert level.s_R**2 == pytest.approx(between + within)
        assert level.df_R == pytest.approx(wanted)


def test_limits_between_laboratories_hold_as_often_as_they_say() -> None:
    """By simulation of the two mean squares: 10 laboratories, 2 results, s_r = 2, s_L = 3."""
    from methods.interlab.level import between_limits

    rng = np.random.default_rng(5)
    between, within = (4 + 2 * 9) * rng.chisquare(9, 600) / 9, 4 * rng.chisquare(10, 600) / 10
    found = np.array([between_limits(b, w, 2.0, 9.0, 10.0, 0.95) for b, w in zip(between, within, strict=True)])
    assert 0.955 <= np.mean(found[:, 1] >= 3) <= 0.995
    assert 0.955 <= np.mean(found[:, 0] <= 3) <= 0.995
