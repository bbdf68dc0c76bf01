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
    assert _asked(study) == {"half_width": 0.10, **none}
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
