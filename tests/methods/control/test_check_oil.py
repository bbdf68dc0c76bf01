"""The check-oil chart against published constants, a worked example and published run lengths."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from dashboard.cli import main
from methods import InputError, NotEstimable, read
from methods.control import cases, check_oil
from methods.control.run_rules import OWN, broken, chosen, run_rules
from methods.control.shewhart import D2, RANGE_FACTOR, c4, false_alarms, sd_factors

#: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, flow rates of ten batches (from memory): mean 50.81, mean
#: moving range 1.8778, limits 45.8159 and 55.8041.
NIST = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)


def results(values: object, withstood: int = -1, first_day: str = "2025-01-01") -> pd.DataFrame:
    """Invented: one breakdown a filling, a filling a day."""
    values = list(values)  # type: ignore[call-overload]
    days = pd.date_range(first_day, periods=len(values)).strftime("%Y-%m-%d")
    frame = pd.DataFrame({"sample": "check", "filling": [str(i + 1) for i in range(len(values))], "kv": values,
                          "tested_on": days})  # fmt: skip
    frame["outcome"] = ["withstood" if i == withstood else "breakdown" for i in range(len(values))]
    return frame


@pytest.mark.parametrize(("n", "published"), [(2, 0.7979), (5, 0.9400), (10, 0.9727), (25, 0.9896)])
def test_c4_is_that_of_the_tables(n: int, published: float) -> None:
    assert round(float(c4(n)), 4) == published  # e-Handbook 6.3.2, and any table of control chart constants


@pytest.mark.parametrize(
    ("n", "a3", "b3", "b4"), [(2, 2.659, 0, 3.267), (5, 1.427, 0, 2.089), (10, 0.975, 0.284, 1.716)]
)
def test_factors_are_those_of_the_tables(n: int, a3: float, b3: float, b4: float) -> None:
    """ASTM Manual on Presentation of Data and Control Chart Analysis (MNL 7), table of factors (from memory)."""
    low, high = sd_factors(n)
    assert round(3 / (float(c4(n)) * math.sqrt(n)), 3) == a3
    assert (round(float(low), 3), round(float(high), 3)) == (b3, b4)


def test_constants_of_ranges_of_two() -> None:
    assert (round(D2, 3), round(RANGE_FACTOR, 3), round(3 / D2, 2)) == (1.128, 3.267, 2.66)


def test_a_worked_example_of_individuals() -> None:
    found = check_oil(results(NIST))
    assert found.centre_kv == pytest.approx(50.81, abs=1e-9)
    assert found.mean_range_kv == pytest.approx(1.8778, abs=5e-5)
    assert found.points["low_kv"].iloc[0] == pytest.approx(45.8159, abs=2e-3)  # there with d2 rounded to 1.128
    assert found.points["high_kv"].iloc[0] == pytest.approx(55.8041, abs=2e-3)
    assert not (found.points["broken"] != "").any()


#: Mean number of results until a false alarm: C. W. Champ & W. H. Woodall, Technometrics 29 (1987) 393, table 1 (from
#: memory); runs there are of eight.
PUBLISHED = {("1",): 370.40, ("1", "5"): 225.44, ("1", "6"): 166.05, ("1", "eight"): 152.73,
             ("1", "5", "6", "eight"): 91.75}  # fmt: skip


@pytest.mark.parametrize("keys", PUBLISHED)
def test_mean_run_lengths_are_the_published_ones(keys: tuple[str, ...]) -> None:
    import dataclasses

    known = run_rules()
    eight = dataclasses.replace(known["2"], key="eight", count=8, of=8)
    rules = [eight if k == "eight" else known[k] for k in keys]
    z = np.random.default_rng(5).normal(size=(1500, 4000))
    hit = np.zeros(z.shape, bool)
    for rule in rules:
        hit |= broken(z, rule)
    first = np.where(hit.any(axis=1), hit.argmax(axis=1) + 1, z.shape[1])
    assert first.mean() == pytest.approx(PUBLISHED[keys], abs=3.5 * first.std() / math.sqrt(len(first)))


@pytest.mark.parametrize(("key", "z", "at"), [
    ("1", [0, 3.1, 0], [1]),
    ("2", [0.1] * 9, [8]),
    ("2", [0.1] * 4 + [-0.1] + [0.1] * 8, []),
    ("3", [0, 1, 2, 3, 4, 5], [5]),
    ("3", [5, 4, 3, 2, 1, 1, 0], []),
    ("4", [0, 1] * 7, [13]),
    ("5", [2.1, 0, 2.1], [2]),
    ("5", [2.1, 0, -2.1], []),
    ("6", [1.1, 1.1, 0, 1.1, 1.1], [4]),
    ("7", [0.5, -0.5, 0.2] * 5, [14]),
    ("8", [1.5, -1.5] * 4, [7]),
    ("1", [float("nan"), 3.5], [1]),
    ("2", [0.1] * 8 + [float("nan")] + [0.1] * 8, []),
])  # fmt: skip
def test_patterns_end_where_they_are_complete(key: str, z: list[float], at: list[int]) -> None:
    (rule,) = chosen([key])
    assert np.flatnonzero(broken(np.array(z, dtype=float), rule)).tolist() == at


def test_limits_from_few_results_warn_more_often_and_say_so() -> None:
    one = chosen(["1"])
    assert false_alarms(5, one) > 2 * false_alarms(100, one) > 2 * 0.2
    assert false_alarms(2000, one, repetitions=1000) == pytest.approx(100 / 370.4, rel=0.2)
    assert [c.code for c in check_oil(results(NIST)).cautions] == ["few"]


def test_a_shift_after_the_baseline_is_found_and_the_log_says_how_large() -> None:
    rng = np.random.default_rng(3)
    values = np.r_[50 + rng.normal(size=25), 54 + rng.normal(size=10)]
    log = pd.DataFrame([{"marked_on": "2025-01-26", "what": "polished"}])
    found = check_oil(results(values), baseline=25, marks=log)
    assert (found.points["broken"].iloc[25:] != "").all()
    row = found.marks.iloc[0]
    assert (row["after_result"], row["before"], row["after"]) == (25, 25, 10)
    assert row["low_kv"] < 4 < row["high_kv"]


def test_a_ceiling_is_no_result() -> None:
    table = results([*NIST, 90.0], withstood=10)
    found = check_oil(table)
    assert found.centre_kv == pytest.approx(50.81)
    assert math.isnan(found.points["mean_kv"].iloc[-1])
    assert "withstood" in {c.code for c in found.cautions}


def test_fillings_that_differ_make_limits_from_breakdowns_too_narrow() -> None:
    rng = np.random.default_rng(1)
    means = 50 + 4 * rng.normal(size=24)
    rows = results(np.repeat(means, 5) + 3 * rng.normal(size=120))
    rows["filling"] = np.repeat(np.arange(24), 5).astype(str)
    rows["tested_on"] = np.repeat(pd.date_range("2025-01-01", periods=24).strftime("%Y-%m-%d"), 5)
    own, other = check_oil(rows, chart="mean_and_sd"), check_oil(rows)
    assert "between_fillings" in {c.code for c in own.cautions}
    assert (own.points["high_kv"] < other.points["high_kv"]).all()
    assert own.sigma_kv == pytest.approx(3, rel=0.15)


def test_results_stand_in_the_order_of_their_days() -> None:
    table = results(NIST).iloc[::-1].reset_index(drop=True)
    assert check_oil(table).points["mean_kv"].tolist() == list(NIST)


def test_several_oils_are_not_one_chart() -> None:
    two = pd.concat([results(NIST), results(NIST).assign(sample="other")], ignore_index=True)
    with pytest.raises(InputError, match="one oil under one procedure"):
        check_oil(two)
    assert list(cases(two)) == ["check", "other"]
    with pytest.raises(NotEstimable, match="at least 3"):
        check_oil(results(NIST[:2]))
    with pytest.raises(NotEstimable, match="no scatter"):
        check_oil(results([50.0] * 6))
    with pytest.raises(InputError, match="no run rule"):
        check_oil(results(NIST), rules=("nine",))


def test_the_rules_are_a_file_that_can_be_another(tmp_path, monkeypatch) -> None:
    path = tmp_path / "rules.toml"
    path.write_text('[rule.ours]\ntitle = "beyond 2 SD"\nkind = "beyond"\ncount = 1\ndistance = 2.0\n')
    monkeypatch.setenv(OWN, str(path))
    assert check_oil(results([*NIST, 58.0]), baseline=10, rules=("ours",)).points["broken"].iloc[-1] == "ours"
    bad = tmp_path / "bad.toml"
    bad.write_text('[rule.ours]\ntitle = "x"\nkind = "stars"\ncount = 1\n')
    monkeypatch.setenv(OWN, str(bad))
    with pytest.raises(InputError, match="a kind of"):
        run_rules()


def test_the_command_ends_with_1_where_a_rule_is_broken(tmp_path, capsys) -> None:
    path = tmp_path / "check.csv"
    results([*NIST, 65.0]).to_csv(path, index=False)
    assert read(path).fillings == 11
    assert main(["check-oil", str(path), "--baseline", "10", "--mark", "2025-01-05 polished"]) == 1
    said = capsys.readouterr().out
    assert "1 result of 11 breaks a rule, the latest result 11 (2025-01-11): one result beyond 3 SD." in said
    assert "polished" in said
    assert main(["check-oil", str(path), "--until", "2025-01-10"]) == 0
