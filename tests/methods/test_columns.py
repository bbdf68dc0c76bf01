"""One registry of columns: nothing else lists them, and what is derived from it is what the reader's contract says."""

import ast
from pathlib import Path

import pytest

import methods
from methods import columns
from methods.columns import COLUMNS, known, without

ROOT = Path(methods.__file__).parents[1]
SOURCES = [p for room in ("methods", "dashboard") for p in (ROOT / room).rglob("*.py") if p.name != "columns.py"]


def test_the_record_table_has_the_columns_of_the_contract_in_their_order():
    assert " ".join(COLUMNS) == (
        "sample fluid state laboratory instrument operator method edition electrode gap_mm stirring rise_kv_s filling "
        "order kv outcome temperature_c water_mg_kg tested_on note"
    )
    assert len(set(COLUMNS)) == len(COLUMNS)


def test_a_unit_stands_in_name_and_heading():
    for row in columns.REGISTRY:
        if row.unit:
            assert row.number and f"({row.unit})" in row.heading and row.words and row.words != row.name


def test_what_is_derived():
    assert columns.CONDITION == (
        "method", "electrode", "gap_mm", "stirring", "rise_kv_s", "fluid", "laboratory", "instrument", "operator",
    )  # fmt: skip
    assert set(columns.FACTORS) == {*columns.CONDITION, "sample", "state", "edition"}
    assert set(columns.BUNDLED) == {*columns.CONDITION, "state"}
    assert columns.OF_THE_METHOD == ("electrode", "gap_mm", "stirring", "rise_kv_s", "edition")
    assert without(columns.PLACE, "laboratory") == ("instrument", "operator")
    assert known("kv").number and known("polarity") is None


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: str(p.relative_to(ROOT)))
def test_no_other_module_lists_columns(path):
    """Five or more columns written one behind the other are a list of columns: it belongs in the registry."""
    factors = set(columns.FACTORS) | {"filling"}
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, (ast.Tuple, ast.List, ast.Set)):
            named = {e.value for e in node.elts if isinstance(e, ast.Constant) and isinstance(e.value, str)}
            assert len(named & factors) < 5, f"{path.name}:{node.lineno} lists {sorted(named & factors)}"
