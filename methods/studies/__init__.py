"""Comparisons as plans to carry out: the design, the precision that it promises, and the sheet for the bench."""

from methods.studies.missing import MissingPlan, plan_missing
from methods.studies.round_plan import RoundPlan, plan_round
from methods.studies.sheet import sheet_bytes, write_sheet
from methods.studies.study_plan import StudyPlan, plan_study

__all__ = [
    "MissingPlan",
    "RoundPlan",
    "StudyPlan",
    "plan_missing",
    "plan_round",
    "plan_study",
    "sheet_bytes",
    "write_sheet",
]
