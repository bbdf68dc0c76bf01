"""What a reported result is comes from the method, on page, command and call alike.

Invented: four methods that report differently, on the same oils, by two laboratories; each reports two whole results of
each oil by each method, whose values are known here beforehand.
"""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from dashboard import cache
from dashboard.cli import main
from dashboard.pages import page_class
from dashboard.study import Study
from methods import plan, precision, read
from methods.agreement import compare_methods, discrimination, sensitivity_ratio
from methods.choosing import choose
from methods.classroom import laboratories, virtual_test
from methods.planning import decide_all
from methods.planning.case_budget import budget_of
from methods.planning.standing import series_of
from methods.procedures import minutes_of
from methods.protocols import recognise
from methods.simulate import setting

#: Method -> what differs, and one result of it: fillings, breakdowns on each.
REPORTS = {
    "ASTM D1816 2 mm": ("mushroom", 2.0, (1, 5)),
    "ASTM D877 B": ("disk", 2.54, (5, 1)),
    "IEC 60156": ("spherical", 2.5, (1, 6)),
    "JIS C 2101 M": ("spherical", 2.5, (2, 5)),
}
OILS = ("oil 1", "oil 2", "oil 3", "oil 4", "oil 5")


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rng = np.random.default_rng(3)
    rows = []
    for i, oil in enumerate(OILS):
        for method, (electrode, gap, (fillings, each)) in REPORTS.items():
            for lab in "AB":
                for f in range(2 * fillings):
                    level = 30 + 8 * i + rng.normal(0, 2)
                    rows += [
                        {"sample": oil, "laboratory": lab, "method": method, "electrode": electrode, "gap_mm": gap,
                         "filling": f + 1, "order": o + 1, "kv": round(level + rng.normal(0, 3), 2)}
                        for o in range(each)
                    ]  # fmt: skip
    path = tmp_path_factory.mktemp("reports") / "round.csv"
    pd.DataFrame(rows).to_csv(path, index=False)
    return path


@pytest.fixture(scope="module")
def results(file: Path) -> pd.DataFrame:
    """The reported results, taken together here by hand: method, oil, laboratory, kv."""
    table, out = pd.read_csv(file), []
    for (method, oil, lab), part in table.groupby(["method", "sample", "laboratory"], sort=False):
        k = REPORTS[str(method)][2][0]
        means = part.groupby("filling")["kv"].mean().sort_index().to_numpy()
        out += [{"method": method, "oil": oil, "lab": lab, "kv": m} for m in means.reshape(-1, k).mean(axis=1)]
    return pd.DataFrame(out)


@pytest.fixture(scope="module")
def study(file: Path) -> Study:
    cache.forget()
    made = Study()
    made.open(file)
    return made


def printed(*argv: str) -> Any:
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        assert main([*argv, "--json"]) == 0
    return json.loads(out.getvalue())


def shown(study: Study, key: str, **settings: Any) -> Any:
    page = page_class(key)(study, **settings)
    page.shown = True
    assert page._body.visible, page._state.object
    return page


def frame(page: Any, name: str) -> pd.DataFrame:
    found: pd.DataFrame = page._shown_tables[name].frame
    return found


def test_precision(file: Path, results: pd.DataFrame, study: Study) -> None:
    table = frame(shown(study, "precision"), "precision").set_index("level")
    command = {v["level"]: v for v in printed("precision", str(file))["levels"]}
    for level in precision(read(file)).levels:
        method = next(m for m in REPORTS if m in level.level)
        mine = results[(results["method"] == method) & (results["oil"] == level.level.split(" / ")[0])]
        s_r = np.sqrt(mine.groupby("lab")["kv"].var().mean())
        assert level.n == command[level.level]["n"] == table.loc[level.level, "n"] == 4
        for got in (level.s_r, command[level.level]["s_r"], table.loc[level.level, "s_r"]):
            assert got == pytest.approx(s_r)


@pytest.mark.parametrize("second", [m for m in REPORTS if m != "ASTM D877 B"])
def test_agreement(second: str, file: Path, results: pd.DataFrame, study: Study) -> None:
    first = "ASTM D877 B"
    study.by = "method"
    called = compare_methods(read(file), by="method", first=first, second=second)
    command = printed("agreement", str(file), "--by", "method", "--first", first, "--second", second)
    page = shown(study, "method_study", question="agreement", first=first, second=second)
    pairs, bias = frame(page, "agreement_oils"), frame(page, "agreement_limits").set_index("quantity")
    means = results.groupby(["method", "oil"])["kv"].mean()
    expected = float((means[second] - means[first]).mean())
    for got in (called.absolute.bias, command["absolute"]["bias"], bias.loc["Mean difference (kV)", "value"]):
        assert got == pytest.approx(expected)
    counted = (called.pairs["first_results"].sum(), pairs["first_results"].sum(), pairs["second_results"].sum())
    assert counted == (4 * len(OILS),) * 3 == (sum(p["first_results"] for p in command["pairs"]),) * 3


def test_sensitivity(file: Path, results: pd.DataFrame, study: Study) -> None:
    study.by = "method"
    records = read(file)
    called = discrimination(records, by="method", minutes=minutes_of(records, "method")).methods.set_index("method")
    command = printed("sensitivity", str(file), "--by", "method")
    page = frame(shown(study, "method_study", question="apart"), "apart_discrimination").set_index("method")
    for row in command["methods"]:
        name = row["method"]
        mine = results[results["method"] == name]
        noise = np.sqrt(mine.groupby(["oil", "lab"])["kv"].var().mean())  # within a laboratory
        assert row["results"] == called.loc[name, "results"] == page.loc[name, "results"] == 4 * len(OILS)
        for got in (row["noise_kv"], called.loc[name, "noise_kv"], page.loc[name, "noise_kv"]):
            assert got == pytest.approx(noise)
        assert row["minutes"] == pytest.approx(called.loc[name, "minutes"]) == pytest.approx(page.loc[name, "minutes"])
    a_filling = minutes_of(records, "method", "filling")
    assert called.loc["ASTM D877 B", "minutes"] > 3 * a_filling["ASTM D877 B"]  # five fillings, not one
    ratio = command["ratios"][0]
    mine = sensitivity_ratio(records, by="method", first=ratio["first"], second=ratio["second"])
    assert ratio["ratio"] == pytest.approx(mine.ratio)


def test_decision_and_budget(file: Path, study: Study) -> None:
    settings = {"limit": "typed", "limit_kv": 30.0, "method": "ASTM D877 B"}
    called = decide_all(read(file), 30.0, limit_method="ASTM D877 B")
    command = printed("decide", str(file), "--limit", "30", "--limit-method", "ASTM D877 B")
    page = shown(study, "decision", **settings)
    table = frame(page, "decision_verdicts")
    assert len(called.decisions) == len(table) == len(command["decisions"]) == 2 * len(OILS)
    for one, other, row in zip(called.decisions, command["decisions"], table.itertuples(), strict=True):
        assert one.results == other["results"] == row.results == 2 and one.fillings == 10
        assert one.result == other["result"] == "the mean of 5 fillings of 1"
    for series, made in zip(series_of(read(file)), printed("budget", str(file))["budgets"], strict=True):
        found = budget_of(series)
        assert found.results == made["budget"]["results"] == 2 and series.method is not None
        assert found.result == made["budget"]["result"] and found.sentence.startswith(
            "Mean of 2 results, each the mean"
        )
        assert found.sentence == made["budget"]["sentence"]
    assert page._part.answer.text.startswith("Mean of 2 results")


def test_a_plan_by_a_method_that_leaves_its_result_open_says_so() -> None:
    """ASTM D877 is A or B: until it is said the plan is free, and a caution asks."""
    made = plan.mean(0.15, 0.10, between_cov=0.05, protocol="ASTM D877")
    assert made.results is None and "result_open" in {c.code for c in made.cautions}
    for named in ("ASTM D877 A", "ASTM D877 B", None):
        known = plan.mean(0.15, 0.10, between_cov=0.05, protocol=named)
        assert "result_open" not in {c.code for c in known.cautions}


@pytest.mark.parametrize(("method", "one"), [(m, r[2]) for m, r in REPORTS.items()])
def test_plan(method: str, one: tuple[int, int], study: Study) -> None:
    called = plan.mean(0.15, 0.10, between_cov=0.05, protocol=method)
    command = printed(
        "plan", "mean", "--cov", "15%", "--between-cov", "5%", "--half-width", "10%", "--protocol", method
    )
    known = recognise(method)
    assert known is not None
    page = shown(Study(), "howmany", source="typed", within=15.0, between=5.0, half_width=10.0, protocol=known.key)
    for made in (called, page.result().plan):
        assert made.breakdowns_per_filling == one[1] and made.fillings % one[0] == 0
        assert made.results == made.fillings // one[0] == command["results"]
        assert made.half_width_percent == pytest.approx(command["half_width_percent"])
    free = plan.mean(0.15, 0.10, between_cov=0.05, fillings=6, protocol=method)
    assert free.results is None  # whoever fixes a number has the plan of that number
    for other in (
        plan.difference(0.15, 0.10, between_cov=0.05, protocol=method),
        plan.equivalence(0.15, 0.10, between_cov=0.05, protocol=method),
        plan.percentile(0.15, 0.10, 0.15, between_cov=0.05, protocol=method),
        plan.decision(50, 56, 0.15, between_cov=0.05, protocol=method),
    ):
        fillings = getattr(other, "fillings", None) or getattr(other, "fillings_per_condition", 0)
        assert other.breakdowns_per_filling == one[1] and fillings == other.results * one[0]


def test_choice(file: Path, study: Study) -> None:
    called = choose(read(file))
    command = {p["procedure"]: p for p in printed("choose", str(file))["procedures"]}
    table = frame(shown(study, "choose"), "choose").set_index("procedure")
    for row in called.procedures:
        fillings, each = next(r[2] for m, r in REPORTS.items() if m in row.procedure)
        assert row.fillings % fillings == 0 and row.breakdowns_per_filling == each
        assert row.fillings == command[row.procedure]["fillings"] == table.loc[row.procedure, "fillings"]
        assert row.cov_result_percent == pytest.approx(command[row.procedure]["cov_result_percent"])


@pytest.mark.parametrize(
    ("name", "one"), [("D1816 2 mm", "1 × 5"), ("D877 B", "5 × 1"), ("60156 spherical stirred", "1 × 6")]
)
def test_classroom(name: str, one: str) -> None:
    item = setting(name)
    protocol = recognise(item.method, item.edition)
    assert protocol is not None
    group = laboratories(item.bench(0.3), protocol=protocol, count=20)
    assert group.design == one and one in set(group.results["design"])
    fillings, each = (int(v) for v in one.split(" × "))
    test = virtual_test(item.bench(0.3), 2 * fillings * each, protocol=protocol)
    assert test.results == 2 and test.table.groupby("filling").size().eq(each).all()
    page = shown(Study(), "classroom", setting=name, view="laboratories", reported=3)
    assert set(page._shown(page.result())["design"]) == {one}
    page.param.update(view="test", taken=2 * fillings * each)
    assert "2 reported results" in page._answer.text


@pytest.fixture(scope="module")
def nameless(file: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The five fillings of one, in a file that names no method."""
    table = pd.read_csv(file)
    path = tmp_path_factory.mktemp("nameless") / "nameless.csv"
    table[table["method"] == "ASTM D877 B"].drop(columns=["method", "electrode", "gap_mm"]).to_csv(path, index=False)
    return path


def test_a_file_without_a_method_asks(
    nameless: Path, results: pd.DataFrame, capsys: pytest.CaptureFixture[str]
) -> None:
    """Until it is answered, the mean of one filling is taken and said to be assumed; the answer counts everywhere."""
    records = read(nameless)
    taken = precision(records)
    assert "result_assumed" in {c.code for c in taken.cautions} and taken.levels[0].n == 20
    answered = precision(records, result=5)
    assert "result_assumed" not in {c.code for c in answered.cautions} and answered.levels[0].n == 4
    mine = results[(results["method"] == "ASTM D877 B") & (results["oil"] == "oil 1")]
    assert answered.levels[0].s_r == pytest.approx(np.sqrt(mine.groupby("lab")["kv"].var().mean()))
    # the command asks on standard error, with the option that answers
    assert main(["precision", str(nameless)]) == 0
    assert "what is one reported result?" in (said := capsys.readouterr().err) and "--result 5" in said
    assert main(["precision", str(nameless), "--result", "5", "--json"]) == 0
    out = capsys.readouterr()
    assert json.loads(out.out)["levels"][0]["s_r"] == pytest.approx(answered.levels[0].s_r)
    assert "reported result" not in out.err
    for command in ("budget", "decide"):
        more = ["--limit", "30"] if command == "decide" else []
        assert main([command, str(nameless), *more]) == 0 and "--result 5" in capsys.readouterr().err
    # the page asks where the sentence stands, and what is chosen there counts on every page
    study = Study()
    study.open(nameless)
    page, other = shown(study, "precision"), shown(study, "decision", limit="typed", limit_kv=30.0)
    for one in (page, other):
        assert one._asked.visible
    page._question.value = "5"
    assert study.result_fillings == 5
    assert frame(page, "precision")["s_r"].iloc[0] == pytest.approx(answered.levels[0].s_r)
    assert frame(other, "decision_verdicts")["results"].eq(2).all()
    assert "What is one reported result?" not in other._cautions.object and other._asked.visible


def test_a_method_that_names_its_result_asks_nothing(study: Study) -> None:
    assert not shown(study, "precision")._asked.visible


def test_a_wrong_answer_is_refused(nameless: Path) -> None:
    from methods.errors import InputError

    for wrong in (0, -1, "five", True, 101):
        with pytest.raises(InputError, match="fillings of which a result is the mean"):
            precision(read(nameless), result=wrong)
