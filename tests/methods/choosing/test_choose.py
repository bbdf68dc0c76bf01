"""Which procedure to choose: on the same oils, with the probability that it is the best."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from dashboard import pages
from dashboard.cli import main
from dashboard.study import Study
from methods import choose, discrimination, read, read_all
from methods.choosing.scores import DEFAULT_WEIGHTS
from methods.errors import InputError, NotEstimable
from methods.planning.mean_plan import plan_mean
from methods.procedures import PROCEDURE
from methods.protocols.bench import as_protocol, for_liquid
from methods.wording import percent

DEMO = Path("data/programme_long.csv")


def bench(
    scatter: dict[str, tuple[float, float]], *, seed: int, fillings: int = 4, oils: int = 5, spread: float = 0.2,
    method: bool = False,
) -> pd.DataFrame:  # fmt: skip
    """Invented tests of one set of oils: electrode -> (CoV within, CoV between fillings); six breakdowns each."""
    rng = np.random.default_rng(seed)
    levels = 50 * np.exp(spread * rng.standard_normal(oils))
    rows = []
    for electrode, (within, between) in scatter.items():
        for o, level in enumerate(levels):
            for f in range(fillings):
                filling = level * (1 + between * rng.standard_normal())
                for kv in filling * (1 + within * rng.standard_normal(6)):
                    row = {"sample": f"oil {o}", "electrode": electrode, "filling": str(f), "kv": max(kv, 1.0)}
                    rows.append({**row, "method": electrode} if method else row)
    return pd.DataFrame(rows)


def test_a_clearly_better_procedure_is_found_and_said_to_be() -> None:
    found = choose(bench({"mushroom": (0.08, 0.02), "disk": (0.25, 0.10)}, seed=1), rng=1)
    assert found.best == "mushroom" and found.probability_best > 0.95
    assert found.would_settle == []
    assert found.sentence.startswith("mushroom is the best of 2 procedures on 5 oils")


def test_of_two_that_are_alike_none_is_surely_the_best() -> None:
    made = [choose(bench({"a": (0.15, 0.05), "b": (0.15, 0.05)}, seed=s), rng=s) for s in range(40)]
    sure = [found.probability_best for found in made]
    for found in made:  # below 90 % nothing reads as a recommendation
        recommended = "is the best of" in found.sentence
        assert recommended == (found.probability_best >= 0.9)
        named = [f"{r.procedure} ({percent(100 * r.probability_best)} %)" for r in found.procedures]
        assert recommended or found.sentence.startswith("None of 2 procedures is clearly the best")
        assert recommended or all(name in found.sentence for name in named)
    # Were the probabilities uniform between 0.5 and 1, as they are for two alike, one in five would pass 0.9.
    assert np.mean(np.array(sure) > 0.9) < 0.4
    assert 0.6 < np.mean(sure) < 0.9


def test_the_probability_keeps_its_promise() -> None:
    """Procedures drawn from a population: of those named with 60 to 90 %, about three in four are the better ones."""
    rng = np.random.default_rng(5)
    said, right = [], []
    for s in range(120):
        covs = {n: (float(rng.uniform(0.10, 0.20)), float(rng.uniform(0.03, 0.08))) for n in ("a", "b")}
        found = choose(
            bench(covs, seed=s, fillings=3, oils=6), weights={"time": 0, "discrimination": 0}, repetitions=400, rng=s
        )
        truth = {n: np.hypot(b, w / np.sqrt(6)) for n, (w, b) in covs.items()}
        said.append(found.probability_best)
        right.append(found.best == min(truth, key=lambda n: truth[n]))
    assert np.mean(right) == pytest.approx(np.mean(said), abs=0.12)


def test_an_open_choice_names_tests_that_would_settle_it() -> None:
    scatter = {"a": (0.10, 0.04), "b": (0.15, 0.06)}
    found = choose(bench(scatter, seed=3, fillings=2, oils=4), weights={"discrimination": 0, "time": 0}, rng=3)
    assert found.probability_best < 0.9 and found.would_settle
    assert all(s["fillings"] > 0 and s["minutes"] > 0 for s in found.would_settle)
    assert "would settle it" in found.sentence
    # The same oils with about as many fillings as it asks for.
    more = 2 + max(s["fillings"] for s in found.would_settle) // 4
    later = [
        choose(bench(scatter, seed=s, fillings=more, oils=4), weights={"discrimination": 0, "time": 0}, rng=s)
        for s in range(12)
    ]
    assert np.mean([c.best == "a" and c.probability_best > 0.8 for c in later]) > 0.5


def test_its_numbers_are_those_of_the_single_questions() -> None:
    records = read(DEMO)
    found = choose(records)
    central = records.table[records.table["laboratory"] == "Fenmark central"]
    fluids = list(central.drop_duplicates("sample")["fluid"])  # one is an ester, which rests longer
    apart = discrimination(central, by=PROCEDURE).methods.set_index("method")
    for row in found.procedures:
        if row.breakdowns_per_filling > 1:
            assert row.discrimination_per_result == pytest.approx(apart.loc[row.procedure, "discrimination"], rel=1e-6)
            plan = plan_mean(
                row.cov_within_percent / 100, 0.10, between_cov=row.cov_between_percent / 100, mean=row.mean_kv,
                breakdowns_per_filling=row.breakdowns_per_filling, protocol=for_liquid(as_protocol(row.method), fluids),
            )  # fmt: skip
            assert (plan.fillings, plan.half_width_percent) == (row.fillings, pytest.approx(row.half_width_percent))
            assert plan.bench_minutes == pytest.approx(row.bench_minutes, rel=0.05)
    assert sum(r.probability_best for r in found.procedures) == pytest.approx(1)


def test_page_and_command_give_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    found = choose(read(DEMO), half_width=0.08, weights={"oil": 2})
    assert main(["choose", str(DEMO), "--half-width", "8%", "--weight", "oil=2", "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["best"] == found.best and printed["probability_best"] == found.probability_best
    assert [p["bench_minutes"] for p in printed["procedures"]] == [p.bench_minutes for p in found.procedures]
    study = Study()
    study.open(DEMO)
    page = pages.page_class("choose")(study, half_width=8.0, oil=2.0)
    page.shown = True
    shown = page._shown_tables["choose"].frame.set_index("procedure")
    for row in found.procedures:
        assert shown.loc[row.procedure, "bench_minutes"] == row.bench_minutes
        assert shown.loc[row.procedure, "probability_best"] == row.probability_best
    assert found.sentence in page._answer.text


def test_three_files_of_one_method_each_are_three_procedures(tmp_path: Path) -> None:
    table = bench({"disk": (0.2, 0.05), "mushroom": (0.1, 0.03), "spherical": (0.15, 0.05)}, seed=2)
    files = []
    for number, (_, part) in enumerate(table.groupby("electrode"), 1):  # names that say nothing of a procedure
        files.append(tmp_path / f"series {number}.csv")
        part.drop(columns=["electrode"]).to_csv(files[-1], index=False)
    found = choose(read_all(files))
    assert {r.procedure for r in found.procedures} == {f.name for f in files}
    study = Study()
    for file in files:
        study.open(file)
    page = pages.page_class("choose")(study)
    page.shown = True
    assert page._answer.text == found.sentence


def test_history_and_weights_move_the_choice() -> None:
    table = bench({"mushroom": (0.12, 0.04), "disk": (0.15, 0.05)}, seed=6)
    plain = {r.procedure: r.probability_best for r in choose(table).procedures}
    linked = choose(table, history="disk", weights={"history": 5})
    assert linked.procedures[1].probability_best > plain["disk"] and linked.reference == "disk"
    with pytest.raises(InputError, match="no criterion 'speed'"):
        choose(table, weights={"speed": 1})
    with pytest.raises(InputError, match="All weights are 0"):
        choose(table, weights=dict.fromkeys(DEFAULT_WEIGHTS, 0))
    with pytest.raises(InputError, match="no procedure 'ball'"):
        choose(table, history="ball")


def test_what_cannot_be_compared_is_refused_with_a_way_out() -> None:
    table = bench({"mushroom": (0.1, 0.03), "disk": (0.1, 0.03)}, seed=7)
    with pytest.raises(NotEstimable, match="no two procedures.*another method"):
        choose(table[table["electrode"] == "disk"])
    apart = table[(table["electrode"] == "disk") == (table["sample"] == "oil 0")]
    with pytest.raises(NotEstimable, match="No oil was tested by both.*Test oil"):
        choose(apart)
    with pytest.raises(InputError, match="half-width"):
        choose(table, half_width=10)


def test_one_filling_and_one_oil_are_said() -> None:
    single = choose(bench({"mushroom": (0.1, 0.03), "disk": (0.2, 0.03)}, seed=8, fillings=1))
    assert "one_filling" in {c.code for c in single.cautions}
    lone = choose(bench({"mushroom": (0.1, 0.03), "disk": (0.2, 0.03)}, seed=9, oils=1))
    assert "one_oil" in {c.code for c in lone.cautions}
    assert np.isnan(lone.procedures[0].discrimination_per_result)


def _oils_of(tested: dict[str, tuple[str, ...]]) -> pd.DataFrame:
    """Invented: method -> the oils that it tested, two fillings of five each."""
    rng = np.random.default_rng(4)
    return pd.DataFrame(
        [
            {"method": m, "sample": oil, "filling": f, "kv": round(float(50 + 5 * i + 4 * rng.standard_normal()), 1)}
            for m, oils in tested.items() for i, oil in enumerate(oils) for f in ("1", "2") for _ in range(5)
        ]
    )  # fmt: skip


def test_a_method_that_shares_no_oil_is_left_out_and_named_first() -> None:
    one = ("ASTM D877 A", "ASTM D1816 2 mm", "IEC 60156")
    found = choose(_oils_of({one[0]: ("a", "b", "c"), one[1]: ("b", "c"), one[2]: ("d",)}))
    assert [r.procedure for r in found.procedures] == ["ASTM D877 A", "ASTM D1816 2 mm"] and found.oils == ["b", "c"]
    assert found.cautions[0].code in ("result_assumed", "procedures_left_out")
    assert any("IEC 60156 shares no oil" in c.text for c in found.cautions)
    with pytest.raises(NotEstimable, match="No oil was tested by both"):  # who asks for two is told why not
        choose(_oils_of({one[0]: ("a",), one[2]: ("d",)}), only=[one[0], one[2]])


def test_names_that_may_be_meant_for_one_oil_are_pointed_out() -> None:
    with pytest.raises(NotEstimable, match=r"'TR 12' and 'tr-12' count as two oils"):
        choose(_oils_of({"ASTM D877 A": ("TR 12", "x"), "IEC 60156": ("tr-12",)}))


@pytest.mark.parametrize(
    ("tested", "leads_to", "label"),
    [({"IEC 60156": ("a", "b")}, "records", "Open another file"),
     ({"IEC 60156": ("a",), "ASTM D1816 2 mm": ("b",)}, "bench_plan", "Plan these tests")],
)  # fmt: skip
def test_where_nothing_can_be_chosen_the_page_says_what_to_do_without_dead_controls(
    tested: dict[str, tuple[str, ...]], leads_to: str, label: str, tmp_path: Path
) -> None:
    path = tmp_path / "own.csv"
    _oils_of(tested).to_csv(path, index=False)
    study = Study()
    study.open(path)
    page = pages.page_class("choose")(study)
    page.shown = True
    assert page._state.visible and not page._beside.visible and not page._main.visible
    assert page._way.visible and page._way.label == label
    page._way.clicks += 1
    assert study.page == leads_to
    plan = pages.page_class("bench_plan")(study)
    plan.shown = True
    if leads_to == "bench_plan":  # the page that it leads to plans what is missing
        assert "fillings of each of 2 oils by 2 procedures" in plan._answer.text
    study.close("own.csv")
    study.open(DEMO)
    page.refresh()
    assert page._beside.visible and page._main.visible and not page._way.visible
