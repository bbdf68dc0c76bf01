"""Consistency rules and what follows from them; the fixtures are invented series."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from methods.errors import InputError
from methods.protocols import CHECK, by_key, judge, load_rules, own_rule, recognise, rule_of
from methods.protocols.verdict import rounded

A = [28, 31, 33, 29, 35]
B = [22, 30, 31, 33, 35]
C = [40, 55, 60, 48, 70]
D = [20, 31, 52, 58, 66]
E = [58.4, 66.1, 71.9, 63.0, 74.5, 69.7]

# Worked by hand: series, protocol, value, limit, step.
WORKED = [
    (A, "astm_d877_a", 21, 29, "report"),
    (B, "astm_d877_a", 39, 30, "five_more"),
    (C, "astm_d877_b", 90, 48, "five_more"),
    (D, "astm_d877_a", 138, 31, "five_more"),
    (A, "astm_d1816_1mm", 22.436, 120, "report"),
    (A, "astm_d1816_2mm", 22.436, 92, "report"),
    (B, "astm_d1816_1mm", 43.046, 120, "report"),
    (B, "astm_d1816_2mm", 43.046, 92, "report"),
    (C, "astm_d1816_1mm", 54.945, 120, "report"),
    (C, "astm_d1816_2mm", 54.945, 92, "report"),
    (D, "astm_d1816_1mm", 101.322, 120, "report"),
    (D, "astm_d1816_2mm", 101.322, 92, "five_more"),
    (E, "gost_6581_75", 8.867, 20, "report"),
]


@pytest.mark.parametrize(("kv", "key", "value", "limit", "step"), WORKED)
def test_worked(kv: list[float], key: str, value: float, limit: float, step: str) -> None:
    found = judge(by_key(key), kv)
    assert found.value == pytest.approx(value, abs=5e-4) and found.limit == pytest.approx(limit)
    assert found.step == step and found.ok is (step == "report") and found.check == CHECK
    assert found.n_used == len(kv) and found.n_more == (0 if step == "report" else 5)
    expected = pytest.approx(np.mean(kv)) if step == "report" else None
    assert found.reported_mean_kv == expected


def test_d1816_means_have_two_significant_digits() -> None:
    assert judge(by_key("astm_d1816_1mm"), D).reported_rounded_kv == 45.0
    assert judge(by_key("astm_d877_a"), A).reported_rounded_kv is None
    assert [rounded(x, 2) for x in (45.4, 8.449, 8.45, 104.9, 34.5)] == [45.0, 8.4, 8.5, 100.0, 35.0]


def test_e_by_iec_has_no_chart_and_is_reported() -> None:
    found = judge(by_key("iec_60156_1995"), E)
    assert found.step == "no_rule" and found.ok is None and found.value == pytest.approx(8.867, abs=5e-4)
    assert found.reported_mean_kv == pytest.approx(67.2667, abs=5e-5) and "chart is empty" in found.sentence


def test_ten_are_averaged_and_nothing_is_discarded() -> None:
    more = [30, 31, 32, 33, 34]
    found = judge(by_key("astm_d877_a"), [*D, *more])
    assert (found.step, found.n_used, found.ok) == ("report", 10, True)
    assert found.reported_mean_kv == pytest.approx(np.mean([*D, *more]))
    open_limit = judge(by_key("astm_d1816_2mm"), [*D, *more])
    assert (open_limit.step, open_limit.ok) == ("no_rule", None) and "limit for 10 is empty" in open_limit.sentence
    assert open_limit.reported_mean_kv == pytest.approx(38.7) and open_limit.value == pytest.approx(100 * 46 / 38.7)
    unneeded = judge(by_key("astm_d877_a"), [*A, *more])
    assert "met the rule by themselves" in unneeded.sentence


def test_an_entered_second_limit_decides(tmp_path: Path) -> None:
    rule = own_rule("range_percent", 92, second_limit=117)
    assert judge(rule, [*D, 30, 31, 32, 33, 34]).step == "repeat"
    worse = judge(rule, [*D, 15, 20, 25, 30, 31])
    assert worse.step == "repeat" and worse.reported_mean_kv is None and worse.ok is False
    text = '[[rule]]\nkey = "range_2mm"\nkind = "range_percent"\nn = 5\nmore = 5\n'
    text += "limit_percent = 92\nsecond_limit_percent = 117\n"
    (tmp_path / "rules.toml").write_text(text, "utf-8")
    assert judge(by_key("astm_d1816_2mm"), [*D, 15, 20, 25, 30, 31], folder=tmp_path).step == "repeat"


def test_gost_takes_six_more_then_doubts_the_sample() -> None:
    wild = [20, 40, 60, 30, 55, 62]
    first = judge(by_key("gost_6581_75"), wild)
    assert (first.step, first.n_more, first.ok) == ("six_more", 6, False)
    assert judge(by_key("gost_6581_75"), [*wild, *wild]).step == "repeat"
    assert judge(by_key("gost_6581_75"), [*wild, 45, 45, 45, 45, 45, 45]).step in ("report", "repeat")


def test_limits_may_be_reached_but_not_passed() -> None:
    rule = own_rule("range_percent", 50)
    assert judge(rule, [75, 100, 100, 100, 125]).ok is True
    assert judge(rule, [74, 100, 100, 100, 126]).ok is False
    assert judge(own_rule("three_r", 3), [30, 30, 30, 30, 40]).ok is True  # 3R = 30 is not greater than 30


def test_too_few_too_many_and_unknown() -> None:
    protocol = by_key("astm_d877_a")
    for kv in (A[:4], [*A, 30], [*A, 30, 31, 32]):
        assert judge(protocol, kv).step == "incomplete"
    assert judge(protocol, [*A, *A, *A]).step == "no_rule"
    for key in ("nbr_6869", "iec_156_1963", "astm_d1816"):
        found = judge(by_key(key), A)
        assert (found.step, found.ok) == ("no_rule", None) and found.reported_mean_kv == pytest.approx(31.2)
    assert "gap" in judge(by_key("astm_d1816"), A).sentence


def test_the_gap_rule_is_not_used_at_another_gap() -> None:
    protocol = recognise("astm_d1816_2mm", gap_mm=1.0)
    assert protocol is not None and rule_of(protocol).key == "none"


def test_withstood_cannot_be_judged() -> None:
    found = judge(by_key("astm_d1816_2mm"), [58, 60, 55, 60, 60], withstood=[0, 1, 0, 1, 1])
    assert (found.step, found.ok, found.reported_mean_kv) == ("withstood", None, None)
    assert "cannot be judged exactly" in found.sentence
    clear = judge(by_key("astm_d877_a"), [20, 30, 55, 60, 60], withstood=[0, 0, 0, 1, 1])
    assert (clear.step, clear.ok) == ("withstood", False)  # the range is at least 40 kV
    unclear = judge(by_key("astm_d877_a"), [20, 60, 60, 60, 60], withstood=[0, 1, 1, 1, 1])
    assert unclear.ok is None  # the next-to-lowest is itself not known


def test_a_chart_of_ones_own(tmp_path: Path) -> None:
    text = '[[rule]]\nkey = "chart"\nkind = "chart"\nn = 6\npoints = [[20, 0.05, 0.15, 0.30], [80, 0.02, 0.09, 0.16]]\n'
    (tmp_path / "rules.toml").write_text(text, "utf-8")
    protocol = by_key("iec_60156_2018")
    assert judge(protocol, E, folder=tmp_path).ok is True
    wild = judge(protocol, [30, 60, 90, 50, 70, 80], folder=tmp_path)
    assert (wild.ok, wild.step) == (False, "report") and wild.reported_mean_kv is not None
    assert wild.limit == pytest.approx(100 * np.interp(380 / 6, [20, 80], [0.30, 0.16]))
    beyond = judge(protocol, [95, 96, 94, 97, 93, 95], folder=tmp_path)
    assert beyond.ok is None and "outside the chart" in beyond.sentence


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[rule]]\nkind = "none"', "every rule has one"),
        ('[[rule]]\nkey = "x"\nkind = "range"', "must be one of"),
        ('[[rule]]\nkey = "x"\nkind = "three_r"\nn = 2', "whole number"),
        ('[[rule]]\nkey = "x"\nkind = "three_r"\nfactor = -1', "above zero"),
        ('[[rule]]\nkey = "x"\nkind = "chart"\npoints = [[1, 2]]', "rows of mean_kv"),
        ('[[rule]]\nkey = "x"\nkind = "none"\nlimit = 3', "no such key"),
        ("rule = 5", "tables"),
    ],
)
def test_a_bad_rule_file_is_named(tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "rules.toml").write_text(text, "utf-8")
    with pytest.raises(InputError, match="rules.toml") as caught:
        load_rules(tmp_path)
    assert said in str(caught.value)


@pytest.mark.parametrize("kwargs", [{"kind": "chart"}, {"limit": 0}, {"n": 2}, {"more": -1}, {"second_limit": -5}])
def test_a_bad_rule_of_ones_own(kwargs: dict[str, object]) -> None:
    with pytest.raises(InputError):
        own_rule(**{"kind": "range_percent", "limit": 100.0, **kwargs})  # type: ignore[arg-type]


@pytest.mark.parametrize("kv", [[], [1, -2, 3, 4, 5], [1, 2, float("nan"), 4, 5]])
def test_no_voltages(kv: list[float]) -> None:
    with pytest.raises(InputError):
        judge(by_key("astm_d877_a"), kv)


@given(st.lists(st.floats(1, 120), min_size=5, max_size=5), st.permutations(range(5)), st.floats(0.1, 10))
def test_first_step_ignores_order_and_unit(kv: list[float], order: list[int], scale: float) -> None:
    rule = load_rules()["three_r"]
    first, second = judge(rule, kv), judge(rule, [kv[i] * scale for i in order])
    assert first.value is not None and first.limit is not None
    if abs(first.value - first.limit) > 1e-6:  # rounding decides only on the very limit
        assert first.step == second.step
