"""A study is planned, its sheet filled in, read back, and its promise kept."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard.cli import main
from methods import read, shift
from methods.errors import InputError
from methods.studies import plan_round, plan_study, write_sheet
from methods.studies.round_plan import uncertainty, uncertainty_of_ratio
from methods.studies.sheet import TO_FILL

METHODS = ["ASTM D1816 2 mm", "IEC 60156, spherical, stirred"]


def filled(sheet: pd.DataFrame, rng: np.random.Generator, cov: float = 0.15, between: float = 0.05) -> pd.DataFrame:
    """The sheet as a bench of known scatter would fill it in."""
    oils = {o: kv for o, kv in zip(sorted(sheet["sample"].unique()), (60.0, 45.0, 30.0), strict=False)}
    labels, index = np.unique(sheet["filling"], return_inverse=True)
    level = sheet["sample"].map(oils).to_numpy() * (1 + between * rng.standard_normal(len(labels)))[index]
    return sheet.assign(kv=(level * (1 + cov * rng.standard_normal(len(sheet)))).round(1))


def test_blocks_are_complete_and_the_order_is_the_seed_s() -> None:
    plan = plan_study(["A", "B", "C"], METHODS, cov=0.15, between_cov=0.05, half_width=0.08, rng=3)
    runs = plan.sheet.drop_duplicates("run")
    assert len(runs) == plan.runs == plan.fillings * 3 * 2
    assert (runs.groupby("block").size() == 6).all()
    assert (runs.groupby(["block", "sample", "method"]).size() == 1).all()
    again = plan_study(["A", "B", "C"], METHODS, cov=0.15, between_cov=0.05, half_width=0.08, rng=3)
    other = plan_study(["A", "B", "C"], METHODS, cov=0.15, between_cov=0.05, half_width=0.08, rng=4)
    assert plan.sheet.equals(again.sheet) and not plan.sheet.equals(other.sheet)
    # A cell is set up once a block and procedure, unless every filling is to be in random order.
    changes = (runs["method"] != runs["method"].shift()).groupby(runs["block"]).sum()
    assert changes.max() <= 2
    assert plan.sheet.loc[plan.sheet["order"] == 1, "before"].str.contains("clean the cell").all()


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_sheet_is_read_back_without_a_question(tmp_path: Path, ending: str) -> None:
    plan = plan_study(["A", "B"], METHODS, cov=0.15, between_cov=0.05, fillings=2, rng=1)
    done = filled(plan.sheet, np.random.default_rng(1))
    for name, part in (("whole", done), ("half", done.assign(kv=done["kv"].where(done.index % 3 != 2)))):
        records = read(write_sheet(part, tmp_path / f"{name}.{ending}"))
        expected = part[part["kv"].notna()].reset_index(drop=True)
        assert records.table["kv"].tolist() == expected["kv"].tolist()
        assert len(records.guesses) == 0 and not any(p["refused"] for p in records.to_dict()["problems"])
        assert records.table["filling"].tolist() == expected["filling"].tolist()
        assert set(records.table["electrode"]) == {"mushroom", "spherical"}
    empty = write_sheet(plan.sheet, tmp_path / f"empty.{ending}")
    with pytest.raises(InputError):  # nothing is measured yet; no other number is taken for a voltage
        read(empty)
    assert set(TO_FILL) <= set(plan.sheet.columns)


def test_the_promised_width_is_kept_as_often_as_promised() -> None:
    plan = plan_study(["A", "B", "C"], METHODS, cov=0.15, between_cov=0.05, half_width=0.08, rng=3)
    assert plan.half_width_percent <= 8 and plan.reaches_target
    rng, widths = np.random.default_rng(11), []
    for _ in range(120):
        found = shift(filled(plan.sheet, rng).drop(columns="outcome"), "procedure").shifts[0]
        limits = found.these_oils or found
        widths.append((limits.high_percent - limits.low_percent) / 2)
    share = float(np.mean(np.array(widths) <= plan.half_width_percent))
    assert share == pytest.approx(plan.assurance, abs=0.11)
    assert np.median(widths) == pytest.approx(plan.pairs[0]["median_percent"], rel=0.06)


def test_procedures_and_scatter_come_from_records() -> None:
    records = read("data/routine_wide.csv")
    plan = plan_study(["X", "Y"], data=records, half_width=0.12)
    assert plan.procedures == ["ASTM D1816 1 mm", "ASTM D1816 2 mm"]
    assert set(plan.sheet["gap_mm"]) == {1.0, 2.0}
    wider = plan_study(["X", "Y"], data=records, half_width=0.12, between_cov=0.2)
    assert wider.fillings > plan.fillings


def test_hours_bound_a_study() -> None:
    some = plan_study(["A", "B"], METHODS, cov=0.15, between_cov=0.05, bench_hours=8)
    assert some.bench_minutes <= 480 and some.target_percent is None
    tight = plan_study(["A", "B"], METHODS, cov=0.15, between_cov=0.05, bench_hours=8, half_width=0.02)
    assert tight.reaches_target is False and "misses the width" in tight.sentence
    with pytest.raises(InputError, match="are too few"):
        plan_study(["A", "B"], METHODS, cov=0.15, bench_hours=1)


def test_what_is_left_open_is_asked() -> None:
    with pytest.raises(InputError, match="leaves open electrode"):
        plan_study(["A"], ["IEC 60156", METHODS[0]], cov=0.15, half_width=0.1)
    with pytest.raises(InputError, match="scatter of"):
        plan_study(["A"], METHODS, half_width=0.1)
    with pytest.raises(InputError, match="how large"):
        plan_study(["A"], METHODS, cov=0.15)
    with pytest.raises(InputError, match="two procedures"):
        plan_study(["A"], METHODS[:1], cov=0.15, fillings=3)
    with pytest.raises(InputError, match="named twice"):
        plan_study(["A", "A"], METHODS, cov=0.15, fillings=3)


def test_a_round_is_as_uncertain_as_simulated_ones() -> None:
    """The spread of s_r, s_R and their ratio over rounds drawn with numpy."""
    p, n, gamma = 10, 3, 2.0
    rng = np.random.default_rng(2)
    labs = rng.normal(0, math.sqrt(gamma**2 - 1), (20000, p, 1))
    kv = labs + rng.normal(0, 1, (20000, p, n))
    within = kv.var(axis=2, ddof=1).mean(axis=1)
    total = within * (1 - 1 / n) + kv.mean(axis=2).var(axis=1, ddof=1)
    a_r, a_big = uncertainty(p, n, gamma)
    assert 1.96 * np.log(within).std() / 2 == pytest.approx(a_r, rel=0.12)
    assert 1.96 * np.log(total).std() / 2 == pytest.approx(a_big, rel=0.12)
    assert 1.96 * np.log(total / within).std() / 2 == pytest.approx(uncertainty_of_ratio(p, n, gamma), rel=0.12)


def test_a_round_s_sheet_gives_each_laboratory_its_own_order() -> None:
    plan = plan_round(3, ["A", "B", "C", "D"], "ASTM D1816 2 mm", rng=5)
    runs = plan.sheet.drop_duplicates("run")
    assert (runs.groupby(["laboratory", "sample"]).size() == 2).all()
    orders = {tuple(part["sample"]) for _, part in runs.groupby("laboratory")}
    assert len(orders) == 3
    assert "few_laboratories" in {c.code for c in plan.cautions}
    with pytest.raises(InputError, match="two laboratories"):
        plan_round(1, ["A"], "ASTM D1816 2 mm")


def test_the_command_writes_what_the_call_gives(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.csv"
    argv = ["plan", "study", "data/routine_wide.csv", "--oil", "X", "--half-width", "12%", "--seed", "7"]
    assert main([*argv, "--out", str(out), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    plan = plan_study(["X"], data=read("data/routine_wide.csv"), half_width=0.12, rng=7)
    assert printed["half_width_percent"] == plan.half_width_percent and printed["runs"] == plan.runs
    assert len(pd.read_csv(out)) == len(plan.sheet)
    assert main(["plan", "study", "--oil", "X", "--procedure", METHODS[0], "--out", str(tmp_path / "a.pdf")]) == 2
    assert main(["plan", "round", "--laboratories", "8", "--oil", "A", "--procedure", METHODS[0]]) == 0
    assert "s_R to" in capsys.readouterr().out


def test_each_oil_rests_as_long_as_it_needs_and_not_as_long_as_oils_do_on_average() -> None:
    """An ester stands 15 min (common practice), mineral oil as long as its method says: never a mean of the two."""
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        [
            {"method": m, "sample": o, "fluid": fluid, "filling": f, "kv": round(50 + 4 * rng.standard_normal(), 1)}
            for m in ("ASTM D877 A", "IEC 60156")
            for o, fluid in (("T1", "mineral oil"), ("T2", "natural ester"), ("T3", "mineral oil"))
            for f in (1, 2, 3) for _ in range(5)
        ]
    )  # fmt: skip
    sheet = plan_study(["T1", "T2"], data=table, fillings=2).sheet
    first = sheet[sheet["order"] == 1]
    told = {key: set(part["before"].str.extract(r"let it rest ([\d.]+ (?:s|min))")[0])
            for key, part in first.groupby(["method", "sample"])}  # fmt: skip
    assert told["ASTM D877 A", "T1"] == {"2 min"} and told["ASTM D877 A", "T2"] == {"15 min"}
    assert told["IEC 60156", "T1"] == {"5 min"} and told["IEC 60156", "T2"] == {"15 min"}
