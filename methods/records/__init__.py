"""From somebody's file to a record table that can be trusted, with everything refused or guessed in the open."""

from __future__ import annotations

from methods.columns import COLUMNS, CONDITION, NUMERIC
from methods.records.account import CELL_KEYS, CELL_ROLES
from methods.records.areas import ROLES, TYPED, Area
from methods.records.export import records_bytes, safe_csv, write_records
from methods.records.headings import resolve_column
from methods.records.joining import read_all
from methods.records.kept import Records, Source
from methods.records.reading import open_sheets, read
from methods.records.recipe import Recipe
from methods.records.table import as_table, condition_codes, filling_codes, fillings_known, group_codes, withstood

__all__ = [
    "CELL_KEYS",
    "CELL_ROLES",
    "COLUMNS",
    "CONDITION",
    "NUMERIC",
    "ROLES",
    "TYPED",
    "Area",
    "Recipe",
    "Records",
    "Source",
    "as_table",
    "condition_codes",
    "filling_codes",
    "fillings_known",
    "group_codes",
    "open_sheets",
    "read",
    "read_all",
    "records_bytes",
    "resolve_column",
    "safe_csv",
    "withstood",
    "write_records",
]
