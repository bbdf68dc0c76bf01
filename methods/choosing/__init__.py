"""Which method to choose: whole procedures side by side on the same oils, and how surely one is the best."""

from methods.choosing.choice import Choice, PlanPoint, ProcedureRow, choose
from methods.choosing.scores import CRITERIA

__all__ = ["CRITERIA", "Choice", "PlanPoint", "ProcedureRow", "choose"]
