"""``gapshift plan``: the JSON's keys, the figures, and one line for what is wrong."""

from __future__ import annotations

import json

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
    assert "breakdowns per filling" in out
