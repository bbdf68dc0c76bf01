"""Procedures: how a test was made as a whole, as a factor that can be compared.

A test method prescribes electrode, gap, stirring and rate of rise together, and a laboratory that changes
its method changes them together. :func:`name_procedures` finds the combinations that were used and names
each by what sets it apart; :func:`with_factor` makes of ``"procedure"``, or of several columns, one factor.
"""

from methods.procedures.factor import JOIN, PROCEDURE, parts_of, with_factor
from methods.procedures.minutes import minutes_of
from methods.procedures.naming import FIELDS, Procedures, name_procedures
from methods.procedures.reported import Reported, check_result, result_of, result_rows

__all__ = [
    "FIELDS",
    "JOIN",
    "PROCEDURE",
    "Procedures",
    "Reported",
    "check_result",
    "minutes_of",
    "name_procedures",
    "parts_of",
    "result_of",
    "result_rows",
    "with_factor",
]
