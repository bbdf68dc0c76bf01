"""The report from the Records page: a copy of the study, made by the job, outdated when a setting changes."""

from __future__ import annotations

from pathlib import Path

from dashboard.jobs import Progress
from dashboard.pages.records_report import StudyReport
from dashboard.study import Study

DEMO = Path(__file__).parents[2] / "data"


def test_the_report_is_of_the_study_as_it_was():
    study = Study()
    study.open(DEMO / "bench_studies.csv")
    study.filters = {"study": ["electrode and stirring"]}
    study.by = "electrode"
    part = StudyReport(study)
    work, key = part._prepare()
    fingerprint = study.fingerprint
    study.filters = {}  # changed while the job runs
    ending, data = work(Progress())
    assert ending == ".html" and b"<html" in data[:400].lower()
    assert fingerprint in key[2]
    assert b"120 breakdowns" in data or b"120" in data
    part._made((ending, data))
    assert part._file.visible
    assert part._file.give() == data and part._file.file == "gapshift_report.html"
    study.by = "stirring"
    assert not part._file.visible


def test_the_report_is_asked_what_the_other_pages_were_asked() -> None:
    from dashboard.pages.records_report import _asked

    study = Study()
    none = {"limit": "", "limit_method": "", "limit_liquid": "", "poor_below": None}
    asked = _asked(study)
    assert {k: v for k, v in asked.items() if k != "judging"} == {"half_width": 0.10, **none}
    assert not any(v for k, v in asked["judging"] if k not in ("rule", "risk"))
    study.put("howmany", "half_width", 5.0, default=10.0)
    study.put("decision", "limit", "typed", default="")
    study.put("decision", "limit_kv", 42.0, default=50.0)
    study.put("decision", "method", "IEC 60156", default="")
    study.put("decision", "poor_kv", 30.0, default=0.0)
    asked = _asked(study)
    assert asked["half_width"] == 0.05 and asked["limit"] == "42" and asked["limit_method"] == "IEC 60156"
    assert asked["poor_below"] == 30.0
    study.put("decision", "limit", "astm_d3487/d1816_2mm", default="")
    assert _asked(study)["limit"] == "astm_d3487/d1816_2mm"


SHEET = b"method,sample,filling,kv\n" + b"".join(
    f"ASTM D1816 2 mm,T1,{f},{45 + 3 * f + (7 * o) % 11}\n".encode() for f in (1, 2, 3) for o in range(5)
)


def test_the_report_judges_as_decision_does() -> None:
    """Stage, equipment, rule and bench of Decision, and what a result is, are the report's too: the same verdict."""
    from dashboard.pages import page_class
    from dashboard.pages.records_report import _asked, _copy
    from dashboard.report import Asked
    from dashboard.report.gather import gather

    study = Study()
    study.open(SHEET, "own.csv")
    wanted = {
        "limit": "typed", "limit_kv": 40.0, "method": "ASTM D1816 2 mm", "limit_stage": "in service",
        "stage": "in service", "equipment": "up to 69 kV", "rule": "guarded", "instrument_kv": 1.5,
    }  # fmt: skip
    page = page_class("decision")(study, **wanted)
    page.shown = True
    found = page.result().found
    report = gather(Asked(_copy(study), **_asked(study)), whole=False)
    section = next(s for s in report.sections if s.key == "decision")
    assert not section.refusal
    told = next(t for t in section.tables if t.name == "decision_verdicts").frame
    assert told["verdict"].tolist() == [d.verdict for d in found.decisions]
    assert told["expanded_uncertainty_kv"].tolist() == [d.expanded_uncertainty_kv for d in found.decisions]
    settings = dict(report.settings.itertuples(index=False))
    assert settings["stage of these oils"] == "in service" and settings["rule of the verdict"] == "guarded"
    assert settings["voltmeter and gap, standard uncertainty"] == "1.5 kV"
    page.stage = "as delivered"  # a limit for another stage is refused, in the report too
    refused = next(s for s in gather(Asked(_copy(study), **_asked(study)), whole=False).sections if s.key == "decision")
    assert "in service" in refused.refusal and page._state.visible


def test_what_a_result_is_goes_with_the_report() -> None:
    from dashboard.pages.records_report import _copy

    study = Study()
    study.result_fillings = 5
    assert _copy(study).result == 5
