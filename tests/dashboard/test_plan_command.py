"""``gapshift plan``: the JSON's keys, the figures, and one line for what is wrong."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest

from dashboard.cli import main


def ask(capsys, *words: str) -> dict:
    assert main(["plan", *words, "--json"]) == 0
    out, err = capsys.readouterr()
    assert not err
    return json.loads(out)


def test_mean(capsys):
    found = ask(capsys, "mean", "--cov", "15%", "--half-width", "10%")
    keys = "breakdowns fillings breakdowns_per_filling half_width half_width_percent half_width_known".split()
    keys += "half_width_known_percent confidence bench_minutes".split()
    assert set(keys) <= set(found)
    assert found["breakdowns"] == 12
    assert found["half_width"] is None and found["bench_minutes"] is None
    assert found["half_width_percent"] == pytest.approx(9.53, abs=0.01)


def test_mean_in_kv_and_with_fillings(capsys):
    assert ask(capsys, "mean", "--sd", "6", "--half-width", "3")["breakdowns"] == 18
    words = "mean --cov 15% --between-cov 5% --fillings 3 --breakdowns-per-filling 5".split()
    found = ask(capsys, *words)
    assert found["half_width_percent"] == pytest.approx(20.8, abs=0.05)
    assert found["half_width_known_percent"] == pytest.approx(9.5, abs=0.05)
    mixed = ask(capsys, "mean", "--cov", "15%", "--half-width", "5 kV", "--mean", "50")
    assert mixed["breakdowns"] == 12
    assert mixed["half_width"] == pytest.approx(mixed["half_width_percent"] / 2)


def test_assurance_and_confidence(capsys):
    assert ask(capsys, "mean", "--sd", "1", "--half-width", "0.5", "--assurance", "90%")["breakdowns"] == 24
    assert ask(capsys, "mean", "--sd", "1", "--half-width", "0.5", "--confidence", "0.99")["breakdowns"] == 31
    assert ask(capsys, "mean", "--sd", "1", "--half-width", "0.5", "--known")["breakdowns"] == 16


def test_difference(capsys):
    found = ask(capsys, "difference", "--cov", "15%", "--difference", "10%")
    assert found["breakdowns_per_condition"] == 37
    assert found["power"] == pytest.approx(0.8076, abs=1e-4)
    assert (
        ask(capsys, "difference", "--sd", "6", "--difference", "3", "--power", "80%")["breakdowns_per_condition"] == 64
    )


def test_percentile(capsys):
    found = ask(capsys, "percentile", "--cov", "15%", "--p", "1%", "--half-width", "10%")
    assert found["breakdowns"] == 36 and found["order_statistics"] == 299
    weibull = "percentile --cov 15% --p 1% --half-width 10% --family weibull --seed 5".split()
    assert ask(capsys, *weibull) == ask(capsys, *weibull)


def test_decision(capsys):
    found = ask(capsys, "decision", "--limit", "50", "--mean", "55", "--cov", "15%")
    assert found["breakdowns"] == 8
    assert found["wrong_verdict_probability"] == pytest.approx(0.0432, abs=1e-4)
    assert ask(capsys, *"decision --limit 50 --mean 55 --cov 15% --risk 1%".split())["breakdowns"] == 15
    nested = ask(capsys, *"decision --limit 50 --mean 55 --cov 15% --between-cov 5% --rule guarded".split())
    assert nested["fillings"] > 1 and nested["wrong_verdict_probability"] <= 0.05


def test_equivalence_and_sd(capsys):
    found = ask(capsys, *"equivalence --sd 1 --margin 0.5 --expected-difference 0.2".split())
    assert found["breakdowns_per_condition"] == 139
    assert ask(capsys, *"equivalence --cov 15% --margin 5% --between-cov 4%".split())["power"] >= 0.8
    assert ask(capsys, *"sd --within 20%".split())["breakdowns"] == 49
    assert ask(capsys, *"sd --within 20% --kind upper".split())["breakdowns"] == 70
    assert ask(capsys, *"sd --ratio 1.5".split())["breakdowns_per_condition"] == 50


def test_bench_minutes(capsys):
    words = "mean --cov 15% --between-cov 5% --half-width 10% --mean 50 --protocol".split()
    found = ask(capsys, *words, "IEC 60156:2018")
    assert found["bench_minutes"] > 0 and found["half_width_percent"] <= 10
    assert found["breakdowns_per_filling"] == 6 and found["results"] == found["fillings"]  # whole results of the method
    free = min(row["bench_minutes"] for row in found["designs"] if row["reaches_target"])
    assert free < found["bench_minutes"] and f"would do in {free:.0f} min" in found["sentence"]
    assert "bench_time_assumed" in [w["code"] for w in found["cautions"]]


def test_design_and_next(capsys):
    words = "design --cov 15% --between-cov 5% --protocol".split()
    found = ask(capsys, *words, "IEC 60156", "--half-width", "10%", "--mean", "50")
    assert found["half_width_percent"] <= 10 and found["bench_minutes"] > 0 and found["oil_ml"] > 0
    assert ask(capsys, *words, "IEC 60156", "--minutes", "90")["bench_minutes"] <= 90
    step = ask(capsys, *"next 52.1 48.3 55 60.2 --half-width 10%".split())
    assert step["more"] == 5 and [r["rule"] for r in step["rates"]] == ["two_stage", "stop_when_narrow"]
    assert ask(capsys, *"next 52.1 48.3 55 60.2 --half-width 5 --on 2".split())["unit"] == "fillings"


def test_pilot(capsys, tmp_path):
    rows = [(f, i, 50 + 3 * ((7 * f) % 5) + 4 * ((3 * i + f) % 4)) for f in range(5) for i in range(1, 7)]
    file = tmp_path / "pilot.csv"
    file.write_text("sample,filling,order,kv\n" + "".join(f"A,{f},{i},{kv}\n" for f, i, kv in rows))
    found = ask(capsys, "pilot", str(file), "--half-width", "8%")
    assert found["pilot"]["fillings"] == 5
    assert found["assured"]["breakdowns"] >= found["estimate"]["breakdowns"]
    assert main(["plan", "pilot", str(file), "--half-width", "4 kV"]) == 0
    assert "As the pilot stands: take" in capsys.readouterr().out
    grouped = ask(capsys, "pilot", str(file), "--half-width", "8%", "--by", "sample")
    assert [p["pilot"]["group"] for p in grouped["plans"]] == [{"sample": "A"}]
    alone = ask(capsys, "pilot", str(file), "--half-width", "8%", "--by", "order", "--by", "filling")
    assert not alone["plans"] and len(alone["refused"]) == 30


@pytest.mark.parametrize(
    "words",
    [
        "mean --cov 15 --half-width 10%",
        "mean --cov 15% --half-width 0%",
        "mean --cov 15% --half-width 10% --confidence 1",
        "mean --cov 15% --sd 6 --half-width 10%",
        "mean --cov 15% --half-width 3",
        "mean --cov 15%",
        "mean --half-width 10%",
        "mean --cov 15% --half-width 0.0001%",
        "mean --cov 15% --half-width 10% --fillings 0",
        "difference --cov 15%",
        "difference --cov 15% --difference 10% --power 100%",
        "median --cov 15%",
        "mean --cov 15% --half-width 10% --protocol nonsense",
        "percentile --cov 15% --half-width 10%",
        "percentile --cov 15% --p 1 --half-width 10%",
        "percentile --cov 15% --p 1% --half-width 10% --family cauchy",
        "decision --limit 50 --cov 15%",
        "decision --limit 50 --mean 50 --cov 15%",
        "decision --limit 50 --mean 55 --cov 15% --rule kind",
        "decision --limit 50 --mean 55 --cov 15% --rule every",
        "equivalence --cov 15% --margin 5% --expected-difference 5%",
        "sd --within 20% --ratio 2",
        "sd --within 20% --kind lower",
        "design --cov 15% --half-width 10% --protocol IEC60156",
        "design --cov 15% --between-cov 5% --minutes 0 --protocol IEC60156",
        "next 52",
        "next 52 nonsense",
    ],
)
def test_wrong_calls_are_one_line(capsys, words):
    try:
        status = main(["plan", *words.split()])
    except SystemExit as stop:
        status = stop.code
    out, err = capsys.readouterr()
    assert status == 2
    assert not out
    assert err.startswith("gapshift: ") and err.count("\n") == 1


def test_readable_text(capsys):
    assert main("plan mean --cov 15% --between-cov 5% --half-width 12.5%".split()) == 0
    out = capsys.readouterr().out
    assert "if the scatter is known from history" in out
    assert "Breakdowns a filling" in out


def test_prove_says_what_the_planned_design_delivers(capsys):
    words = ["plan", "mean", "--cov", "15%", "--between-cov", "5%", "--half-width", "10%", "--prove", "300", "--json"]
    assert main(words) == 0
    proof = json.loads(capsys.readouterr().out)["proof"]
    assert [r["repetitions"] for r in proof["rows"]] == [300, 300]
    assert proof["rows"][0]["held"] > 0.9 and 0.2 < proof["rows"][1]["held"] < 0.9


@pytest.mark.parametrize(
    "words",
    [
        "difference --cov 15% --difference 20% --fillings 4 --breakdowns-per-filling 5 --between-cov 5%",
        "equivalence --sd 9 --margin 15% --mean 60",
        "percentile --cov 15% --p 1% --half-width 17% --family weibull --breakdowns-per-filling 10",
        "decision --limit 50 --mean 62 --cov 15%",
        "design --cov 15% --between-cov 5% --half-width 20% --protocol IEC60156 --mean 60",
        "sd --within 30% --confidence 80% --fillings 3",
        "sd --ratio 2",
        "next 52 58 49 61 55 47 --half-width 10%",
        "next 52 58 49 61 55 47 51 60 --on 2 --half-width 6",
    ],
)
def test_every_plan_is_carried_out_on_request(capsys, words):
    found = ask(capsys, *words.split(), "--prove", "40")
    assert {r["repetitions"] for r in found["proof"]["rows"]} == {40}
    assert all(r["held"] > 0.05 for r in found["proof"]["rows"]) and "of 100" in found["proof"]["sentence"]


def test_a_pilot_is_carried_out_on_request(capsys, tmp_path):
    rng = np.random.default_rng(2)
    rows = [
        {"filling": f, "kv": round(60 + shared + 6 * rng.standard_normal(), 2)}
        for f in range(4) for shared in [4 * rng.standard_normal()] for _ in range(5)
    ]  # fmt: skip
    file = tmp_path / "pilot.csv"
    pd.DataFrame(rows).to_csv(file, index=False)
    found = ask(capsys, "pilot", str(file), "--half-width", "20%", "--prove", "10")
    assert found["proof"]["rows"][0]["claimed"] == 0.8 and "plan told 80" in found["proof"]["sentence"]
    assert main(["plan", "pilot", str(file), "--half-width", "20%", "--by", "filling", "--prove", "10"]) == 2
    assert "--by" in capsys.readouterr().err


def test_scatter_of_earlier_tests(capsys, tmp_path):
    """The plan is that of the CoVs which the history has, and says whose they are."""
    from methods import plan, read
    from methods.scatter import scatter_history

    rng = np.random.default_rng(6)
    file = tmp_path / "earlier.csv"
    rows = [
        {"sample": s, "filling": f"{s}{f}", "kv": round(60 * (1 + 0.05 * shared + 0.12 * rng.standard_normal()), 2)}
        for s in "ABCD"
        for f in range(3)
        for shared in [rng.standard_normal()]
        for _ in range(5)
    ]
    pd.DataFrame(rows).to_csv(file, index=False)
    past = scatter_history(read(file))
    found = ask(capsys, "mean", "--history", str(file), "--half-width", "10%")
    made = plan.mean(cov=past.within_cov, between_cov=past.between_cov, half_width=0.10)
    assert (found["fillings"], found["breakdowns"]) == (made.fillings, made.breakdowns)
    assert found["cautions"][0]["code"] == "history" and past.sentence == found["cautions"][0]["text"]
    assert main(["plan", "mean", "--history", str(file), "--between-cov", "5%", "--half-width", "10%"]) == 2
