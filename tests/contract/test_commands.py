"""The command line as scripts rely on it: keys, types, exit codes, one JSON document, one line of error.

The numbers that it prints must be those of the Python API.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import methods
from dashboard.cli import main
from methods import InputError, components, fit, fit_many, plan, precision, read, shift
from methods.columns import factor_name
from methods.errors import MissingExtra, NotEstimable, UnusableFile
from methods.planning.case_budget import budget_of
from methods.planning.standing import series_of
from methods.result import as_json
from tests.contract.test_numbers import bench

ROOT = Path(__file__).parents[2]
DEMO, OPEN = ROOT / "data", ROOT / "tests" / "reference" / "data"
FILES = [*sorted(DEMO.glob("*.csv")), DEMO / "messy_sheet.xlsx"]

CHECK = {"rows_read", "breakdowns", "withstood", "fillings", "conditions", "problems"}
PROBLEM = {"row", "column", "found", "rule", "action"}
FIT = {"group", "family", "n", "withstood", "parameters", "standard_errors", "log_likelihood", "aicc", "percentiles"}
PARAMETERS = {
    "normal": ["mean", "sd"],
    "lognormal": ["log_mean", "log_sd"],
    "weibull": ["shape", "scale"],
    "weibull3": ["shape", "scale", "threshold"],
    "gumbel_min": ["location", "scale"],
}
SHIFT = {
    "level", "fillings", "breakdowns", "mean_kv", "difference_kv", "low_kv", "high_kv", "difference_percent",
    "low_percent", "high_percent", "p_value", "sd_ratio", "sd_ratio_low", "sd_ratio_high",
}  # fmt: skip
MEAN = {
    "breakdowns", "fillings", "breakdowns_per_filling", "half_width", "half_width_percent", "half_width_known",
    "half_width_known_percent", "confidence", "bench_minutes",
}  # fmt: skip
LEVEL = {"level", "laboratories", "mean", "s_r", "s_L", "s_R", "r", "R", "r_percent", "R_percent", "h", "k"}


def strict(text: str) -> Any:
    """The one document on standard output; NaN and Infinity are not JSON."""

    def refuse(word: str) -> None:
        raise AssertionError(f"{word} in the JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    def call(*words: object) -> tuple[int, Any]:
        status = main([*map(str, words), "--json"])
        out = capsys.readouterr()
        assert out.err == "" or status == 2
        return status, strict(out.out)

    return call


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    """Run what must fail; the one line of standard error."""

    def call(*words: object) -> str:
        try:
            status = main([*map(str, words)])
        except SystemExit as stop:
            status = stop.code
        out = capsys.readouterr()
        assert status == 2 and out.out == "" and out.err.count("\n") == 1 and out.err.startswith("gapshift: ")
        assert "Traceback" not in out.err
        return out.err

    return call


def save(path: Path, table: pd.DataFrame) -> Path:
    table.to_csv(path, index=False)
    return path


# --- check -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", FILES, ids=lambda p: p.name)
def test_check_counts(run: Any, file: Path) -> None:
    status, found = run("check", file)
    assert CHECK <= set(found) and all(PROBLEM <= set(p) for p in found["problems"])
    gone = [p for p in found["problems"] if p["action"].startswith("refused")]
    assert all(p["action"].startswith(("kept", "refused")) for p in found["problems"])
    assert status == (1 if gone else 0)
    assert found["rows_read"] == found["breakdowns"] + found["withstood"] + len(gone)


def test_check_counts_refused_rows_and_names_their_lines(run: Any, tmp_path: Path) -> None:
    file = tmp_path / "t.csv"
    file.write_text("Electrode,GAP,kV\ndisk,2.5,40\ndisk,2.5,-3\ndisk,2.5,abc\nmushroom,2.5,>60\nmushroom,2.5,41\n")
    status, found = run("check", file)
    assert status == 1
    assert (found["rows_read"], found["breakdowns"], found["withstood"]) == (5, 2, 1)
    assert [p["row"] for p in found["problems"] if p["action"].startswith("refused")] == [3, 4]


@pytest.mark.parametrize("text", ["", "a,b\nx,y\n", "sample,kv\n", "\x00\x01\x02"])
def test_unusable_files(refused: Any, tmp_path: Path, text: str) -> None:
    file = tmp_path / "t.csv"
    file.write_text(text)
    refused("check", file, "--json")
    with pytest.raises(UnusableFile):
        read(file)


def test_files_that_are_not_there(refused: Any, tmp_path: Path) -> None:
    assert "no file" in refused("check", tmp_path / "none.csv")
    refused("check", tmp_path)
    (tmp_path / "bad.xlsx").write_text("no workbook")
    refused("check", tmp_path / "bad.xlsx")


# --- fit -------------------------------------------------------------------------------------------------------------


def test_fit_keys_and_parameters(run: Any) -> None:
    words = ["--by", "study", "--by", "gap_mm"]
    for name in PARAMETERS:
        words += ["--family", name]
    status, found = run("fit", DEMO / "bench_studies.csv", *words)
    assert status == 0 and len(found["fits"]) % 5 == 0
    for f in found["fits"]:
        assert set(f["group"]) == {"study", "gap_mm"}
        if "error" in f:
            assert "parameters" not in f
            continue
        assert FIT <= set(f)
        assert list(f["parameters"]) == list(f["standard_errors"]) == PARAMETERS[f["family"]]
        assert all({"p", "kv", "low", "high"} <= set(p) and p["low"] <= p["kv"] <= p["high"] for p in f["percentiles"])


def test_fit_of_the_command_of_lists_arrays_and_series(run: Any) -> None:
    """The open data of ball bearings, by every way in."""
    file = OPEN / "A03_ball_bearings.csv"
    kv = pd.read_csv(file).select_dtypes("number").iloc[:, -1]
    _, found = run("fit", file, "--family", "weibull", "--no-ceiling")
    mine = found["fits"][0]["parameters"]
    for given in (kv, kv.to_numpy(), kv.tolist(), tuple(kv)):
        assert fit(given, withstood=None, family="weibull").parameters == pytest.approx(mine, rel=1e-12)
    table = fit_many([kv.tolist(), kv.tolist()[:10] + [np.nan] * (len(kv) - 10)], family="weibull")
    assert len(table) == 2 and table["shape"].iloc[0] == pytest.approx(mine["shape"], rel=1e-7)
    assert table["scale"].iloc[1] == pytest.approx(fit(kv[:10]).parameters["scale"], rel=1e-7)


def test_what_cannot_be_fitted_has_an_error(run: Any, tmp_path: Path) -> None:
    table = bench(1)
    table["outcome"] = "breakdown"
    table.loc[table["electrode"] == "disk", ["kv", "outcome"]] = [60.0, "withstood"]
    status, found = run("fit", save(tmp_path / "t.csv", table), "--by", "Electrode", "--family", "weibull")
    by = {f["group"]["electrode"]: f for f in found["fits"]}
    assert status == 0 and "withstood" in by["disk"]["error"] and "parameters" not in by["disk"]
    assert "error" not in by["mushroom"] and by["disk"]["withstood"] == by["disk"]["n"]


def test_profile_limits_of_few_rounded_values() -> None:
    """Little scatter against the level: the search for the limits of the scatter begins near its end."""
    for kv in ([51, 51, 51, 50], [52.3, 50.8, 51.5], [60, 61]):
        for family in ("normal", "lognormal", "weibull", "gumbel_min"):
            found = fit(kv, family=family, interval="profile")
            assert all(p.low < p.kv < p.high for p in found.percentiles)


# --- shift -----------------------------------------------------------------------------------------------------------


def test_shift_keys_types_and_the_same_from_python(run: Any) -> None:
    file = DEMO / "programme_long.csv"
    status, found = run("shift", file, "--by", "electrode", "--reference", "mushroom", "--confidence", "90%")
    assert status == 0 and list(found)[:5] == ["by", "reference", "confidence", "shifts", "cautions"]
    assert (found["by"], found["reference"], found["confidence"]) == ("electrode", "mushroom", 0.9)
    for row in found["shifts"]:
        assert SHIFT <= set(row) and isinstance(row["fillings"], int) and isinstance(row["breakdowns"], int)
        assert row["low_kv"] < row["difference_kv"] < row["high_kv"] and 0 <= row["p_value"] <= 1
    assert "confounded" in {w["code"] for w in found["cautions"]}
    assert found == as_json(shift(read(file), by="electrode", reference="mushroom", confidence=0.9))


@pytest.mark.parametrize("written", ["95%", "0.95", "95 %", "95,0%", "0,95"])
def test_confidence_as_it_is_written(run: Any, tmp_path: Path, written: str) -> None:
    file = save(tmp_path / "t.csv", bench(2))
    assert run("shift", file, "--by", "electrode", "--confidence", written)[1]["confidence"] == pytest.approx(0.95)


@pytest.mark.parametrize("written", ["95", "0", "1", "100%", "-5%", "nan", "inf", "abc", "%", ""])
def test_confidence_that_is_none(refused: Any, tmp_path: Path, written: str) -> None:
    refused("shift", save(tmp_path / "t.csv", bench(2)), "--by", "electrode", f"--confidence={written}")


def test_shift_errors(refused: Any, tmp_path: Path) -> None:
    file = save(tmp_path / "t.csv", bench(3))
    assert "colour" in refused("shift", file, "--by", "colour")
    assert "disk, mushroom" in refused("shift", file, "--by", "electrode", "--reference", "needle")
    assert "nothing to compare" in refused("shift", file, "--by", "gap_mm")
    table = bench(3).assign(outcome="withstood", kv=60.0)
    assert "withstands" in refused("shift", save(tmp_path / "w.csv", table), "--by", "electrode")


def codes(found: Any) -> set[str]:
    return {w["code"] for w in found["cautions"]}


def test_one_filling_a_level(run: Any, tmp_path: Path) -> None:
    _, found = run("shift", save(tmp_path / "t.csv", bench(4, fillings=(1, 1))), "--by", "electrode")
    assert "one_filling" in codes(found) and found["shifts"][0]["difference_kv"] is not None
    assert found["shifts"][0]["low_kv"] is None  # one filling shows no scatter between fillings
    past = save(tmp_path / "past.csv", bench(5, fillings=(4, 4)))
    _, found = run("shift", tmp_path / "t.csv", "--by", "electrode", "--history", past)
    (level,) = found["shifts"]
    assert "one_filling" in codes(found) and level["low_kv"] < level["difference_kv"] < level["high_kv"]
    assert level["holds_for"] == "these oils" and level["these_oils"]["low"] == level["low_kv"]


def test_three_oils_speak_of_oils_like_these(run: Any, tmp_path: Path) -> None:
    table = pd.concat([bench(i).assign(sample=name) for i, name in enumerate("ABC")])
    _, found = run("shift", save(tmp_path / "t.csv", table), "--by", "electrode")
    (level,) = found["shifts"]
    assert level["holds_for"] == "oils like these"
    assert level["these_oils"]["low"] < level["difference_kv"] < level["these_oils"]["high"]


def test_full_aliasing_is_always_said(run: Any, tmp_path: Path) -> None:
    """Gap, an extra column, or the method: whatever goes with the electrode is named."""
    table = bench(5)
    disk = table["electrode"] == "disk"
    for name, values in {
        "gap_mm": np.where(disk, 2.54, 2.0),
        "bath": np.where(disk, "old", "new"),
        "operator": np.where(disk, "A", "B"),
        "rise_kv_s": np.where(disk, 3.0, None),
    }.items():
        file = save(tmp_path / f"{name}.csv", table.assign(**{name: values}))
        for by in ("electrode", name):
            if by == "rise_kv_s":
                continue  # one known level only
            _, found = run("shift", file, "--by", by)
            other = factor_name(name) if by == "electrode" else "electrode"
            assert any(w["code"] == "confounded" and other in w["text"] for w in found["cautions"]), (name, by)


def test_samples_that_are_not_shared(run: Any, tmp_path: Path) -> None:
    table = bench(6)
    table["sample"] = np.where(table["electrode"] == "disk", "A", "B")
    _, found = run("shift", save(tmp_path / "t.csv", table), "--by", "electrode")
    assert "no_shared_sample" in codes(found)


def test_a_ceiling_is_never_a_value(run: Any, tmp_path: Path) -> None:
    """Raising the ceiling in the file, with the same tests withstood, must not be an average over the ceilings."""
    table = bench(7, fillings=(4, 4)).assign(outcome="breakdown")
    top = table["kv"] > 41
    cut = table.assign(kv=table["kv"].clip(upper=41.0), outcome=np.where(top, "withstood", "breakdown"))
    file = save(tmp_path / "t.csv", cut)
    _, found = run("shift", file, "--by", "electrode", "--reference", "mushroom")
    naive = cut.loc[cut["electrode"] == "disk", "kv"].mean()
    assert "withstood" in codes(found) and found["shifts"][0]["mean_kv"] > naive + 0.05
    _, found = run("components", file)
    assert found["withstood"] == int(top.sum()) and found["mean_kv"] > cut["kv"].mean()
    _, found = run("decide", file, "--limit", "40", "--result", "1")
    for d, (_, part) in zip(found["decisions"], cut.groupby("electrode"), strict=True):
        assert d["mean_kv"] is None or d["mean_kv"] > part["kv"].mean() or not (part["outcome"] == "withstood").any()


def test_no_scatter_gives_no_limits(run: Any, tmp_path: Path) -> None:
    table = bench(8)
    table["kv"] = np.where(table["electrode"] == "disk", 40.0, 42.0)
    _, found = run("shift", save(tmp_path / "t.csv", table), "--by", "electrode", "--no-ceiling")
    row = found["shifts"][0]
    assert abs(row["difference_kv"]) == pytest.approx(2.0) and row["low_kv"] is None and row["p_value"] is None
    assert "no_limits" in codes(found)


def test_headings_in_other_cases_and_empty_levels(run: Any, tmp_path: Path) -> None:
    table = bench(9)
    file = save(tmp_path / "a.csv", table)
    other = save(tmp_path / "b.csv", table.rename(columns={"electrode": "Electrode", "gap_mm": "GAP", "kv": "kV"}))
    one, two = (run("shift", f, "--by", by)[1] for f, by in ((file, "electrode"), (other, "ELECTRODE")))
    assert one["shifts"] == two["shifts"]
    table.loc[::4, "electrode"] = None
    _, found = run("shift", save(tmp_path / "c.csv", table), "--by", "electrode")
    assert "level_unknown" in codes(found) and {s["level"] for s in found["shifts"]} == {"disk"} ^ {
        "disk", "mushroom"
    } - {found["reference"]} or len(found["shifts"]) == 1  # fmt: skip


def test_filling_numbers_that_start_again(run: Any, tmp_path: Path) -> None:
    """Filling 1 of another electrode or sample is another filling."""
    table = bench(10, samples=("A", "B"), fillings=(3, 3))
    again = table.assign(filling=(table["filling"] - 1) % 3 + 1)
    one = run("shift", save(tmp_path / "a.csv", table), "--by", "electrode")[1]["shifts"][0]
    two = run("shift", save(tmp_path / "b.csv", again), "--by", "electrode")[1]["shifts"][0]
    assert {k: one[k] for k in SHIFT} == pytest.approx({k: two[k] for k in SHIFT})


def test_a_shift_below_nothing_is_not_said(run: Any, tmp_path: Path) -> None:
    """Few and wild: no sentence speaks of a voltage more than 100 % lower."""
    rows = [("A", "disk", 1, 60), ("A", "mushroom", 2, 22), ("B", "disk", 3, 30), ("B", "mushroom", 4, 70)]
    table = pd.DataFrame(rows, columns=["sample", "electrode", "filling", "kv"])
    for reference in ("disk", "mushroom"):
        _, found = run("shift", save(tmp_path / "t.csv", table), "--by", "electrode", "--reference", reference)
        said = [float(w.split()[-1]) for w in found["shifts"][0]["sentence"].split(" % lower")[:-1] if w[-1].isdigit()]
        assert all(v <= 100 for v in said)


def test_several_levels_at_once(run: Any, tmp_path: Path) -> None:
    """A level whose own limits miss zero, but not once the number of levels counts, is named."""
    kv = {e: (38.2, 40.0, 41.9) for e in range(12)} | {3: (43.0, 44.5, 46.0)}
    rows = [
        {"sample": "A", "electrode": f"E{e}", "filling": f"{e}-{i}", "kv": v + e / 50}
        for e, values in kv.items()
        for i, v in enumerate(values)
    ]
    _, found = run("shift", save(tmp_path / "t.csv", pd.DataFrame(rows)), "--by", "electrode", "--reference", "E0")
    alone = [s["level"] for s in found["shifts"] if s["p_value_unadjusted"] < 0.05 <= s["p_value"]]
    said = [w["text"] for w in found["cautions"] if w["code"] == "one_by_one"]
    assert alone and len(said) == 1 and all(level in said[0] for level in alone)


def test_a_verdict_about_several_oils_says_so(run: Any, tmp_path: Path) -> None:
    file = save(tmp_path / "t.csv", bench(12, samples=("A", "B")))
    for by, mixed in ((["--by", "electrode"], True), ([], False)):
        _, found = run("decide", file, "--limit", "40", "--result", "1", *by)
        assert all(("mixture" in codes(d)) == mixed for d in found["decisions"])


def test_refused_values_are_not_dropped_silently(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = bench(13).astype({"kv": object})
    table.loc[3, "kv"] = "spark?"
    file = save(tmp_path / "t.csv", table)
    assert main(["shift", str(file), "--by", "electrode", "--json"]) == 0
    out = capsys.readouterr()
    assert "shifts" in strict(out.out) and out.err.count("\n") == 1 and "1 value was refused" in out.err
    assert main(["check", str(file), "--json"]) == 1 and capsys.readouterr().err == ""


# --- plan ------------------------------------------------------------------------------------------------------------


def test_plan_documents(run: Any) -> None:
    _, mean = run("plan", "mean", "--cov", "15%", "--half-width", "10%")
    assert set(mean) >= MEAN and mean["breakdowns"] == 12
    assert mean["half_width"] is None and mean["bench_minutes"] is None
    assert mean == as_json(plan("mean", cov=0.15, half_width=0.10))
    _, kv = run("plan", "mean", "--sd", "6", "--half-width", "3")
    assert kv["half_width"] <= 3 and kv["half_width_percent"] is None
    _, difference = run("plan", "difference", "--sd", "6", "--difference", "3", "--power", "80%")
    assert {"breakdowns_per_condition", "power"} <= set(difference) and difference["power"] >= 0.8
    _, point = run("plan", "percentile", "--cov", "15%", "--p", "1%", "--half-width", "10%")
    assert point["breakdowns"] == plan("percentile", cov=0.15, p=0.01, half_width=0.10).breakdowns
    _, verdict = run("plan", "decision", "--limit", "50", "--mean", "55", "--cov", "15%", "--risk", "5%")
    assert verdict["wrong_verdict_probability"] <= 0.05 and verdict["breakdowns"] == 8


def test_plan_with_one_filling_sees_no_fillings(run: Any) -> None:
    _, found = run(
        "plan", "mean", "--cov", "15%", "--between-cov", "5%", "--fillings", "1", "--breakdowns-per-filling", "10"
    )
    assert found["half_width_percent"] is None and found["half_width_known_percent"] is not None


@pytest.mark.parametrize(
    "words",
    [
        ["mean", "--cov", "15", "--half-width", "10%"],
        ["mean", "--cov", "15%", "--half-width", "0%"],
        ["mean", "--cov", "-15%", "--half-width", "10%"],
        ["mean", "--cov", "nan%", "--half-width", "10%"],
        ["mean", "--half-width", "10%"],
        ["mean", "--cov", "15%", "--half-width", "0.000001%"],
        ["difference", "--cov", "15%", "--difference", "x"],
        ["decision", "--limit", "50", "--mean", "50", "--cov", "15%"],
        ["nonsense"],
        [],
    ],
)
def test_plans_that_cannot_be(refused: Any, words: list[str]) -> None:
    refused("plan", *words)


# --- components, precision, and the others ---------------------------------------------------------------------------


def test_components_document(run: Any) -> None:
    file = DEMO / "laboratory_round.csv"
    _, found = run("components", file)
    assert {"mean_kv", "standard_error_kv", "components"} <= set(found)
    assert [c["factor"] for c in found["components"]] == ["laboratory", "sample", "filling", "breakdown"]
    for c in found["components"]:
        assert {"factor", "sd", "low", "high", "levels"} <= set(c) and c["low"] <= c["sd"] <= c["high"]
    assert found == as_json(components(read(file)))


def test_component_at_its_bound(run: Any, tmp_path: Path) -> None:
    kv = np.tile([38.0, 40, 42, 44, 46], 6) + np.repeat([0.1, -0.1, 0, 0.1, -0.1, 0], 5)
    table = pd.DataFrame({"sample": "A", "filling": np.repeat(range(6), 5), "kv": kv})
    _, found = run("components", save(tmp_path / "t.csv", table), "--no-ceiling")
    bound = next(c for c in found["components"] if c["factor"] == "filling")
    assert bound["sd"] == 0 and bound["high"] > 0


def test_precision_document(run: Any) -> None:
    _, found = run("precision", OPEN / "E01_glucose_e691.csv")
    assert all(set(v) >= LEVEL for v in found["levels"])
    words = ["--laboratory", "lab", "--level", "level", "--value", "value"]
    _, coal = run("precision", OPEN / "E03_iso5725_coal.csv", *words)
    assert [v["laboratories"] for v in coal["levels"]] == [8, 8, 8, 8]
    assert all(set(v["h"]) == set(v["k"]) for v in coal["levels"])
    file = DEMO / "laboratory_round.csv"
    assert run("precision", file)[1] == as_json(precision(read(file)))


@pytest.mark.parametrize(
    "words",
    [
        ["agreement", DEMO / "programme_long.csv", "--first", "ASTM D1816 1 mm", "--second", "ASTM D1816 2 mm"],
        ["gap-law", DEMO / "bench_studies.csv"],
        ["rate", DEMO / "bench_studies.csv"],
        ["order", DEMO / "routine_wide.csv"],
        ["sensitivity", DEMO / "programme_long.csv"],
        ["rules", DEMO / "routine_wide.csv"],
        ["equivalence", DEMO / "programme_long.csv", "--by", "electrode", "--margin", "10%"],
        ["protocols"],
        ["confounding", DEMO / "programme_long.csv"],
        ["budget", DEMO / "routine_wide.csv", "--voltmeter", "1%"],
    ],
    ids=lambda w: str(w[0]),
)
def test_every_other_command_gives_one_document(run: Any, words: list[Any]) -> None:
    status, found = run(*words)
    assert status == 0 and isinstance(found, dict) and found


def test_a_budget_is_that_of_the_api(run: Any) -> None:
    words = ["--voltmeter", "1%", "--gap-tolerance", "0.05", "--exponent", "0.7"]
    status, found = run("budget", DEMO / "programme_long.csv", *words)
    cases = {s.label: s for s in series_of(read(DEMO / "programme_long.csv"))}
    assert status == 0 and {b["case"] for b in found["budgets"]} | {r["case"] for r in found["refused"]} == set(cases)
    one = found["budgets"][0]
    series = cases[one["case"]]
    made = budget_of(series, voltmeter_percent=1.0, gap_mm=series.gap_mm, gap_tolerance_mm=0.05, exponent=0.7)
    assert one["budget"] == as_json(made)
    assert [s["source"] for s in one["budget"]["sources"]] == ["scatter of filling means", "gap setting", "voltmeter"]


def test_confounding_is_that_of_the_api(run: Any) -> None:
    _, found = run("confounding", DEMO / "programme_long.csv", "--by", "electrode", "--by", "gap")
    assert found == as_json(methods.confounding(read(DEMO / "programme_long.csv"), ["electrode", "gap_mm"]))


def test_what_the_reader_did_is_said_beside_the_result(capsys: Any, tmp_path: Path) -> None:
    """A ceiling that was guessed, values that stand twice and values that were refused bear on every number."""
    file = tmp_path / "t.csv"
    series = "".join(f"A,{f},{i},{kv}\n" for f in (1, 2) for i, kv in enumerate((41, 43, 39, 44, 40), 1))
    file.write_text("sample,filling,order,kv\n" + series + "A,3,1,-5\n")
    assert main(["fit", str(file)]) == 0
    said = capsys.readouterr().err
    assert "stand in the file twice" in said and "1 value was refused" in said
    wall = tmp_path / "wall.csv"
    wall.write_text("kv\n" + "50\n" * 6)
    main(["fit", str(wall)])
    assert "--no-ceiling" in capsys.readouterr().err


def test_a_level_without_any_scatter_is_told(run: Any, tmp_path: Path) -> None:
    text = "kv,electrode,filling\n" + "".join(f"50,disk,{i}\n" for i in (1, 2, 3)) + "60,cap,1\n62,cap,2\n61,cap,3\n"
    (tmp_path / "t.csv").write_text(text)
    _, found = run("shift", tmp_path / "t.csv", "--by", "electrode", "--no-ceiling")
    assert any(w["code"] == "no_scatter" and "disk" in w["text"] for w in found["cautions"])


def test_in_a_process_of_its_own(tmp_path: Path) -> None:
    """Nothing but the document on standard output, and status 2 with one line for what cannot be."""
    file = save(tmp_path / "t.csv", bench(11))
    python = [sys.executable, "-m", "dashboard.cli"]
    good = subprocess.run([*python, "shift", file, "--by", "electrode", "--json"], cwd=ROOT, capture_output=True)
    assert good.returncode == 0 and good.stderr == b"" and "shifts" in strict(good.stdout.decode())
    bad = subprocess.run([*python, "fit", tmp_path / "no.csv", "--json"], cwd=ROOT, capture_output=True)
    assert bad.returncode == 2 and bad.stdout == b"" and bad.stderr.count(b"\n") == 1


def test_the_api_and_its_errors() -> None:
    for name in methods.__all__:
        assert getattr(methods, name) is not None
    for error in (UnusableFile, NotEstimable, MissingExtra):
        assert issubclass(error, InputError)
    assert issubclass(InputError, ValueError)
    made = InputError("Wrong.", row=3, column="kv", text="x", rule="a number")
    assert (made.row, made.column, made.text, made.rule) == (3, "kv", "x", "a number")


@pytest.mark.parametrize(
    "call",
    [
        lambda: fit([]),
        lambda: fit([40.0, np.nan, 41]),
        lambda: fit(["a", "b"]),
        lambda: fit([40.0, 41.0], family="cauchy"),
        lambda: fit([40.0, 41.0], withstood=[True]),
        lambda: fit([40.0, 40.0, 40.0]),
        lambda: fit([-1.0, 2.0, 3.0]),
        lambda: fit_many([1.0, 2.0]),
        lambda: shift(pd.DataFrame({"x": [1, 2]}), by="x"),
        lambda: shift(bench(1), by="colour"),
        lambda: shift(bench(1), by="electrode", confidence=95),
        lambda: components(pd.DataFrame({"kv": [40.0]})),
        lambda: precision(bench(1)),
        lambda: plan("mean", cov=-1, half_width=0.1),
        lambda: plan("mean", cov=0.15),
        lambda: plan("mean", cov=0.15, half_with=0.1),
        lambda: plan("party"),
    ],
)
def test_bad_input_raises_input_errors(call: Any) -> None:
    with pytest.raises(InputError):
        call()
