"""One answer for every surface: from a result to its sentence, cautions, tables and the names of its plots.

The page, the command's text, the report and the notebook show an :class:`~methods.answers.model.Answer`; none of them
words anything or chooses columns by itself. There is one module for each question, and :func:`answer` finds it by the
type of the result::

    from methods import read, shift
    from methods.answers import answer

    print(answer(shift(read("series.csv"), "electrode")).text())
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from methods.answers.model import Answer, Table, stacked

#: Type of the result -> module and function that make its answer.
MAKERS: dict[str, tuple[str, str]] = {
    "Shift": ("shift", "shift"),
    "Equivalence": ("shift", "equivalence"),
    "AllPairs": ("shift", "pairs"),
    "PercentileShift": ("shift", "percentiles"),
    "OtherTests": ("other_tests", "other_tests"),
    "Components": ("components", "components"),
    "OrderEffects": ("order", "order"),
    "Fit": ("fit", "fit"),
    "Fits": ("fit", "fits"),
    "MeanPlan": ("plan", "plan"),
    "DifferencePlan": ("plan", "plan"),
    "EquivalencePlan": ("plan", "plan"),
    "PercentilePlan": ("plan", "plan"),
    "DecisionPlan": ("plan", "plan"),
    "SpreadPlan": ("plan", "plan"),
    "DesignPlan": ("plan", "plan"),
    "NextStep": ("plan", "plan"),
    "PilotPlan": ("plan", "pilot_plan"),
    "Agreement": ("agreement", "agreement"),
    "Discrimination": ("agreement", "sensitivity"),
    "Budget": ("budget", "budget"),
    "Precision": ("precision", "precision"),
    "PrecisionRatio": ("precision", "ratio"),
    "Decision": ("decision", "decision"),
    "Decisions": ("decision", "decisions"),
    "CheckOil": ("check_oil", "check_oil"),
    "Choice": ("choose", "choose"),
    "StudyPlan": ("studies", "study"),
    "MissingPlan": ("studies", "missing"),
    "RoundPlan": ("studies", "round_"),
    "LimitList": ("limits", "limits"),
    "Judged": ("rules", "judged"),
    "GapLaw": ("laws", "gap"),
    "GapLaws": ("laws", "gap"),
    "RateLaw": ("laws", "rate"),
    "RateLaws": ("laws", "rate"),
    "RateShift": ("laws", "rate_shift"),
    "GeometryShift": ("geometry", "geometry"),
    "Added": ("archive", "archive_added"),
    "Listed": ("archive", "archive_content"),
}


def answer(result: Any) -> Answer:
    """The answer that a result gives.

    Raises
    ------
    TypeError
        There is no question that a result of this type answers.
    """
    name = type(result).__name__
    if name not in MAKERS:
        raise TypeError(f"There is no answer for a {name}; there are answers for {', '.join(MAKERS)}.")
    module, function = MAKERS[name]
    made: Answer = getattr(import_module(f"methods.answers.{module}"), function)(result)
    return made


__all__ = ["MAKERS", "Answer", "Table", "answer", "stacked"]
