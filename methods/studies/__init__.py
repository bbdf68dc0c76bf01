"""Comparisons as plans to carry out: the design, the precision that it promises, and the sheet for the bench."""

from methods.studies.round_plan import RoundPlan, plan_round
from methods.studies.sheet import write_sheet
from methods.studies.study_plan import StudyPlan, plan_study

__all__ = ["RoundPlan", "StudyPlan", "plan_round", "plan_study", "write_sheet"]
