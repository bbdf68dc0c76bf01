"""The report of a study in one file: HTML, PDF or a workbook. Collects and writes; computes nothing.

::

    from dashboard.report import Asked, write

    study = Study()
    study.open("series.csv")
    write(Asked(study), "report.html")
"""

from __future__ import annotations

from dashboard.report.asked import Asked
from dashboard.report.document import Picture, Report, Section, Table
from dashboard.report.writing import ENDINGS, check_target, content, ending_of, write

__all__ = [
    "ENDINGS", "Asked", "Picture", "Report", "Section", "Table", "check_target", "content", "ending_of", "write",
]  # fmt: skip
