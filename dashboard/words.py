"""Words that the pages share; headings and numbers are written as everywhere (:mod:`methods.answers`)."""

from __future__ import annotations

from methods.answers.heads import explanation, heading
from methods.answers.writing import cell, listed, number, p_value, plural, signed
from methods.columns import factor_name


def factor(column: str) -> str:
    """What a factor is called within a sentence: ``gap`` for ``gap_mm``."""
    return factor_name(column)


_STEPS = {
    "report": "report the mean",
    "repeat": "repeat the test",
    "incomplete": "go on: not all taken yet",
    "no_rule": "not judged",
    "withstood": "ceiling reached",
}


def step(code: str) -> str:
    """What a consistency rule asks for, in words: ``five_more`` is "five more breakdowns"."""
    if code.endswith("_more"):
        return f"{code.removesuffix('_more')} more breakdowns"
    return _STEPS.get(code, code)


__all__ = ["cell", "explanation", "factor", "heading", "listed", "number", "p_value", "plural", "signed", "step"]
