"""A limit fits, or it is refused, or what is not known is said."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from dashboard.cli import main
from methods import decide, decide_all, plan
from methods.errors import InputError
from methods.protocols import limit_table, load_limits
from methods.protocols.fitting import liquid_of


def breakdowns(**cells: object) -> pd.DataFrame:
    """Invented: six breakdowns by IEC 60156 on one filling."""
    row = {"sample": "A", "method": "IEC 60156", "electrode": "spherical", "gap_mm": 2.5, "stirring": "none",
           "rise_kv_s": 2.0, "filling": "1", **cells}  # fmt: skip
    return pd.DataFrame([{**row, "kv": kv} for kv in (61.0, 58, 64, 55, 60, 62)])


@pytest.mark.parametrize(
    ("text", "kind"),
    [("natural ester", "natural ester"), ("Mineral oil, uninhibited", "mineral oil"), ("silicone fluid", "silicone"),
     ("synthetic-ester", "synthetic ester"), ("ester", None), ("oil", None), (None, None)],
)  # fmt: skip
def test_liquids_are_known_by_their_words(text: object, kind: str | None) -> None:
    assert liquid_of(text) == kind


def limit(liquid: str) -> str:
    from methods.protocols.limits import limit_table

    table = limit_table()
    fits = table[(table["liquid"] == liquid) & (table["method"] == "iec_60156") & table["kv"].notna()]
    return str(fits["key"].iloc[0])


def test_the_limit_of_another_liquid_is_refused() -> None:
    key = limit("natural ester")
    with pytest.raises(InputError, match="the oil is mineral oil.*natural ester"):
        decide(breakdowns(fluid="mineral oil"), key)
    fits = decide(breakdowns(fluid="natural ester"), key)
    assert "liquid_unknown" not in {c.code for c in fits.cautions}
    unknown = decide(breakdowns(), key)
    assert {"liquid_unknown", "limit_stage"} <= {c.code for c in unknown.cautions}


def test_stage_and_equipment_are_said_or_asked_for_and_another_s_limit_is_refused() -> None:
    """Of the oils, by the user or the records' state; of a limit of one's own too."""
    table = limit_table()
    rows = table[(table["method"] == "iec_60156") & table["kv"].notna() & (table["stage"] != "")]
    entry = rows[rows["equipment"] != ""].iloc[0]
    data = breakdowns(fluid=entry["liquid"])

    def told(**said: str) -> list[str]:
        return [c.text for c in decide(data, entry["key"], **said).cautions if c.code == "limit_stage"]

    (open_,) = told()
    assert entry["stage"] in open_ and entry["equipment"] in open_ and "say the stage and equipment" in open_
    (half,) = told(stage=entry["stage"].upper())
    assert entry["equipment"] in half and "say the equipment" in half and f"oil {entry['stage']}" not in half
    assert not told(stage=entry["stage"], equipment=entry["equipment"])
    for said in ({"stage": "some other stage"}, {"equipment": "some other class"}):
        with pytest.raises(InputError, match="some other"):
            told(**said)
    known = decide(data.assign(state=entry["stage"]), entry["key"], equipment=entry["equipment"])
    assert "limit_stage" not in {c.code for c in known.cautions}
    own = {"limit_method": "IEC 60156", "limit_stage": "in service", "limit_equipment": "up to 69 kV"}
    assert "limit_stage" in {c.code for c in decide(data, 50.0, **own).cautions}
    assert "up to 69 kV" in decide(data, 50.0, **own).limit
    with pytest.raises(InputError, match="said to be 230 kV and above"):
        decide_all(data, 50.0, equipment="230 kV and above", **own)


def test_departures_from_the_method_stand_with_the_verdict() -> None:
    key = limit("natural ester")
    plain = decide(breakdowns(fluid="natural ester"), key)
    assert "departs_from_method" not in {c.code for c in plain.cautions}
    for cells, word in (({"rise_kv_s": 0.5}, "rate of rise"), ({"electrode": "disk"}, "electrode disk")):
        found = decide(breakdowns(fluid="natural ester", **cells), key)
        told = [c.text for c in found.cautions if c.code == "departs_from_method"]
        assert told and word in told[0] and "prescribed" in told[0]
    bench = breakdowns(method="ASTM D1816", electrode="mushroom", gap_mm=2.0, stirring="continuous", rise_kv_s=0.5)
    warm = decide(bench.assign(temperature_c=41.0), 40.0, limit_method="ASTM D1816 2 mm")
    assert any("temperature 41 to 41" in c.text for c in warm.cautions)


def test_rest_is_compared_with_what_the_method_prescribes() -> None:
    """ASTM D1816-04 clause 9.3: at least 3 and no more than 5 minutes from filling to the first breakdown."""
    bench = breakdowns(method="ASTM D1816", electrode="mushroom", gap_mm=2.0, stirring="continuous", rise_kv_s=0.5)

    def told(**cells: object) -> tuple[str, ...]:
        return decide(bench.assign(**cells), 40.0, limit_method="ASTM D1816 2 mm").departures

    assert told() == () == told(**{"rest (min)": 4}) == told(**{"wait_s": 200})
    for cells in ({"rest (min)": 1.5}, {"Standing time (min)": 12}, {"wait_s": 60}):
        (found,) = told(**cells)
        assert "rest after filling" in found and "3 to 5 min" in found


def test_grades_of_a_graded_document_with_probabilities() -> None:
    """The probabilities beside Student's t of the filling means, which is exact where a filling has one breakdown."""
    kv = [61.0, 58, 64, 55, 60, 62]
    data = pd.concat([breakdowns(fluid="mineral oil").iloc[[i]].assign(filling=str(i)) for i in range(6)])
    found = decide(data, "iec_60422_2013/o_a_good")
    mean, error = np.mean(kv), np.std(kv, ddof=1) / 6**0.5
    good, poor = stats.t.sf((60 - mean) / error, 5), stats.t.cdf((50 - mean) / error, 5)
    assert [g.name for g in found.grades] == ["good", "fair", "poor"]
    assert [g.probability for g in found.grades] == pytest.approx([good, 1 - good - poor, poor], abs=1e-12)
    assert found.grade == "fair" and "Grade: fair" in found.sentence  # the mean is 60.0 exactly: not above 60
    assert "grade_edge" in {c.code for c in found.cautions}
    same = decide(data, "iec_60422_2013/o_a_poor")
    assert same.grades == found.grades and same.verdict == "pass" and found.verdict == "fail"
    own = decide(data, 60.0, limit_method="IEC 60156", limit_liquid="mineral oil", limit_stage="in service",
                 poor_below=50.0)  # fmt: skip
    assert own.grades == found.grades
    with pytest.raises(InputError, match="the oil is natural ester"):
        decide(data.assign(fluid="natural ester"), 60.0, limit_method="IEC 60156", limit_liquid="mineral oil")
    with pytest.raises(InputError, match="must lie under"):
        decide(data, 60.0, limit_method="IEC 60156", poor_below=60.0)
    assert decide(data, 60.0, limit_method="IEC 60156").grades == ()


def test_grades_where_every_reading_withstood() -> None:
    data = breakdowns(fluid="mineral oil").assign(outcome="withstood", kv=80.0)
    found = decide(data, "iec_60422_2013/o_a_good")
    assert found.grade == "good" and [g.probability for g in found.grades] == [None, None, None]
    low = decide(data.assign(kv=55.0), "iec_60422_2013/o_a_good")  # a ceiling between the limits tells no grade
    assert low.grade is None and "Grade" not in low.sentence


def test_grades_of_one_filling_beside_numerical_integration() -> None:
    """Flat prior of the mean, SD between fillings none to twice that within: Student's t, integrated by SciPy."""
    kv = np.array([55.0, 60, 45, 50, 52, 58])
    data = pd.concat([breakdowns(fluid="mineral oil").iloc[[0]].assign(kv=v) for v in kv], ignore_index=True)
    found = decide(data, "iec_60422_2013/b_good")

    def reaches(limit: float) -> float:
        def at(ratio: float) -> float:
            return float(stats.t.cdf((kv.mean() - limit) / (kv.std(ddof=1) * np.sqrt(1 / 6 + ratio**2)), 5))

        return float(integrate.quad(at, 0, 2)[0] / 2)

    good, not_poor = reaches(50), reaches(40)
    wanted = [good, not_poor - good, 1 - not_poor]
    assert [g.probability for g in found.grades] == pytest.approx(wanted, abs=0.01)


def test_newer_editions_stand_with_the_verdict() -> None:
    told = {c.code: c.text for c in decide(breakdowns(fluid="natural ester"), "iec_62770_2013/minimum").cautions}
    assert "IEC 62770:2024" in told["newer_edition"]
    documents = load_limits()
    for key in ("iec_62770_2013", "iec_61203", "astm_d3487", "iec_60422_2013", "ieee_c57_106_2006"):
        assert documents[key].newer
    for key in ("iec_60836_2015", "iec_60944", "astm_d4652", "iec_63012_2019"):
        assert documents[key].limits and all(x.kv.value is None for x in documents[key].limits)
    pairs = ("bulk", "new_to_69", "new_69_230")
    kv = {x.key.split("/")[1]: x.kv for x in documents["ieee_c57_106_2006"].limits}
    assert [[kv[f"{k}_{gap}mm"].value for gap in (1, 2)] for k in pairs] == [[20, 35], [25, 45], [30, 52]]
    assert all(v.mark == "published" for v in kv.values() if v.value is not None)


def test_decide_says_grades_and_that_the_limit_is_to_be_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "invented.csv"
    breakdowns(fluid="mineral oil", stirring="none", rise_kv_s=4.0).to_csv(file, index=False)
    own = ["--limit-method", "IEC 60156", "--limit-liquid", "mineral oil", "--poor-below", "40"]
    assert main(["decide", str(file), "--limit", "50", *own]) == 0
    out = capsys.readouterr().out
    assert "Grade" in out and "Poor" in out and "heck against your own copy" in out
    assert main(["decide", str(file), "--limit", "50", *own, "--json"]) == 0
    (made,) = json.loads(capsys.readouterr().out)["decisions"]
    assert sum(g["probability"] for g in made["grades"]) == pytest.approx(1)
    assert len(made["departures"]) == 1 and "rate of rise" in made["departures"][0]


def test_a_verdict_is_about_one_procedure() -> None:
    both = pd.concat([breakdowns(), breakdowns(electrode="mushroom")], ignore_index=True)
    with pytest.raises(InputError, match="one oil by one procedure"):
        decide_all(both, 40.0, limit_method="IEC 60156", by=["sample"])
    assert len(decide_all(both, 40.0, limit_method="IEC 60156").decisions) == 2


def test_limits_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["limits", "--json"]) == 0
    everything = json.loads(capsys.readouterr().out)["limits"]
    assert main(["limits", "--method", "ASTM D1816 1 mm", "--fluid", "mineral oil", "--json"]) == 0
    some = json.loads(capsys.readouterr().out)["limits"]
    assert 0 < len(some) < len(everything)
    assert {x["method"] for x in some} == {"astm_d1816"} and {x["gap_mm"] for x in some} <= {1.0, None}
    assert main(["limits", "--fluid", "water"]) == 2
    assert "No liquid is known" in capsys.readouterr().err


def test_one_limit_is_not_applied_to_two_gaps() -> None:
    row = {"method": "ASTM D1816", "electrode": "mushroom", "stirring": "continuous", "rise_kv_s": 0.5}
    both = pd.concat([breakdowns(**row, gap_mm=1.0), breakdowns(**row, gap_mm=2.0)], ignore_index=True)
    with pytest.raises(InputError, match="1 mm and 2 mm.*Name the gap"):
        decide_all(both, 30.0, limit_method="D1816")
    found = decide_all(both, 30.0, limit_method="D1816 2 mm")
    assert len(found.decisions) == 1 and len(found.refused) == 1


def test_dissolved_gas_is_said_where_results_by_d1816_stand() -> None:
    bench = breakdowns(method="ASTM D1816", electrode="mushroom", gap_mm=2.0, stirring="continuous", rise_kv_s=0.5)
    by_d1816 = decide(bench, 40.0, limit_method="ASTM D1816 2 mm")
    assert "dissolved_gas" in {c.code for c in by_d1816.cautions}
    assert "dissolved_gas" not in {c.code for c in decide(breakdowns(), 40.0, limit_method="IEC 60156").cautions}
    plain = decide([40.0, 42, 44], 40.0, protocol="ASTM D1816 2 mm", limit_method="ASTM D1816 2 mm")
    assert "dissolved_gas" in {c.code for c in plain.cautions}


def test_what_disks_do_not_see_is_said_with_every_verdict_and_plan_of_one() -> None:
    bench = breakdowns(method="ASTM D877 A", electrode="disk", gap_mm=2.54, rise_kv_s=3.0)
    by_disks = decide(bench, 30.0, limit_method="ASTM D877 A")
    assert any("60 % of saturation" in c.text for c in by_disks.cautions if c.code == "not_sensitive")
    assert "not_sensitive" not in {c.code for c in decide(breakdowns(), 30.0, limit_method="IEC 60156").cautions}
    planned = plan.decision(limit=30, mean=34, cov=0.1, between_cov=0.04, protocol="ASTM D877 A")
    assert "not_sensitive" in {c.code for c in planned.cautions}


@pytest.mark.parametrize(
    ("kind", "asked"),
    [("mean", {"half_width": 0.1}), ("difference", {"difference": 0.1}), ("percentile", {"p": 0.01, "half_width": 0.3}),
     ("equivalence", {"margin": 0.15}), ("decision", {"limit": 30, "mean": 34})],
)  # fmt: skip
def test_every_plan_says_that_d877_without_its_procedure_leaves_open_what_a_result_is(
    kind: str, asked: dict[str, float]
) -> None:
    open_ = plan(kind, cov=0.1, between_cov=0.04, protocol="ASTM D877", **asked)
    said = plan(kind, cov=0.1, between_cov=0.04, protocol="ASTM D877 A", **asked)
    assert "result_open" in {c.code for c in open_.cautions} and "result_open" not in {c.code for c in said.cautions}
