"""The report of the study, made off the event loop and then offered as a file."""

from __future__ import annotations

from collections.abc import Hashable
from typing import Any

import panel as pn
import param

from dashboard import address, parts
from dashboard.actions import Save, Take
from dashboard.controls import Choice
from dashboard.jobs import Progress, Runner
from dashboard.pages import page_class
from dashboard.study import Study
from methods.columns import JOIN
from methods.procedures.factor import PROCEDURE
from methods.records.export import KINDS, records_bytes

_KINDS = {
    "Web page (HTML)": ".html",
    "Workbook (XLSX)": ".xlsx",
    "PDF": ".pdf",
    "Text document (DOCX)": ".docx",
    "Markdown": ".md",
}


def _copy(study: Study) -> Study:
    return Study(
        files=list(study.files), dataset=study.dataset, filters=dict(study.filters),
        exclusions=list(study.exclusions), by=study.by, split=list(study.split), reference=study.reference,
        confidence=study.confidence, result_fillings=study.result_fillings,
    )  # fmt: skip


def _asked(study: Study) -> dict[str, Any]:
    """What the report is asked beside the study: the half-width, and the limit with all that Decision was given."""
    from dashboard.pages.decision_words import TYPED

    def given(page: str, name: str) -> Any:
        parameter = page_class(page).param[name]
        value = address.read(parameter, study.inputs.get(f"{page}.{name}"))
        return parameter.default if value is None else value

    limit = given("decision", "limit")
    own: dict[str, Any] = {"limit_method": "", "limit_liquid": "", "poor_below": None}
    judging = {
        "stage": given("decision", "stage"), "equipment": given("decision", "equipment"),
        "rule": given("decision", "rule"), "risk": given("decision", "risk") / 100,
        "between_sd": given("decision", "between_kv") or None, "instrument_kv": given("decision", "instrument_kv"),
        "history": given("decision", "borrow") or None,
    }  # fmt: skip
    if limit == TYPED:
        limit = f"{given('decision', 'limit_kv'):g}"
        own = {
            "limit_method": given("decision", "method").strip(), "limit_liquid": given("decision", "liquid") or "",
            "poor_below": given("decision", "poor_kv") or None,
        }  # fmt: skip
        judging |= {
            "limit_stage": given("decision", "limit_stage").strip(),
            "limit_equipment": given("decision", "limit_equipment").strip(),
        }
    return {
        "half_width": given("howmany", "half_width") / 100, "limit": limit, **own, "judging": tuple(judging.items()),
    }  # fmt: skip


class StudyReport(pn.viewable.Viewer):
    """Choose a kind of file, make the report of what is selected, take it home."""

    study: Study = param.ClassSelector(class_=Study, constant=True, doc="The session's state.")  # type: ignore[assignment]

    def __init__(self, study: Study, **params: Any) -> None:
        super().__init__(study=study, **params)
        self._kind = Choice("Kind of file", options=_KINDS, value=".html")
        self._made_bytes = b""
        self._file = Save(
            "Save the report", "gapshift_report.html", lambda: self._made_bytes, look="plain", visible=False
        )
        self._runner = Runner(
            "Make the report", self._prepare, self._made,
            "What this study says, in one file: what was read and left out, the tables, how it was computed; with the "
            "half-width of How many and the limit, stage, equipment and rule of Decision.",
        )  # fmt: skip
        study.param.watch(self._outdated, ["fingerprint", "by", "reference", "confidence", "result_fillings", "inputs"])
        self._kind.param.watch(self._outdated, "value")

    def __panel__(self) -> Any:
        choice = parts.explained(self._kind, "One file that needs nothing else to be read.")
        readings = Take("The readings", list(KINDS), self._readings)
        text = "The readings that filters and exclusions leave, every digit; opened again they are the same."
        return parts.column(
            parts.wrap(choice, self._runner), self._file, parts.explained(readings, text, width=320), gap=8
        )

    def _readings(self, kind: str) -> tuple[str, Any]:
        table = self.study.table
        made = [c for c in table.columns if c == PROCEDURE or JOIN in c]  # by the study, and made anew when opened
        dropped = made if len(self.study.files) > 1 else [*made, "file"]
        return f"gapshift_readings.{kind}", lambda: records_bytes(table.drop(columns=dropped, errors="ignore"), kind)

    def _prepare(self) -> tuple[Any, Hashable | None]:
        from dashboard.report import Asked, content
        from dashboard.report.gather import gather

        # A copy, so that what the user changes meanwhile does not find its way into half of the report.
        study, ending = _copy(self.study), str(self._kind.value)
        questions = _asked(self.study)
        asked = Asked(study, **questions)
        shared = (
            study.fingerprint, study.by, study.reference, study.confidence, repr(study.exclusions),
            *questions.values(),
        )  # fmt: skip

        def work(progress: Progress) -> tuple[str, bytes]:
            return ending, content(gather(asked, progress.step, whole=ending == ".xlsx"), ending)

        return work, ("report", ending, shared)

    def _made(self, made: tuple[str, bytes]) -> None:
        ending, self._made_bytes = made
        self._file.file = f"gapshift_report{ending}"
        self._file.visible = True

    def _outdated(self, *_: Any) -> None:
        """A report of other settings must not be taken for this one."""
        self._file.visible = False
